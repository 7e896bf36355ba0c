import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats
from statsmodels.stats.rates import confint_poisson, confint_poisson_2indep

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.rate_tests import rate_ratio_test
from outcomes.estimators.rates import (
    garwood_limits,
    rate,
    rate_difference,
    rate_difference_limits,
    rate_mid_p_limits,
    rate_ratio,
    rate_ratio_limits,
    rate_score_limits,
)
from tests.outcomes.estimators.published_counts import PROPERTY, example, limits

METHODS = ["exact (Garwood)", "mid-P", "score"]
RATIO_METHODS = ["exact conditional", "mid-P conditional", "score"]
counts, times = st.integers(0, 200), st.floats(0.5, 5000)
ratio_methods = pytest.mark.parametrize("method", RATIO_METHODS)


def arms(k1, t1, k2, t2):
    return {"events": k1, "time": t1, "reference_events": k2, "reference_time": t2}


def test_published_exact_limits_of_a_count():
    known = example("rate-garwood-table")
    for count, expected in known.published.items():
        found = rate(events=int(count), time=1.0, per=1.0)
        assert limits(found) == known.near(tuple(expected))


@pytest.mark.parametrize(("name", "method"), [("exact", "exact (Garwood)"), ("score", "score")])
def test_reference_limits_of_15_events_in_400_days(name, method):
    known = example("rate-15-400")
    found = rate(**known.inputs, per=1.0, method=method)
    assert limits(found) == pytest.approx(tuple(known.published[name]), abs=5e-12)


@pytest.mark.parametrize("name", ["rate-midp-15-400", "rate-zero-midp"])
def test_mid_p_limits(name):
    known = example(name)
    assert limits(rate(**known.inputs, per=1.0, method="mid-P")) == known.near(tuple(known.published))


def test_rates_are_per_1000_device_days_unless_told_otherwise():
    known = example("rate-15-400")
    found = rate(**known.inputs)
    assert (found.value, found.per) == (37.5, 1000.0)
    assert limits(found) == pytest.approx([1000 * v for v in known.published["exact"]], rel=1e-9)


def test_zero_events_have_a_two_sided_limit_of_3_69_not_3():
    """-ln 0.025 = 3.689; the one-sided 95 % limit is -ln 0.05 = 2.996."""
    assert rate(events=0, time=1.0, per=1.0).upper == pytest.approx(-math.log(0.025))
    assert rate(events=0, time=1.0, per=1.0, level=0.90).upper == pytest.approx(-math.log(0.05))


@pytest.mark.parametrize("level", [0.8, 0.95, 0.999])
@pytest.mark.parametrize(("events", "time"), [(1, 3.0), (15, 400.0), (388, 12000.0)])
def test_agrees_with_statsmodels(events, time, level):
    for function, name in ((garwood_limits, "exact-c"), (rate_score_limits, "score")):
        known = confint_poisson(events, time, method=name, alpha=1 - level)
        assert [float(v) for v in function(events, time, level)] == pytest.approx(known, rel=1e-10)


@pytest.mark.parametrize("level", [0.8, 0.95, 0.999])
@pytest.mark.parametrize("events", [1, 4, 60])
def test_mid_p_limits_solve_their_definition(events, level):
    def mid_tail(mean):
        return stats.poisson.sf(events, mean) + 0.5 * stats.poisson.pmf(events, mean)

    tails = (0.5 - 0.5 * level, 0.5 + 0.5 * level)
    slow = [optimize.brentq(lambda m, t=t: mid_tail(m) - t, 1e-9, 200, xtol=1e-13) for t in tails]
    assert [float(v) for v in rate_mid_p_limits(events, 1.0, level)] == pytest.approx(slow, abs=1e-9)


@pytest.mark.parametrize("method", METHODS)
@PROPERTY
@given(events=counts, time=times, factor=st.floats(0.01, 100))
def test_scaling_the_exposure_scales_the_rate(events, time, factor, method):
    first = rate(events=events, time=time, method=method)
    second = rate(events=events, time=time * factor, method=method)
    assert 0.0 <= first.lower <= first.value <= first.upper < math.inf
    assert (first.lower == 0.0) == (events == 0)
    scaled = [second.value * factor, second.lower * factor, second.upper * factor]
    assert [first.value, *limits(first)] == pytest.approx(scaled, rel=1e-9)


