import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from outcomes.estimators import cusum
from outcomes.estimators.base import EstimatorError
from outcomes.estimators.cusum import Increments, run_length
from tests.outcomes.estimators.weighting_charts_data import PUBLISHED

# Published values ----------------------------------------------------------------------------------------


def test_published_risk_adjusted_weights():
    case = PUBLISHED["racusum-steiner"]
    risks = 1.0 / (1.0 + np.exp(3.68 - 0.077 * np.array(case["inputs"]["scores"])))
    for event, name in ((0, "survive"), (1, "die")):
        weights = cusum.risk_adjusted_weights([event] * 2, risks, odds_ratio=case["inputs"]["R"])
        assert weights == pytest.approx(case["published"][name], abs=case["tolerance"])


def test_published_bernoulli_run_lengths():
    case = PUBLISHED["bernoulli-cusum-arl"]
    for p, published in zip(case["inputs"]["p"], case["published"], strict=True):
        increments = Increments(np.array([5.0, -1.0]), np.array([p, 1.0 - p]))
        assert run_length(increments, 15.0, states=15).mean == pytest.approx(published, abs=case["tolerance"])


@pytest.mark.parametrize(("start", "name"), [(0.0, "zero_start"), (5.0, "headstart_5")])
def test_published_poisson_run_lengths(start, name):
    case = PUBLISHED["poisson-cusum-arl-lucas"]
    number = np.arange(40)
    increments = Increments(number - case["inputs"]["k"], stats.poisson.pmf(number, case["inputs"]["mu"]))
    result = run_length(increments, case["inputs"]["h"], start=start, states=40)
    assert result.mean == pytest.approx(case["published"][name], abs=case["tolerance"])


def test_published_normal_run_lengths():
    case = PUBLISHED["normal-cusum-arl-brook-evans"]
    states = 400
    step = 2.0 * case["inputs"]["h"] / (2 * states - 1)
    places = np.arange(-4_000, 4_001)
    for mean, published in zip(case["inputs"]["mu"], case["published"], strict=True):
        edges = (np.append(places, places[-1] + 1) - 0.5) * step
        chances = np.diff(stats.norm.cdf(edges, loc=mean - case["inputs"]["k"]))
        found = run_length(Increments(places * step, chances), states * step, states=states).mean
        assert found == pytest.approx(published, abs=case["tolerance"])


# Charts --------------------------------------------------------------------------------------------------


def test_the_chart_resets_after_a_signal():
    chart = cusum.risk_adjusted_cusum([1, 1, 1, 1], [0.1] * 4, odds_ratio=2.0, threshold=1.0)
    step = np.log(2.0) - np.log(1.1)
    assert [point.total for point in chart.points] == pytest.approx([step, 2 * step, step, 2 * step])
    assert chart.signals == (1, 3)


def test_a_total_on_the_threshold_signals():
    weight = float(cusum.poisson_weights([3], [1.0], rate_ratio=2.0)[0])
    assert cusum.poisson_cusum([3], [1.0], rate_ratio=2.0, threshold=weight).signals == (0,)


def test_a_ratio_below_one_looks_for_better_results():
    chart = cusum.risk_adjusted_cusum([0] * 30, [0.2] * 30, odds_ratio=0.5, threshold=2.0)
    assert chart.signals
    assert not cusum.risk_adjusted_cusum([0] * 30, [0.2] * 30, odds_ratio=2.0, threshold=2.0).signals


