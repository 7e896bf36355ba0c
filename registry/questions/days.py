"""Questions about the days on support: rows that are missing, and what a row saw that led to nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db import connection
from django.db.models import F, Q
from django.db.models.functions import TruncDate

from registry.choices import FilmVerdict, PositionAction
from registry.choices_events import EventKind, KinkSeen, LimbNeuro, Pulse, SiteState
from registry.models import DailyCheck, Event
from registry.questions.question import Question, Scope, correction, course_name, shown_day

MOST_NAMED = 3
ALARM_CLUSTER = 10  # alarms in 24 h; above it the entry form asks too
CHECK = (
    *("public_id", "run__course_id", "run__course__patient__study_no", "run__course__course_no"),
    *("run__run_no", "checked_on"),
)
# Days from insertion up to yesterday, the day of removal aside: that one belongs to the removal.
MISSING_DAYS = """
    WITH lain AS (
        SELECT run.course_id, run.inserted_at AT TIME ZONE %(zone)s AS came,
               run.removed_at AT TIME ZONE %(zone)s AS went
        FROM registry_run run JOIN registry_course course ON course.id = run.course_id
        WHERE course.centre_id = %(centre)s AND run.device_class = 'IABP'
          AND (%(courses)s::bigint[] IS NULL OR course.id = ANY(%(courses)s))
    ), seen AS (
        SELECT DISTINCT run.course_id, row.checked_on
        FROM registry_dailycheck row JOIN registry_run run ON run.id = row.run_id
    ), missing AS (
        SELECT DISTINCT lain.course_id, day::date AS day
        FROM lain CROSS JOIN LATERAL generate_series(
            lain.came::date, least(lain.went::date, %(today)s::date) - 1, interval '1 day'
        ) AS day
        LEFT JOIN seen ON seen.course_id = lain.course_id AND seen.checked_on = day::date
        WHERE seen.course_id IS NULL
    )
    SELECT course.public_id, course.id, patient.study_no, course.course_no,
           array_agg(missing.day ORDER BY missing.day),
           (SELECT run.public_id FROM registry_run run WHERE run.course_id = course.id
               AND run.device_class = 'IABP'
               AND (run.inserted_at AT TIME ZONE %(zone)s)::date <= min(missing.day)
               ORDER BY run.inserted_at DESC LIMIT 1)
    FROM missing JOIN registry_course course ON course.id = missing.course_id
    JOIN registry_patient patient ON patient.id = course.patient_id
    GROUP BY course.id, patient.id
    ORDER BY min(missing.day) DESC
