"""How shares, differences and ratios are written for people."""

from __future__ import annotations

from dataclasses import dataclass

from outcomes.comparison.value import HIDDEN, Contrast, Share
from outcomes.wording import LARGE_SAMPLE, count, number

SMALLEST_P = 0.001
NOT_REACHED = "no upper limit"


@dataclass(frozen=True)
class Said:
    """A cell ready to print: a value with what it is out of and its limits, or words ``instead``."""

    value: str = ""
    of: str = ""
    limits: str = ""
    instead: str = ""
    key: str = ""


def percent(value: float, total: float | None) -> str:
    """A share in per cent: no decimal below 100 counted (SAMPL)."""
    return f"{number(value * 100, 1 if (total or 0) >= LARGE_SAMPLE else 0)}%"


def instead_of(note: str) -> str:
    """What stands in the place of a figure."""
    return "hidden" if note == HIDDEN else note or "not estimable"


def say_share(share: Share) -> Said:
    """``39% 24/61 (28 to 52)``."""
    if share.value is None:
        return Said(instead=instead_of(share.note))
    limits = ""
    if share.lower is not None and share.upper is not None:
        decimals = 1 if (share.total or 0) >= LARGE_SAMPLE else 0
        limits = f"{number(share.lower * 100, decimals)} to {number(share.upper * 100, decimals)}"
    of = f"{count(share.hits)}/{count(share.total)}"
    return Said(percent(share.value, share.total), of, limits, key=share.key)


def say_count(share: Share) -> Said:
    """``52``, out of nothing."""
    if share.note == HIDDEN:
        return Said(instead="hidden")
    return Said(count(share.hits), key=share.key)


def say_part(share: Share) -> Said:
    """``52 of 61`` as a count with its share."""
    if share.hits is None or not share.total:
        return Said(instead=instead_of(share.note))
    return Said(count(share.hits), percent(share.hits / share.total, share.total), key=share.key)


def say_rate(share: Share) -> Said:
    """Events per 1,000 device-days: ``26.1 80 in 3,063 days (20.7 to 32.5)``."""
    if share.value is None:
        return Said(instead=instead_of(share.note))
    limits = ""
    if share.lower is not None and share.upper is not None:
        limits = f"{number(share.lower, 1)} to {number(share.upper, 1)}"
    return Said(
        number(share.value, 1), f"{count(share.hits)} in {count(share.total)} d", limits, key=share.key
    )


def points(value: float, decimals: int = 0) -> str:
    """A difference of shares in percentage points, with its sign."""
    text = number(value * 100, decimals)
    return f"+{text}" if value > 0 and text.strip("0.,") else text


def say_difference(contrast: Contrast, *, decimals: int = 0) -> Said:
    """``+20 points (5 to 34)``."""
    if contrast.value is None:
        return Said(instead=instead_of(contrast.note))
    return Said(points(contrast.value, decimals), limits=difference_limits(contrast, decimals))


def difference_limits(contrast: Contrast, decimals: int = 0) -> str:
    """``−5 to +34``; the note of a contrast says why there are none."""
    if contrast.lower is None or contrast.upper is None:
        return "no limits"
    return f"{points(contrast.lower, decimals)} to {points(contrast.upper, decimals)}"


def say_ratio(contrast: Contrast) -> Said:
    """``2.04 (1.20 to 3.46)``."""
    if contrast.value is None:
        return Said(instead=instead_of(contrast.note))
    if contrast.lower is None:
        return Said(number(contrast.value, 2), limits=contrast.note)
    upper = NOT_REACHED if contrast.upper is None else number(contrast.upper, 2)
    return Said(number(contrast.value, 2), limits=f"{number(contrast.lower, 2)} to {upper}")


def say_days(contrast: Contrast) -> Said:
    """A difference in days: ``−3.2 d (−3.7 to −2.6)``."""
    if contrast.value is None:
        return Said(instead=instead_of(contrast.note))
    limits = ""
    if contrast.lower is not None and contrast.upper is not None:
        limits = f"{signed(contrast.lower)} to {signed(contrast.upper)}"
    return Said(f"{signed(contrast.value)} d", limits=limits)


def signed(value: float, decimals: int = 1) -> str:
    """A number with its sign, a true minus among them."""
    text = number(value, decimals)
    return f"+{text}" if value > 0 and text.strip("0.,") else text


def say_p(p_value: float | None) -> str:
    """``p = 0.03``, ``p < 0.001`` (SAMPL)."""
    if p_value is None:
        return "not estimable"
    if p_value < SMALLEST_P:
        return "p < 0.001"
    return f"p = {number(p_value, 3 if p_value < 0.01 else 2)}"
