"""Published outcome figures, recomputed by the report from their numerators and denominators.

Percentages as printed in the papers. Wilson limits were computed from the same counts outside this project
with ``statsmodels.stats.proportion.proportion_confint(method="wilson")``.
"""

from __future__ import annotations

import pytest

from registry.choices import EndReason, ExchangeReason, Intent, Outcome, Relation
from registry.choices_events import EventKind
from tests.outcomes.rows import (
    courses_with_outcomes,
    dataset,
    day,
    end_reason,
    exchange_reason,
    intent,
    kind,
    outcome,
    relation,
    report,
)

ESTEP = "Estep JD et al., JACC Heart Fail 2013;1:382-388, doi:10.1016/j.jchf.2013.06.002"
BHIMARAJ = "Bhimaraj A et al., JACC Heart Fail 2020;8:313-323"
NISHIDA = "Nishida H et al., Ann Thorac Surg 2021;111:1264-1270, doi:10.1016/j.athoracsur.2020.06.077"
AORTIC = "Nishida H et al., Ann Vasc Surg 2022 (S0890-5096(21)01052-9)"
AGRAWAL = "Agrawal T et al., J Card Fail 2018;24(8S):S119-S120"
TANAKA = "Tanaka A et al., Ann Thorac Surg 2015 (PMID 26228596)"
RUSSO = "Russo MJ et al., J Thorac Cardiovasc Surg 2012;144:951-955, doi:10.1016/j.jtcvs.2012.03.007"
VASCULAR = "Ann Thorac Surg 1994;58:1476-1480 (PMID 7979678)"
ASIS_TC = "ASIS-TC, Rev Esp Cardiol 2019;72:835-843"


@pytest.mark.parametrize(
    ("source", "code", "events", "total", "printed", "wilson"),
    [
        (ESTEP, EventKind.REPOSITION, 22, 50, 44.0, (31.16, 57.69)),
        (AORTIC, EventKind.VASCULAR, 6, 199, 3.0, (1.39, 6.42)),
        (AGRAWAL, EventKind.VISCERAL, 5, 75, 6.7, (2.88, 14.68)),
        (NISHIDA, EventKind.NEURO, 4, 133, 3.0, (1.18, 7.48)),
        (TANAKA, EventKind.INFECTION, 2, 88, 2.3, (0.63, 7.91)),
        (TANAKA, EventKind.BLEEDING, 4, 88, 4.5, (1.78, 11.11)),
        (VASCULAR, EventKind.ACCESS_SITE, 78, 449, 17.4, (14.15, 21.15)),
    ],
)
def test_patients_with_a_complication(
    source: str, code: EventKind, events: int, total: int, printed: float, wilson: tuple[float, float]
) -> None:
    courses, runs = courses_with_outcomes({Outcome.TRANSPLANT: total})
    # Every patient twice: a second event must not change the share of patients.
    happened = [
        {"course": n, "kind": kind(code), "onset": day(2 + k)} for n in range(1, events + 1) for k in (0, 1)
    ]
    measure = "repositions" if code == EventKind.REPOSITION else "complications"
    figure = report(dataset(courses, runs, events=happened)).figure(
        f"{measure}/AXILLARY/{code.value}/patients"
    )

    assert (figure.numerator, figure.denominator) == (events, total), source
    assert 100 * figure.estimate == pytest.approx(printed, abs=0.05)
    assert (100 * figure.lower, 100 * figure.upper) == pytest.approx(wilson, abs=0.005)