"""


def missing_days(scope: Scope) -> Iterator[Question]:
    """Calendar days with a balloon pump in place and no row; one question a course."""
    values: dict[str, Any] = {
        "zone": scope.centre.time_zone, "centre": scope.centre.pk, "today": scope.today,
        "courses": None if scope.courses is None else list(scope.courses),
    }  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute(MISSING_DAYS, values)
        rows = cursor.fetchall()
    for public_id, pk, study_no, course_no, days, run_id in rows:
        named = ", ".join(shown_day(day) for day in days[:MOST_NAMED])
        more = f" and {len(days) - MOST_NAMED} more" if len(days) > MOST_NAMED else ""
        yield Question(
            "days_missing", record_id=public_id, course_id=pk, subject=course_name(study_no, course_no),
            text=f"No daily row for {named}{more}. A missing day is not a day without a problem.",
            page="new_check", args=(run_id,), query=f"?day={days[0].isoformat()}", field="new-checked_on",
        )  # fmt: skip


def checks(scope: Scope) -> Any:
    return DailyCheck.objects.filter(**scope.within("run__course"))


def _of_check(row: tuple[Any, ...]) -> dict[str, Any]:
    return {"record_id": row[0], "course_id": row[1], "subject": course_name(*row[2:5])}


def unjudged_film(scope: Scope) -> Iterator[Question]:
    """Films that were measured and not judged."""
    for row in checks(scope).filter(cranial_marker_mm__isnull=False, film_verdict="").values_list(*CHECK):
        yield Question(
            "film_unjudged", text=f"The film of {shown_day(row[5])} was measured and has no verdict.",
            **_of_check(row), **correction("daily_check", row[0], "film_verdict"),
        )  # fmt: skip


def idle_verdict(scope: Scope) -> Iterator[Question]:
    """Balloons off level for which nothing was done."""
    off = (FilmVerdict.HIGH, FilmVerdict.LOW, FilmVerdict.ROTATED)
    found = checks(scope).filter(film_verdict__in=off, position_action__in=("", PositionAction.NONE))
    for row in found.values_list(*CHECK):
        yield Question(
            "verdict_no_action", text=f"The balloon was off level on {shown_day(row[5])}; nothing was done.",
            **_of_check(row), **correction("daily_check", row[0], "position_action"),
        )  # fmt: skip


@dataclass(frozen=True)
class Flag:
    """Something seen on a day that is an event, or was looked at and found to be none."""

    code: str
    seen: Callable[[Any], bool]
    kinds: tuple[str, ...]
    page: str
    text: str


MOVED = (PositionAction.BEDSIDE, PositionAction.FLUOROSCOPY)
LOSS = (LimbNeuro.MOTOR, LimbNeuro.SENSORY, LimbNeuro.BOTH)
FLAGS = (
    Flag("moved_without_event", lambda row: row.position_action in MOVED, (EventKind.REPOSITION,),
         "reposition", "The balloon was moved on {day}; no reposition is recorded."),
    Flag("kink_without_event", lambda row: row.kink_seen not in ("", KinkSeen.NONE), (EventKind.KINK,),
         "kink", "A kink was seen on {day}; no event is recorded."),
    Flag("blood_without_event", lambda row: row.blood_in_tubing, (EventKind.KINK,),
         "kink", "Blood was seen in the gas line on {day}; no event is recorded."),
    Flag("alarms_without_event", lambda row: (row.alarms_24h or 0) > ALARM_CLUSTER, (EventKind.KINK,),
         "kink", "The pump alarmed over ten times on {day}; no event is recorded."),
    Flag("limb_without_event", lambda row: row.pulse == Pulse.ABSENT or row.limb_neuro in LOSS,
         (EventKind.LIMB, EventKind.NERVE), "limb", "The limb was not normal on {day}; no event is kept."),
    Flag("pus_without_event", lambda row: SiteState.PURULENCE in row.site,
         (EventKind.INFECTION, EventKind.ACCESS_SITE), "infection",
         "Pus was seen at the access site on {day}; no event is recorded."),
)  # fmt: skip
SEEN = (
    Q(position_action__in=MOVED)
    | ~Q(kink_seen__in=("", KinkSeen.NONE))
    | Q(blood_in_tubing=True)
    | Q(alarms_24h__gt=ALARM_CLUSTER)
    | Q(pulse=Pulse.ABSENT)
    | Q(limb_neuro__in=LOSS)
    | Q(site__contains=[SiteState.PURULENCE])
)
FLAG_COLUMNS = (
    *("position_action", "kink_seen", "blood_in_tubing", "alarms_24h", "pulse", "limb_neuro", "site"),
    *CHECK,
    "run__course__public_id",
)


def flags(scope: Scope) -> Iterator[Question]:
    """Days with a flag and no event of its kind on the course from the day before to the day after."""
    known = _event_days(scope)
    for row in checks(scope).filter(SEEN).values_list(*FLAG_COLUMNS, named=True):
        near = [row.checked_on + timedelta(days=step) for step in (-1, 0, 1)]
        for flag in FLAGS:
            places = {(row.run__course_id, kind, day) for kind in flag.kinds for day in near}
            if flag.seen(row) and not places & known:
                yield Question(
                    flag.code, text=flag.text.format(day=shown_day(row.checked_on)), page="new_event",
                    args=(row.run__course__public_id, flag.page), field="new-onset_at",
                    **_of_check(row[7:]),
                )  # fmt: skip


def _event_days(scope: Scope) -> set[tuple[int, str, date]]:
    """Course, kind and day of every event, also of those refuted: they were looked at."""
    kinds = {kind for flag in FLAGS for kind in flag.kinds}
    found = Event.objects.filter(kind__in=kinds, **scope.within("course"))
    return set(found.values_list("course_id", "kind", TruncDate("onset_at", tzinfo=scope.centre.zone)))


def no_mobility(scope: Scope) -> Iterator[Question]:
    """Rows with neither a level nor a reason for none."""
    found = checks(scope).filter(mobility_best__isnull=True, not_mobilised="")
    for row in found.order_by(F("checked_on").desc()).values_list(*CHECK):
        yield Question(
            "mobility_missing", text=f"Neither a level nor a reason for none on {shown_day(row[5])}.",
            **_of_check(row), **correction("daily_check", row[0], "mobility_best"),
        )  # fmt: skip
