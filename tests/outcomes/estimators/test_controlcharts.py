from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from outcomes.estimators import controlcharts as charts
from outcomes.estimators.base import EstimatorError
from tests.outcomes.estimators.weighting_charts_data import PUBLISHED, table

LIMITS_ONLY = ("beyond limit",)


def _signals(chart):
    return [signal.last for signal in chart.signals]


# Published values ----------------------------------------------------------------------------------------


def test_published_p_chart():
    case, data = PUBLISHED["pchart-nist"], table("pchart_montgomery7_1_nist.csv")
    published, tolerance = case["published"], case["tolerance"]
    baseline = charts.p_baseline(data["nonconforming"], data["n"])
    chart = charts.p_chart(data["nonconforming"], data["n"], baseline, rules=LIMITS_ONLY)
    assert chart.centre == pytest.approx(published["pbar"], abs=tolerance)
    assert chart.points[0].upper == pytest.approx(published["ucl"], abs=tolerance)
    assert chart.points[0].lower == pytest.approx(published["lcl"], abs=tolerance)
    assert [data["sample"][place] for place in _signals(chart)] == published["signals"]
    kept = ~data["sample"].isin(published["signals"])
    revised = charts.p_baseline(data["nonconforming"][kept], data["n"][kept])
    chart = charts.p_chart(data["nonconforming"], data["n"], revised, rules=LIMITS_ONLY)
    assert chart.centre == pytest.approx(published["pbar_rev"], abs=tolerance)
    assert chart.points[0].upper == pytest.approx(published["ucl_rev"], abs=tolerance)
    assert chart.points[0].lower == pytest.approx(published["lcl_rev"], abs=tolerance)


def test_published_c_chart_and_the_point_on_its_limit():
    published, data = PUBLISHED["cchart-nist"]["published"], table("cchart_nist331.csv")
    chart = charts.c_chart(data["defects"], charts.c_baseline(data["defects"]), rules=LIMITS_ONLY)
    assert (chart.centre, chart.points[0].upper, chart.points[0].lower) == pytest.approx(
        (published["cbar"], published["ucl"], published["lcl"]), abs=1e-9
    )
    assert [data["wafer"][place] for place in _signals(chart)] == published["signals"]
    assert chart.points[2].value == pytest.approx(chart.points[2].upper)  # wafer 3 is on the limit


def test_published_u_chart_with_varying_exposure():
    case, data = PUBLISHED["uchart-montgomery75-variable"], table("uchart_montgomery7_5_dyedcloth.csv")
    published, tolerance = case["published"], case["tolerance"]
    baseline = charts.u_baseline(data["count"], data["inspection_units"])
    chart = charts.u_chart(data["count"], data["inspection_units"], baseline)
    assert chart.centre == pytest.approx(published["ubar"], abs=tolerance)
    assert [point.upper for point in chart.points] == pytest.approx(published["ucl"], abs=tolerance)
    assert [point.lower for point in chart.points] == pytest.approx(published["lcl"], abs=tolerance)
    assert chart.signals == ()


def test_g_chart_formula():
    case = PUBLISHED["gchart-formula"]
    baseline = charts.g_baseline(case["inputs"]["between"])
    chart = charts.g_chart(case["inputs"]["between"], baseline, limits="three sigma")
    found = (chart.centre, chart.points[0].upper, chart.points[0].lower)
    expected = tuple(case["published"][name] for name in ("centre", "ucl", "lcl"))
    assert found == pytest.approx(expected, abs=1e-8)


# Gaps ----------------------------------------------------------------------------------------------------


def test_the_event_chance_is_unbiased():
    """Sum over every possible total gap of three events; (M - 1) / (M + sum), also in print, falls short."""
    p, total = 0.2, np.arange(0, 400)
    chance = stats.nbinom.pmf(total, 3, p)
    found = []
    for gap in total[1:]:
        baseline = charts.Baseline(kind="g", centre=gap / 3, events=3, exposure=float(gap), periods=3)
        found.append(charts.unbiased_event_chance(baseline))
    assert chance[0] + chance[1:] @ np.array(found) == pytest.approx(p, abs=1e-9)
    assert chance @ (2.0 / (3.0 + total)) < p - 0.02


@pytest.mark.parametrize("mean", [0.5, 3.0, 20.0, 800.0])
def test_g_probability_limits_leave_the_stated_tails(mean):
    baseline = charts.Baseline(kind="g", centre=mean, events=10, exposure=10 * mean, periods=10)
    point = charts.g_chart([1], baseline).points[0]
    geometric = stats.geom(1.0 / (1.0 + mean), loc=-1)
    tail = charts.FALSE_ALARM / 2.0
    assert geometric.sf(point.upper) <= tail < geometric.sf(point.upper - 1)
    assert geometric.cdf(point.lower - 1) <= tail < geometric.cdf(point.lower)
    zeros = charts.zeros_that_signal(baseline)
    assert geometric.pmf(0) ** zeros <= tail
    assert zeros == 1 or geometric.pmf(0) ** (zeros - 1) > tail


