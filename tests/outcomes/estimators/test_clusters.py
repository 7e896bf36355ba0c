import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.clusters import clustered_proportion, design_effect
from outcomes.estimators.proportions import proportion
from tests.outcomes.estimators.published_counts import PROPERTY, example, limits


@pytest.mark.parametrize("group", ["CTRL", "TREAT"])
def test_published_litters(group):
    known = example("prop-cluster-ratio-rats")
    found, expected = clustered_proportion(**known.inputs[group]), known.published[group]
    assert found.value == known.near(expected["p"])
    assert found.standard_error == known.near(expected["se"])
    assert found.design_effect == known.near(expected["deff"])
    assert found.clusters == expected["clusters"]


def test_published_design_effect():
    known = example("prop-design-effect")
    effect = design_effect(
        intracluster_correlation=known.inputs["icc"], cluster_size=known.inputs["cluster_size"]
    )
    assert effect == pytest.approx(known.published["deff"])
    events, total = known.inputs["events"], known.inputs["total"]
    assert limits(proportion(events=events, total=total)) == known.near(tuple(known.published["ci_srs"]))
    effective = proportion(events=round(events / effect), total=round(total / effect))
    assert limits(effective) == known.near(tuple(known.published["ci"]))


def test_limits_are_wilsons_for_effective_runs_and_t():
    known = example("prop-cluster-ratio-rats")
    found = clustered_proportion(**known.inputs["TREAT"])
    runs, t = 145 / known.published["TREAT"]["deff"], stats.t.ppf(0.975, 15)
    for limit in limits(found):
        assert (found.value - limit) ** 2 == pytest.approx(t**2 * limit * (1 - limit) / runs)


def test_alike_runs_of_a_patient_count_once():
    """Whole patients with or without the event: as many observations as patients, but for m/(m - 1)."""
    events, sizes = [4, 4, 4, 0, 0, 0, 0, 0], [4] * 8
    found = clustered_proportion(events=events, sizes=sizes)
    assert found.design_effect == pytest.approx(4 * 8 / 7)


@pytest.mark.parametrize("events", [[0, 0, 0], [2, 1, 3]])
def test_no_event_or_nothing_else_counts_patients(events):
    found = clustered_proportion(events=events, sizes=[2, 1, 3])
    assert (found.design_effect, found.standard_error) == (None, None)
    assert "each patient" in found.note
    assert 0.0 <= found.lower <= found.value <= found.upper <= 1.0
    assert found.upper - found.lower > 0.5


def test_even_spread_is_never_taken_for_more_runs_than_there_are():
    found = clustered_proportion(events=[5, 5, 5, 6], sizes=[10, 10, 10, 10])
    independent = proportion(events=21, total=40)
    assert found.design_effect < 1
    assert found.lower < independent.lower
    assert found.upper > independent.upper


patients = st.lists(
    st.integers(1, 6).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), min_size=2, max_size=30
)


@PROPERTY
@given(patients, st.randoms(use_true_random=False))
def test_order_of_patients_does_not_matter(rows, random):
    shuffled = random.sample(rows, len(rows))
    first, second = (
        clustered_proportion(events=[y for y, _ in r], sizes=[n for _, n in r]) for r in (rows, shuffled)
    )
    assert 0.0 <= first.lower <= first.value <= first.upper <= 1.0
    assert limits(first) == pytest.approx(limits(second), abs=1e-12)


@pytest.mark.parametrize(
    ("events", "sizes", "parameter"),
    [([1], [2], "sizes"), ([1, 2], [2], "sizes"), ([1, 1], [2, 0], "sizes"), ([3, 1], [2, 2], "events")],
)
def test_errors_name_the_parameter(events, sizes, parameter):
    with pytest.raises(EstimatorError) as caught:
        clustered_proportion(events=events, sizes=sizes)
    assert caught.value.parameter == parameter


def test_correlation_beyond_1_is_refused():
    with pytest.raises(EstimatorError, match=r"^intracluster_correlation:"):
        design_effect(intracluster_correlation=1.2, cluster_size=3)
