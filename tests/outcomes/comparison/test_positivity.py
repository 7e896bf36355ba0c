"""Who could have had either route: judged level by level, on rows whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from outcomes.comparison import adjusted, limits
from outcomes.comparison.build import chosen_units
from outcomes.comparison.choices import Choices
from outcomes.comparison.endpoints import BY_CODE
from outcomes.comparison.propensity import Weighings, Weighting
from outcomes.comparison.units import Programme
from outcomes.dataset import codes
from outcomes.estimators.arrays import Flags
from registry.choices import Presentation
from tests.outcomes.comparison.simulated import Stories, programme, stories

SERIOUS = BY_CODE["SERIOUS"]
CHRONIC, INFARCTION, ARRHYTHMIC = (
    codes.PRESENTATIONS.index(code)
    for code in (Presentation.CHRONIC, Presentation.INFARCTION, Presentation.ARRHYTHMIC)
)


def invented(size: int = 200, seed: int = 1, *, share: float = 0.5) -> Stories:
    return stories(
        size, seed,
        chance_axillary=lambda severe, age: np.full(severe.shape, share),
        risk=lambda axillary, severe, age: np.full(severe.shape, 0.4),
    )  # fmt: skip


def presenting(found: Stories, **rows: Flags) -> Programme:
    """Everybody with chronic failure but for the flagged rows."""
    made = programme(found)
    presentation = np.full(found.start.size, CHRONIC)
    for name, flagged in rows.items():
        presentation[flagged] = codes.PRESENTATIONS.index(Presentation[name.upper()])
    facts = replace(made.facts, course={**made.facts.course, "presentation": presentation})
    return replace(made, facts=facts)


def some(rows: Flags, count: int) -> Flags:
    """The first so many of the flagged rows."""
    return rows & (np.cumsum(rows) <= count)


def weighting(made: Programme) -> Weighting:
    return Weighings(made).of(chosen_units(made, Choices()), "overlap")


def test_a_level_that_an_arm_lacks_is_left_out_and_named():
    found = invented()
    infarction = some(~found.axillary, 12)
    fitted = weighting(presenting(found, infarction=infarction))
    (left_out,) = fitted.restricted
    assert left_out.what == "presentation: shock after myocardial infarction"
    assert (left_out.count, left_out.never) == (12, "AXILLARY")
    assert (left_out.characteristic, left_out.shown_as) == ("presentation", f"presentation-{INFARCTION}")
    assert np.array_equal(fitted.rows, ~infarction)
    assert fitted.kept == ()


def test_few_may_be_chance_and_stay_but_are_named():
    found = invented()
    fitted = weighting(presenting(found, arrhythmic=some(~found.axillary, 4)))
    assert fitted.restricted == ()
    assert [(part.what, part.count) for part in fitted.kept] == [("presentation: arrhythmia", 4)]
    assert fitted.rows.all()


@pytest.mark.parametrize(("share", "left_out"), [(0.5, True), (0.1, False)])
def test_none_among_few_is_no_sign_where_few_were_to_be_expected(share, left_out):
    """Eight femoral courses: about eight were to be expected in equal arms, one in an arm of a tenth."""
    found = invented(400, 2, share=share)
    fitted = weighting(presenting(found, infarction=some(~found.axillary, 8)))
    assert bool(fitted.restricted) == left_out
    assert bool(fitted.kept) != left_out


def test_levels_are_judged_on_all_rows_even_if_one_would_take_most_of_the_other_away():
    """All but two of the infarctions were transferred in: neither ever was axillary."""
    found = invented()
    infarction = some(~found.axillary, 12)
    transferred = some(~found.axillary, 10)
    made = presenting(found, infarction=infarction)
    made.facts.course["transferred"][transferred] = 1
    fitted = weighting(made)
    assert {part.what: part.count for part in fitted.restricted} == {
        "presentation: shock after myocardial infarction": 12,
        "arrived with a device in place": 10,
    }
    assert fitted.rows.sum() == 200 - 12


def test_what_becomes_bare_is_left_out_too():
    """The only axillary arrhythmias had an infarct's urgency: once they go, arrhythmia was femoral alone."""
    found = invented()
    arrhythmic = some(found.axillary, 6) | some(~found.axillary, 9)
    made = presenting(found, arrhythmic=arrhythmic)
    made.facts.course["transferred"][some(found.axillary, 6)] = 1
    assert [(part.what, part.never) for part in weighting(made).restricted] == [
        ("arrived with a device in place", "FEMORAL"),
        ("presentation: arrhythmia", "AXILLARY"),
    ]


