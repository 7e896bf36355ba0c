"""The comparison as JSON: every number of the page, no key or name of a record."""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from datetime import datetime
from typing import Any

from outcomes.comparison.summary import summary
from outcomes.comparison.value import Comparison

FORM = 1


def as_json(comparison: Comparison) -> str:
    """The same comparison gives the same text."""
    return json.dumps(as_plain(comparison), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def as_plain(comparison: Comparison) -> dict[str, Any]:
    """The comparison as dictionaries, lists, numbers and texts."""
    return {"form": FORM, "summary": list(summary(comparison)), **_written(comparison)}


def _written(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _written(getattr(value, f.name)) for f in fields(value) if f.name != "cases"}
    if isinstance(value, tuple):
        return [_written(part) for part in value]
    return value.isoformat() if isinstance(value, datetime) else value
