"""Life after transplant or durable pump: whose day counts, survival by hand, days to leaving hospital."""

from __future__ import annotations

from typing import Any

import pytest

from outcomes.dataset import codes
from outcomes.report import Report
from registry.choices import Outcome, Severity
from tests.outcomes.clinical_rows import measured
from tests.outcomes.rows import dataset, day, outcome, report

THERAPY_DAY = 20_454 + 10  # 11-Jan-2026, as days since 1970


def after(*aftermath: dict[str, Any], therapy: Outcome = Outcome.TRANSPLANT) -> Report:
    """Courses that all had their therapy on 11-Jan-2026, with what came afterwards."""
    courses = [{"outcome": outcome(therapy), "outcome_at": day(10)} for _ in aftermath]
    runs = [{"course": n, "removed": day(10)} for n in range(1, len(aftermath) + 1)]
    shifted = [{k: THERAPY_DAY + v if k.endswith("_on") else v for k, v in row.items()} for row in aftermath]
    return report(measured(dataset(courses, runs), aftermath=shifted), "2026-Q1")


def test_survival_by_hand() -> None:
    """Deaths on days 10 and 40 among five, one last seen on day 20: 4/5 at 30 days, 4/5 times 2/3 later."""
    found = after({"died_on": 10}, {"alive_on": 20}, {"died_on": 40}, {"alive_on": 400}, {"alive_on": 400})
    early, late = (found.figure(f"after.survival/ALL/transplant/day-{day}") for day in (30, 365))
    assert (early.estimate, early.numerator, early.denominator) == (pytest.approx(0.8), 3, 5)
    assert late.estimate == pytest.approx(0.8 * 2 / 3)
    curve = found.curve("after.survival/ALL/transplant")
    assert (curve.days, curve.estimate) == ((10.0, 40.0), pytest.approx((0.8, 0.8 * 2 / 3)))
    assert curve.quantity == "alive"
    assert found.figure("after.survival/ALL/durable/day-30").note.startswith("not estimable")


def test_nothing_is_said_beyond_the_longest_follow_up() -> None:
    late = after({"alive_on": 100}, {"died_on": 50}).figure("after.survival/ALL/transplant/day-365")
    assert (late.estimate, late.note) == (None, "not estimable: nobody was followed beyond day 100")
    assert after({"died_on": 50}).figure("after.survival/ALL/transplant/day-365").estimate == 0.0


def test_who_is_last_seen_on_the_day_was_alive_on_it_and_who_died_on_it_was_not() -> None:
    found = after({"alive_on": 30}, {"died_on": 30}, {"alive_on": 29}, {"alive_on": 31})
    figure = found.figure("after.survival/ALL/transplant/day-30")
    assert (figure.numerator, figure.denominator) == (2, 4)
    assert figure.estimate == pytest.approx(2 / 3)


@pytest.mark.parametrize(
    ("row", "died_by_30"),
    [
        ({"found_dead_on": 25}, True),
        ({"died_on": 20, "found_dead_on": 90}, True),
        ({"discharged_on": 12, "left_alive": 0}, True),
        ({"discharged_on": 12, "left_alive": 1, "alive_on": 30}, False),
        ({"died_on": 31}, False),
    ],
)
def test_where_a_death_is_known_from(row: dict[str, Any], died_by_30: bool) -> None:
    found = after(row, {"alive_on": 60}).figure("after.survival/ALL/transplant/day-30")
    assert found.estimate == (0.5 if died_by_30 else 1.0)


def test_those_never_followed_leave_on_the_day_of_therapy() -> None:
    found = after({}, {"alive_on": 60}, {"died_on": 30})
    curve = found.curve("after.survival/ALL/transplant")
    assert (curve.at_risk, curve.estimate) == ((2,), (0.5,))


def test_recovery() -> None:
    mild, severe = (codes.SEVERITIES.index(grade) for grade in (Severity.MILD, Severity.SEVERE))
    found = after(
        {"graft_dysfunction": mild, "discharged_on": 20, "left_alive": 1},
        {"graft_dysfunction": severe, "discharged_on": 30, "left_alive": 1},
        {"discharged_on": 4, "left_alive": 0},
        {},
    )
    graft = found.figure("after.recovery/ALL/graft")
    assert (graft.numerator, graft.denominator, graft.missing) == (1, 2, 2)
    leaving = found.figure("after.recovery/ALL/transplant/leaving")
    assert (leaving.estimate, leaving.numerator, leaving.missing) == (25.0, 2, 2)


@pytest.mark.parametrize(
    "row", [{"died_on": -400, "alive_on": -2}, {"found_dead_on": -1}, {"discharged_on": -1, "left_alive": 0}]
)
def test_a_death_before_the_therapy_is_named_and_moves_no_survival(row: dict[str, Any]) -> None:
    sound = ({"died_on": 0}, {"alive_on": 60}, {"alive_on": 60})
    told, found = after(*sound), after(*sound, row)
    key = "after.survival/ALL/transplant"
    assert found.figure(f"{key}/day-30") == told.figure(f"{key}/day-30")
    assert found.curve(key).at_risk == told.curve(key).at_risk == (3,)
    (line,) = [line for line in found.left_out if line.key == "courses/died-before-therapy"]
    assert (line.count, line.treatment) == (1, "left out")
    assert "courses/died-before-therapy" not in {line.key for line in told.left_out}