def test_poisson_weights_are_log_likelihood_ratios():
    events, expected = np.array([0, 1, 4]), np.array([0.5, 1.0, 2.0])
    ratio = stats.poisson.logpmf(events, 1.5 * expected) - stats.poisson.logpmf(events, expected)
    assert cusum.poisson_weights(events, expected, rate_ratio=1.5) == pytest.approx(ratio, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(
    rows=st.lists(st.tuples(st.booleans(), st.floats(0.01, 0.9)), min_size=1, max_size=60),
    odds=st.sampled_from([0.5, 1.5, 2.0, 4.0]),
    threshold=st.floats(0.3, 4.0),
    head_start=st.booleans(),
)
def test_between_signals_the_chart_starts_anew(rows, odds, threshold, head_start):
    events, risks = (np.array(column) for column in zip(*rows, strict=True))
    start = threshold / 2.0 if head_start else 0.0
    common = {"odds_ratio": odds, "threshold": threshold, "start": start}
    chart = cusum.risk_adjusted_cusum(events, risks, **common)
    assert all(point.total >= 0.0 for point in chart.points)
    assert all(point.signal == (place in chart.signals) for place, point in enumerate(chart.points))
    if chart.signals and chart.signals[0] + 1 < len(rows):
        after = chart.signals[0] + 1
        rest = cusum.risk_adjusted_cusum(events[after:], risks[after:], **common)
        assert rest.points == chart.points[after:]


# Run lengths ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("true_odds_ratio", [1.0, 2.0])
def test_run_length_agrees_with_simulation(true_odds_ratio):
    random = np.random.default_rng(7)
    risks = random.beta(2.0, 10.0, 200)
    charts, total = 4_000, np.zeros(4_000)
    lengths, running = np.zeros(charts), np.ones(charts, dtype=bool)
    while running.any():
        risk = random.choice(risks, charts)
        chance = true_odds_ratio * risk / (1.0 + (true_odds_ratio - 1.0) * risk)
        weight = cusum.risk_adjusted_weights(random.random(charts) < chance, risk, odds_ratio=2.0)
        total = np.maximum(0.0, total + weight)
        lengths += running
        running &= total < 2.0
    increments = cusum.binary_increments(risks, odds_ratio=2.0, true_odds_ratio=true_odds_ratio)
    error = lengths.std() / np.sqrt(charts)
    assert run_length(increments, 2.0).mean == pytest.approx(lengths.mean(), abs=4.0 * error)


def test_increments_have_the_chances_of_the_model():
    binary = cusum.binary_increments([0.1, 0.4], odds_ratio=2.0, shares=[3.0, 1.0])
    assert binary.chances.sum() == pytest.approx(1.0)
    assert binary.chances[2:].sum() == pytest.approx(0.75 * 0.1 + 0.25 * 0.4)
    assert np.exp(binary.values) @ binary.chances == pytest.approx(1.0)  # a likelihood ratio averages to 1
    poisson = cusum.poisson_increments([0.5, 3.0], rate_ratio=1.5)
    assert poisson.chances.sum() == pytest.approx(1.0)
    assert np.exp(poisson.values) @ poisson.chances == pytest.approx(1.0)
    worse = cusum.poisson_increments([2.0], rate_ratio=2.0, true_rate_ratio=2.0)
    assert worse.values @ worse.chances == pytest.approx(4.0 * np.log(2.0) - 2.0)


@pytest.mark.parametrize("wanted", [50.0, 1_000.0])
@pytest.mark.parametrize("start", [0.0, 0.5])
def test_the_threshold_is_the_lowest_that_runs_long_enough(wanted, start):
    increments = cusum.binary_increments([0.05, 0.1, 0.2], odds_ratio=2.0)
    found = cusum.threshold_for(increments, wanted, start=start)
    assert found.mean >= wanted
    assert found.step == pytest.approx(0.01)
    shorter = run_length(increments, found.threshold - 0.01, start=start, states=found.states - 1)
    assert shorter.mean < wanted


def test_a_worse_process_signals_sooner():
    lengths = [
        run_length(cusum.poisson_increments([1.0], rate_ratio=2.0, true_rate_ratio=true), 3.0).mean
        for true in (1.0, 1.5, 2.0, 3.0)
    ]
    assert lengths == sorted(lengths, reverse=True)


@pytest.mark.parametrize(
    ("call", "parameter"),
    [
        (lambda: cusum.risk_adjusted_weights([1], [1.0], odds_ratio=2.0), "risks"),
        (lambda: cusum.risk_adjusted_weights([1], [0.1], odds_ratio=1.0), "odds_ratio"),
        (lambda: cusum.poisson_weights([1], [0.1], rate_ratio=0.0), "rate_ratio"),
        (lambda: cusum.poisson_cusum([1], [0.1], rate_ratio=2.0, threshold=0.0), "threshold"),
        (lambda: cusum.poisson_cusum([1], [0.1], rate_ratio=2.0, threshold=1.0, start=1.0), "start"),
        (lambda: cusum.binary_increments([0.1], odds_ratio=2.0, true_odds_ratio=0.0), "true_odds_ratio"),
        (lambda: cusum.binary_increments([0.1], odds_ratio=2.0, shares=[0.0]), "shares"),
        (lambda: cusum.poisson_increments([0.0], rate_ratio=2.0), "expected"),
        (lambda: cusum.poisson_increments([1.0], rate_ratio=2.0, true_rate_ratio=0.0), "true_rate_ratio"),
        (lambda: run_length(Increments(np.array([-1.0]), np.ones(1)), 2.0), "increments"),
        (lambda: run_length(cusum.binary_increments([0.1], odds_ratio=2.0), 2.0, states=0), "states"),
        (lambda: cusum.threshold_for(cusum.binary_increments([0.1], odds_ratio=2.0), 0.5), "wanted"),
        (
            lambda: cusum.threshold_for(cusum.binary_increments([0.1], odds_ratio=2.0), 1e6, step=1e-4),
            "wanted",
        ),
    ],
)
def test_refusals_name_the_parameter(call, parameter):
    with pytest.raises(EstimatorError) as refusal:
        call()
    assert refusal.value.parameter == parameter
