"""How long the two groups were watched for an event, and so how far their shares may be set side by side.

Whoever is on support for longer has more time for an event. Where that time differs, a share says nothing of
the risk per day; the rates do.
"""

from __future__ import annotations

from dataclasses import dataclass

from outcomes.comparison.endpoints import BY_CODE
from outcomes.comparison.value import ARMS, Comparison, Contrast, RateRow
from outcomes.comparison.wording import NOT_REACHED
from outcomes.wording import number

UNLIKE = 1.25  # ratio of the mean times from which shares are not read alone; our own rule
WHOLE_STAY = "Whole stay"


@dataclass(frozen=True)
class TimeAtRisk:
    """Mean device-days of a row in each arm, and events per 1,000 of them; None where they are hidden."""

    axillary_days: float | None
    femoral_days: float | None
    rates: tuple[float, float] | None = None
    ratio: Contrast | None = None

    @property
    def alike(self) -> bool:
        """Whether shares may be read as risks; not where the times are unknown."""
        if not self.axillary_days or not self.femoral_days:
            return False
        return 1 / UNLIKE <= self.axillary_days / self.femoral_days <= UNLIKE

    def bears_out(self, difference: Contrast) -> bool:
        """Whether shares may be read as risks: the times are alike, or the rates differ beyond chance in the
        direction of the difference.
        """
        if self.alike:
            return True
        value, ratio = difference.value, self.ratio
        if value is None or ratio is None:
            return False
        if value > 0:
            return ratio.lower is not None and ratio.lower > 1.0
        return ratio.upper is not None and ratio.upper < 1.0

    @property
    def sentence(self) -> str:
        """The times and the rates; empty for times that are alike."""
        if self.alike:
            return ""
        if self.axillary_days is None or self.femoral_days is None:
            return (
                "The groups may have been on support for unequal times, which these shares do not allow for; "
                "the rates per device-day are not shown, as counts under them are small."
            )
        said = (
            f"But a longer stay gives more time for an event: on average {number(self.axillary_days, 1)} "
            f"device-days in the axillary and {number(self.femoral_days, 1)} in the femoral group"
        )
        return f"{said}{self._rates}."

    @property
    def _rates(self) -> str:
        if self.rates is None or self.ratio is None or self.ratio.value is None:
            return ""
        axillary, femoral = (number(rate, 1) for rate in self.rates)
        upper = NOT_REACHED if self.ratio.upper is None else number(self.ratio.upper, 2)
        limits = f" ({number(self.ratio.lower, 2)} to {upper})" if self.ratio.lower is not None else ""
        return (
            f". Per 1,000 device-days it was {axillary} and {femoral} events, a crude rate ratio of "
            f"{number(self.ratio.value, 2)}{limits}"
        )


def time_at_risk(comparison: Comparison, code: str) -> TimeAtRisk | None:
    """Of an outcome that is made of events; None for any other. Needs the crude part."""
    if not BY_CODE[code].of_events or comparison.crude is None:
        return None
    rate = _whole_stay(comparison, code)
    if rate is None or not rate.axillary.total or not rate.femoral.total:
        return TimeAtRisk(None, None)
    sizes = {flow.arm: flow.total.hits for flow in comparison.who.flows}
    axillary, femoral = (sizes.get(arm) for arm in ARMS)
    if not axillary or not femoral:
        return TimeAtRisk(None, None)
    values = rate.axillary.value, rate.femoral.value
    return TimeAtRisk(
        rate.axillary.total / axillary,
        rate.femoral.total / femoral,
        None if values[0] is None or values[1] is None else (values[0], values[1]),
        rate.ratio,
    )


def _whole_stay(comparison: Comparison, code: str) -> RateRow | None:
    rates = comparison.crude.rates if comparison.crude else ()
    return next((rate for rate in rates if rate.code == code and rate.stretch == WHOLE_STAY), None)
