"""From rows as read to tables that hang together: positions for keys, ends of runs, the run of an event."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np

from outcomes.dataset import codes
from outcomes.dataset.clock import ALWAYS, MINUTES_PER_DAY, NEVER, local_days
from outcomes.dataset.copying import narrowed
from outcomes.dataset.tables import (
    Attempts,
    Bedside,
    Candidates,
    Courses,
    Events,
    Films,
    Runs,
    Sessions,
)
from outcomes.estimators.arrays import Flags, Ints
from registry.choices import EndReason, Relation
from registry.choices_events import OUT_OF_BED_LEVEL, WALK_LEVEL, Precision, ReviewState

Rows = dict[str, Ints]

AFTER_REMOVAL_MINUTES = MINUTES_PER_DAY  # how long after removal an event is still put down to the run
ESCALATION = codes.RELATIONS.index(Relation.ESCALATION)
ENDED_TO_ESCALATE = codes.END_REASONS.index(EndReason.ESCALATION)
REFUTED = codes.REVIEWS.index(ReviewState.REFUTED)
REPORTED = codes.REVIEWS.index(ReviewState.REPORTED)
SPARSE = 4  # numbers a key up to which a place for each of them costs less than searching
TO_THE_MINUTE = codes.PRECISIONS.index(Precision.MINUTE)


def positions(keys: Ints, wanted: Ints) -> Ints:
    """Where each wanted key stands among distinct ``keys``; -1 where it does not."""
    if not keys.size:
        return np.full(wanted.size, -1)
    least, greatest = int(keys.min()), int(keys.max())
    if greatest - least < SPARSE * keys.size:
        return _places(keys, least, greatest)[np.clip(wanted, least - 1, greatest + 1) - (least - 1)]
    order = np.argsort(keys, kind="stable")
    found = order[np.minimum(np.searchsorted(keys, wanted, sorter=order), keys.size - 1)]
    return narrowed(np.where(keys[found] == wanted, found, -1))


def _places(keys: Ints, least: int, greatest: int) -> Ints:
    """The position of every number from one below the least key to one above the greatest."""
    places = narrowed(np.full(greatest - least + 3, -1))
    places[keys - (least - 1)] = np.arange(keys.size, dtype=np.int32)
    return places


def taken(rows: Rows, index: Ints | Flags) -> Rows:
    """The rows at an index, or those flagged; not copied if that is all of them."""
    if index.dtype == np.bool_ and index.all():
        return rows
    return {name: column[index] for name, column in rows.items()}


def placed(rows: Rows, column: str, keys: Ints) -> Rows:
    """The rows whose key is among ``keys``, with its position there instead."""
    where = positions(keys, rows[column])
    return taken({**rows, column: where}, where >= 0)


def aligned(rows: Rows, wanted: Ints, **absent: int) -> Rows:
    """The columns in the order of the wanted keys; -1, or what ``absent`` says, where a key has no row."""
    keys = rows.pop("pk")
    if np.array_equal(keys, wanted):
        return rows
    if not keys.size:  # nobody recorded any of it: one number stands for all
        return {name: np.broadcast_to(absent.get(name, codes.UNRECORDED), wanted.size) for name in rows}
    where = positions(keys, wanted)
    return {
        name: np.append(column, absent.get(name, codes.UNRECORDED)).astype(column.dtype)[where]
        for name, column in rows.items()
    }


def in_order(rows: Rows, column: str) -> Rows:
    """The rows sorted by a column: the server sends them in any order."""
    if (rows[column][1:] >= rows[column][:-1]).all():
        return rows
    return taken(rows, np.argsort(rows[column], kind="stable"))


def until(rows: Rows, column: str, cut: int) -> Rows:
    """Rows whose moment lies at or before the data cut."""
    return taken(rows, rows[column] <= cut)


def with_patient_and_outcome(courses: Rows, patients: Rows, outcomes: Rows) -> Rows:
    """Courses with what is known of their patient and of their outcome."""
    described = aligned(patients, courses["patient"])
    return {**courses, **described, **aligned(outcomes, courses["pk"], outcome_at=NEVER)}


def derive_runs_and_courses(
    course_rows: Rows, run_rows: Rows, *, zone: ZoneInfo, cut: int
) -> tuple[Courses, Runs]:
    """Both tables as known at the data cut: later insertions, removals and outcomes have not happened."""
    rows = _begun_or_without_a_run(course_rows, run_rows, cut)
    rows = taken(rows, np.lexsort((rows["pk"], rows["patient"])))
    later = rows["outcome_at"] > cut
    rows["outcome"] = np.where(later, codes.UNRECORDED, rows["outcome"])
    rows["outcome_at"] = np.where(later, NEVER, rows["outcome_at"])
    runs = _runs(until(run_rows, "inserted", cut), rows, cut)
    return _courses(rows, runs, zone, cut), runs


def _begun_or_without_a_run(courses: Rows, runs: Rows, cut: int) -> Rows:
    """All courses but those whose first device went in after the cut: they have not begun."""
    if not (runs["inserted"] > cut).any():
        return courses
    begun = np.isin(courses["pk"], until(runs, "inserted", cut)["course"])
    return taken(courses, begun | ~np.isin(courses["pk"], runs["course"]))


def _runs(rows: Rows, courses: Rows, cut: int) -> Runs:
    rows = placed(rows, "course", courses["pk"])
    rows = taken(rows, np.lexsort((rows["run_no"], rows["inserted"], rows["course"])))
    rows["replaces"] = positions(rows["pk"], rows["replaces"])
    known = rows["removed"] <= cut
    rows["removed"] = np.where(known, rows["removed"], NEVER)
    rows["end_reason"] = np.where(known, rows["end_reason"], codes.UNRECORDED)
    outcome_at = courses["outcome_at"][rows["course"]]
    unclosed = ~known & (outcome_at < NEVER)
    open_end = np.where(unclosed, np.maximum(outcome_at, rows["inserted"]), cut)
    return Runs(
        **rows,
        ended=np.where(known, rows["removed"], open_end),
        removed_known=known,
        unclosed=unclosed,
        observed_from=np.maximum(rows["inserted"], courses["arrived"][rows["course"]]),
        is_pump=rows["device"] == codes.BALLOON_PUMP,
    )


def _courses(rows: Rows, runs: Runs, zone: ZoneInfo, cut: int) -> Courses:
    size = rows["pk"].size
    first_run = np.searchsorted(runs.course, np.arange(size))
    run_count = np.bincount(runs.course, minlength=size)
    some = run_count > 0
    first = np.minimum(first_run, max(runs.size - 1, 0))
    began = narrowed(np.full(size, NEVER))
    route, device = (np.full(size, codes.UNRECORDED, dtype=of.dtype) for of in (runs.route, runs.device))
    began[some] = runs.inserted[first[some]]
    route[some], device[some] = runs.route[first[some]], runs.device[first[some]]
    began_on = narrowed(np.full(size, NEVER))
    began_on[some] = local_days(began[some], zone)
    escalated_at = narrowed(np.full(size, NEVER))
    for chosen, moment in (
        (runs.relation == ESCALATION, runs.inserted),
        (runs.end_reason == ENDED_TO_ESCALATE, runs.removed),
    ):
        np.minimum.at(escalated_at, runs.course[chosen], moment[chosen])
    ended, still_in = narrowed(np.full(size, ALWAYS)), np.zeros(size, dtype=np.int64)
    np.maximum.at(ended, runs.course, runs.ended)
    np.add.at(still_in, runs.course, ~runs.removed_known)
    return Courses(
        **rows,
        first_run=narrowed(np.where(some, first_run, -1)),
        run_count=narrowed(run_count),
        began=began,
        began_on=began_on,
        observed_from=np.maximum(began, rows["arrived"]),
        ended=np.where(some, ended, cut),
        removed=some & (still_in == 0),
        route=route,
        device=device,
        escalated_at=escalated_at,
    )


def derive_events(rows: Rows, courses: Courses, runs: Runs, *, zone: ZoneInfo, cut: int) -> Events:
    """Events known at the cut, each with its run."""
    rows = placed(until(rows, "onset", cut), "course", courses.pk)
    rows = in_order(rows, "pk")
    rows = taken(rows, np.argsort(_moment_keys(rows["course"], rows["onset"]), kind="stable"))
    named = positions(runs.pk, rows.pop("named_run"))
    coarse = rows.pop("precision") != TO_THE_MINUTE
    rows["onset"] = _after_insertion(rows["onset"], named, coarse, runs, zone)
    return Events(
        pk=rows["pk"],
        course=rows["course"],
        patient=courses.patient[rows["course"]],
        run=narrowed(np.where(named >= 0, named, run_at(rows["course"], rows["onset"], runs))),
        kind=rows["kind"],
        onset=rows["onset"],
        serious=rows["serious"],
        refuted=rows["review"] == REFUTED,
        reviewed=rows["review"] != REPORTED,
        failure=rows["failure"],
        kink_site=rows["kink_site"],
        detail=rows["detail"],
    )


def _moment_keys(course: Ints, moment: Ints) -> Ints:
    """Numbers in the order of course and moment."""
    span = int(moment.max(initial=0)) - int(moment.min(initial=0)) + 1
    return paired(course, span, moment)


def paired(of: Ints, span: int, moment: Ints) -> Ints:
    """``of * span + moment``, which needs 64 bits."""
    return of.astype(np.int64) * span + moment


def _after_insertion(onset: Ints, named: Ints, coarse: Flags, runs: Runs, zone: ZoneInfo) -> Ints:
    """An onset known only to the hour or day, seemingly before the insertion of that day, is moved to it."""
    moved = onset.copy()
    where = np.flatnonzero(coarse & (named >= 0))
    inserted = runs.inserted[named[where]]
    same_day = local_days(onset[where], zone) == local_days(inserted, zone)
    moved[where] = np.where(same_day, np.maximum(onset[where], inserted), onset[where])
    return moved


def run_at(course: Ints, moment: Ints, runs: Runs) -> Ints:
    """The balloon pump of a course in place at a moment, else the last one removed up to 24 h before; where
    there is none, the other device in place or removed; -1 for none.

    Whoever is at risk for 24 h after removal can have an event then, another device in place or not. A pump
    removed at the very minute another goes in has left.
    """
    pump = _last_inserted(course, moment, runs, runs.is_pump)
    other = _last_inserted(course, moment, runs, ~runs.is_pump)
    ended = np.append(runs.ended, ALWAYS)  # position -1 reads the run that never was
    in_place = np.append(~runs.removed_known & ~runs.unclosed, False)
    choices = [(pump, True), (pump, False), (other, True), (other, False)]
    return np.select(
        [
            (ended[last] > moment) | in_place[last] if now else ended[last] + AFTER_REMOVAL_MINUTES >= moment
            for last, now in choices
        ],
        [last for last, _ in choices],
        default=-1,
    )


def _last_inserted(course: Ints, moment: Ints, runs: Runs, chosen: Flags) -> Ints:
    """Position of the chosen run of the course that went in last, at or before the moment; -1 for none."""
    index = np.flatnonzero(chosen)
    if not index.size:
        return np.full(course.size, -1)
    span = int(max(runs.inserted.max(), moment.max(initial=0))) + 1
    keys = paired(runs.course[index], span, runs.inserted[index])
    place = np.searchsorted(keys, paired(course, span, moment), "right") - 1
    last = index[np.maximum(place, 0)]
    return np.where((place >= 0) & (runs.course[last] == course), last, -1)


def derive_sessions(rows: Rows, courses: Courses, *, cut: int) -> Sessions:
    """Sessions known at the cut."""
    return Sessions(**in_order(placed(until(rows, "started", cut), "course", courses.pk), "pk"))


def derive_days(rows: Rows, runs: Runs) -> tuple[Bedside, Films]:
    """What the daily rows of runs known at the cut say about mobility, and about the balloon's position."""
    rows = in_order(placed(rows, "run", runs.pk), "pk")
    level = rows.pop("level")
    return _bedside(rows, level, runs.size), _films(rows)


