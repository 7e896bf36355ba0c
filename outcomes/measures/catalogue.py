"""All measures, in the order of a report."""

from __future__ import annotations

import hashlib
from dataclasses import fields

from outcomes.measures import bridge, complications, devices, dwell, flow, mobilisation
from outcomes.measures.base import Measure

MEASURES: tuple[Measure, ...] = (
    *flow.MEASURES,
    *dwell.MEASURES,
    *complications.MEASURES,
    *devices.MEASURES,
    *mobilisation.MEASURES,
    *bridge.MEASURES,
)
DEFINITIONS_EDITION = "1"


def definitions_version() -> str:
    """Edition of the definitions, and a mark that changes with any word of them."""
    texts = [
        str(getattr(measure, f.name)) for measure in MEASURES for f in fields(Measure) if f.name != "compute"
    ]
    return f"{DEFINITIONS_EDITION}-{hashlib.sha256('|'.join(texts).encode()).hexdigest()[:8]}"