@pytest.mark.parametrize("function", [garwood_limits, rate_mid_p_limits, rate_score_limits])
def test_limits_rise_with_the_count(function):
    lower, upper = function(np.arange(40), np.full(40, 7.0))
    assert (np.diff(lower) > 0).all()
    assert (np.diff(upper) > 0).all()


def test_published_rate_ratio_with_exact_limits():
    known = example("rate-feychting")
    found = rate_ratio(**known.inputs, method="exact conditional")
    assert found.value == known.near(known.published["rr"])
    assert limits(found) == known.near(tuple(known.published["rr_ci"]))
    assert rate_difference(**known.inputs).value == known.near(known.published["rd"])


def test_reference_rate_ratio_with_exact_limits():
    known = example("rate-ratio-exact-eba")
    found = rate_ratio(**known.inputs, method="exact conditional")
    assert found.value == known.near(known.published["ratio"])
    assert limits(found) == known.near(tuple(known.published["ci"]))


def test_reference_rate_ratio_with_score_limits():
    known = example("rate-ratio-score")
    assert limits(rate_ratio(**known.inputs, method="score")) == known.near(tuple(known.published))


def test_published_score_limits_with_no_event_in_an_arm():
    known = example("rate-laud-mn")
    for i, row in enumerate(known.inputs["rows_k1_t1_k2_t2"]):
        difference = rate_difference(**arms(*row), per=1.0)
        assert limits(difference) == known.near(tuple(known.published["rd"][i]))
        ratio = rate_ratio(**arms(*row), method="score")
        assert limits(ratio) == known.near(tuple(float(v) for v in known.published["rr"][i]))


def test_published_points():
    known = example("rate-ratio-boice")
    assert rate_ratio(**known.inputs).value == pytest.approx(known.published["rr"], abs=0.005)
    difference = rate_difference(**known.inputs, per=100_000)
    assert difference.value == pytest.approx(known.published["rd"], abs=0.05)
    known = example("rate-ratio-kirkwood")
    inputs = known.inputs
    assert rate(events=inputs["events"], time=inputs["time"]).value == known.near(
        known.published["rate1_per1000"]
    )
    reference = rate(events=inputs["reference_events"], time=inputs["reference_time"])
    assert reference.value == known.near(known.published["rate2_per1000"])
    assert rate_ratio(**inputs).value == pytest.approx(known.published["rr"], abs=0.01)


@pytest.mark.parametrize("row", [(60, 51477.5, 30, 54308.7), (5, 56.0, 7, 29.0)])
def test_comparisons_agree_with_statsmodels(row):
    known = confint_poisson_2indep(*row, method="score", compare="ratio")
    # Its root search stops within 1e-7; the next test holds the limits to their equation.
    assert limits(rate_ratio(**arms(*row), method="score")) == pytest.approx(known, rel=1e-7)
    known = confint_poisson_2indep(*row, method="score", compare="diff")
    assert limits(rate_difference(**arms(*row), per=1.0)) == pytest.approx(known, abs=1e-8)


@PROPERTY
@given(st.integers(1, 200), times, st.integers(1, 200), times)
def test_score_limits_of_a_ratio_solve_the_score_equation(k1, t1, k2, t2):
    for limit, z in zip(limits(rate_ratio(**arms(k1, t1, k2, t2), method="score")), (1, -1), strict=True):
        found = rate_ratio_test(**arms(k1, t1, k2, t2), ratio=limit, method="score")
        assert found.statistic == pytest.approx(z * 1.959963984540054, rel=1e-8)


