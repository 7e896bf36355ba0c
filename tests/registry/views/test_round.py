"""The round: rows that save by themselves, drafts, conflicts, and a blank that is never a zero."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from registry import actions
from registry.models import Answer, Centre, DailyCheck, Draft, Run, User
from tests.factories import create_case, create_check, create_listing, create_outcome, days_ago

pytestmark = pytest.mark.django_db
FETCH = {"X-Requested-With": "fetch"}
FULL = {
    "assist_ratio": "1:1", "film_verdict": "ACCEPTABLE", "site": "c", "pulse": "PRESENT",
    "limb_neuro": "NORMAL", "kink_seen": "NONE", "mobility": "7",
}  # fmt: skip


def today() -> Any:
    return timezone.localdate()


def row_url(run: Run, name: str = "round_row", day: Any = None) -> str:
    return reverse(name, args=[run.public_id]) + (f"?day={day}" if day else "")


def typed(run: Run, **values: Any) -> dict[str, Any]:
    return {f"row-{run.public_id}-{name}": value for name, value in values.items()}


def send(client: Client, run: Run, *, name: str = "round_row", day: Any = None, **values: Any) -> Any:
    return client.post(row_url(run, name, day), typed(run, **values), headers=FETCH)


def the_check(run: Run) -> DailyCheck:
    return DailyCheck.objects.get(run=run)


def test_a_row_becomes_the_check_of_the_day(desk: Client, run: Run) -> None:
    assert send(desk, run, **FULL).status_code == 200
    check = the_check(run)
    assert check.checked_on == today()
    assert (check.assist_ratio, check.site, check.mobility_best) == ("1:1", ["CLEAN"], 7)
    assert check.not_mobilised == ""


def test_without_a_script_a_row_leads_back_to_its_place(desk: Client, run: Run) -> None:
    response = desk.post(row_url(run), typed(run, **FULL))
    assert response.headers["Location"] == f"{reverse('support')}#row-{run.public_id}"
    wrong = desk.post(row_url(run), typed(run, film_verdict="HIGH"))
    assert wrong.status_code == 422
    assert "<html" in wrong.content.decode()


def test_the_script_gets_the_row_alone(desk: Client, run: Run) -> None:
    answer = send(desk, run, **FULL).content.decode()
    assert answer.lstrip().startswith("<tbody")
    assert 'data-state="saved"' in answer


@pytest.mark.parametrize("mobility", ["0", "UNSTABLE", ""])
def test_a_zero_a_reason_and_a_blank_are_three_things(desk: Client, run: Run, mobility: str) -> None:
    send(desk, run, **FULL | {"mobility": mobility})
    check = the_check(run)
    assert (check.mobility_best, check.not_mobilised) == {
        "0": (0, ""), "UNSTABLE": (None, "UNSTABLE"), "": (None, ""),
    }[mobility]  # fmt: skip


def test_blanks_stay_blank(desk: Client, run: Run) -> None:
    send(desk, run, assist_ratio="1:1")
    check = the_check(run)
    assert (check.film_verdict, check.site, check.mobility_best, check.cranial_marker_mm) == (
        "",
        [],
        None,
        None,
    )


def test_an_empty_row_is_no_row(desk: Client, run: Run) -> None:
    response = send(desk, run)
    assert response.status_code == 422
    assert "Nothing is entered" in response.content.decode()
    assert not DailyCheck.objects.exists()


def test_the_rules_hold_in_the_row(desk: Client, run: Run) -> None:
    response = send(desk, run, **FULL | {"film_verdict": "HIGH"})
    assert response.status_code == 422
    assert "Say what was done about the position." in response.content.decode()


def test_a_question_is_asked_in_the_row_and_its_answer_kept(desk: Client, run: Run) -> None:
    odd = FULL | {"film_verdict": "HIGH", "position_action": "NONE"}
    assert "was off level and nothing was done" in send(desk, run, **odd).content.decode()
    assert send(desk, run, **odd, reason_verdict_no_action="moved to theatre").status_code == 200
    assert Answer.objects.get().reason == "moved to theatre"


def test_filling_a_blank_needs_no_reason_and_changing_a_value_does(desk: Client, run: Run) -> None:
    send(desk, run, assist_ratio="1:1")
    assert send(desk, run, **FULL, version=1).status_code == 200
    changed = FULL | {"pulse": "ABSENT"}
    refused = send(desk, run, **changed, version=2)
    assert refused.status_code == 422
    assert "Why does a recorded value change?" in refused.content.decode()
    assert send(desk, run, **changed, version=2, change_reason="palpated again").status_code == 200
    check = the_check(run)
    reasons = [row.pgh_context.get("reason") for row in check.history.order_by("pgh_id")]  # type: ignore[attr-defined]
    assert (check.pulse, check.version) == ("ABSENT", 3)
    assert reasons == [None, "added on the round", "palpated again"]


def test_the_same_row_sent_twice_is_saved_once(desk: Client, run: Run) -> None:
    assert [send(desk, run, **FULL).status_code for _ in range(3)] == [200, 200, 200]
    assert the_check(run).version == 1


def test_a_row_of_somebody_else_is_never_overwritten_unseen(
    desk: Client, run: Run, sign_in: Any, physician: User
) -> None:
    send(sign_in(physician), run, **FULL | {"pulse": "ABSENT"})
    answer = send(desk, run, **FULL)
    assert answer.status_code == 422
    assert "Your entry beside the saved one" in answer.content.decode()
    assert the_check(run).pulse == "ABSENT"
    # the answer carries the saved version, so that saving again is a correction with its reason
    assert f'name="row-{run.public_id}-version" value="1"' in answer.content.decode()
    assert send(desk, run, **FULL, version=1, change_reason="felt by two").status_code == 200


def test_a_row_opened_before_another_save_is_a_conflict(desk: Client, run: Run) -> None:
    send(desk, run, assist_ratio="1:1")
    send(desk, run, assist_ratio="1:1", pulse="PRESENT", version=1)
    answer = send(
        desk, run, assist_ratio="1:1", pulse="", limb_neuro="NORMAL", version=1, change_reason="typed"
    )
    assert answer.status_code == 422
    assert the_check(run).version == 2


def test_a_row_removed_in_between_says_so_and_keeps_what_was_typed(
    desk: Client, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    send(desk, run, assist_ratio="1:1")

    def removed_first(**given: Any) -> None:
        DailyCheck.objects.all().delete()
        raise actions.Gone

    monkeypatch.setattr(actions, "correct", removed_first)
    answer = send(desk, run, assist_ratio="1:1", pulse="ABSENT", version=1, change_reason="typed")
    assert answer.status_code == 422
    assert "Somebody removed this row" in answer.content.decode()
    assert 'value="ABSENT" selected' in answer.content.decode()


def test_a_draft_comes_back_to_its_owner_only(
    desk: Client, run: Run, sign_in: Any, physician: User, coordinator: User
) -> None:
    assert send(desk, run, name="round_draft", pulse="ABSENT", site="ot").status_code == 204
    draft = Draft.objects.get(owner=coordinator)
    assert draft.payload == {"pulse": "ABSENT", "site": "ot"}
    mine = desk.get(reverse("support")).content.decode()
    assert 'value="ot"' in mine
    assert "unfinished" in mine
    other = sign_in(physician).get(reverse("support")).content.decode()
    assert 'value="ot"' not in other
    assert "unfinished" not in other


def test_a_saved_or_dropped_row_leaves_no_draft(desk: Client, run: Run) -> None:
    send(desk, run, name="round_draft", pulse="ABSENT")
    assert send(desk, run, discard="1").status_code == 422  # the button is named without the row's prefix
    desk.post(row_url(run), {"discard": "1"}, headers=FETCH)
    assert not Draft.objects.exists()
    send(desk, run, name="round_draft", pulse="ABSENT")
    send(desk, run, **FULL)
    assert not Draft.objects.exists()


def test_a_draft_of_another_day_is_pointed_out(desk: Client, run: Run) -> None:
    yesterday = today() - timedelta(days=1)
    send(desk, run, name="round_draft", day=yesterday, pulse="ABSENT")
    page = desk.get(reverse("support")).content.decode()
    assert f"?day={yesterday.isoformat()}" in page
    assert "unfinished" in page


def test_old_drafts_are_forgotten_when_the_next_is_kept(desk: Client, run: Run, coordinator: User) -> None:
    Draft.objects.create(owner=coordinator, place="round:2020-01-01:x", payload={})
    Draft.objects.update(saved_at=timezone.now() - timedelta(days=15))
    send(desk, run, name="round_draft", pulse="ABSENT")
    assert Draft.objects.count() == 1


def test_a_draft_keeps_only_the_fields_of_the_row_at_a_sane_length(desk: Client, run: Run) -> None:
    send(desk, run, name="round_draft", site="o" * 5000, foreign="x")
    assert Draft.objects.get().payload == {"site": "o" * 300}


def test_keeping_a_draft_does_not_keep_the_session_alive(desk: Client, run: Run) -> None:
    session = desk.session
    long_ago = timezone.now().timestamp() - settings.SESSION_IDLE_SECONDS + 120
    session.update({"began_at": long_ago, "seen_at": long_ago})
    session.save()
    send(desk, run, name="round_draft", pulse="ABSENT")
    assert desk.session["seen_at"] == long_ago
    desk.get(reverse("support"))
    assert desk.session["seen_at"] > long_ago


def test_an_earlier_day_can_be_entered_and_a_far_one_cannot(desk: Client, run: Run) -> None:
    day = today() - timedelta(days=2)
    assert send(desk, run, day=day, **FULL).status_code == 200
    assert the_check(run).checked_on == day
    page = desk.get(reverse("support"), {"day": "2020-01-01"})
    assert page.context["is_today"]


def test_rows_of_the_day_are_those_with_a_device_in_place(desk: Client, centre: Centre, run: Run) -> None:
    gone = create_case(centre=centre, removed_at=days_ago(3), end_reason="WEANED")
    create_outcome(course=gone.course, outcome="RECOVERED_WEANED", occurred_at=days_ago(3))
    rows = desk.get(reverse("support")).context["rows"]
    assert [row["line"].run for row in rows] == [run]
    earlier = desk.get(reverse("support"), {"day": today() - timedelta(days=5)}).context["rows"]
    assert {row["line"].run for row in earlier} == {run, gone}


def test_the_facts_of_a_line(desk: Client, centre: Centre, run: Run) -> None:
    centre.extended_groups = ["film", "listing"]
    centre.save()
    create_check(
        run=run, film_verdict="HIGH", position_action="OBSERVE", cranial_marker_mm=34, mobility_best=4
    )
    create_listing(course=run.course, expires_on=today() + timedelta(days=2))
    page = desk.get(reverse("support")).content.decode()
    for words in ("Too high, 34&nbsp;mm", "4: standing", "tier 2", "expires"):
        assert words in page
    assert 'class="tag ask">expires' in page
    assert "eligible" not in page


def test_the_page_asks_the_database_the_same_number_of_times_for_any_number_of_patients(
    desk: Client, centre: Centre, run: Run
) -> None:
    desk.get(reverse("support"))  # what is asked once in a process
    with CaptureQueriesContext(connection) as for_one:
        desk.get(reverse("support"))
    for _ in range(4):
        create_check(run=create_case(centre=centre))
    with CaptureQueriesContext(connection) as for_five:
        desk.get(reverse("support"))
    assert len(for_five) <= len(for_one) + 2  # rows to prefetch appear with the first check
