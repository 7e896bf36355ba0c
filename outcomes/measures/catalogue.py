"""All measures, in the order of a report."""

from __future__ import annotations

import hashlib
from dataclasses import fields

from outcomes.measures import (
    after_therapy,
    baseline,
    bridge,
    complications,
    devices,
    dwell,
    flow,
    mobilisation,
    on_support,
    procedure,
    quality,
)
from outcomes.measures.base import Measure

MEASURES: tuple[Measure, ...] = (
    *flow.MEASURES,
    *baseline.MEASURES,
    *procedure.MEASURES,
    *on_support.MEASURES,
    *dwell.MEASURES,
    *complications.MEASURES,
    *devices.MEASURES,
    *mobilisation.MEASURES,
    *bridge.MEASURES,
    *after_therapy.MEASURES,
    *quality.MEASURES,
)
DEFINITIONS_EDITION = "1"


def definitions_version() -> str:
    """Edition of the definitions, and a mark that changes with any word of them."""
    texts = [
        str(getattr(measure, f.name)) for measure in MEASURES for f in fields(Measure) if f.name != "compute"
    ]
    return f"{DEFINITIONS_EDITION}-{hashlib.sha256('|'.join(texts).encode()).hexdigest()[:8]}"
