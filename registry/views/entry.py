"""The one way a form is shown, checked and saved: once, whole, and never over somebody else's work."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db import IntegrityError, connection, transaction
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render

from registry.access import SignedInRequest
from registry.actions import Conflict, Gone, remember_submission
from registry.forms.base import LogbookForm
from registry.forms.settings import CentreForm
from registry.history import shown
from registry.models import Record, Submission

Forms = Sequence[LogbookForm]


@dataclass(frozen=True)
class Page:
    """The words around a form and where it leads."""

    title: str
    purpose: str
    back: str
    save_label: str = "Save"
    done: str = "Saved."
    facts: Sequence[dict[str, str]] = ()


def posted(request: SignedInRequest) -> Any:
    """What a form is bound to: the posted data, even when empty, else None."""
    return request.POST if request.method == "POST" else None


def entry(
    request: SignedInRequest,
    *,
    page: Page,
    make: Callable[[Any], Forms],
    save: Callable[[Forms], Record],
    lead_to: Callable[[Record], str],
) -> HttpResponse:
    """Show the forms that ``make`` builds, or save them with ``save`` and go where ``lead_to`` says.

    ``make`` takes the posted data or None. The same form posted twice saves once and leads to the same place.
    With ``propose`` among the data, the script of the page asks what the values propose; nothing is saved.
    """
    if request.method != "POST":
        return show(request, page, make(None))
    if "propose" in request.POST:
        return _proposals(make(request.POST))
    with one_submission(request) as (key, earlier):
        if earlier:
            return redirect(earlier)
        forms = make(request.POST)
        url = _save(request, key=key, forms=forms, save=save, lead_to=lead_to)
        if url:
            messages.success(request, page.done)
            return redirect(url)
    return show(request, page, forms, key=key)


def _proposals(forms: Forms) -> HttpResponse:
    """For the page's script: the grades that the values entered so far propose; nothing is saved."""
    found: dict[str, str] = {}
    for form in forms:
        found |= form.proposals()
    return JsonResponse(found)


def _save(
    request: SignedInRequest,
    *,
    key: uuid.UUID,
    forms: Forms,
    save: Callable[[Forms], Record],
    lead_to: Callable[[Record], str],
) -> str:
    if not all([form.is_valid() for form in forms]):  # noqa: C419 - every form shows its errors
        return ""
    try:
        with transaction.atomic():
            url = lead_to(save(forms))
            remember_submission(key=key, result_url=url, by=request.user)
            connection.check_constraints()  # now, not when it is too late to say so
    except Gone:
        forms[0].add_error(None, "Somebody removed this, or what it belongs to, after you opened it.")
        return ""
    except Conflict as conflict:
        show_both(forms[0], conflict.current)
        return ""
    except IntegrityError as error:
        forms[0].refuse(error)
        return ""
    return url


def show_both(form: LogbookForm | CentreForm, current: Record) -> None:
    """Lay the saved values beside the typed ones, and let the next save stand on the saved version."""
    if type(current) is not type(form.instance):
        form.add_error(None, f"Somebody changed {current} after you opened this. Look at it first.")
        return
    form.conflicts = [  # type: ignore[union-attr]
        {
            "label": form.fields[name].label,
            "typed": _shown(form.instance, name),
            "saved": _shown(current, name),
        }
        for name in form.fields
        if hasattr(current, name)
        and _shown(form.instance, name) != _shown(current, name)
        and name != "version"
    ]
    data: Any = form.data
    form.data = data.copy()
    form.data[form.add_prefix("version")] = str(current.version)  # type: ignore[index]
    form.add_error(None, "Somebody saved this record after you opened it. Compare, then save again.")


def _shown(record: Record, name: str) -> str:
    """A value as people read it, times on the centre's clocks."""
    value = getattr(record, name)
    column = next((column for column in record.described() if column.name == name), None)
    if value in (None, "", []):
        return ""
    if column is None:
        return ", ".join(map(str, value)) if isinstance(value, list) else str(value)
    return shown(column, value)


def show(request: SignedInRequest, page: Page, forms: Forms, *, key: uuid.UUID | None = None) -> HttpResponse:
    """The page with its forms; with a status of 422 when they hold errors."""
    wrong = next((form for form in forms if form.errors), None)
    context = {"page": page, "forms": forms, "form": wrong, "submission": key or uuid.uuid4()}
    return render(request, "entry.html", context, status=422 if wrong else 200)


@contextmanager
def one_submission(request: SignedInRequest) -> Iterator[tuple[uuid.UUID, str]]:
    """Hold the key of a posted form, so that its twin waits; yields the key and where an earlier one led."""
    try:
        key = uuid.UUID(request.POST.get("submission", ""))
    except ValueError:
        key = uuid.uuid4()
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [str(key)])
        earlier = Submission.objects.filter(key=key, sent_by=request.user).first()
        yield key, earlier.result_url if earlier else ""