def _bedside(days: Rows, level: Ints, runs: int) -> Bedside:
    count = np.bincount(days["run"], minlength=runs)
    some = np.flatnonzero(count)
    recorded = np.bincount(days["run"][level != codes.UNRECORDED], minlength=runs)
    out_of_bed, walked = (taken(days, level >= least) for least in (OUT_OF_BED_LEVEL, WALK_LEVEL))
    return Bedside(
        run=narrowed(some),
        rows=narrowed(count[some]),
        levels_recorded=narrowed(recorded[some]),
        out_of_bed_on=_first_day(out_of_bed, runs)[some],
        walked_on=_first_day(walked, runs)[some],
    )


def _first_day(days: Rows, runs: int) -> Ints:
    first = narrowed(np.full(runs, NEVER))
    np.minimum.at(first, days["run"], days["checked_on"])
    return first


def _films(days: Rows) -> Films:
    read = taken(days, days["verdict"] != codes.UNRECORDED)
    return Films(
        pk=read["pk"],
        run=read["run"],
        read_on=read["checked_on"],
        verdict=read["verdict"],
        action=read["action"],
    )


def derive_attempts(rows: Rows, courses: Courses, runs: Runs, *, cut: int) -> Attempts:
    """Failed attempts known at the cut, with what came of the patient."""
    rows = in_order(until(rows, "attempted", cut), "pk")
    recorded = positions(runs.pk, rows.pop("followed_by"))
    next_run = _next_run(rows["patient"], rows["attempted"], runs)
    during = _course_under_way(rows["patient"], rows["attempted"], courses)
    return Attempts(**rows, run=np.where(recorded >= 0, recorded, next_run), during=during)


