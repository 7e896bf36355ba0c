"""What an analyst would write with pandas, statsmodels, SciPy and lifelines; one function a step.

Where no library has the method (the mean cumulative function, a cluster bootstrap), plain pandas and NumPy.
Each step returns figures under the keys of our report, so that both can be compared.
"""

from __future__ import annotations

import contextlib
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import statsmodels.api as sm
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.rates import confint_poisson

Found = dict[str, tuple[float | None, ...]]
ZONE = "Europe/Berlin"
DAY = pd.Timedelta(days=1)
QUERIES = {
    "courses": """SELECT c.id, c.patient_id, c.intent, c.shock_stage, c.transferred_in, c.arrived_at,
                  o.outcome, o.occurred_at
                  FROM registry_course c LEFT JOIN registry_courseoutcome o ON o.course_id = c.id""",
    "runs": """SELECT id, course_id, patient_id, run_no, inserted_at, removed_at, route, device_class,
               relation, exchange_reason, end_reason, balloon_volume_ml FROM registry_run""",
    "events": """SELECT id, course_id, run_id, kind, onset_at, onset_precision, serious, review
                 FROM registry_event""",
    "sessions": "SELECT course_id, started_at, level FROM registry_mobilisation",
    "daily": "SELECT run_id, checked_on, mobility_best FROM registry_dailycheck",
}


def extract(connection: Any) -> dict[str, pd.DataFrame]:
    """The tables as data frames."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pandas would rather have SQLAlchemy
        return {name: pd.read_sql(query, connection) for name, query in QUERIES.items()}


def derive(tables: dict[str, pd.DataFrame], cut: pd.Timestamp) -> dict[str, pd.DataFrame]:
    """Join, fill open ends with the data cut, drop refuted events, find each event's time since insertion."""
    runs = tables["runs"].sort_values(["course_id", "inserted_at"])
    runs["group"] = runs.route.str.split("_").str[0]
    courses = tables["courses"].merge(
        runs.groupby("course_id").agg(
            began=("inserted_at", "first"), group=("group", "first"), ended=("removed_at", "max"),
            open=("removed_at", lambda removed: removed.isna().any()),
        ),
        left_on="id", right_index=True,
    )  # fmt: skip
    courses["ended"] = courses.ended.where(~courses.open, cut)
    known = courses[["id", "arrived_at", "transferred_in", "outcome", "occurred_at"]]
    runs = runs.merge(known, left_on="course_id", right_on="id", suffixes=("", "_course"))
    runs["end"] = runs.removed_at.fillna(cut)
    died, day_after = runs.occurred_at.where(runs.outcome == "DIED_ON_SUPPORT"), runs.end + DAY
    runs["at_risk_until"] = day_after.mask(died < day_after, died)
    arrived = runs.arrived_at.where(runs.transferred_in.astype(bool))
    runs["seen_from"] = runs[["inserted_at"]].assign(arrived=arrived).max(axis=1)
    events = tables["events"]
    events = events[(events.review != "REFUTED") & (events.onset_at <= cut)]
    events = events.merge(
        runs[["id", "patient_id", "group", "inserted_at", "seen_from", "end", "at_risk_until"]],
        left_on="run_id", right_on="id", suffixes=("", "_run"),
    )  # fmt: skip
    coarse = (events.onset_precision != "MINUTE") & (events.onset_at < events.inserted_at)
    same = events.onset_at.dt.tz_convert(ZONE).dt.date == events.inserted_at.dt.tz_convert(ZONE).dt.date
    events["onset_at"] = events.onset_at.where(~(coarse & same), events.inserted_at)
    return {**tables, "runs": runs, "courses": courses, "events": events}


def groups(frame: pd.DataFrame):
    """Each route, then everything."""
    yield from frame.groupby("group")
    yield "ALL", frame


def volumes(data: dict[str, pd.DataFrame]) -> Found:
    found: Found = {}
    for group, rows in groups(data["runs"]):
        days = (rows.end - rows.seen_from).clip(lower=pd.Timedelta(0)).sum() / DAY
        found[f"volume.in_place/{group}/device-days"] = (days, None, None, None)
    for group, rows in groups(data["courses"]):
        found[f"volume.begun/{group}/patients"] = (rows.patient_id.nunique(), None, None, None)
        found[f"volume.begun/{group}/courses"] = (rows.id.nunique(), None, None, None)
    return found


