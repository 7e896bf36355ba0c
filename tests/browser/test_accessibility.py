"""The main pages against WCAG 2.2 AA by axe-core, wide and narrow, light and dark; none scrolls sideways."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from registry.choices import Role
from registry.models import Run, User
from tests.browser.conftest import DESKTOP, PHONE, Open
from tests.factories import (
    create_candidate,
    create_check,
    create_event,
    create_failed_attempt,
    create_haemodynamics,
    create_listing,
    create_mobilisation,
    create_screening,
    create_user,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.filterwarnings("ignore:Session-scoped fixtures defined"),
]
AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
EVERYTHING = {"runOnly": {"type": "tag", "values": TAGS}}
COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast"]}}  # all that the dark scheme changes


def violations(page: Page, rules: dict[str, Any]) -> list[str]:
    """What axe finds, one line a place."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE)
    found = page.evaluate("async (rules) => (await axe.run(document, rules)).violations", rules)
    return [
        f"{one['id']}: {node['target']} {node['failureSummary']}" for one in found for node in one["nodes"]
    ]


def look(page: Page) -> list[str]:
    """Every fault of a page in its four shapes."""
    faults = []
    for size in (DESKTOP, PHONE):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        faults += violations(page, EVERYTHING)
        page.emulate_media(color_scheme="dark")
        faults += violations(page, COLOURS)
        page.emulate_media(color_scheme="light")
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return [*faults, f"scrolls sideways by {wide} px"] if wide > 0 else faults


def look_at(page: Page, *paths: str) -> None:
    wrong = {}
    for path in paths:
        page.goto(path)
        if faults := look(page):
            wrong[path] = faults
    assert not wrong


@pytest.fixture
def told(run: Run) -> Run:
    """A case with something in every table."""
    course, centre = run.course, run.course.centre
    centre.extended_groups = ["labs", "screening", "procedure", "removal", "haemodynamics", "listing"]
    centre.save()
    run.contrast_ml = 20
    run.save()
    create_screening(course=course)
    create_haemodynamics(course=course, output_l_min=4)
    create_listing(course=course)
    create_check(run=run, film_verdict="HIGH", position_action="OBSERVE", creatinine_umol_l=90)
    create_event(course=course, serious=True)
    create_mobilisation(course=course)
    create_failed_attempt(patient=run.patient, followed_by=run)
    create_candidate(centre=centre)
    return run


def test_reading_pages(opened: Open, coordinator: User, told: Run) -> None:
    case = reverse("case", args=[told.course.public_id])
    history = reverse("history", args=["run", told.public_id])
    page = opened("/", coordinator)
    look_at(page, *(reverse(name) for name in ("support", "find", "candidates")), case, history)
    page.goto(case)
    page.evaluate("document.querySelectorAll('details').forEach((one) => (one.open = true))")
    assert not look(page)


def test_entry_pages(opened: Open, coordinator: User, told: Run) -> None:
    course, run = told.course.public_id, told.public_id
    page = opened("/", coordinator)
    look_at(
        page,
        reverse("new_implant"),
        reverse("exchange", args=[run]),
        reverse("new_event", args=[course, "bleeding"]),
        reverse("new_check", args=[run]),
        reverse("new_outcome", args=[course]),
        reverse("correct", args=["run", run]),
        reverse("remove", args=["run", run]),
    )


def test_pages_with_errors_and_questions(opened: Open, coordinator: User, told: Run) -> None:
    page = opened(reverse("new_implant"), coordinator)
    page.get_by_role("button", name="Record the implant").click()
    assert look(page) == []
    page.goto(reverse("correct", args=["run", told.public_id]))
    page.locator("[name=record-location][value=BEDSIDE]").check()
    page.locator("[name=record-change_reason]").fill("misread from the note")
    page.get_by_role("button", name="Save the correction").click()
    page.locator("#questions").wait_for()
    assert look(page) == []


def test_pages_of_the_administrator_and_the_entrance(opened: Open, told: Run) -> None:
    look_at(opened(reverse("account_login")), reverse("account_login"))
    administrator = create_user(centre=told.course.centre, role=Role.ADMINISTRATOR)
    page = opened("/", administrator)
    look_at(page, reverse("settings"), reverse("new_person"), reverse("person", args=[administrator.pk]))
