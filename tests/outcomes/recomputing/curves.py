"""Curves by a hand loop over the times, a row at a time: slow, plain and sharing no code with the estimators.

Rows are (entry, exit, cause) in days; cause "" is a censored row. A row is at risk at a time after its entry
and up to its exit; an entry at the zero of the clock counts from the start.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

from scipy.stats import chi2, norm

Z = float(norm.ppf(0.975))
Row = tuple[float, float, str]


@dataclass(frozen=True)
class Step:
    """A curve just after one time."""

    time: float
    at_risk: int
    value: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Curve:
    """A curve and the rows it comes from."""

    rows: Sequence[Row]
    steps: Sequence[Step]

    @property
    def subjects(self) -> int:
        """Rows under observation at some time."""
        return sum(entry < leaving or entry <= 0 for entry, leaving, _ in self.rows)

    @property
    def last(self) -> float:
        return max(leaving for _, leaving, _ in self.rows)


def wilson(events: int, total: int) -> tuple[float, float]:
    """Roots of |p̂ - p| = z·sqrt(p(1 - p)/n) (Wilson EB, J Am Stat Assoc 1927;22:209-212)."""
    share, spread = events / total, Z * Z / total
    middle = share + spread / 2
    half = sqrt(spread * share * (1 - share) + spread * spread / 4)
    lower = 0.0 if events == 0 else (middle - half) / (1 + spread)
    upper = 1.0 if events == total else (middle + half) / (1 + spread)
    return lower, upper


def garwood(events: int) -> tuple[float, float]:
    """Exact limits of a Poisson count (Garwood F, Biometrika 1936;28:437-442)."""
    lower = 0.0 if events == 0 else float(chi2.ppf(0.025, 2 * events)) / 2
    return lower, float(chi2.ppf(0.975, 2 * events + 2)) / 2


def at_risk(rows: Iterable[Row], time: float) -> int:
    """Rows under observation just before a time."""
    return sum((entry < time or entry <= 0) and time <= leaving for entry, leaving, _ in rows)


def event_times(rows: Sequence[Row]) -> list[float]:
    """The different times at which anybody had an event of any cause, in order.

    With late entries a curve starts once five are at risk, where ever as many are: before, one or two would
    settle it.
    """
    times = sorted({leaving for _, leaving, cause in rows if cause})
    risks = [at_risk(rows, time) for time in times]
    if any(0 < entry < leaving for entry, leaving, _ in rows) and max(risks, default=0) >= 5:
        small = [place for place in range(risks.index(max(risks))) if risks[place] < 5]
        return times[small[-1] + 1 :] if small else times
    return times


def survival(rows: Sequence[Row]) -> list[Step]:
    """Kaplan-Meier, Greenwood's variance, log-log limits; the upper limit stays when the curve reaches 0."""
    steps, value, greenwood, upper = [], 1.0, 0.0, 1.0
    for time in event_times(rows):
        risk = at_risk(rows, time)
        events = sum(cause != "" and leaving == time for _, leaving, cause in rows)
        value *= (risk - events) / risk
        if events == risk:
            value, lower = 0.0, 0.0
        else:
            greenwood += events / (risk * (risk - events))
            lower, upper = log_log(value, value * sqrt(greenwood))
        steps.append(Step(time, risk, value, lower, upper))
    return steps


def log_log(value: float, error: float) -> tuple[float, float]:
    """Limits of a probability, normal on the scale log(-log(p))."""
    slope = Z * error / (value * abs(log(value)))
    centre = log(-log(value))
    return exp(-exp(centre + slope)), exp(-exp(centre - slope))


def incidence(rows: Sequence[Row], cause: str) -> list[Step]:
    """Aalen-Johansen curve of one cause, a step at every time with an event of any cause.

    The variance carries the errors of the two states forward one time after another, with multinomial
    increments (Allignol A, Schumacher M, Beyersmann J. Biom J 2010;52:126-137, doi:10.1002/bimj.200900039).
    """
    steps, free, value = [], 1.0, 0.0
    var_free, var_value, covariance = 0.0, 0.0, 0.0
    lower, upper = 0.0, 0.0
    for time in event_times(rows):
        risk = at_risk(rows, time)
        leaving = [why for _, exit_time, why in rows if why and exit_time == time]
        hazard, own = len(leaving) / risk, leaving.count(cause) / risk
        value += free * own
        var_value += 2 * own * covariance + own * own * var_free + free * free * own * (1 - own) / risk
        covariance = (1 - hazard) * (covariance + own * var_free) - free * free * own * (1 - hazard) / risk
        var_free = (1 - hazard) ** 2 * var_free + free * free * hazard * (1 - hazard) / risk
        free *= 1 - hazard
        if value >= 1 - 1e-12:
            upper = 1.0
        elif value > 0:
            lower, upper = log_log(value, sqrt(var_value))
        steps.append(Step(time, risk, value, lower, upper))
    return steps


def read_at(steps: Sequence[Step], day: float) -> Step | None:
    """The curve on a day: its last step up to then; None before the first."""
    reached = [step for step in steps if step.time <= day]
    return reached[-1] if reached else None


def known_by(rows: Sequence[Row], day: float) -> int:
    """Rows followed from the start whose state on a day is known: an event by then, or still followed."""
    return sum(entry <= 0 and (leaving >= day or cause != "") for entry, leaving, cause in rows)


def there_on(rows: Sequence[Row], day: float) -> int:
    """Rows that nothing had ended by a day and that were seen up to it, on that very day included."""
    gone = sum(cause != "" and leaving <= day for _, leaving, cause in rows)
    lost = sum(cause == "" and leaving < day for _, leaving, cause in rows)
    return len(rows) - gone - lost


def quantile(
    steps: Sequence[Step], share: float, last: float
) -> tuple[float | None, float | None, float | None]:
    """Estimate and limits (Brookmeyer R, Crowley J, Biometrics 1982;38:29-41, doi:10.2307/2530286).

    A curve at 0 has no variance, so the limits are read where it is above.
    """
    above = [step for step in steps if step.value > 0]
    return (
        _first_below([(step.time, step.value) for step in steps], 1 - share, last),
        _first_below([(step.time, step.lower) for step in above], 1 - share, last),
        _first_below([(step.time, step.upper) for step in above], 1 - share, last),
    )


def _first_below(points: Sequence[tuple[float, float]], level: float, last: float) -> float | None:
    """First time below a level; the middle of the flat stretch when the curve runs exactly on it."""
    for index, (time, value) in enumerate(points):
        if abs(value - level) < 1e-9:
            later = [at for at, height in points[index + 1 :] if height < value]
            return (time + (later[0] if later else last)) / 2
        if value < level:
            return time
    return None


def mean_events(
    rows: Sequence[Row], happened: Sequence[tuple[int, float]], patients: Sequence[str], until: float
) -> tuple[float, float]:
    """Mean number of events per row by a time, and its error robust to several rows of one patient.

    `happened` holds (row, time). Lawless JF, Nadeau C, Technometrics 1995;37:158-168, without n/(n - 1).
    """
    mean, shares = 0.0, dict.fromkeys(patients, 0.0)
    for time in sorted({time for _, time in happened if time <= until}):
        here = [row for row, moment in happened if moment == time]
        risk = at_risk(rows, time)
        mean += len(here) / risk
        for index, row in enumerate(rows):
            if at_risk([row], time):
                shares[patients[index]] += (here.count(index) - len(here) / risk) / risk
    return mean, sqrt(sum(share * share for share in shares.values()))
