"""Values that a rule of the logbook would ask about and nobody has answered for, as after an import.

The database picks the rows that can raise a question, the rules decide: ``registry/rules`` stays the one
place that says what is odd, and a test holds the two together. Plain SQL, because it is asked for every page.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from django.db import connection

from registry import rules
from registry.choices import ROUTE_GROUPS, RouteGroup
from registry.models import (
    Course,
    DailyCheck,
    Event,
    FollowUp,
    HaemodynamicSet,
    Mobilisation,
    Patient,
    Record,
    Run,
    Screening,
)
from registry.problem import Problem
from registry.questions.question import Question, Scope, correction

MOST_ROWS = 500  # of one entity: more than anybody works through
RUN_OF = (
    "JOIN registry_run run ON run.id = own.run_id JOIN registry_course course ON course.id = run.course_id"
)
COURSE_OF = "JOIN registry_course course ON course.id = own.course_id"
ZONE = "AT TIME ZONE %(zone)s"


def _routes(group: RouteGroup) -> str:
    return ", ".join(f"'{route}'" for route, member in ROUTE_GROUPS.items() if member == group)


ARM = f"own.route IN ({_routes(RouteGroup.AXILLARY)})"
ODD_VOLUME = " OR ".join(
    f"(course.height_cm >= {low} AND course.height_cm < {high} AND own.balloon_volume_ml NOT IN "
    f"({', '.join(repr(volume) for volume in sorted(volumes))}))"
    for low, high, volumes in rules.HEIGHT_BANDS
)
GRAFT = """EXISTS (SELECT FROM registry_screening seen
    WHERE seen.course_id = own.course_id AND seen.mammary_graft_left)"""


@dataclass(frozen=True)
class Suspects:
    """Rows of one entity that can raise a question: the conditions stand by the code of their rule."""

    model: type[Record]
    course: str = COURSE_OF
    odd: Mapping[str, str] = field(default_factory=dict)
    joined: tuple[str, ...] = ("course__patient",)
    fetched: tuple[str, ...] = ("course__runs",)

    @cached_property
    def conditions(self) -> dict[str, str]:
        """Those that a rule of the entity names, and the usual range of every column."""
        found = dict(self.odd)
        for column in self.model.described():
            if column.soft:
                name, (low, high) = column.name, column.soft
                found[f"{name}_unusual"] = f"own.{name} < {low} OR own.{name} > {high}"
        return found

    @cached_property
    def sql(self) -> str:
        """The keys of the suspects at one centre, those with an answer to the same question left out."""
        doubts = [
            f"(({condition}) AND NOT EXISTS (SELECT FROM registry_answer answer"
            f" WHERE answer.record_id = own.public_id AND answer.code = '{code}'))"
            for code, condition in self.conditions.items()
        ]
        return (
            f"SELECT own.id FROM {self.model._meta.db_table} own {self.course}"  # noqa: S608 - our own words
            " WHERE course.centre_id = %(centre)s"
            " AND (%(courses)s::bigint[] IS NULL OR course.id = ANY(%(courses)s))"
            f" AND ({' OR '.join(doubts)}) ORDER BY own.id DESC LIMIT {MOST_ROWS}"
        )

    def rows(self, scope: Scope) -> Any:
        """The suspects with everything that the rules look at."""
        courses = None if scope.courses is None else list(scope.courses)
        values: dict[str, Any] = {"zone": scope.centre.time_zone, "centre": scope.centre.pk}
        with connection.cursor() as cursor:
            cursor.execute(self.sql, {**values, "courses": courses})
            keys = [key for (key,) in cursor.fetchall()]
        if not keys:
            return []
        found = self.model._default_manager.filter(pk__in=keys).select_related(*self.joined)
        return found.prefetch_related(*self.fetched)


SUSPECTS: tuple[Suspects, ...] = (
    Suspects(
        Run,
        odd={
            "axillary_unguided": f"{ARM} AND own.guidance <@ ARRAY['LANDMARK']::varchar[]",
            "axillary_bedside": f"{ARM} AND own.location = 'BEDSIDE'",
            "exchange_routine": "own.exchange_reason = 'ROUTINE'",
            "run_long": "own.removed_at > own.inserted_at + interval '60 days'",
            "expired_at_insertion": f"own.expires_on < (own.inserted_at {ZONE})::date",
            "volume_for_height": f"own.device_class = 'IABP' AND ({ODD_VOLUME})",
            "puncture_medial": "own.puncture_pocket = 'MEDIAL'",
            "puncture_inside_cage": "own.puncture_outside_cage = false",
            "fixation_incomplete": f"{ARM} AND own.securement <> '{{}}'",
            "graft_on_this_side": f"{ARM} AND {GRAFT}",
            "pocket_relation_missing": f"{ARM} AND own.puncture_pocket = ''"
            " AND course.pacing_device IN ('LEFT', 'RIGHT', 'BOTH')",
        },
        joined=("course__patient", "course__centre", "course__screening", "replaces"),
        fetched=(),
    ),
    Suspects(
        Course,
        course="JOIN registry_course course ON course.id = own.id",
        odd={
            "stage_a_with_device": "own.shock_stage = 'A'",
            "admission_long_after": "EXISTS (SELECT FROM registry_run run WHERE run.course_id = own.id"
            " AND run.inserted_at < own.admitted_at - interval '30 days')",
        },
        joined=("patient",),
        fetched=("runs",),
    ),
    Suspects(
        Event,
        odd={
            "limb_elsewhere": "own.kind = 'LIMB' AND own.run_id IS NOT NULL",
            "ruptured_not_kept": "own.failure = 'MEMBRANE_RUPTURE' AND own.device_kept = false",
            "onset_long_after": "own.onset_at > (SELECT max(run.removed_at) FROM registry_run run"
            " WHERE run.course_id = own.course_id) + interval '30 days'",
        },
        joined=("course__patient", "run"),
    ),
    Suspects(
        DailyCheck,
        course=RUN_OF,
        odd={"verdict_no_action": "own.film_verdict IN ('HIGH', 'LOW') AND own.position_action = 'NONE'"},
        joined=("run__course__patient",),
        fetched=(),
    ),
    Suspects(
        Mobilisation,
        odd={
            "walked_on_femoral": "own.level >= 7 AND own.id IN (SELECT session.id FROM registry_run run"  # noqa: S608
            " JOIN registry_mobilisation session ON session.course_id = run.course_id"
            " AND session.started_at >= run.inserted_at"
            " AND (run.removed_at IS NULL OR session.started_at < run.removed_at)"
            f" WHERE run.route IN ({_routes(RouteGroup.FEMORAL)}) AND session.level >= 7)"
        },
    ),
    Suspects(
        Screening,
        odd={
            "graft_on_this_side": "own.mammary_graft_left",
            "aorta_diseased": "own.arch IN ('ANEURYSM', 'DISSECTION')",
            "imaging_none": "'NONE' = ANY(own.imaging)",
            "consent_undocumented": "own.procedure_consent = 'N'",
        },
    ),
    Suspects(
        HaemodynamicSet,
        odd={
            "mean_not_measured": "own.mean_mmhg IS NULL AND own.systolic_mmhg IS NOT NULL",
            "output_method_missing": "own.output_l_min IS NOT NULL AND own.output_method = ''",
        },
        fetched=(),
    ),
)
DEATH = "own.status = 'DEAD' AND coalesce(own.died_on, own.seen_on)"
FIRST_IN = f"""(SELECT min((run.inserted_at {ZONE})::date) FROM registry_run run
    WHERE run.course_id = course.id)"""  # noqa: S608 - our own words
KNOWN_ALIVE = f"""greatest({FIRST_IN},
    (SELECT greatest((ended.occurred_at {ZONE})::date,
        CASE ended.discharge_status WHEN 'ALIVE' THEN ended.discharged_on END)
        FROM registry_courseoutcome ended WHERE ended.course_id = course.id),
    (SELECT max(seen.seen_on) FROM registry_followup seen
        WHERE seen.course_id = course.id AND seen.status = 'ALIVE'))"""  # noqa: S608 - our own words
CONTRADICTING: tuple[Suspects, ...] = (
    Suspects(
        FollowUp,
        odd={
            "died_after_seen": "own.died_on > own.seen_on",
            "died_before_alive": f"{DEATH} < {KNOWN_ALIVE}",
        },
        joined=("course__patient", "course__centre", "course__outcome"),
        fetched=("course__runs", "course__follow_ups"),
    ),
    Suspects(
        Patient,
        course="JOIN registry_course course ON course.patient_id = own.id",
        odd={"born_after_insertion": f"make_date(own.birth_year, 1, 1) > {FIRST_IN}"},
        joined=("centre",),
        fetched=("runs", "courses"),
    ),
)
ASKED_ELSEWHERE = {"verdict_no_action"}  # it has a place of its own in the list


def doubts(scope: Scope) -> Iterator[Question]:
    """Every question that a rule raises about a stored record; those answered are taken out later."""
    for record, problem in _found(SUSPECTS, scope, rules.check_stored):
        if problem.code not in ASKED_ELSEWHERE:
            yield _question(record, problem)


def contradictions(scope: Scope) -> Iterator[Question]:
    """What a rule refuses today and came in before it was refused."""
    for record, problem in _found(CONTRADICTING, scope, rules.contradictions):
        yield _question(record, problem)


def _found(
    suspects: tuple[Suspects, ...], scope: Scope, check: Callable[[Any], list[Problem]]
) -> Iterator[tuple[Any, Problem]]:
    for one in suspects:
        for record in one.rows(scope):
            for problem in check(record):
                yield record, problem


def _question(record: Any, problem: Problem) -> Question:
    return Question(
        problem.code, record_id=record.public_id, course_id=_course_id(record), subject=str(record),
        text=problem.text, **correction(record.entity, record.public_id, problem.field),
    )  # fmt: skip


def _course_id(record: Any) -> int:
    if isinstance(record, Course):
        return record.pk
    if isinstance(record, Patient):
        return min(course.pk for course in record.courses.all())
    key: int = record.run.course_id if isinstance(record, DailyCheck) else record.course_id
    return key
