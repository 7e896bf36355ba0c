"""Settings of the programme and its accounts."""

from __future__ import annotations

from typing import Any

from allauth.mfa.utils import is_mfa_enabled
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from registry import actions, criteria
from registry.access import SETTINGS, WRITING, SignedInRequest, allow
from registry.forms.settings import CentreForm, FurtherReaderForm, LostSecondFactorForm, PersonForm
from registry.models import Centre, ConfirmedDefinition, User
from registry.views.entry import posted, show_both


@allow(SETTINGS, methods=WRITING)
def settings(request: SignedInRequest) -> HttpResponse:
    form = CentreForm(posted(request), instance=Centre.objects.get(pk=request.centre.pk))
    if form.is_valid() and _saved(form, by=request.user):
        messages.success(request, "Settings saved.")
        return redirect("settings")
    people = User.objects.filter(centre=request.centre).order_by("username")
    context = {
        "form": form,
        "people": people,
        "further_readers": request.centre.further_readers.order_by("username"),
        "definitions": _definitions(request.centre),
    }
    return render(request, "settings.html", context, status=422 if form.errors else 200)


def _saved(form: CentreForm, *, by: User) -> bool:
    """Whether the settings are saved; if another administrator was first, the form shows both."""
    try:
        actions.save_settings(centre=form.instance, version=form.cleaned_data["version"], by=by)
    except actions.Conflict as conflict:
        show_both(form, conflict.current)
        return False
    return True


def _definitions(centre: Centre) -> list[dict[str, Any]]:
    """The criteria written down from memory, each with who has compared it with the paper."""
    given = ConfirmedDefinition.objects.filter(centre=centre).select_related("by")
    confirmed = {(one.name, one.version): one for one in given}
    return [
        {"criteria": one, "confirmed": confirmed.get((one.name, one.version))}
        for one in criteria.ALL
        if one.from_memory
    ]


@allow(SETTINGS, methods=("POST",))
def confirm_definition(request: SignedInRequest) -> HttpResponse:
    """Note that this person compared a definition with its paper."""
    name = request.POST.get("name", "")
    wanted = next((one for one in criteria.ALL if one.from_memory and one.name == name), None)
    if wanted is None:
        return HttpResponse("There is no such definition.", status=422)
    actions.confirm_definition(
        centre=request.centre, name=wanted.name, version=wanted.version, by=request.user
    )
    messages.success(request, f"Confirmed: {wanted.title}.")
    return redirect(f"{reverse('settings')}#definitions")


@allow(SETTINGS, methods=WRITING)
def new_person(request: SignedInRequest) -> HttpResponse:
    form = PersonForm(posted(request))
    if form.is_valid():
        form.instance.centre = request.centre
        password = actions.give_one_time_password(person=form.instance, by=request.user)
        context = {"person": form.instance, "password": password, "added": True}
        return render(request, "one_time_password.html", context)
    return render(request, "person.html", {"form": form}, status=422 if form.errors else 200)


@allow(SETTINGS, methods=WRITING)
def person(request: SignedInRequest, person_id: int) -> HttpResponse:
    account = get_object_or_404(User, pk=person_id, centre=request.centre)
    form = PersonForm(posted(request), instance=account)
    if form.is_valid():
        if account == request.user and not (account.is_active and account.role in SETTINGS):
            form.add_error(None, "You cannot take the administrator’s rights from yourself.")
        else:
            form.save()
            messages.success(request, "Account saved.")
            return redirect("settings")
    context = {"form": form, "account": account, "has_second_factor": is_mfa_enabled(account)}
    return render(request, "person.html", context, status=422 if form.errors else 200)


@allow(SETTINGS, methods=("POST",))
def reset_password(request: SignedInRequest, person_id: int) -> HttpResponse:
    """Give somebody who cannot sign in a one-time password, shown once."""
    account = get_object_or_404(User, pk=person_id, centre=request.centre)
    if account == request.user:
        messages.error(request, "Change your own password under Password.")
        return redirect("account_change_password")
    password = actions.give_one_time_password(person=account, by=request.user)
    return render(request, "one_time_password.html", {"person": account, "password": password})


@allow(SETTINGS, methods=("POST",))
def take_second_factor(request: SignedInRequest, person_id: int) -> HttpResponse:
    """Let somebody who lost a second factor set up another."""
    account = get_object_or_404(User, pk=person_id, centre=request.centre)
    form = LostSecondFactorForm(request.POST)
    if account == request.user or not form.is_valid():
        messages.error(request, "Say why. Nobody takes away their own second factor here.")
    else:
        actions.take_second_factor(person=account, reason=form.cleaned_data["reason"], by=request.user)
        messages.success(request, f"The second factor of {account.username} is taken away.")
    return redirect("person", account.pk)


@allow(SETTINGS, methods=WRITING)
def further_reader(request: SignedInRequest) -> HttpResponse:
    """Let somebody of another centre compare with this one: the centre that is read decides."""
    form = FurtherReaderForm(posted(request), centre=request.centre)
    if form.is_valid():
        person = form.cleaned_data["username"]
        actions.let_read_further(person=person, centre=request.centre, by=request.user)
        messages.success(request, f"{person} may now compare with {request.centre}.")
        return redirect(f"{reverse('settings')}#further-readers")
    return render(request, "further_reader.html", {"form": form}, status=422 if form.errors else 200)


@allow(SETTINGS, methods=("POST",))
def end_further_reader(request: SignedInRequest, person_id: int) -> HttpResponse:
    """Take that back."""
    person = get_object_or_404(User, pk=person_id, further_centres=request.centre)
    actions.end_reading_further(person=person, centre=request.centre, by=request.user)
    messages.success(request, f"{person} may no longer compare with {request.centre}.")
    return redirect(f"{reverse('settings')}#further-readers")