@pytest.mark.parametrize(
    ("source", "code", "counts", "printed", "wilson"),
    [
        (ESTEP, Outcome.TRANSPLANT, (42, 50), 84.0, (71.49, 91.66)),
        (ESTEP, Outcome.DIED, (4, 50), 8.0, (3.15, 18.84)),
        (NISHIDA, Outcome.TRANSPLANT, (122, 133), 91.7, (85.80, 95.32)),
        (NISHIDA, Outcome.DIED, (2, 133), 1.5, (0.41, 5.32)),
        (RUSSO, Outcome.DIED, (0, 20), 0.0, (0.0, 16.11)),
        (ASIS_TC, Outcome.TRANSPLANT, (194, 281), 69.0, (63.41, 74.16)),
        (ASIS_TC, Outcome.DIED, (20, 281), 7.1, (4.65, 10.74)),
        (ASIS_TC, Outcome.WITHDRAWN, (32, 281), 11.4, (8.18, 15.63)),
    ],
)
def test_final_outcomes(
    source: str, code: Outcome, counts: tuple[int, int], printed: float, wilson: tuple[float, float]
) -> None:
    some, total = counts
    rest = Outcome.WEANED
    courses, runs = courses_with_outcomes({code: some, rest: total - some})
    figure = report(dataset(courses, runs)).figure(f"outcomes/ALL/{code.value}")

    assert (figure.numerator, figure.denominator) == counts, source
    assert 100 * figure.estimate == pytest.approx(printed, abs=0.06)
    assert (100 * figure.lower, 100 * figure.upper) == pytest.approx(wilson, abs=0.005)


def test_bridge_incidence_equals_the_published_shares_once_every_course_is_over() -> None:
    """Bhimaraj 2020: 195 = 120 transplant + 13 durable pump + 16 died + 18 escalated + 28 removed."""
    counts = {Outcome.TRANSPLANT: 120, Outcome.DURABLE: 13, Outcome.DIED: 16 + 18, Outcome.WEANED: 28}
    courses, runs = courses_with_outcomes(counts, days=19)
    for run in runs[133 + 16 : 133 + 34]:  # the last 18 of those that died had been escalated before
        run |= {"removed": day(12), "end_reason": end_reason(EndReason.ESCALATION)}
    found = report(dataset(courses, runs))

    printed = {"escalated": 9.2, "died": 8.2, "weaned": 14.4}
    for item, share in printed.items():
        assert 100 * found.figure(f"bridge/ALL/{item}/day-90").estimate == pytest.approx(share, abs=0.05)
    replaced = sum(found.figure(f"bridge/ALL/{item}/day-90").estimate for item in ("transplant", "durable"))
    assert 100 * replaced == pytest.approx(68.2, abs=0.05)
    # The final outcome of those escalated is what became of them, not the escalation.
    assert found.figure("outcomes/ALL/DIED_ON_SUPPORT").numerator == 34


def test_bridge_to_the_intended_therapy() -> None:
    """Ten-year axillary series, 2009-2019: 132/146 + 60/66 + 17/29 = 209/241 = 86.7 % (abstract: BTT 90.4 %,
    durable pump 90.9 %, recovery 58.6 %)."""
    wanted = [
        (Intent.TRANSPLANT, Outcome.TRANSPLANT, 132, 146),
        (Intent.DURABLE, Outcome.DURABLE, 60, 66),
        (Intent.RECOVERY, Outcome.WEANED, 17, 29),
    ]
    courses, runs = courses_with_outcomes({Outcome.DIED: 241})
    place = iter(courses)
    for planned, reached, some, total in wanted:
        for n in range(total):
            row = next(place)
            row["intent"] = intent(planned)
            if n < some:
                row["outcome"] = outcome(reached)
    figure = report(dataset(courses, runs)).figure("success/ALL/intended")

    assert (figure.numerator, figure.denominator) == (209, 241)
    assert 100 * figure.estimate == pytest.approx(86.7, abs=0.05)


def test_any_bridge() -> None:
    """Tanaka 2015: 57/61 + 20/21 + 3/6 = 80/88 went on to their next therapy."""
    courses, runs = courses_with_outcomes(
        {Outcome.TRANSPLANT: 57, Outcome.DURABLE: 20, Outcome.WEANED: 3, Outcome.DIED: 8}
    )
    figure = report(dataset(courses, runs)).figure("success/ALL/any")

    assert (figure.numerator, figure.denominator) == (80, 88)
    assert (100 * figure.lower, 100 * figure.upper) == pytest.approx((83.07, 95.32), abs=0.005)


