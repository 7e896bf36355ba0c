"""An invented registry of any size: runs of two routes with about three events each, from a seed.

Everything is vectorised and written as data frames with the columns of the database's tables. All rows are
such as the logbook would take: runs of a course do not overlap, events of a device lie within its run.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from registry.choices import (
    AttemptFailure,
    BalloonVolume,
    DeclineReason,
    ExchangeReason,
    FilmVerdict,
    Intent,
    Outcome,
    ShockStage,
)
from registry.choices_events import EventKind, Failure, KinkSite, ReviewState

DAY = 1440
YEARS = 3
LONGEST = 60 * DAY
STILL_SUPPORTED_DAYS = 25
COVARIATES = 10
OUTCOMES = [o.value for o in Outcome]
ENDED_BY = ["TRANSPLANT", "DURABLE_VAD", "WEANED", "DEATH", "WITHDRAWAL", "TRANSFER_OUT"]
OUTCOME_SHARES = {True: (0.50, 0.12, 0.14, 0.12, 0.06, 0.06), False: (0.24, 0.10, 0.22, 0.26, 0.12, 0.06)}


@dataclass(frozen=True)
class Registry:
    """Data frames by table, and what a weighted comparison of the routes needs."""

    tables: dict[str, pd.DataFrame]
    treated: np.ndarray
    outcome: np.ndarray
    covariates: np.ndarray
    patient: np.ndarray


def generate(runs: int, *, now: int, seed: int = 20261125) -> Registry:
    """``runs`` device runs of three years up to the minute ``now`` (since 1970 in UTC)."""
    chance = np.random.default_rng(seed)
    centres = max(1, min(20, runs // 2000))
    course = _courses(runs, centres, now, chance)
    run = _runs(runs, course, now, chance)
    _close(course, run, now, chance)
    tables = {
        "patient": _patients(course, chance),
        "course": course[["id", "patient_id", "centre_id", "course_no", "intent", "shock_stage",
                          "transferred_in", "arrived_at"]],
        "run": run.drop(columns=["axillary", "began", "ended"]),
        "courseoutcome": _outcomes(course),
        "event": _events(run, now, chance),
        "mobilisation": _sessions(course, chance),
        "dailycheck": _films(run, now, chance),
        "failedattempt": _attempts(course, chance),
        "candidate": _candidates(runs, centres, now, chance),
    }  # fmt: skip
    return Registry(tables, *_contrast(run, tables["event"], chance))


def _courses(runs: int, centres: int, now: int, chance: np.random.Generator) -> pd.DataFrame:
    size, patients = max(2, round(0.86 * runs)), max(2, round(0.8 * runs))
    again = chance.choice(patients, size - patients, replace=False)
    patient = np.append(np.arange(patients), again)
    second = np.arange(size) >= patients
    began = now - chance.integers(60, YEARS * 365 * DAY, size)
    began[again] = now - chance.integers(400 * DAY, YEARS * 365 * DAY, again.size)
    began[second] = began[again] + chance.integers(150 * DAY, 300 * DAY, again.size)
    two = chance.permutation(np.flatnonzero(began < now - 2.5 * LONGEST))[: runs - size]
    axillary = chance.random(size) < 0.55
    runs_of = np.ones(size, dtype=np.int64)
    runs_of[two] = 2
    return pd.DataFrame(
        {
            "id": np.arange(1, size + 1),
            "patient_id": patient + 1,
            "centre_id": patient % centres + 1,
            "course_no": np.where(second, 2, 1),
            "intent": chance.choice([i.value for i in Intent], size, p=(0.5, 0.12, 0.18, 0.16, 0.04)),
            "shock_stage": chance.choice([s.value for s in ShockStage], size, p=(0.02, 0.13, 0.5, 0.25, 0.1)),
            "transferred_in": chance.random(size) < 0.05,
            "began": began,
            "axillary": axillary,
            "runs": runs_of,
        }
    )


def _runs(runs: int, course: pd.DataFrame, now: int, chance: np.random.Generator) -> pd.DataFrame:
    run = course.loc[course.index.repeat(course.runs), ["id", "patient_id", "began", "axillary", "runs"]]
    run = run.rename(columns={"id": "course_id"}).reset_index(drop=True)
    later = run.course_id.duplicated().to_numpy()
    crossed = later & ~run.axillary.to_numpy() & (chance.random(len(run)) < 0.7)
    run["axillary"] |= crossed
    mean = np.where(run.axillary, 14.0, 5.0) * DAY
    dwell = np.clip(chance.gamma(1.2, mean / 1.2), 90, LONGEST).astype(np.int64)
    first = np.flatnonzero(later) - 1
    began = run.began.to_numpy().copy()
    began[later] = began[first] + dwell[first] + chance.integers(0, 30, first.size)
    side = np.where(chance.random(len(run)) < 0.8, "L", "R")
    run["id"] = np.arange(1, len(run) + 1)
    run["run_no"] = np.where(later, 2, 1)
    run["replaces_id"] = pd.array(np.where(later, run.id - 1, 0), dtype="Int64")
    run.loc[~later, "replaces_id"] = pd.NA
    run["route"] = np.char.add(np.where(run.axillary, "AXILLARY_", "FEMORAL_"), side)
    run["relation"] = np.select([crossed, later], ["ROUTE_CROSSOVER", "SAME_SITE_EXCHANGE"], "FIRST")
    run["exchange_reason"] = np.where(
        later, chance.choice([reason.value for reason in ExchangeReason], len(run)), ""
    )
    volumes = [v.value for v in BalloonVolume]
    run["balloon_volume_ml"] = chance.choice(volumes, len(run), p=(0.02, 0.1, 0.05, 0.03, 0.5, 0.3))
    run["began"], run["ended"] = began, began + dwell
    return run.drop(columns="runs")


def _close(course: pd.DataFrame, run: pd.DataFrame, now: int, chance: np.random.Generator) -> None:
    """Removals, outcomes and arrivals; support that goes on after ``now`` has neither."""
    last = run.drop_duplicates("course_id", keep="last")
    open_course = (last.ended > now).to_numpy()
    which = np.empty(len(course), dtype=np.int64)
    for axillary, shares in OUTCOME_SHARES.items():
        rows = (last.axillary == axillary).to_numpy()
        which[rows] = chance.choice(len(shares), int(rows.sum()), p=shares)
    escalated = (chance.random(len(course)) < 0.04) & (last.ended < now - 20 * DAY).to_numpy()
    wait = np.where(escalated, chance.integers(DAY, 15 * DAY, len(course)), 0)
    course["outcome"] = np.array(OUTCOMES)[which]
    course["occurred_at"] = np.where(open_course, np.nan, last.ended.to_numpy() + wait)
    course["ended"] = np.minimum(last.ended.to_numpy(), now)
    first_ended = run.drop_duplicates("course_id").ended.to_numpy()
    span = np.minimum(first_ended, now) - course.began
    arrived = course.began + (span * chance.random(len(course)) * 0.3).astype(np.int64)
    course["arrived_at"] = stamps(arrived.where(course.transferred_in))
    reason = np.where(escalated, "ESCALATION", np.array(ENDED_BY)[which])
    run["end_reason"] = "EXCHANGE"
    run.loc[last.index, "end_reason"] = np.where(open_course, "", reason)
    run["inserted_at"] = stamps(run.began)
    run["removed_at"] = stamps(run.ended.where(run.ended <= now))
    run["ended"] = np.minimum(run.ended, now)


def _patients(course: pd.DataFrame, chance: np.random.Generator) -> pd.DataFrame:
    patient = course.drop_duplicates("patient_id").sort_values("patient_id")
    return pd.DataFrame(
        {
            "id": patient.patient_id,
            "centre_id": patient.centre_id,
            "study_no": "B-" + patient.patient_id.astype(str),
            "birth_year": chance.integers(1940, 2005, len(patient)),
            "sex": np.where(chance.random(len(patient)) < 0.25, "F", "M"),
        }
    )


def _outcomes(course: pd.DataFrame) -> pd.DataFrame:
    over = course[course.occurred_at.notna()]
    return pd.DataFrame(
        {
            "id": np.arange(1, len(over) + 1),
            "course_id": over.id,
            "outcome": over.outcome,
            "occurred_at": stamps(over.occurred_at),
        }
    )


def _events(run: pd.DataFrame, now: int, chance: np.random.Generator) -> pd.DataFrame:
    per_run = chance.poisson(3.0, len(run))
    row = np.repeat(np.arange(len(run)), per_run)
    began, ended = run.began.to_numpy()[row], run.ended.to_numpy()[row]
    when = chance.random(row.size)
    onset = began + ((ended - began) * when**1.5).astype(np.int64)
    after = (chance.random(row.size) < 0.03) & (ended + 2 * DAY < now)
    onset[after] = ended[after] + chance.integers(1, 2 * DAY, int(after.sum()))
    kinds = [k.value for k in EventKind]
    shares = np.array([0.34, 0.10, 0.08, 0.12, 0.02, 0.05, 0.04, 0.07, 0.06, 0.05, 0.01, 0.02, 0.03, 0.01])
    kind = chance.choice(kinds, row.size, p=shares / shares.sum())
    course = run.course_id.to_numpy()[row]
    order = np.lexsort((onset, course))
    new = np.append(True, np.diff(course[order]) != 0)
    start = np.flatnonzero(new)[np.cumsum(new) - 1]
    number = np.empty(row.size, dtype=np.int64)
    number[order] = np.arange(row.size) - start + 1
    fault = kind == EventKind.KINK
    failure = np.where(fault, chance.choice([f.value for f in Failure], row.size), "")
    site = np.where(failure == "KINK", chance.choice([s.value for s in KinkSite], row.size), "")
    return pd.DataFrame(
        {
            "id": np.arange(1, row.size + 1),
            "course_id": course,
            "run_id": run.id.to_numpy()[row],
            "event_no": number,
            "kind": kind,
            "onset_at": stamps(pd.Series(onset)),
            "onset_precision": chance.choice(["MINUTE", "HOUR", "DAY"], row.size, p=(0.9, 0.06, 0.04)),
            "serious": chance.random(row.size) < 0.3,
            "review": chance.choice([r.value for r in ReviewState], row.size, p=(0.3, 0.65, 0.05)),
            "failure": failure,
            "kink_site": site,
        }
    )


def _sessions(course: pd.DataFrame, chance: np.random.Generator) -> pd.DataFrame:
    """In bed on the first day, then out of bed, then a walk, as far as the time on support allows."""
    found, moment = [], course.began.to_numpy().astype(float)
    for low, high, mean_days in ((0, 3, 0.5), (4, 6, 2.0), (7, 10, 3.0)):
        moment = moment + chance.exponential(mean_days * np.where(course.axillary, 1, 2) * DAY) + 5
        held = moment < course.ended.to_numpy()
        found.append(
            pd.DataFrame(
                {
                    "course_id": course.id[held],
                    "started_at": moment[held].astype(np.int64),
                    "level": chance.integers(low, high + 1, int(held.sum())),
                }
            )
        )
    sessions = pd.concat(found, ignore_index=True)
    sessions.insert(0, "id", np.arange(1, len(sessions) + 1))
    sessions["started_at"] = stamps(sessions.started_at)
    return sessions


def _films(run: pd.DataFrame, now: int, chance: np.random.Generator) -> pd.DataFrame:
    """One row a run, on its second day, for runs that had one."""
    held = run[(run.ended - run.began > 2 * DAY) & (run.began + 2 * DAY < now)]
    verdicts = [v.value for v in FilmVerdict]
    level = pd.array(chance.integers(0, 8, len(held)), dtype="Int64")
    level[chance.random(len(held)) < 0.3] = pd.NA
    return pd.DataFrame(
        {
            "id": np.arange(1, len(held) + 1),
            "run_id": held.id,
            "checked_on": stamps(held.began + DAY).str[:10],
            "film_verdict": chance.choice(verdicts, len(held), p=(0.75, 0.08, 0.08, 0.04, 0.05)),
            "mobility_best": level,
        }
    )


def _attempts(course: pd.DataFrame, chance: np.random.Generator) -> pd.DataFrame:
    before = course[(chance.random(len(course)) < 0.03) & (course.course_no == 1)]
    return pd.DataFrame(
        {
            "id": np.arange(1, len(before) + 1),
            "centre_id": before.centre_id,
            "patient_id": before.patient_id,
            "attempted_at": stamps(before.began - 45),
            "intended_route": "AXILLARY_R",
            "failure": chance.choice([f.value for f in AttemptFailure], len(before)),
        }
    )


def _candidates(runs: int, centres: int, now: int, chance: np.random.Generator) -> pd.DataFrame:
    size = max(1, runs // 10)
    minute = pd.Series(now - chance.integers(DAY, YEARS * 365 * DAY, size))
    return pd.DataFrame(
        {
            "id": np.arange(1, size + 1),
            "centre_id": np.arange(size) % centres + 1,
            "line_no": np.arange(size) // centres + 1,
            "considered_on": stamps(minute).str[:10],
            "route": np.where(chance.random(size) < 0.6, "AXILLARY", "FEMORAL"),
            "reason": chance.choice([r.value for r in DeclineReason], size),
        }
    )


def _contrast(
    run: pd.DataFrame, event: pd.DataFrame, chance: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Route, any complication, baseline covariates related to the route, and the patient of each run."""
    treated = run.axillary.to_numpy()
    harm = event.run_id[event.kind != EventKind.REPOSITION].to_numpy()
    outcome = np.bincount(harm, minlength=len(run) + 1)[1:] > 0
    rare = outcome & (chance.random(len(run)) < 0.25)
    covariates = chance.normal(size=(len(run), COVARIATES))
    covariates[:, :3] += 0.4 * treated[:, None]
    return treated, rare.astype(float), covariates, run.patient_id.to_numpy()


def stamps(minutes: pd.Series) -> pd.Series:
    """Minutes since 1970 as text PostgreSQL reads as a moment in UTC; NaN stays empty."""
    known = minutes.notna()
    text = np.full(len(minutes), None, dtype=object)
    whole = minutes[known].to_numpy().astype("int64")
    text[known.to_numpy()] = np.char.add(np.datetime_as_string(whole.astype("datetime64[m]")), "Z")
    return pd.Series(text, index=minutes.index)