def test_a_run_of_zeros_signals():
    baseline = charts.g_baseline([10, 14, 12, 13, 11])  # two zeros have a chance of 1/169
    assert charts.zeros_that_signal(baseline) == 3
    chart = charts.g_chart([5, 0, 0, 0, 0, 7], baseline, rules=["run of zeros"])
    assert [(signal.first, signal.last, signal.side) for signal in chart.signals] == [
        (1, 3, "below"),
        (2, 4, "below"),
    ]


def test_g_scores_have_the_median_as_centre():
    """Five in eight geometric gaps lie below their mean, so runs are counted from the median."""
    baseline = charts.Baseline(kind="g", centre=10.0, events=20, exposure=200.0, periods=20)
    chart = charts.g_chart([8] * 8, baseline, rules=["run of eight"])
    assert [signal.side for signal in chart.signals] == ["above"]  # below the mean of 10, above the median


def test_t_chart_by_hand():
    days = [10.0, 20.0, 5.0, 30.0, 12.0]
    moved = [d ** (1 / 3.6) for d in days]
    mean = sum(moved) / 5
    moving = sum(abs(a - b) for a, b in pairwise(moved)) / 4
    reach = 3 * moving / (2 / np.sqrt(np.pi))
    chart = charts.t_chart([*days, 3_000.0], charts.t_baseline(days))
    assert chart.points[0].upper == pytest.approx((mean + reach) ** 3.6)
    assert chart.points[0].lower == pytest.approx(max(0.0, mean - reach) ** 3.6)
    assert chart.centre == pytest.approx(mean**3.6)
    assert _signals(chart) == [5]


# Rules of use --------------------------------------------------------------------------------------------


def test_limits_come_from_the_frozen_baseline_alone():
    baseline = charts.u_baseline([2, 3, 1], [1.0, 1.2, 0.9])
    first = charts.u_chart([2, 3], [1.0, 2.0], baseline)
    later = charts.u_chart([2, 3, 40], [1.0, 2.0, 1.0], baseline)
    assert later.points[:2] == first.points
    assert _signals(later) == [2]
    assert (baseline.events, baseline.periods) == (6, 3)


def test_a_period_without_exposure_has_no_value_and_breaks_no_run():
    baseline = charts.u_baseline([10], [10.0])
    events, days = [2] * 4 + [0] + [2] * 4, [1.0] * 4 + [0.0] + [1.0] * 4
    chart = charts.u_chart(events, days, baseline, rules=["run of eight"])
    assert chart.points[4].value is None
    assert chart.points[4].upper is None
    assert [(signal.first, signal.last) for signal in chart.signals] == [(0, 8)]


def test_limits_stay_within_the_possible():
    chart = charts.p_chart([1, 3], [3, 3], charts.p_baseline([2, 2], [3, 3]))
    assert (chart.points[0].lower, chart.points[0].upper) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("call", "parameter"),
    [
        (lambda: charts.p_baseline([4], [3]), "events"),
        (lambda: charts.p_baseline([3], [3]), "events"),
        (lambda: charts.c_baseline([0, 0]), "events"),
        (lambda: charts.u_baseline([1], [0.0]), "events"),
        (lambda: charts.g_baseline([3]), "between"),
        (lambda: charts.t_baseline([3.0, 3.0]), "days_between"),
        (lambda: charts.p_chart([1], [3], charts.c_baseline([1])), "baseline"),
        (lambda: charts.c_chart([1], charts.c_baseline([1]), rules=["seven"]), "rules"),
        (lambda: charts.g_chart([1], charts.g_baseline([1, 2]), limits="two sigma"), "limits"),
    ],
)
def test_refusals_name_the_parameter(call, parameter):
    with pytest.raises(EstimatorError) as refusal:
        call()
    assert refusal.value.parameter == parameter


@settings(max_examples=50, deadline=None)
@given(
    rows=st.lists(st.tuples(st.integers(0, 20), st.floats(0.5, 50.0)), min_size=2, max_size=20),
    unit=st.sampled_from([24.0, 1_000.0]),
)
def test_the_unit_of_exposure_does_not_matter(rows, unit):
    events, days = (np.array(column) for column in zip(*rows, strict=True))
    if not events.any():
        return
    plain = charts.u_chart(events, days, charts.u_baseline(events, days))
    scaled = charts.u_chart(events, days * unit, charts.u_baseline(events, days * unit))
    assert scaled.signals == plain.signals
    assert [p.upper * unit for p in scaled.points] == pytest.approx([p.upper for p in plain.points])