@pytest.mark.parametrize(
    ("events", "printed", "exact"),
    [(22, 7.2, (4.50, 10.87)), (80, 26.0, (20.71, 32.51))],
)
def test_events_per_1000_device_days(events: int, printed: float, exact: tuple[float, float]) -> None:
    """ASIS-TC, Rev Esp Cardiol 2019;72:835-843: 281 patients with a mean of 10.9 days, hence 3,062.9 days;
    printed 7.2 (4.5-10.8) explants and 26 (20.6-32.4) events. The paper's own person-days differ in the
    last digit. Exact limits from ``statsmodels.stats.rates.confint_poisson(method="exact-c")``.
    """
    courses, runs = courses_with_outcomes({Outcome.TRANSPLANT: 281}, days=10.9)
    happened = [
        {"course": 1 + n % 281, "kind": kind(EventKind.OTHER), "onset": day(3)} for n in range(events)
    ]
    figure = report(dataset(courses, runs, events=happened)).figure("complications/ALL/OTHER/rate")

    assert figure.denominator == pytest.approx(3062.9, abs=1e-9)
    assert figure.estimate == pytest.approx(printed, abs=0.15)
    assert (figure.lower, figure.upper) == pytest.approx(exact, abs=0.005)


def test_exchanges_are_not_new_patients() -> None:
    """Open axillary series, 2017-2021 (abstract): 10 patients with one exchange and 2 with two among 42,
    hence 14 exchanges and 56 runs. 14/42 is exchanges per 100 patients; 12/42 is patients with an exchange.
    """
    courses, runs = courses_with_outcomes({Outcome.TRANSPLANT: 42}, days=19)
    first_of = list(runs)
    swaps = [1] * 10 + [2] * 2
    for course, times in enumerate(swaps, start=1):
        before = first_of[course - 1]
        for n in range(times):
            before["removed"] = day(4 * (n + 1))
            before = {
                "course": course,
                "run_no": n + 2,
                "inserted": day(4 * (n + 1)),
                "removed": day(19),
                "end_reason": end_reason(EndReason.TRANSPLANT),
                "relation": relation(Relation.SAME_SITE),
                "exchange_reason": exchange_reason(ExchangeReason.KINK),
            }
            runs.append(before)
    found = report(dataset(courses, runs))

    begun = {
        item: found.figure(f"volume.begun/ALL/{item}").numerator for item in ("patients", "courses", "runs")
    }
    assert begun == {"patients": 42, "courses": 42, "runs": 56}
    patients, per_100 = found.figure("exchanges/ALL/patients"), found.figure("exchanges/ALL/per-100")
    assert (patients.numerator, patients.denominator, patients.counted) == (12, 42, "patients")
    assert (100 * patients.lower, 100 * patients.upper) == pytest.approx((17.17, 43.57), abs=0.005)
    assert (per_100.numerator, per_100.denominator) == (14, 42)
    assert per_100.estimate == pytest.approx(33.33, abs=0.005)
    assert per_100.lower is None
    assert "no interval" in per_100.note


def test_share_that_walked() -> None:
    """Chen S et al., femoral pumps with a tilt-table protocol: 19 of 24 walked (79.2 %), median day 3."""
    courses, runs = courses_with_outcomes({Outcome.TRANSPLANT: 24}, days=12, route=1)
    walks = [{"course": n, "started": day(3), "level": 7} for n in range(1, 20)]
    found = report(dataset(courses, runs, sessions=walks))

    assert 100 * found.figure("mobilisation.course/FEMORAL/walk/day-7").estimate == pytest.approx(
        79.2, abs=0.05
    )
    assert found.figure("mobilisation.course/FEMORAL/walk/day-2").estimate == 0