@ratio_methods
@PROPERTY
@given(counts, times, counts, times)
def test_swapping_the_arms_inverts_the_ratio(method, k1, t1, k2, t2):
    there = rate_ratio(**arms(k1, t1, k2, t2), method=method)
    back = rate_ratio(**arms(k2, t2, k1, t1), method=method)
    inverted = [math.inf if v == 0 else 0.0 if v == math.inf else 1 / v for v in (back.upper, back.lower)]
    assert list(limits(there)) == pytest.approx(inverted, rel=1e-8)
    if there.value is not None:
        assert there.lower <= there.value <= there.upper


@PROPERTY
@given(counts, times, counts, times)
def test_swapping_the_arms_swaps_the_sign_of_the_difference(k1, t1, k2, t2):
    there, back = rate_difference(**arms(k1, t1, k2, t2)), rate_difference(**arms(k2, t2, k1, t1))
    scale = 1000 * (1 / t1 + 1 / t2)
    assert limits(there) == pytest.approx((-back.upper, -back.lower), abs=1e-9 * scale)
    assert there.lower < there.value < there.upper


@PROPERTY
@given(counts, times, counts, times)
def test_difference_limits_solve_the_score_equation(k1, t1, k2, t2):
    """The restricted rates solve their own quadratic; z is then ±1.96 at the limits."""
    for limit, sign in zip(limits(rate_difference(**arms(k1, t1, k2, t2), per=1.0)), (1, -1), strict=True):
        low, k_low = abs(limit), k2 if limit >= 0 else k1
        roots = np.roots([t1 + t2, (t1 + t2) * low - (k1 + k2), -k_low * low])
        smaller = max(roots.real.max(), 0.0)
        r1, r2 = (smaller + limit, smaller) if limit >= 0 else (smaller, smaller - limit)
        contrast = k1 / t1 - k2 / t2 - limit
        assert contrast == pytest.approx(sign * 1.959963984540054 * math.sqrt(r1 / t1 + r2 / t2), rel=1e-6)


@ratio_methods
def test_open_ends(method):
    found = rate_ratio(**arms(4, 10.0, 0, 20.0), method=method)
    assert (found.value, found.upper) == (None, math.inf)
    assert 0 < found.lower < math.inf
    assert "reference" in found.note
    assert limits(rate_ratio(**arms(0, 10.0, 0, 20.0), method=method)) == (0.0, math.inf)
    assert rate_ratio(**arms(0, 10.0, 4, 20.0), method=method).lower == 0.0


def test_many_cells_equal_one_by_one():
    rows = [(0, 5.0, 0, 9.0), (3, 5.0, 0, 9.0), (3, 50.0, 8, 9.0)]
    columns = dict(
        zip(("events", "times", "reference_events", "reference_times"), zip(*rows, strict=True), strict=True)
    )
    np.testing.assert_allclose(
        np.stack(rate_difference_limits(**columns), axis=1),
        [limits(rate_difference(**arms(*row), per=1.0)) for row in rows],
        atol=1e-12,
    )
    np.testing.assert_allclose(
        np.stack(rate_ratio_limits(**columns), axis=1), [limits(rate_ratio(**arms(*row))) for row in rows]
    )


@pytest.mark.parametrize(
    ("change", "parameter"),
    [
        ({"time": 0.0}, "time"),
        ({"reference_time": -2.0}, "reference_time"),
        ({"time": math.inf}, "time"),
        ({"events": -1}, "events"),
        ({"reference_events": -1}, "reference_events"),
        ({"level": 2}, "level"),
    ],
)
@pytest.mark.parametrize("function", [rate_ratio, rate_difference])
def test_errors_of_comparisons_name_the_parameter(change, parameter, function):
    with pytest.raises(EstimatorError) as caught:
        function(**(arms(1, 10.0, 2, 10.0) | change))
    assert caught.value.parameter == parameter


@pytest.mark.parametrize(
    ("change", "parameter"),
    [({"time": 0}, "time"), ({"events": -1}, "events"), ({"per": 0}, "per"), ({"level": 0}, "level")],
)
@pytest.mark.parametrize("method", METHODS)
def test_errors_of_a_rate_name_the_parameter(change, parameter, method):
    with pytest.raises(EstimatorError) as caught:
        rate(**({"events": 1, "time": 10.0} | change), method=method)
    assert caught.value.parameter == parameter
