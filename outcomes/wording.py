"""How figures are written for people: decimals, units, and what to say instead of a number.

Percentages have no decimal below 100 and one from there on (SAMPL: Lang TA, Altman DG, in Science Editors'
Handbook, EASE 2013). Limits are written with "to", which stays readable beside a minus sign.
"""

from __future__ import annotations

from dataclasses import dataclass

from outcomes.measures.values import Figure

LARGE_SAMPLE = 100
MINUS = "−"  # the sign, as wide as a plus; the hyphen is for files that machines read
HIDDEN = "not shown: a small count, or one that would give a small count away"
SMALL = "small count, hidden"  # in place of a figure
OBSERVED = "observed value"  # a record chosen from all, so "1 of n" would say nothing
UNITS = {"proportion": "%", "days": " d"}


@dataclass(frozen=True)
class Shown:
    """A figure ready to print: value with unit, what it is out of, limits, or the reason for having none."""

    value: str
    of: str = ""
    limits: str = ""
    reason: str = ""
    method: str = ""
    absent: str = "not estimable"


def number(value: float, decimals: int) -> str:
    """A number with thousands set apart and a true minus; a value that rounds to zero carries no sign."""
    text = f"{value:,.{decimals}f}"
    return text.removeprefix("-") if not text.strip("-0.,") else text.replace("-", MINUS)


def lower_first(text: str) -> str:
    """A label within a sentence: ``renal replacement``, but ``LV diameter`` and ``D: deteriorating``."""
    rest = text.partition(" ")[0].rstrip(":,;")[1:]
    is_word = bool(rest) and rest == rest.lower() and not any(letter.isdigit() for letter in rest)
    return text[:1].lower() + text[1:] if is_word else text


def count(value: float | None) -> str:
    """A count, or days rounded to whole ones."""
    return "" if value is None else number(value, 0)


def _scaled(figure: Figure) -> tuple[float, int]:
    """The factor that brings an estimate to its printed unit, and the decimals to print."""
    if figure.unit == "proportion":
        return 100.0, 1 if (figure.denominator or 0) >= LARGE_SAMPLE else 0
    if figure.decimals is not None:
        return 1.0, figure.decimals
    if figure.unit == "events per run":
        return 1.0, 2
    return 1.0, 0 if figure.unit == "count" else 1


def _of(figure: Figure) -> str:
    if figure.missing is not None:
        return _of_recorded(figure)
    if figure.denominator is None or figure.numerator is None or figure.method == OBSERVED:
        return ""
    if figure.out_of == "device-days":
        return f"{count(figure.numerator)} in {count(figure.denominator)} days"
    return f"{count(figure.numerator)}/{count(figure.denominator)}"


def _of_recorded(figure: Figure) -> str:
    """What a value rests on where some have none: pairs, values, or hits among those recorded."""
    if figure.unit == "mean difference":
        return f"n {count(figure.numerator)}"
    if figure.unit == "median":
        return f"n {count(figure.numerator)}/{count(figure.denominator)}"
    rests = f"{count(figure.numerator)}/{count(figure.denominator)}"
    return f"{rests}, {count(figure.missing)} missing" if figure.missing else rests


def _middle_half(figure: Figure, decimals: int) -> Shown:
    """A median with its quartiles, which are part of the value and no limits of it."""
    middle, low, high = (
        number(value or 0.0, decimals) for value in (figure.estimate, figure.lower, figure.upper)
    )
    return Shown(f"{middle} ({low} to {high})", of=_of(figure), reason=figure.note)


def show(figure: Figure) -> Shown:
    """Put a figure into words. A count or exposure alone is its own value."""
    if figure.note == HIDDEN:
        return Shown("", absent=SMALL)
    if figure.unit in ("count", "device-days"):
        amount = figure.estimate if figure.estimate is not None else figure.numerator
        return Shown(count(amount), method=figure.method, reason=figure.note)
    if figure.estimate is None:
        return Shown("", of=_of(figure), reason=figure.note.removeprefix("not estimable: "))
    factor, decimals = _scaled(figure)
    if figure.unit == "median":
        return _middle_half(figure, decimals)
    unit = UNITS.get(figure.unit, "")
    return Shown(
        number(figure.estimate * factor, decimals) + unit,
        of=_of(figure),
        limits=_limits(figure, factor, decimals, unit),
        method=figure.method,
        reason=figure.note,
    )


def _limits(figure: Figure, factor: float, decimals: int, unit: str) -> str:
    if figure.lower is None and figure.upper is None:
        return ""
    low = "?" if figure.lower is None else number(figure.lower * factor, decimals)
    high = "not reached" if figure.upper is None else number(figure.upper * factor, decimals) + unit
    return f"{low} to {high}"
