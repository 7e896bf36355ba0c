"""What every entry form does: groups, conditions decided on the server, refusals in words."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.contrib.postgres.constraints import ExclusionConstraint
from django.db import IntegrityError
from django.db.models import UniqueConstraint
from django.forms import ChoiceField
from django.test import Client
from django.urls import reverse

from registry import tiers
from registry.forms import base, followed, implant
from registry.forms.base import REFUSALS, LogbookForm
from registry.models import Centre, Course, CourseOutcome, DailyCheck, Mobilisation, Run
from tests.entries import PAGES
from tests.factories import create_check, create_run, days_ago
from tests.pages import again, errors_of, fill, names_in, send, sent_from

pytestmark = pytest.mark.django_db


def fields_of(client: Client, page: str, run: Run) -> set[str]:
    return names_in(client.get(PAGES[page].url(run)))


GROUPS = {
    "governance": ("implant", "patient-consent_on"),
    "baseline": ("implant", "course-lvef_pct"),
    "risk": ("implant", "course-diabetes"),
    "labs": ("day", "new-lactate_mmol_l"),
    "procedure": ("implant", "run-sedation"),
    "device": ("implant", "run-lot"),
    "removal": ("removal", "run-duplex_after"),
    "film": ("day", "new-cranial_marker_mm"),
    "pressures": ("day", "new-map_mmhg"),
    "session": ("mobilisation", "new-aid"),
    "review": ("event kink", "new-relatedness"),
}


@pytest.mark.parametrize("group", GROUPS)
def test_a_group_is_asked_for_only_when_switched_on(group: str, desk: Client, run: Run) -> None:
    page, field = GROUPS[group]
    assert field not in fields_of(desk, page, run)
    Centre.objects.update(extended_groups=[group])
    assert field in fields_of(desk, page, run)
    assert group in tiers.EXTENDED_GROUPS


@pytest.mark.parametrize("name", [name for name in PAGES if not name.startswith("event ")])
def test_every_field_of_every_group_is_on_its_page_and_can_be_left_empty(
    name: str, desk: Client, run: Run
) -> None:
    few = fields_of(desk, name, run)
    Centre.objects.update(extended_groups=list(tiers.EXTENDED_GROUPS))
    assert few <= fields_of(desk, name, run)
    send(desk, PAGES[name].url(run), PAGES[name].filled(desk, run))


def refused(client: Client, page: str, run: Run, **entries: Any) -> dict[str, list[str]]:
    return errors_of(client.post(PAGES[page].url(run), PAGES[page].filled(client, run, **entries)))


def test_what_does_not_apply_is_dropped_on_the_server(desk: Client, run: Run) -> None:
    """A client that shows every field may send what the page would have hidden."""
    page = PAGES["day"]
    data = page.filled(desk, run, **{"new-film_verdict": "ACCEPTABLE", "new-position_action": "EXCHANGE"})
    send(desk, page.url(run), data)
    assert DailyCheck.objects.get().position_action == ""
    page = PAGES["mobilisation"]
    send(desk, page.url(run), page.filled(desk, run, **{"new-level": "5", "new-distance_m": "nonsense"}))
    assert Mobilisation.objects.get().distance_m is None


def test_what_applies_is_required_on_the_server(desk: Client, run: Run) -> None:
    assert "new-position_action" in refused(desk, "day", run, **{"new-film_verdict": "HIGH"})
    errors = refused(desk, "implant", run, **{"run-balloon_volume_ml": None, "run-catheter_fr": ""})
    assert set(errors) == {"run-balloon_volume_ml", "run-catheter_fr"}


def test_another_device_than_a_balloon_needs_neither_volume_nor_size(desk: Client, run: Run) -> None:
    page = PAGES["implant"]
    none: dict[str, Any] = {"run-balloon_volume_ml": None, "run-catheter_fr": ""}
    send(desk, page.url(run), page.filled(desk, run, **{"run-device_class": "MICROAXIAL"}, **none))
    stored = Run.objects.get(device_class="MICROAXIAL")
    assert (stored.balloon_volume_ml, stored.catheter_fr) == ("", None)


def test_conditions_name_fields_and_codes_that_exist() -> None:
    classes = [form for module in (implant, followed) for form in vars(module).values()]
    forms = [form for form in classes if isinstance(form, type) and issubclass(form, LogbookForm)]
    assert len(forms) > 10
    for form in forms:
        for name, condition in form.conditions.items():
            master, _, codes = condition.partition("=")
            assert {name, master} <= {*form.base_fields, "tried_first"}, form
            choices = getattr(form.base_fields.get(master), "choices", None)
            if choices:
                assert set(codes.split(",")) <= {str(code) for code, _ in choices}, (form, condition)


def test_an_unforeseen_refusal_of_the_database_is_said_and_names_its_rule(run: Run) -> None:
    form = implant.CourseForm({}, prefix="course", centre=run.course.centre, instance=Course())
    form.refuse(IntegrityError("no more said"))
    assert form.non_field_errors() == [
        "This was not saved because it contradicts another record (a rule of the logbook)."
    ]


def test_no_message_names_a_constraint(desk: Client, run: Run) -> None:
    """Django has its own words for a broken constraint; ours stand in the rules."""
    broken: list[tuple[str, dict[str, Any]]] = [
        ("event kink", {"new-kink_site": None}),
        ("removal", {"run-end_reason": ""}),
        ("follow-up", {"new-status": "DEAD", "new-seen_on": "soon"}),
    ]
    for page, entries in broken:
        assert "Constraint" not in str(refused(desk, page, run, **entries))
    second = create_run(course=run.course, inserted_at=days_ago(4), device_class="MICROAXIAL")
    url = reverse("correct", args=["run", second.public_id])
    data = fill(desk, url, record__exchange_reason="", record__change_reason="misread")
    assert errors_of(desk.post(url, data)) == {"record-__all__": [REFUSALS["run_exchange_has_reason"]]}


@pytest.mark.parametrize("name", PAGES)
def test_a_page_answers_for_nobody(name: str, desk: Client, run: Run) -> None:
    """What a person must choose opens empty; what is kept from the device before may stay."""
    response = desk.get(PAGES[name].url(run))
    sent = sent_from(response)
    for form in response.context["forms"]:
        for field in form:
            required = isinstance(field.field, ChoiceField) and field.field.required
            if required and field.initial in (None, "", []):
                assert sent.get(field.html_name, "") == "", field.html_name


def test_the_same_day_twice_is_refused_in_words(desk: Client, run: Run) -> None:
    day = create_check(run=run).checked_on
    errors = refused(desk, "day", run, **{"new-checked_on": day.isoformat()})
    assert errors == {"new-__all__": [REFUSALS["daily_check_once_a_day"]]}


@pytest.mark.parametrize("name", ["mobilisation", "plan change", "follow-up", "screening"])
def test_the_same_again_is_refused_in_words(name: str, desk: Client, run: Run) -> None:
    page = PAGES[name]
    data = page.filled(desk, run)
    send(desk, page.url(run), data)
    errors = errors_of(desk.post(page.url(run), again(data)))
    assert errors["new-__all__"][0].endswith(("Correct that one.", "is recorded already."))


def test_an_outcome_twice_leads_to_the_first_one(desk: Client, run: Run) -> None:
    page = PAGES["outcome"]
    data = page.filled(desk, run)
    send(desk, page.url(run), data)
    outcome = CourseOutcome.objects.get()
    second = {**data, "submission": "", "new-outcome": "DIED_ON_SUPPORT"}
    errors = errors_of(desk.post(page.url(run), second))
    assert errors == {"new-outcome": ["This course has an outcome already. Correct that one."]}
    assert str(outcome.public_id) in desk.get(page.url(run)).headers["Location"]


def test_every_refusal_belongs_to_a_constraint_of_the_database() -> None:
    from django.apps import apps

    known = {
        constraint.name
        for model in apps.get_app_config("registry").get_models()
        for constraint in model._meta.constraints
        if isinstance(constraint, (UniqueConstraint, ExclusionConstraint))
        or constraint.name.startswith("run_")
    }
    assert all(name.endswith("_key") for name in set(REFUSALS) - known)  # the database names these itself
    assert all(text.endswith(".") for text in REFUSALS.values())


def test_pages_name_no_field_twice() -> None:
    """A name in two sections would show a field twice and send it twice."""
    source = Path(base.__file__).parent
    for path in source.glob("*.py"):
        assert not re.search(r'"(\w+)",\s+"\1"', path.read_text(encoding="utf-8")), path
