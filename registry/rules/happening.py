"""Rules of what happens during a course: events, mobilisation and the daily rows."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from registry.choices import FilmVerdict, PositionAction, RouteGroup
from registry.choices_events import WALK_LEVEL, EventKind, Failure
from registry.models import DailyCheck, Event, Mobilisation
from registry.models.base import label_of
from registry.models.event import NEEDS_RUN, REQUIRED_BY_KIND
from registry.problem import Problem, ask, refuse
from registry.rules.attached import BEFORE_INSERTION, limb_fits
from registry.rules.span import span

LATE_EVENT = timedelta(days=30)


def _check_event_time(event: Event) -> list[Problem]:
    first, last = span(event.course)
    found = []
    if event.onset_at and first and event.onset_at < first - BEFORE_INSERTION:
        found.append(
            refuse("onset_before_course", "onset_at", "The onset lies before the first device went in.")
        )
    if event.onset_at and last and event.onset_at > last + LATE_EVENT:
        text = "The onset lies more than 30 days after the last removal."
        found.append(ask("onset_long_after", "onset_at", text))
    if event.detected_at and event.onset_at and event.detected_at < event.onset_at:
        found.append(refuse("detected_before_onset", "detected_at", "Detection cannot come before onset."))
    if event.run and event.onset_at and event.onset_at < event.run.inserted_at - BEFORE_INSERTION:
        found.append(refuse("onset_before_run", "run", "This run had not begun at the onset."))
    return found


def _check_event_kind(event: Event) -> list[Problem]:
    found = []
    for name in REQUIRED_BY_KIND.get(event.kind, ()):
        if getattr(event, name) in (None, ""):
            found.append(refuse(f"{name}_missing", name, f"Enter: {label_of(Event, name)}."))
    if event.failure == Failure.KINK and not event.kink_site:
        found.append(refuse("kink_site_missing", "kink_site", "Say where the kink was."))
    if event.failure == Failure.RUPTURE and event.device_kept is False:
        found.append(
            ask("ruptured_not_kept", "device_kept", "A ruptured catheter is usually kept for inspection.")
        )
    if event.kind in NEEDS_RUN and not event.run:
        found.append(refuse("run_missing", "run", "Choose the run this happened on."))
    if event.kind == EventKind.LIMB and event.run and event.limb and not limb_fits(event.limb, event.run):
        found.append(ask("limb_elsewhere", "limb", "The limb is not the one the device entered by."))
    return found


def check_event(event: Event) -> list[Problem]:
    return [*_check_event_time(event), *_check_event_kind(event)]


def check_mobilisation(session: Mobilisation) -> list[Problem]:
    first, last = span(session.course)
    at = session.started_at
    if at is None:
        return []
    if first and at < first:
        return [refuse("session_before_course", "started_at", "No device was in place yet.")]
    if last and at > last:
        return [refuse("session_after_course", "started_at", "No device was in place any more.")]
    runs = [
        run
        for run in session.course.runs.all()
        if run.inserted_at <= at and (not run.removed_at or run.removed_at > at)
    ]
    femoral = any(run.route_group == RouteGroup.FEMORAL for run in runs)
    if femoral and (session.level or 0) >= WALK_LEVEL:
        return [
            ask("walked_on_femoral", "level", "Walking with a femoral device needs the programme’s protocol.")
        ]
    return []


def check_daily(check: DailyCheck) -> list[Problem]:
    found = []
    run, day = check.run, check.checked_on
    last_day = timezone.localtime(run.removed_at).date() if run.removed_at else timezone.localdate()
    if day and not timezone.localtime(run.inserted_at).date() <= day <= last_day:
        found.append(refuse("day_outside_run", "checked_on", "The device was not in place on this day."))
    off = check.film_verdict not in ("", FilmVerdict.ACCEPTABLE)
    if off and not check.position_action:
        found.append(
            refuse("verdict_without_action", "position_action", "Say what was done about the position.")
        )
    if (
        check.film_verdict in (FilmVerdict.HIGH, FilmVerdict.LOW)
        and check.position_action == PositionAction.NONE
    ):
        found.append(
            ask("verdict_no_action", "position_action", "The balloon was off level and nothing was done.")
        )
    if check.mobility_best is not None and check.not_mobilised:
        text = "Give the level reached or the reason for none, not both."
        found.append(refuse("level_and_reason", "not_mobilised", text))
    return found