def complications(data: dict[str, pd.DataFrame]) -> Found:
    """Patients n/N with Wilson limits and rates with exact Poisson limits, by kind and route."""
    events, found = data["events"], {}
    events = events[(events.onset_at >= events.seen_from) & (events.onset_at <= events.at_risk_until)]
    for group, runs in groups(data["runs"]):
        at_risk = runs.patient_id.nunique()
        days = (runs.end - runs.seen_from).clip(lower=pd.Timedelta(0)).sum() / DAY
        here = events if group == "ALL" else events[events.group == group]
        parts = [(kind, here[here.kind == kind]) for kind in sorted(events.kind.unique())]
        harm = here[here.kind != "REPOSITION"]
        for kind, rows in [*parts, ("ANY", harm), ("SERIOUS", harm[harm.serious])]:
            measure = "repositions" if kind == "REPOSITION" else "complications"
            hit = rows.patient_id.nunique()
            low, high = proportion_confint(hit, at_risk, method="wilson")
            found[f"{measure}/{group}/{kind}/patients"] = (hit, hit / at_risk, low, high)
            low, high = confint_poisson(len(rows), days, method="exact-c")
            found[f"{measure}/{group}/{kind}/rate"] = (
                len(rows), len(rows) / days * 1000, low * 1000, high * 1000,
            )  # fmt: skip
    return found


def dwell(data: dict[str, pd.DataFrame]) -> Found:
    """Kaplan-Meier medians of run and course dwell."""
    from lifelines import KaplanMeierFitter

    found: Found = {}
    for group, rows in groups(data["runs"]):
        entry = (rows.seen_from - rows.inserted_at) / DAY
        fit = KaplanMeierFitter().fit(
            (rows.end - rows.inserted_at) / DAY, rows.removed_at.notna(), entry=entry if entry.any() else None
        )
        found[f"dwell.run/{group}/median"] = (None, fit.median_survival_time_, None, None)
    return found


