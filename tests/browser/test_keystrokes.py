"""The four commonest tasks, done by keyboard and counted; the targets stand in docs/keystrokes.md."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Page, expect

from registry.models import DailyCheck, Event, Run, User
from tests.browser.keystroke_model import Typist
from tests.factories import create_case

# pytest-base-url declares its session fixture in a way that pytest 9 warns about.
pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.filterwarnings("ignore:Session-scoped fixtures defined"),
]
# Playwright keeps a loop running, which Django would take for asynchronous code.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
IMPLANT_SECONDS, ROUND_SECONDS, REPOSITION_SECONDS, REMOVAL_SECONDS = 60, 20, 20, 20
DOCUMENT = settings.BASE_DIR / "docs" / "keystrokes.md"


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    return {
        **browser_type_launch_args,
        "executable_path": os.environ.get("CHROMIUM", shutil.which("chromium")),
        "args": ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"],
    }


@pytest.fixture
def open_page(
    page: Page, live_server: Any, sign_in: Callable[[User], Client], coordinator: User
) -> Iterator[Callable[[str], Typist]]:
    """A typist before a page of the site, signed in as the coordinator; no script may fail."""
    session = sign_in(coordinator).cookies[settings.SESSION_COOKIE_NAME].value
    page.context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}]
    )
    faults: list[str] = []
    page.on("pageerror", lambda fault: faults.append(str(fault)))

    def opened(path: str) -> Typist:
        page.goto(live_server.url + path)
        return Typist(page)

    yield opened
    page.goto("about:blank")
    assert not faults


def note(name: str, typist: Typist, limit: float, *, shared_by: int = 1) -> None:
    """Hold a task to its target, and the document to what was counted."""
    seconds = typist.seconds / shared_by
    assert seconds <= limit, (name, typist.keys, typist.thoughts, seconds)
    row = f"| {name} | {typist.keys} | {typist.thoughts} | {typist.clicks} | {seconds:.1f} s | {limit} s |"
    assert row in DOCUMENT.read_text(encoding="utf-8"), f"docs/keystrokes.md should hold: {row}"


def test_an_implant(open_page: Callable[[str], Typist], page: Page) -> None:
    typist = open_page(reverse("support"))
    typist.click("text=Record an implant")
    expect(page).to_have_url(re.compile("/implants/new/"))
    page.locator("[name=patient-study_no]").focus()
    typist.value("HB-9001")
    typist.on()
    typist.value("1961")
    typist.on()
    typist.value("m")
    typist.on(3)  # record number and blood group stay empty
    typist.value("t 0001")
    typist.on()
    for value in ("l", "p", "uf", "4", "7.5", "OP-1", "c", "u", "a", "y"):
        typist.value(value)
        typist.on()
    typist.on()  # a balloon pump, as proposed
    for value in ("b", "c", "d", "178", "80", "y 2100"):
        typist.value(value)
        typist.on()
    typist.save()
    expect(page).to_have_url(re.compile("/cases/"))
    run = Run.objects.get()
    assert (run.route, run.guidance, run.balloon_volume_ml) == ("AXILLARY_L", ["ULTRASOUND", "FLUORO"], "40")
    assert (run.course.intent, run.course.shock_stage, run.course.height_cm) == ("BTT", "C", 178)
    note("Implant, new patient", typist, IMPLANT_SECONDS)


def test_a_round_of_six(open_page: Callable[[str], Typist], page: Page, centre: Any) -> None:
    for _ in range(6):
        create_case(centre=centre)
    typist = open_page(reverse("support"))
    typist.click(".round-row select")
    page.keyboard.press("Escape")
    for _ in range(6):
        for value in ("1", "a", "c", "p", "n", "n", "7"):
            typist.value(value)
            typist.on()
        typist.on()  # Save; the typing goes on in the next row
        page.wait_for_timeout(50)
    expect(page.locator(".round-state .tag.good")).to_have_count(6)
    checks = list(DailyCheck.objects.all())
    assert {(c.assist_ratio, c.film_verdict, c.site[0], c.kink_seen, c.mobility_best) for c in checks} == {
        ("1:1", "ACCEPTABLE", "CLEAN", "NONE", 7)
    }
    assert len(checks) == 6
    note("Round, a patient of six", typist, ROUND_SECONDS, shared_by=6)


def test_a_reposition(open_page: Callable[[str], Typist], page: Page, run: Run) -> None:
    typist = open_page(reverse("support"))
    typist.click("text=Repositioned")
    expect(page).to_have_url(re.compile("/event/reposition/"))
    page.locator("[name=new-onset_at]").focus()
    typist.value("t 0001")
    typist.on(2)  # to the minute
    for value in ("f", "w", "f", "y"):
        typist.value(value)
        typist.on()
    typist.save()
    expect(page).to_have_url(re.compile("/cases/"))
    event = Event.objects.get()
    assert (event.trigger, event.moved, event.place) == ("FILM", "WITHDRAWN", "FLUORO")
    assert event.reposition_success is True
    note("Reposition", typist, REPOSITION_SECONDS)


def test_a_removal(open_page: Callable[[str], Typist], page: Page, run: Run) -> None:
    typist = open_page(reverse("case", args=[run.course.public_id]))
    typist.click("text=Removal")
    expect(page).to_have_url(re.compile("/removal/"))
    page.locator("[name=run-removed_at]").focus()
    for value in ("t 0001", "w", "m", "y"):
        typist.value(value)
        typist.on()
    typist.save()
    expect(page).to_have_url(re.compile("/cases/"))
    run.refresh_from_db()
    assert (run.end_reason, run.closure, run.closure_success) == ("WEANED", "MANUAL", True)
    note("Removal", typist, REMOVAL_SECONDS)


def test_the_round_is_kept_when_the_page_is_left(
    open_page: Callable[[str], Typist], page: Page, run: Run
) -> None:
    open_page(reverse("support"))
    page.locator(".round-row [name$=site]").fill("ot")
    page.wait_for_timeout(2600)
    expect(page.locator(".round-state")).to_contain_text("draft kept")
    page.reload()
    assert page.locator(".round-row [name$=site]").input_value() == "ot"
    expect(page.locator(".round-state")).to_contain_text("unfinished")
    assert page.evaluate("localStorage.length + sessionStorage.length") == 0


@pytest.mark.parametrize("place", ["support", "event", "mobilisation"])
def test_the_bedside_pages_fit_a_phone(
    place: str, open_page: Callable[[str], Typist], page: Page, run: Run
) -> None:
    course = run.course.public_id
    paths = {
        "support": reverse("support"),
        "event": reverse("new_event", args=[course, "kink"]),
        "mobilisation": reverse("new_mobilisation", args=[course]),
    }
    page.set_viewport_size({"width": 390, "height": 844})
    open_page(paths[place])
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    small = page.evaluate(
        "[...document.querySelectorAll('main :is(input:not([type=hidden], [type=radio], [type=checkbox]),"
        " select, button)')]"
        ".filter((control) => control.checkVisibility() && control.getBoundingClientRect().height < 40)"
        ".map((control) => control.name || control.textContent)"
    )
    assert not small
