import numpy as np

from outcomes.estimators.roots import falling_roots


def test_every_cell_finds_its_own_root():
    squares = np.array([2.0, 9.0, 1e-8])
    roots = falling_roots(lambda x: squares - x * x, np.zeros(3), np.full(3, 10.0))
    np.testing.assert_allclose(roots, [np.sqrt(2), 3.0, 1e-4], rtol=1e-12)


def test_a_function_that_never_falls_to_zero_gives_the_upper_end():
    assert falling_roots(lambda x: np.ones_like(x), np.array(0.0), np.array(1.0)) == 1.0
