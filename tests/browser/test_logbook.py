"""The logbook as people use it: by keyboard, with mistakes, with a double click, and without scripts."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from registry.models import Candidate, Course, Event, Run, User
from tests.browser.conftest import Open
from tests.factories import create_user

# pytest-base-url declares its session fixture in a way that pytest 9 warns about.
pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.filterwarnings("ignore:Session-scoped fixtures defined"),
]
PASSWORD = "a long walk along the quay"


def focused(page: Page) -> str:
    return str(page.evaluate("document.activeElement.name || document.activeElement.id"))


class Typist:
    """Types by keyboard alone and counts every stroke."""

    def __init__(self, page: Page) -> None:
        self.page, self.strokes = page, 0

    def press(self, key: str, times: int = 1) -> None:
        for _ in range(times):
            self.page.keyboard.press(key)
        self.strokes += times

    def type(self, text: str) -> None:
        self.page.keyboard.type(text)
        self.strokes += len(text)

    def reach(self, name: str, *, most: int = 12) -> None:
        """Press Tab until the field has the focus."""
        for _ in range(most):
            if focused(self.page) == name:
                return
            self.press("Tab")
        raise AssertionError(f"{name} is not within {most} steps of {focused(self.page)}")

    def choose(self, name: str, downs: int) -> None:
        """Pick a choice by arrow keys; the first press of a group of buttons takes its first one."""
        self.reach(name)
        kind = self.page.evaluate("document.activeElement.type")
        if kind == "radio":
            self.press("Space")
        self.press("ArrowDown", downs - (kind == "radio"))

    def write(self, name: str, text: str) -> None:
        self.reach(name)
        self.type(text)


def test_signing_in_by_typing_leads_to_the_first_page(opened: Open, coordinator: User) -> None:
    coordinator.set_password(PASSWORD)
    coordinator.save()
    page = opened("/")
    expect(page).to_have_url(re.compile("/account/sign-in/"))
    page.get_by_label("Username").fill("coordinator")
    page.get_by_label("Password").fill("wrong " + PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.locator(".summary")).to_be_visible()
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("On support now")


def test_a_whole_implant_by_keyboard_alone(
    opened: Open, coordinator: User, capsys: pytest.CaptureFixture[str]
) -> None:
    page = opened(reverse("new_implant"), coordinator)
    hands = Typist(page)
    hands.reach("patient-study_no", most=30)
    to_the_form = hands.strokes
    hands.type("HB-9001")
    hands.write("patient-birth_year", "1961")
    hands.choose("patient-sex", 2)
    hands.write("run-inserted_at", "t 0001")
    for name, downs in (("run-route", 1), ("run-access_method", 1)):
        hands.choose(name, downs)
    hands.reach("run-guidance")
    hands.press("Space")
    hands.choose("run-balloon_volume_ml", 5)
    hands.write("run-catheter_fr", "7.5")
    hands.write("run-operator_code", "OP-1")
    for name, downs in (("run-location", 1), ("run-urgency", 2), ("run-first_position", 1)):
        hands.choose(name, downs)
    hands.choose("run-technical_success", 1)
    for name, downs in (("course-intent", 1), ("course-shock_stage", 3)):
        hands.choose(name, downs)
    hands.press("Control+Enter")
    expect(page).to_have_url(re.compile("/cases/"))
    run = Run.objects.get()
    assert (run.route, run.balloon_volume_ml, run.urgency, run.course.shock_stage) == (
        "AXILLARY_L", "40", "URGENT", "C",
    )  # fmt: skip
    with capsys.disabled():
        print(f"\nAn implant by keyboard alone: {hands.strokes} strokes, {to_the_form} of them to the form.")
    assert hands.strokes <= 110


def test_a_mistake_takes_the_focus_and_leads_to_its_field(opened: Open, coordinator: User) -> None:
    page = opened(reverse("new_candidate"), coordinator)
    page.get_by_label("Considered on").fill("yesterday at noon")
    page.get_by_role("button", name="Record the line").click()
    summary = page.locator("#error-summary")
    expect(summary).to_be_focused()
    expect(page).to_have_title(re.compile("^Error: "))
    expect(page.get_by_label("Considered on")).to_have_value("yesterday at noon")
    for link in summary.get_by_role("link").all():
        link.click()
        target = (link.get_attribute("href") or "")[1:]
        assert page.evaluate("document.activeElement.id") == target
        summary.focus()


def test_a_double_click_makes_one_record(opened: Open, coordinator: User) -> None:
    page = opened(reverse("new_candidate"), coordinator)
    page.get_by_label("Considered on").fill("y")
    page.get_by_label("Femoral").check()
    page.get_by_label("Why no attempt was made").select_option("IMPROVED")
    page.get_by_role("button", name="Record the line").dblclick()
    expect(page.locator("#lines tbody tr")).to_have_count(1)
    assert Candidate.objects.count() == 1


def test_an_exchange_from_the_case(opened: Open, coordinator: User, run: Run) -> None:
    page = opened(reverse("case", args=[run.course.public_id]), coordinator)
    page.get_by_role("link", name="Exchange or change of route").click()
    page.locator("[name=old-removed_at]").fill("t-3 0800")
    expect(page.locator("output[for=id_old-removed_at]")).to_contain_text("08:00")
    page.locator("[name=old-closure]").select_option("MANUAL")
    page.locator("[name=old-closure_success][value=yes]").check()
    page.locator("[name=run-relation]").select_option("SAME_SITE_EXCHANGE")
    page.locator("[name=run-exchange_reason]").select_option("KINK")
    page.locator("[name=run-inserted_at]").fill("t-3 0815")
    page.locator("[name=run-guidance][value=FLUORO]").check()
    page.locator("[name=run-operator_code]").fill("OP-2")
    page.locator("[name=run-urgency][value=URGENT]").check()
    page.locator("[name=run-technical_success][value=yes]").check()
    page.get_by_role("button", name="Record the exchange").click()
    expect(page.get_by_text("Exchange recorded: a new run, the same course.")).to_be_visible()
    assert [r.end_reason for r in Run.objects.order_by("run_no")] == ["EXCHANGE", ""]
    assert Course.objects.count() == 1


def test_fields_come_and_go_with_what_they_depend_on(opened: Open, coordinator: User, run: Run) -> None:
    page = opened(reverse("new_event", args=[run.course.public_id, "kink"]), coordinator)
    place = page.locator("#div_id_new-kink_site")
    expect(place).to_be_hidden()
    page.locator("[name=new-failure]").select_option("KINK")
    expect(place).to_be_visible()
    page.locator("[name=new-kink_site][value=AT_SECUREMENT]").check()
    page.locator("[name=new-failure]").select_option("GAS_LEAK")
    expect(place).to_be_hidden()
    page.locator("[name=new-onset_at]").fill("t-2 1200")
    page.locator("[name=new-severity][value=MINOR]").check()
    page.locator("[name=new-fixed_by][value=EXCHANGE]").check()
    page.get_by_role("button", name="Record the event").click()
    expect(page).to_have_url(re.compile("/cases/"))
    event = Event.objects.get()
    assert (event.failure, event.kink_site, event.run) == ("GAS_LEAK", "", run)


def test_two_editors_see_both_entries(opened: Open, coordinator: User, run: Run) -> None:
    url = reverse("correct", args=["course", run.course.public_id])
    second = create_user(centre=run.course.centre, role="PHYSICIAN")
    mine, theirs = opened(url, coordinator), opened(url, second)
    for page, stage in ((theirs, "E"), (mine, "D")):
        page.locator(f"[name=record-shock_stage][value={stage}]").check()
        page.locator("[name=record-change_reason]").fill("judged again at the bedside")
        page.get_by_role("button", name="Save the correction").click()
    expect(mine.locator("#conflict")).to_contain_text("E: extremis")
    expect(mine.locator("[name=record-shock_stage][value=D]")).to_be_checked()
    mine.get_by_role("button", name="Save the correction").click()
    expect(mine).to_have_url(re.compile("/cases/"))
    assert Course.objects.get().shock_stage == "D"


def test_it_works_without_scripts(opened: Open, coordinator: User, run: Run) -> None:
    url = reverse("new_event", args=[run.course.public_id, "kink"])
    page = opened(url, coordinator, java_script_enabled=False)
    expect(page.locator("#div_id_new-kink_site")).to_be_visible()
    page.get_by_role("button", name="Record the event").click()
    expect(page.locator("#error-summary")).to_be_visible()
    page.locator("[name=new-onset_at]").fill("t-2 1200")
    page.locator("[name=new-failure]").select_option("CONSOLE")
    page.locator("[name=new-kink_site][value=AT_SECUREMENT]").check()
    page.locator("[name=new-severity][value=MINOR]").check()
    page.locator("[name=new-fixed_by][value=CONSOLE_SWAP]").check()
    page.get_by_role("button", name="Record the event").click()
    expect(page.get_by_text("Kink or malfunction recorded.")).to_be_visible()
    assert Event.objects.get().kink_site == ""