def _next_run(patient: Ints, moment: Ints, runs: Runs) -> Ints:
    """The patient's first run inserted within 24 h from the moment; -1 for none."""
    if not runs.size:
        return np.full(patient.size, -1)
    order = np.lexsort((runs.inserted, runs.patient))
    span = int(max(runs.inserted.max(), moment.max(initial=0))) + 1
    keys = paired(runs.patient[order], span, runs.inserted[order])
    place = np.searchsorted(keys, paired(patient, span, moment), "left")
    found = order[np.minimum(place, runs.size - 1)]
    wait = runs.inserted[found] - moment
    return np.where((runs.patient[found] == patient) & (wait >= 0) & (wait <= MINUTES_PER_DAY), found, -1)


def _course_under_way(patient: Ints, moment: Ints, courses: Courses) -> Ints:
    """The patient's course with its support under way at the moment; -1 for none."""
    begun = np.flatnonzero(courses.run_count > 0)
    if not begun.size:
        return np.full(patient.size, -1)
    order = begun[np.lexsort((courses.began[begun], courses.patient[begun]))]
    span = int(max(courses.began[order].max(), moment.max(initial=0))) + 1
    keys = paired(courses.patient[order], span, courses.began[order])
    place = np.searchsorted(keys, paired(patient, span, moment), "right") - 1
    found = order[np.maximum(place, 0)]
    under_way = (place >= 0) & (courses.patient[found] == patient) & (courses.ended[found] > moment)
    return np.where(under_way, found, -1)


def derive_candidates(rows: Rows) -> Candidates:
    """Candidates, sorted by key."""
    return Candidates(**in_order(rows, "pk"))
