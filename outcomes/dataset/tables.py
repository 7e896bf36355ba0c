"""The dataset's tables: what was read, and what follows from it, as arrays of one length.

Times are whole minutes since 1970 in UTC, days are days since 1970 in the centre's calendar, codes are
positions in ``outcomes.dataset.codes``. As read, a code takes 16 bits and all else 32 where it fits, so widen
before multiplying. ``NEVER`` stands for a moment that has not come, or was not recorded, by the data cut. A
column called after another table (``course``, ``run``) is the position of the row there, -1 for none.
"""

from __future__ import annotations

from dataclasses import dataclass

from outcomes.estimators.arrays import Flags, Ints


@dataclass(frozen=True, eq=False, repr=False)
class Courses:
    """Support courses, sorted by patient. ``first_run`` and ``run_count`` are a slice of the runs.

    ``began`` is the first insertion, ``ended`` the end of support: last removal, else the outcome, else the
    data cut; ``removed`` says that the last removal is known. ``observed_from`` is later than ``began`` for
    a transfer in. ``route`` and ``device`` are those of the first run, whatever came later.
    """

    pk: Ints
    patient: Ints
    centre: Ints
    intent: Ints
    stage: Ints
    arrived: Ints
    outcome: Ints
    outcome_at: Ints
    first_run: Ints
    run_count: Ints
    began: Ints
    began_on: Ints
    observed_from: Ints
    ended: Ints
    removed: Flags
    route: Ints
    device: Ints
    escalated_at: Ints

    @property
    def size(self) -> int:
        return self.pk.size


@dataclass(frozen=True, eq=False, repr=False)
class Runs:
    """Device runs, sorted by course and insertion.

    ``ended`` is the removal, else the outcome of the course, else the data cut. ``removed_known`` is false
    in the last two cases, and ``unclosed`` is true where the course has its outcome but the run no removal.
    ``observed_from`` is the insertion, or the arrival of a transfer in; a run that ended before it was
    never seen.
    """

    pk: Ints
    course: Ints
    patient: Ints
    run_no: Ints
    replaces: Ints
    inserted: Ints
    removed: Ints
    route: Ints
    device: Ints
    relation: Ints
    exchange_reason: Ints
    end_reason: Ints
    balloon_ml: Ints
    ended: Ints
    removed_known: Flags
    unclosed: Flags
    observed_from: Ints
    is_pump: Flags

    @property
    def size(self) -> int:
        return self.pk.size

    @property
    def observed(self) -> Flags:
        """Runs that were in place at some time under observation."""
        return self.observed_from <= self.ended


@dataclass(frozen=True, eq=False, repr=False)
class Events:
    """Events, sorted by course. ``run`` is the run the event is put down to.

    It is the run the event names, else the one in place at onset (a balloon pump before another device),
    else the last one removed up to 24 h before; -1 if there is none. ``detail`` is the type of a neurological
    event or the BARC type of a bleed.
    """

    pk: Ints
    course: Ints
    patient: Ints
    run: Ints
    kind: Ints
    onset: Ints
    serious: Ints
    refuted: Flags
    reviewed: Flags
    failure: Ints
    kink_site: Ints
    detail: Ints

    @property
    def size(self) -> int:
        return self.pk.size


@dataclass(frozen=True, eq=False, repr=False)
class Sessions:
    """Mobilisation sessions."""

    pk: Ints
    course: Ints
    started: Ints
    level: Ints


@dataclass(frozen=True, eq=False, repr=False)
class Bedside:
    """What the daily rows of a run say about mobility. A day without a level is not a day at level 0."""

    run: Ints
    rows: Ints
    levels_recorded: Ints
    out_of_bed_on: Ints
    walked_on: Ints


@dataclass(frozen=True, eq=False, repr=False)
class Films:
    """Verdicts on the balloon's position, one a day at most."""

    pk: Ints
    run: Ints
    read_on: Ints
    verdict: Ints
    action: Ints


@dataclass(frozen=True, eq=False, repr=False)
class Attempts:
    """Failed attempts. ``run`` is the device that went in afterwards, -1 if nothing did.

    It is the run recorded as following, else the patient's first run inserted within 24 h.
    ``during`` is the course that was under way, -1 for none.
    """

    pk: Ints
    patient: Ints
    attempted: Ints
    intended: Ints
    failure: Ints
    run: Ints
    during: Ints


@dataclass(frozen=True, eq=False, repr=False)
class Candidates:
    """Patients considered in whom nothing was attempted."""

    pk: Ints
    considered_on: Ints
    route: Ints
    reason: Ints
