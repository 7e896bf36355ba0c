"""The timeline of a course: all marks inside the picture, runs in lanes, routes told apart by shape."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from registry.choices import Route
from registry.models import Course, Run
from registry.timeline import LEFT, MOST_TICKS, RIGHT, Scale, draw
from tests.factories import (
    create_course,
    create_event,
    create_mobilisation,
    create_outcome,
    create_patient,
    create_run,
    days_ago,
)

pytestmark = pytest.mark.django_db


def drawn(course: Course) -> dict[str, Any]:
    picture = draw(Course.objects.get(pk=course.pk), now=timezone.now())
    assert picture is not None
    return picture


def test_a_course_without_a_device_has_no_picture(run: Run) -> None:
    course = create_course(patient=create_patient(centre=run.course.centre))
    assert draw(course, now=timezone.now()) is None


def test_a_run_in_place_stays_open_and_one_that_ended_does_not(run: Run) -> None:
    assert drawn(run.course)["bars"][0]["open_path"]
    Run.objects.update(removed_at=days_ago(2), end_reason="WEANED")
    assert not drawn(run.course)["bars"][0]["open_path"]


def test_routes_differ_in_shape_and_runs_in_lane(run: Run) -> None:
    Run.objects.update(removed_at=days_ago(5), end_reason="EXCHANGE")
    create_run(
        course=run.course, inserted_at=days_ago(5), route=Route.FEMORAL_RIGHT, relation="ROUTE_CROSSOVER"
    )
    first, second = drawn(run.course)["bars"]
    assert (first["route"], second["route"]) == ("axillary", "femoral")
    assert "h7v" in first["start_path"]
    assert "h7v" not in second["start_path"]
    assert second["y"] > first["y"]
    assert second["x"] == pytest.approx(first["x"] + first["width"], abs=0.2)
    assert second["label"] == "Run 2: Right femoral, 40 mL"


def test_everything_lies_inside_the_picture(run: Run) -> None:
    course = run.course
    create_event(course=course, kind="OTHER", severity="MAJOR", serious=True, onset_at=days_ago(9.5))
    create_event(course=course)
    create_mobilisation(course=course, level=8)
    create_mobilisation(course=course, level=2, started_at=days_ago(3))
    create_outcome(course=course)
    picture = drawn(course)
    kinds = sorted(mark["kind"] for mark in picture["marks"])
    assert kinds == ["event-major", "event-minor", "mobile", "outcome"]  # level 2 is in bed
    for part in (*picture["marks"], *picture["ticks"], *picture["bars"]):
        assert LEFT <= part["x"] <= RIGHT
    assert all(
        bar["y"] + bar["height"] < picture["plot_bottom"] < picture["height"] for bar in picture["bars"]
    )


@given(st.floats(min_value=0, max_value=2000))
def test_ticks_are_whole_days_and_never_too_many(days: float) -> None:
    start = timezone.now()
    scale = Scale(start, start + timedelta(days=days))
    ticks = scale.ticks()
    assert ticks[0] == {"x": LEFT, "label": "day 0"}
    assert len(ticks) <= MOST_TICKS + 1
    places = [tick["x"] for tick in ticks]
    assert places == sorted(set(places))
