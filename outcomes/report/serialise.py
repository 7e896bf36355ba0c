"""A report as JSON. Its form is described in docs/report-json.md; it holds no key or name of a record."""

from __future__ import annotations

import json
from dataclasses import fields
from datetime import datetime
from typing import Any

from outcomes.measures.base import Measure
from outcomes.measures.values import Curve, Figure, LeftOut
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
