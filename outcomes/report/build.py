"""Compute every measure over a dataset and a period."""

from __future__ import annotations

import tomllib
from datetime import datetime
from functools import lru_cache
from pathlib import Path

from django.conf import settings

from outcomes.dataset import Dataset
from outcomes.measures.catalogue import MEASURES, definitions_version
from outcomes.measures.left_out import left_out
from outcomes.measures.scope import Scope
from outcomes.period import Period
from outcomes.report.value import Header, Report


def build_report(
    *, dataset: Dataset, period: Period, as_of: datetime | None = None, level: float = 0.95
) -> Report:
    """The report of a period.

    ``as_of``, where given, must be the moment the dataset was read for; ``level`` is that of all limits.
    Raises ValueError if the two moments differ, and EstimatorError for a level outside (0, 1).
    """
    if as_of is not None and as_of != dataset.as_of:
        raise ValueError("as_of: the dataset was read for another moment")
    scope = Scope(dataset, period, level)
    findings = [measure.compute(scope) for measure in MEASURES]
    return Report(
        header=_header(scope),
        measures=MEASURES,
        figures=tuple(figure for found in findings for figure in found.figures),
        curves=tuple(curve for found in findings for curve in found.curves),
        left_out=left_out(scope),
    )


def _header(scope: Scope) -> Header:
    dataset, period = scope.dataset, scope.period
    return Header(
        centres=dataset.centres,
        time_zone=dataset.zone.key,
        period=period.label,
        start=period.start,
        end=period.end,
        data_cut=dataset.cut_at,
        as_of=dataset.as_of,
        level=scope.level,
        software_version=software_version(),
        definitions_version=definitions_version(),
        open_at_cut=dataset.cut_at < period.end,
    )


@lru_cache(maxsize=1)
def software_version() -> str:
    """The version that pyproject.toml states."""
    text = (Path(settings.BASE_DIR) / "pyproject.toml").read_text(encoding="utf-8")
    return str(tomllib.loads(text)["project"]["version"])
