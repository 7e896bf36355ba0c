"""How far the figures can be trusted: what is due, what is there, what came late."""

from __future__ import annotations

from registry.choices import Outcome
from tests.outcomes.clinical_rows import measured
from tests.outcomes.rows import dataset, day, outcome, report

OVER = {"outcome": outcome(Outcome.TRANSPLANT), "outcome_at": day(3)}


def of(key: str, found: object) -> tuple[float | None, float | None]:
    figure = found.figure(key)  # type: ignore[attr-defined]
    return figure.numerator, figure.denominator


def test_what_is_due_is_asked_for() -> None:
    """One course over, one with its device out and no outcome, one going on; the first lacks its removal."""
    data = dataset(
        [OVER, {}, {}],
        [{"course": 1}, {"course": 2, "removed": day(2)}, {"course": 3}],
        days=[{"run": 1}] * 4 + [{"run": 2}] * 2,
    )
    conditions = [{"height_cm": 1800, "weight_kg": 800, "creatinine_umol_l": 90}, {"height_cm": 1700}]
    pressures = [{"course": 0, "measured": day(-0.2)}, {"course": 1, "measured": day(1)}]
    found = report(measured(data, conditions=conditions, pressures=pressures), "2026")

    assert of("quality.complete/ALL/outcome", found) == (0, 1)
    assert of("quality.complete/ALL/size", found) == (1, 3)
    assert of("quality.complete/ALL/creatinine", found) == (1, 3)
    assert of("quality.complete/ALL/pressures", found) == (1, 3)
    assert of("quality.complete/ALL/removal", found) == (0, 1)
    assert of("quality.complete/ALL/daily", found) == (1, 3)  # the second lay on three days
    assert of("quality.complete/ALL/follow-up", found) == (0, 1)


def test_a_state_after_therapy_is_known_of_the_dead_and_of_those_seen_late_enough() -> None:
    therapy_day = 20_457
    data = dataset([OVER] * 4, [{"course": n, "removed": day(3)} for n in (1, 2, 3, 4)])
    aftermath = [
        {"alive_on": therapy_day + 30}, {"alive_on": therapy_day + 29}, {"died_on": therapy_day + 2}, {},
    ]  # fmt: skip
    assert of("quality.complete/ALL/follow-up", report(measured(data, aftermath=aftermath), "2026")) == (2, 4)


def test_events_not_reviewed_refuted_and_late() -> None:
    data = dataset(
        [{}],
        [{"course": 1, "removed": day(9)}],
        events=[{"course": 1, "onset": day(n), "review": n} for n in (0, 1, 2)],
    )
    found = report(measured(data, late=[0, 2]), "2026")
    assert of("quality.events/ALL/unreviewed", found) == (1, 3)
    assert of("quality.events/ALL/refuted", found) == (1, 3)
    assert of("quality.events/ALL/late", found) == (2, 3)
    assert found.figure("quality.events/ALL/late").cases.numerator[0].pks == (1, 3)