def test_a_characteristic_with_many_gaps_in_an_arm_tells_nothing():
    """Recorded in no axillary course: that none is known to have had an infarct is no sign."""
    found = invented()
    made = presenting(found, infarction=some(~found.axillary, 12))
    made.facts.course["presentation"][found.axillary] = -1
    assert weighting(made).restricted == ()


def test_a_term_of_the_model_leaves_out_even_one_row_as_it_would_separate():
    found = invented()
    transferred = some(~found.axillary, 1)
    fitted = weighting(programme(found, transferred=transferred))
    assert [(part.what, part.count) for part in fitted.restricted] == [("arrived with a device in place", 1)]
    assert not fitted.rows[transferred].any()
    assert fitted.kept == ()
    assert fitted.refusal == ""


def test_where_nearly_nobody_is_left_it_is_refused_with_what_is_left_of_the_arm():
    found = invented(90, 3)
    femoral = int((~found.axillary).sum())
    fitted = weighting(presenting(found, infarction=some(~found.axillary, femoral - 7)))
    assert fitted.refusal == (
        "too few patients in the femoral arm among those who could have had either route: at least 20 are "
        "needed"
    )
    assert fitted.counted == f"7 of its {femoral}"


def test_where_nobody_is_left_it_is_refused():
    found = invented(90, 3)
    fitted = weighting(presenting(found, infarction=~found.axillary))
    assert fitted.refusal.startswith("too few patients in the axillary arm")
    assert fitted.rows.sum() == 0


def test_what_no_model_takes_up_is_listed_as_not_adjusted_for():
    (first, *_) = weighting(programme(invented())).design.not_adjusted
    assert first.startswith("as no model takes them up: presentation, ")
    assert "shock stage" not in first


def sick_femoral(size: int, seed: int, effect: float) -> Programme:
    """Infarctions are femoral only and bleed most; else the severe go femoral and bleed more."""
    infarction = np.random.default_rng(900 + seed).random(size) < 0.25
    found = stories(
        size,
        seed,
        chance_axillary=lambda severe, age: np.where(infarction, 0.0, np.where(severe, 0.35, 0.65)),
        risk=lambda axillary, severe, age: (
            np.where(infarction, 0.75, np.where(severe, 0.40, 0.15)) + effect * axillary
        ),
    )
    return presenting(found, infarction=infarction)


def serious(made: Programme):
    return adjusted.adjusted_row(made, chosen_units(made, Choices()), SERIOUS, Choices(), Weighings(made))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_known_effect_is_found_among_those_who_could_have_had_either_route(seed, monkeypatch):
    effect = 0.10
    made = sick_femoral(1_500, seed, effect)
    right = serious(made).difference
    assert right.lower < effect < right.upper
    assert abs(right.value - effect) < 0.06
    monkeypatch.setattr(limits, "FEWEST_ONE_SIDED", 10_000)
    wrong = serious(made).difference
    assert wrong.upper < effect  # axillary looks safe, as no infarction was among them


def test_no_effect_gives_few_false_alarms(monkeypatch):
    monkeypatch.setattr(limits, "CLOSED_FORM_FROM_ROWS", 0)
    alarms = sum(
        row.difference.lower > 0 or row.difference.upper < 0
        for row in (serious(sick_femoral(300, 2_000 + seed, 0.0)) for seed in range(100))
    )
    # Binomial limits of 100 trials at 5 %, with 0.1 % beyond the upper end: up to 13.
    assert alarms <= 13


def test_a_refusal_says_of_whom_it_speaks():
    """Events enough in all, too few among those who could have had either route."""
    found = invented(200, 4)
    infarction = some(~found.axillary, 30)
    made = presenting(replace(found, hit=infarction | some(found.axillary, 7)), infarction=infarction)
    row = serious(made)
    assert row.refusal == (
        "not adjusted, too few events among those who could have had either route: at least 10 are needed"
    )
    assert row.counted == "7 of the 170 had it"
    assert row.reason == f"{row.refusal} (7 of the 170 had it)"
    assert row.difference.note == row.refusal
