"""A report as JSON. Its form is described in docs/report-json.md; it holds no key or name of a record."""

from __future__ import annotations

import json
from dataclasses import fields
from datetime import datetime
from typing import Any

from outcomes.estimators.arrays import Ints
from outcomes.measures.base import Measure
from outcomes.measures.scope import Scope
from outcomes.measures.values import NOBODY, CaseList, Curve, Figure, Findings, LeftOut
from outcomes.report.value import Header, Report

FORM = 1
NEVER_WRITTEN = {"cases", "compute"}


def as_json(report: Report, *, indent: int | None = 1) -> str:
    """The report as JSON text; the same report gives the same text."""
    return json.dumps(as_plain(report), indent=indent, ensure_ascii=False, allow_nan=False) + "\n"


def as_plain(report: Report) -> dict[str, Any]:
    """The report as dictionaries, lists, numbers and texts."""
    return {
        "form": FORM,
        "header": _plain(report.header),
        "measures": [_plain(measure) for measure in report.measures],
        "figures": [_plain(figure) for figure in report.figures],
        "curves": [_plain(curve) for curve in report.curves],
        "left_out": [_plain(line) for line in report.left_out],
    }


def _plain(value: Header | Measure | Figure | Curve | LeftOut) -> dict[str, Any]:
    return {f.name: _written(getattr(value, f.name)) for f in fields(value) if f.name not in NEVER_WRITTEN}


def _written(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value


def from_plain(plain: dict[str, Any]) -> Report:
    """The report that ``as_plain`` was made from, without the cases behind its figures."""
    no_cases = CaseList("courses", _nobody)
    return Report(
        header=_read(Header, plain["header"]),
        measures=tuple(_read(Measure, each, compute=_computes_nothing) for each in plain["measures"]),
        figures=tuple(_read(Figure, each) for each in plain["figures"]),
        curves=tuple(_read(Curve, each) for each in plain["curves"]),
        left_out=tuple(_read(LeftOut, each, cases=no_cases) for each in plain["left_out"]),
    )


def _read(kind: type[Any], plain: dict[str, Any], **more: Any) -> Any:
    """A frozen value from its plain form; moments and tuples become again what they were."""
    moments = {f.name for f in fields(kind) if "datetime" in str(f.type)}
    values = {name: _value(value, moment=name in moments) for name, value in plain.items()}
    return kind(**values, **more)


def _value(value: Any, *, moment: bool) -> Any:
    if moment and value is not None:
        return datetime.fromisoformat(value)
    return tuple(value) if isinstance(value, list) else value


def _computes_nothing(scope: Scope) -> Findings:
    """A kept measure is words only: what it found stands in the report."""
    return Findings()


def _nobody() -> Ints:
    return NOBODY