def course_days(data: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Courses with calendar days: start, end, arrival, first day out of bed and first walk."""

    def local(moments):
        return moments.dt.tz_convert(ZONE).dt.tz_localize(None).dt.normalize()

    courses = data["courses"].set_index("id")
    over = courses[["ended", "occurred_at"]].min(axis=1)
    arrived = courses.arrived_at.where(courses.transferred_in.astype(bool))
    days = pd.DataFrame({"group": courses.group, "start": local(courses.began), "over": local(over)})
    days["seen"] = local(pd.concat([courses.began, arrived], axis=1).max(axis=1))
    days["cause"] = np.select(
        [courses.outcome.eq("DIED_ON_SUPPORT"), courses.outcome.notna() | ~courses.open.astype(bool)],
        [2, 3],
        0,
    )
    sessions = data["sessions"].join(courses.assign(over=over)[["began", "over"]], on="course_id")
    sessions = sessions.join(arrived.rename("arrived"), on="course_id")
    since = sessions[["began", "arrived"]].max(axis=1)
    sessions = sessions[(sessions.started_at >= since) & (sessions.started_at <= sessions.over)]
    daily = data["daily"].merge(data["runs"][["id", "course_id"]], left_on="run_id", right_on="id")
    daily["day"] = pd.to_datetime(daily.checked_on).astype(days.start.dtype)
    daily = daily.join(days[["seen", "over"]], on="course_id")
    daily = daily[(daily.day >= daily.seen) & (daily.day <= daily.over)]
    for name, level in (("out-of-bed", 4), ("walk", 7)):
        first = local(sessions[sessions.level >= level].groupby("course_id").started_at.min())
        by_day = daily[daily.mobility_best >= level].groupby("course_id").day.min()
        days[name] = pd.concat([first, by_day], axis=1).min(axis=1)
    return days


def mobilisation(data: dict[str, pd.DataFrame]) -> Found:
    """Aalen-Johansen curves of getting out of bed and of walking; leaving support competes."""
    from lifelines import AalenJohansenFitter

    days, found = course_days(data), {}
    for name in ("out-of-bed", "walk"):
        for group, rows in groups(days):
            mobilised = rows[name].notna() & (rows[name] <= rows.over)
            time = (rows[name].where(mobilised, rows.over) - rows.start).dt.days
            cause = rows.cause.where(~mobilised, 1)
            # lifelines wants everyone to enter before they leave, so day 0 becomes day 1.
            found |= _incidence(
                AalenJohansenFitter, time + 1, cause, (rows.seen - rows.start).dt.days,
                (1,), (2, 3, 4, 8), 0.5,
                lambda cause, day, g=group, n=name: f"mobilisation.course/{g}/{n}/day-{day - 1}",
            )  # fmt: skip
    return found


BRIDGE_CAUSES = {
    "TRANSPLANT": 1, "DURABLE_VAD": 2, "RECOVERED_WEANED": 3, "DIED_ON_SUPPORT": 5,
    "WITHDRAWN_PALLIATIVE": 5, "TRANSFERRED": 6,
}  # fmt: skip
BRIDGE_NAMES = ("transplant", "durable", "weaned", "escalated", "died", "transferred")


def bridge(data: dict[str, pd.DataFrame]) -> Found:
    """Aalen-Johansen curves of the six ways out, in days since the first insertion."""
    from lifelines import AalenJohansenFitter

    courses, found = data["courses"].set_index("id"), {}
    runs = data["runs"]
    escalated = runs[runs.end_reason == "ESCALATION"].groupby("course_id").removed_at.min()
    over = courses.occurred_at.where(courses.outcome.notna(), courses.ended)
    courses["escalated"] = escalated.reindex(courses.index)
    first = courses.escalated <= over
    courses["cause"] = courses.outcome.map(BRIDGE_CAUSES).fillna(0).astype(int).where(~first, 4)
    courses["time"] = (courses.escalated.where(first, over) - courses.began) / DAY
    arrived = courses.arrived_at.where(courses.transferred_in.astype(bool))
    courses["entry"] = ((arrived - courses.began) / DAY).fillna(0)
    for group, rows in groups(courses):
        found |= _incidence(
            AalenJohansenFitter, rows.time, rows.cause, rows.entry, range(1, 7), (7, 14, 30, 60, 90), 1e-6,
            lambda cause, day, g=group: f"bridge/{g}/{BRIDGE_NAMES[cause - 1]}/day-{day}",
        )  # fmt: skip
    return found


def _incidence(fitter, time, cause, entry, causes, days, slack, key: Callable[[int, int], str]) -> Found:
    """Curves read at days, a little later: lifelines moves tied times by chance."""
    found: Found = {}
    for number in causes:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it says that it jitters ties
            fit = fitter(seed=0).fit(time, cause, number, entry=entry if (entry > 0).any() else None)
        curve = fit.cumulative_density_.iloc[:, 0]
        for day in days:
            at = curve.index.searchsorted(day + slack, side="right") - 1
            found[key(number, day)] = (None, float(curve.iloc[at]), None, None)
    return found


def repositions(data: dict[str, pd.DataFrame]) -> Found:
    """Mean cumulative function, point only: nothing installed has it with robust limits."""
    events, found = data["events"], {}
    events = events[(events.kind == "REPOSITION") & (events.onset_at <= events.end)]
    late = events.seen_from > events.inserted_at
    events = events[
        (late & (events.onset_at > events.seen_from)) | (~late & (events.onset_at >= events.inserted_at))
    ]
    for group, runs in groups(data["runs"]):
        here = events if group == "ALL" else events[events.group == group]
        since = ((here.onset_at - here.inserted_at) / DAY).value_counts().sort_index()
        end = np.sort(((runs.end - runs.inserted_at) / DAY).to_numpy())
        entry = np.sort(((runs.seen_from - runs.inserted_at) / DAY).to_numpy())
        times = since.index.to_numpy()
        entered = np.where(
            times > 0, np.searchsorted(entry, times, "left"), np.searchsorted(entry, 0, "right")
        )
        mean = np.cumsum(since.to_numpy() / (entered - np.searchsorted(end, times, "left")))
        for day in (1, 3, 7, 14, 30):
            at = np.searchsorted(times, day, side="right") - 1
            found[f"repositions.mean/{group}/day-{day}"] = (None, float(mean[at]), None, None)
    return found


STEPS = {
    "volumes": volumes,
    "complications": complications,
    "run dwell": dwell,
    "mobilisation": mobilisation,
    "bridge": bridge,
    "repositions over time": repositions,
}


def weighted_ratio(outcome, treated, covariates, patient, *, resamples: int, seed: int) -> np.ndarray:
    """Risk ratio by overlap weights: the estimate, then its refitted resamples of patients."""
    frame = pd.DataFrame(covariates, index=pd.Index(patient, name="patient")).assign(
        y=outcome, t=treated.astype(float)
    )
    rows_of = frame.groupby(level=0).indices
    labels = np.array(list(rows_of))
    chance = np.random.default_rng(seed)
    found = [_ratio(frame)]
    for _ in range(resamples):
        drawn = np.concatenate([rows_of[label] for label in chance.choice(labels, labels.size)])
        with contextlib.suppress(np.linalg.LinAlgError, sm.tools.sm_exceptions.PerfectSeparationError):
            found.append(_ratio(frame.iloc[drawn]))
    return np.array(found)


def _ratio(frame: pd.DataFrame) -> float:
    design = sm.add_constant(frame.drop(columns=["y", "t"]).to_numpy())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = sm.Logit(frame.t.to_numpy(), design).fit(disp=0).predict()
    weight = np.where(frame.t == 1, 1 - score, score)
    arm = frame.t.to_numpy() == 1
    return float(
        np.average(frame.y[arm], weights=weight[arm]) / np.average(frame.y[~arm], weights=weight[~arm])
    )
