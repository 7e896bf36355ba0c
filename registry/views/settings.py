"""Settings of the programme and its accounts."""

from __future__ import annotations

import secrets

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from registry import actions
from registry.access import SETTINGS, WRITING, SignedInRequest, allow
from registry.forms.settings import CentreForm, PersonForm
from registry.models import User
from registry.views.entry import posted

PASSWORD_BYTES = 15


@allow(SETTINGS, methods=WRITING)
def settings(request: SignedInRequest) -> HttpResponse:
    form = CentreForm(posted(request), instance=request.centre)
    if form.is_valid():
        actions.save_settings(centre=form.instance, by=request.user)
        messages.success(request, "Settings saved.")
        return redirect("settings")
    people = User.objects.filter(centre=request.centre).order_by("username")
    return render(
        request, "settings.html", {"form": form, "people": people}, status=422 if form.errors else 200
    )


@allow(SETTINGS, methods=WRITING)
def new_person(request: SignedInRequest) -> HttpResponse:
    form = PersonForm(posted(request))
    if form.is_valid():
        password = secrets.token_urlsafe(PASSWORD_BYTES)
        form.instance.centre = request.centre
        form.instance.set_password(password)
        form.save()
        return render(request, "person_added.html", {"person": form.instance, "password": password})
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
    return render(
        request, "person.html", {"form": form, "account": account}, status=422 if form.errors else 200
    )
