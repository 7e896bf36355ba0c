"""Units that a sheet may use where the logbook uses another, each with the factor between them.

Factors between mass and amount follow from molar masses (creatinine 113.12, bilirubin 584.66, lactic acid
90.08, haemoglobin monomer 16,114.5 g/mol; from memory). The others are definitions: pound and inch as of the
international agreement of 1959.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from registry.spreadsheet.columns import Target
from registry.spreadsheet.limits import Cell


@dataclass(frozen=True)
class Unit:
    """A unit by the name people write, and what a value in it is multiplied by."""

    name: str
    factor: Decimal

    @property
    def words(self) -> str:
        """The unit with its factor, as the page names it."""
        return self.name if self.factor == 1 else f"{self.name} (× {self.factor.normalize():f})"


def _units(own: str, **others: str) -> tuple[Unit, ...]:
    return (Unit(own, Decimal(1)), *(Unit(_NAMES.get(name, name), Decimal(f)) for name, f in others.items()))


_NAMES = {
    "mg_dl": "mg/dL", "g_l": "g/L", "mmol_l": "mmol/L", "umol_l": "µmol/L", "per_ul": "/µL", "inches": "in",
    "thousand_per_ul": "10³/µL",
}  # fmt: skip

UNITS: dict[str, tuple[Unit, ...]] = {
    "height_cm": _units("cm", m="100", inches="2.54"),
    "weight_kg": _units("kg", lb="0.45359237"),
    "creatinine_umol_l": _units("µmol/L", mg_dl="88.40", mmol_l="1000"),
    "bilirubin_umol_l": _units("µmol/L", mg_dl="17.104"),
    "haemoglobin_g_dl": _units("g/dL", g_l="0.1", mmol_l="1.6114"),
    "haemoglobin_drop_g_dl": _units("g/dL", g_l="0.1", mmol_l="1.6114"),
    "platelets_10e9_l": _units("10⁹/L", thousand_per_ul="1", per_ul="0.001"),
    "lactate_mmol_l": _units("mmol/L", mg_dl="0.1110"),
    "lvedd_mm": _units("mm", cm="10"),
    "from_mm": _units("mm", cm="10"),
    "to_mm": _units("mm", cm="10"),
    "haematoma_cm": _units("cm", mm="0.1"),
    "procedure_min": _units("min", h="60"),
    "interrupted_min": _units("min", h="60", s="0.01666666667"),
}
_SPELLINGS = {
    "umol/l": "µmol/L", "micromol/l": "µmol/L", "k/ul": "10³/µL", "/nl": "10⁹/L",
    "lbs": "lb", "kgs": "kg", "inch": "in", "inches": "in", "metres": "m", "meters": "m",
    "minutes": "min", "mins": "min", "hours": "h",
}  # fmt: skip


def units_of(target: Target) -> Sequence[Unit]:
    """The units between which a person chooses; none where the logbook's is the only one in use."""
    return UNITS.get(target.name, ())


def factor(target: Target, unit: str) -> Decimal:
    """What a value in ``unit`` is multiplied by."""
    return next((known.factor for known in units_of(target) if known.name == unit), Decimal(1))


def unit_in(heading: str, target: Target) -> str:
    """The unit that a heading names, behind its words or in brackets; nothing if it names none."""
    known = {unit.name.casefold(): unit.name for unit in units_of(target)}
    brackets = re.findall(r"[(\[]([^)\]]*)[)\]]", heading)
    for text in (*brackets, *heading.split(",")[1:], *heading.split()[1:]):
        word = text.strip().casefold()
        name = known.get(word) or _SPELLINGS.get(word, "")
        if name in known.values():
            return name
    return ""


def proven_unit(target: Target, cells: Iterable[Cell]) -> str:
    """The one unit in which every number of a column is possible; nothing if there are several or none."""
    numbers = [value for cell in cells if (value := _number(cell)) is not None]
    hard = target.field.hard
    if not numbers or not hard:
        return ""
    fitting = [
        unit.name
        for unit in units_of(target)
        if all(hard[0] <= number * unit.factor <= hard[1] for number in numbers)
    ]
    return fitting[0] if len(fitting) == 1 else ""


def _number(cell: Cell) -> Decimal | None:
    text = str(cell).replace(",", ".")
    return Decimal(text) if re.fullmatch(r"\d{1,7}(\.\d{1,9})?", text, re.ASCII) else None
