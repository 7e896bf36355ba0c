"""What is read beside the counts: every column as entered, live and as of a moment."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from django.db import connection

from outcomes.dataset import Dataset, codes, load_dataset
from outcomes.dataset.clock import NEVER, moment_of
from outcomes.issuing.fingerprint import fingerprint
from registry import models
from registry.choices import FilmVerdict, Presentation
from tests.outcomes.builder import Logbook, at
from tests.outcomes.test_dataset import now_in_database

EPOCH = date(1970, 1, 1)


def filled() -> tuple[Logbook, models.Course]:
    """A course of which everything is recorded, and a course of which nothing is."""
    book = Logbook()
    course = book.course(
        height_cm="172.5", weight_kg="81.4", presentation="DE_NOVO", inotropes=True, diabetes=False,
        lvef_pct=18, creatinine_umol_l=145, haemoglobin_g_dl="11.2", lactate_mmol_l="3.4", sodium_mmol_l=131,
        admitted_at="2026-01-01 10:00", pacing_device="LEFT",
    )  # fmt: skip
    run = book.run(
        course, "2026-01-02 09:30", "2026-01-20 07:15", first_position="HIGH", puncture_attempts=2,
        procedure_min=41, fluoroscopy_min="6.3", contrast_ml=25,
    )  # fmt: skip
    for moment, support, values in (
        ("2026-01-01 20:00", "NONE", {"systolic_mmhg": 90, "diastolic_mmhg": 60, "right_atrial_mmhg": -2}),
        ("2026-01-03 20:00", "IABP", {"systolic_mmhg": 100, "diastolic_mmhg": 50, "wedge_mmhg": 19}),
        ("2026-01-04 20:00", "BOTH", {"mean_mmhg": 82, "pulmonary_mean_mmhg": 27, "output_l_min": "4.3"}),
        ("2026-01-05 20:00", "", {"mean_mmhg": 99}),
    ):
        models.HaemodynamicSet.objects.create(
            course=course, measured_at=at(moment), on_support=support, **values
        )
    for day, values in (
        ("2026-01-02", {"lactate_mmol_l": "3.0"}),
        ("2026-01-03", {"lactate_mmol_l": "2.2", "creatinine_umol_l": 140}),
        ("2026-01-05", {"lactate_mmol_l": "1.8"}),
        ("2026-01-06", {"lactate_mmol_l": "1.1", "platelets_10e9_l": 120}),
    ):
        book.check(run, day, **values)
    outcome = book.outcome(course, "2026-01-20 07:15")
    models.CourseOutcome.objects.filter(pk=outcome.pk).update(
        discharged_on=date(2026, 2, 10), discharge_status="ALIVE"
    )
    for point, seen_on, status, more in (
        ("30D", date(2026, 2, 20), "ALIVE", {"graft_dysfunction": "MODERATE"}),
        ("90D", date(2026, 4, 20), "DEAD", {"died_on": date(2026, 4, 2)}),
    ):
        models.FollowUp.objects.create(course=course, point=point, seen_on=seen_on, status=status, **more)
    book.run(book.course(), "2026-02-01 10:00")
    return book, course


def read(book: Logbook, **more: Any) -> Dataset:
    return load_dataset(centres=[book.centre], **more)


@pytest.mark.django_db
def test_condition_and_procedure_as_entered() -> None:
    data = read(filled()[0])
    course, run = data.clinical.course, data.clinical.run
    assert (course["height_cm"].tolist(), course["weight_kg"].tolist()) == ([1725, -1], [814, -1])
    assert codes.PRESENTATIONS[course["presentation"][0]] == Presentation.DE_NOVO
    assert [course[name].tolist() for name in ("inotropes", "diabetes", "smoking")] == [
        [1, -1],
        [0, -1],
        [-1, -1],
    ]
    assert course["birth_year"].tolist() == [1970, 1970]
    assert [int(course[name][0]) for name in ("lvef_pct", "creatinine_umol_l", "sodium_mmol_l")] == [
        18,
        145,
        131,
    ]
    assert (course["haemoglobin_g_dl"][0], course["lactate_mmol_l"][0]) == (112, 34)
    assert moment_of(course["admitted"][0]) == at("2026-01-01 10:00")
    assert course["admitted"][1] == NEVER
    assert codes.VERDICTS[run["first_position"][0]] == FilmVerdict.HIGH
    assert [run[name].tolist() for name in ("puncture_attempts", "procedure_min", "fluoroscopy_min")] == [
        [2, -1], [41, -1], [63, -1],
    ]  # fmt: skip
    assert (run["ULTRASOUND"].tolist(), run["FLUORO"].tolist()) == ([1, 1], [0, 0])


@pytest.mark.django_db
def test_pressures_are_computed_only_off_the_pump() -> None:
    """Sets that do not say what the patient was on cannot be compared and are not read."""
    sets = read(filled()[0]).clinical.pressures
    assert sets["on_pump"].tolist() == [0, 1, 1]
    assert sets["arterial_thirds"].tolist() == [210, -1, 246]
    assert sets["right_atrial"].tolist() == [3, -1, -1]
    assert (sets["pulmonary_thirds"].tolist(), sets["output_tenths"].tolist()) == ([-1, -1, 81], [-1, -1, 43])


@pytest.mark.django_db
def test_the_last_of_days_1_to_3_and_the_last_of_all() -> None:
    values = read(filled()[0]).clinical.laboratory
    assert (values["lactate_mmol_l_early"].tolist(), values["lactate_mmol_l_last"].tolist()) == (
        [18, -1],
        [11, -1],
    )
    assert (values["creatinine_umol_l_early"][0], values["creatinine_umol_l_last"][0]) == (140, 140)
    assert (values["platelets_10e9_l_early"][0], values["platelets_10e9_l_last"][0]) == (-1, 120)


@pytest.mark.django_db
def test_life_afterwards() -> None:
    after = read(filled()[0]).clinical.aftermath
    days = {name: int(after[name][0]) for name in ("discharged_on", "died_on", "found_dead_on", "alive_on")}
    assert {name: EPOCH + timedelta(days=day) for name, day in days.items()} == {
        "discharged_on": date(2026, 2, 10), "died_on": date(2026, 4, 2), "found_dead_on": date(2026, 4, 20),
        "alive_on": date(2026, 2, 20),
    }  # fmt: skip
    assert (after["left_alive"].tolist(), after["graft_dysfunction"].tolist()) == ([1, -1], [2, -1])
    assert (after["died_on"][1], after["alive_on"][1]) == (NEVER, -1)


@pytest.mark.django_db
def test_nothing_after_the_cut_is_known() -> None:
    clinical = read(filled()[0], cut_at=at("2026-01-04 12:00")).clinical
    assert clinical.pressures["on_pump"].tolist() == [0, 1]
    assert clinical.laboratory["lactate_mmol_l_last"].tolist() == [22]
    assert (clinical.aftermath["died_on"].tolist(), clinical.aftermath["discharged_on"].tolist()) == (
        [NEVER], [NEVER],
    )  # fmt: skip


@pytest.mark.django_db
def test_an_event_entered_long_after_its_onset_is_late() -> None:
    book, course = filled()
    book.event(course, "2026-01-06 12:00")
    moment = now_in_database()
    onset = moment - timedelta(days=3)
    fresh = models.Event.objects.create(course=course, event_no=2, kind="BLEEDING", onset_at=onset)
    data = read(book)
    late = dict(zip(data.events.pk.tolist(), data.clinical.late_entered.tolist(), strict=True))
    assert late.pop(fresh.pk) is False
    assert list(late.values()) == [True]


@pytest.mark.django_db(transaction=True)
def test_as_of_gives_what_was_known_then_and_now_what_is_known_now() -> None:
    book, course = filled()
    book.event(course, "2026-01-06 12:00")
    live, moment = read(book), now_in_database()
    assert _same(read(book, as_of=moment), live)

    models.Course.objects.filter(pk=course.pk).update(lactate_mmol_l="9.9")
    models.Run.objects.filter(course=course).update(contrast_ml=400)
    models.HaemodynamicSet.objects.filter(course=course, on_support="IABP").delete()
    models.DailyCheck.objects.filter(run__course=course).update(lactate_mmol_l="9.9")
    models.FollowUp.objects.filter(course=course, point="90D").update(died_on=date(2026, 4, 1))
    models.CourseOutcome.objects.filter(course=course).update(discharged_on=date(2026, 2, 11))
    book.event(course, "2026-01-07 12:00")

    assert _same(read(book, as_of=moment), live)
    now = read(book)
    assert _same(read(book, as_of=now_in_database()), now)
    assert now.clinical.course["lactate_mmol_l"][0] == 99
    assert (now.clinical.run["contrast_ml"][0], now.clinical.pressures["course"].size) == (400, 2)
    assert fingerprint(now) != fingerprint(live)


def _same(one: Dataset, other: Dataset) -> bool:
    """Whether both know the same of everything beside the counts."""
    tables = ("course", "run", "laboratory", "aftermath", "pressures")
    return np.array_equal(one.clinical.late_entered, other.clinical.late_entered) and all(
        np.array_equal(column, getattr(other.clinical, table)[name])
        for table in tables
        for name, column in getattr(one.clinical, table).items()
    )


@pytest.mark.django_db
def test_only_rows_of_the_centres_are_read() -> None:
    book, _ = filled()
    filled()
    alone = read(book).clinical
    assert (alone.pressures["course"].size, alone.course["sex"].size) == (3, 2)
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM registry_haemodynamicset")
        assert cursor.fetchone()[0] == 8
