"""Measures that count: everybody considered, volumes, events, exchanges, films, outcomes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial

from registry.choices_events import EventKind
from tests.outcomes.recomputing.aftermath import dead_before_therapy
from tests.outcomes.recomputing.rows import (
    DAY,
    GROUPS,
    Course,
    Event,
    Figure,
    Logbook,
    Recomputation,
    key_of,
    moment,
    of,
    route_group,
)
from tests.outcomes.recomputing.times import bridge_row, is_over_at_arrival

BRIDGES = {"TRANSPLANT": "BTT", "DURABLE_VAD": "BTD", "RECOVERED_WEANED": "BTR"}
OUTCOMES = (*BRIDGES, "DIED_ON_SUPPORT", "WITHDRAWN_PALLIATIVE", "TRANSFERRED", "NONE")


def flow(book: Recomputation) -> None:
    """Everybody considered, and attempts by the route that was intended."""
    log = book.log
    candidates = sum(book.within_days(cells["considered_on"]) for cells in log.table("candidates"))
    alone: dict[str, str] = {}
    for cells in log.attempts:
        at = moment(cells["attempted_at"])
        if book.within(at) and not _followed(log, cells["study_no"], at):
            alone.setdefault(cells["study_no"], route_group(cells["intended_route"]))
    book.count("flow.considered/ALL/candidates", candidates)
    book.count("flow.considered/ALL/failed", len(alone))
    book.count("flow.considered/ALL/begun", len(book.all_begun))
    book.count("flow.considered/ALL/total", candidates + len(alone) + len(book.all_begun))
    here = [course for course in book.with_a_pump if not course.came_with_it]
    tried = [(_intended(log, course), course.route) for course in here]
    for group in GROUPS:
        mine = [(intended, used) for intended, used in tried if group in ("ALL", intended)]
        failed = sum(group in ("ALL", route) for route in alone.values())
        placed = sum(intended == used for intended, used in mine)
        for name, number in (("placed", placed), ("converted", len(mine) - placed), ("failed", failed)):
            book.share(f"flow.attempted/{group}/{name}", number, len(mine) + failed)


def _followed(log: Logbook, patient: str, at: datetime) -> bool:
    """Whether a device was in place at a failed attempt or went in within 24 h of it."""
    own = [run for run in log.runs if run.patient == patient]
    return any(run.inserted_at <= at + DAY and (run.removed_at is None or run.removed_at > at) for run in own)


def _intended(log: Logbook, course: Course) -> str:
    attempts = [
        cells
        for cells in log.attempts
        if cells["study_no"] == course.key[0]
        and course.started_at - DAY <= moment(cells["attempted_at"]) <= course.started_at
    ]
    return route_group(attempts[0]["intended_route"]) if attempts else course.route


def volumes(book: Recomputation) -> None:
    """Patients, courses and runs begun; pumps in place; balloon volumes."""
    used = sorted({run.cells["balloon_volume_ml"] for run in book.begun_runs} - {""})
    for group in GROUPS:
        courses, runs = of(group, book.with_a_pump), of(group, book.begun_runs)
        book.count(f"volume.begun/{group}/patients", len({course.key[0] for course in courses}))
        book.count(f"volume.begun/{group}/courses", len(courses))
        book.count(f"volume.begun/{group}/analysed", len(of(group, book.begun)))
        book.count(f"volume.begun/{group}/runs", len(runs))
        lying = of(group, book.in_place)
        book.count(f"volume.in_place/{group}/patients", len({run.patient for run in lying}))
        book.count(f"volume.in_place/{group}/courses", len({run.course for run in lying}))
        book.count(f"volume.in_place/{group}/runs", len(lying))
        book.count(f"volume.in_place/{group}/device-days", book.days_of(group))
        known = [run.cells["balloon_volume_ml"] for run in runs if run.cells["balloon_volume_ml"]]
        for volume in used:
            book.share(f"volume.balloon/{group}/{volume}", known.count(volume), len(known))


def complications(book: Recomputation) -> None:
    """Two columns for each kind: patients with one, and events over device-days."""
    belonging = [event for event in book.events if event.pump and event.kind != "REPOSITION"]
    kinds: dict[str, Callable[[Event], bool]] = {
        kind.value: partial(_is_of, kind.value) for kind in EventKind if kind != EventKind.REPOSITION
    }
    kinds["BARC_3_5"] = lambda event: event.cells["barc"][:1] in ("3", "5")
    kinds["STROKE"] = lambda event: event.cells["neuro_kind"] in ("1a", "1aH", "1b", "1c", "1d")
    kinds["HARM"] = lambda event: event.kind != "KINK_MALFUNCTION"
    kinds["ANY"] = lambda event: True
    kinds["SERIOUS"] = lambda event: event.cells["serious"] == "yes"
    for kind, is_one in kinds.items():
        _two_columns(book, "complications", kind, [event for event in belonging if is_one(event)])
    late = Counter(event.kind for event in book.events if is_late(event))
    book.count("complications.late/ALL/ANY", late.total())
    for kind, number in late.items():
        book.count(f"complications.late/ALL/{kind}", number)
    _faults(book, belonging)


def _is_of(kind: str, event: Event) -> bool:
    return event.kind == kind


def is_late(event: Event) -> bool:
    """Long after its balloon pump, or after all devices."""
    return event.is_late and (event.run is None or event.run.is_pump)


def _two_columns(book: Recomputation, measure: str, kind: str, events: Sequence[Event]) -> None:
    for group in GROUPS:
        own = [event for event in events if event.pump and group in ("ALL", event.pump.route)]
        key = f"{measure}/{group}/{kind}"
        book.share(f"{key}/patients", len({event.patient for event in own}), book.patients_at_risk(group))
        book.rate(f"{key}/rate", len(own), book.days_of(group))


def _faults(book: Recomputation, belonging: Sequence[Event]) -> None:
    faults = [event for event in belonging if event.kind == "KINK_MALFUNCTION"]
    for name, column in (("fault", "failure"), ("kink", "kink_site")):
        codes = sorted({event.cells[column] for event in faults} - {""})
        for group in GROUPS:
            own = [
                e.cells[column]
                for e in faults
                if e.pump and group in ("ALL", e.pump.route) and e.cells[column]
            ]
            for code in codes:
                book.share(f"faults/{group}/{name}/{code}", own.count(code), len(own), limits=False)


def repositions(book: Recomputation) -> None:
    own = [event for event in book.events if event.kind == "REPOSITION" and event.pump]
    _two_columns(book, "repositions", "REPOSITION", own)


def exchanges(book: Recomputation) -> None:
    """Another catheter by the same route; changes of route are counted apart."""
    kinds = ("SAME_SITE_EXCHANGE", "NEW_SITE_SAME_ROUTE")
    made = [run for run in book.begun_runs if run.cells["relation"] in kinds]
    for group in GROUPS:
        own, total = of(group, made), book.patients_at_risk(group)
        book.share(f"exchanges/{group}/patients", len({run.patient for run in own}), total)
        per_100 = 100 * len(own) / total if total else None
        book.figures[f"exchanges/{group}/per-100"] = Figure(len(own), total, per_100)
        book.rate(f"exchanges/{group}/rate", len(own), book.days_of(group))
        reasons = Counter(run.cells["exchange_reason"] for run in own if run.cells["exchange_reason"])
        for reason, number in reasons.items():
            book.share(f"exchanges/{group}/reason/{reason}", number, reasons.total(), limits=False)


def films(book: Recomputation) -> None:
    runs = {(run.course, run.number): run for run in book.log.pumps}
    read = [
        (runs[key_of(cells), cells["run_no"]].route, cells["film_verdict"])
        for cells in book.log.daily
        if (key_of(cells), cells["run_no"]) in runs
        and book.within_days(cells["checked_on"])
        and cells["film_verdict"] not in ("", "CANNOT_TELL")
    ]
    for group in GROUPS:
        own = [verdict for route, verdict in read if group in ("ALL", route)]
        off = sum(verdict != "ACCEPTABLE" for verdict in own)
        book.share(f"films/{group}/off-level", off, len(own), limits=False)


def crossovers(book: Recomputation) -> None:
    """Courses that changed route by the cut, and changes made in the period by direction."""
    for group in GROUPS:
        own = of(group, book.begun)
        changed = [c for c in own if any(run.cells["relation"] == "ROUTE_CROSSOVER" for run in c.runs)]
        book.share(f"crossovers/{group}/courses", len(changed), len(own))
    for run in book.begun_runs:
        if run.cells["relation"] == "ROUTE_CROSSOVER":
            before = next(
                other
                for other in book.log.pumps
                if other.course == run.course and other.number == run.cells["replaces_run_no"]
            )
            key = f"crossovers/ALL/{before.route}-{run.route}"
            book.count(key, book.figures.get(key, Figure(0)).numerator + 1)


def outcomes(book: Recomputation) -> None:
    """What became of the courses, and whether that was what they were meant for."""
    for group in GROUPS:
        own = of(group, book.begun)
        for outcome in OUTCOMES:
            book.share(
                f"outcomes/{group}/{outcome}", sum((c.outcome or "NONE") == outcome for c in own), len(own)
            )
        ended = [course for course in own if course.outcome]
        named = [course for course in ended if course.intent in BRIDGES.values()]
        met = sum(BRIDGES.get(course.outcome) == course.intent for course in named)
        book.share(f"success/{group}/any", sum(course.outcome in BRIDGES for course in ended), len(ended))
        book.share(f"success/{group}/intended", met, len(named))
        alone = [c for c in ended if c.outcome in BRIDGES and bridge_row(book.log, c)[2] != "escalated"]
        book.share(f"success/{group}/unescalated", len(alone), len(ended))
    pairs = Counter((course.intent, course.outcome or "NONE") for course in book.begun)
    for (intent, outcome), number in pairs.items():
        book.count(f"intent/ALL/{intent}/{outcome}", number)


def left_out(book: Recomputation) -> None:
    """What a reader is told of besides; reasons without a record are not listed."""
    open_courses = [course for course in book.begun if not course.outcome]
    events = book.events
    concerned = {id(run): run for run in (*book.begun_runs, *book.exposed)}.values()
    lines = {
        "courses/other-device": len(book.all_begun) - len(book.with_a_pump),
        "courses/never-seen": len(book.with_a_pump) - len(book.begun),
        "courses/died-before-therapy": dead_before_therapy(book),
        "courses/over-at-arrival": sum(is_over_at_arrival(bridge_row(book.log, c)) for c in book.begun),
        "courses/no-outcome": sum(course.last_out_at is not None for course in open_courses),
        "courses/supported": sum(course.last_out_at is None for course in open_courses),
        "runs/no-removal": sum(not run.removed_at and run.seen_until < book.log.cut for run in concerned),
        "runs/never-seen": sum(book.within(run.inserted_at) and not run.is_seen for run in book.log.pumps),
        "events/late": sum(is_late(event) for event in events),
        "events/other-device": sum(event.run is not None and not event.run.is_pump for event in events),
        "events/no-device": sum(event.run is None and not event.is_late for event in events),
        "events/refuted": len(book.known) - len(events),
    }
    book.left_out = {key: number for key, number in lines.items() if number}
