"""A report: all measures over one dataset and one period, as one frozen value."""

from outcomes.measures.values import Curve, Figure, LeftOut
from outcomes.report.build import build_report
from outcomes.report.value import Header, Report

__all__ = ["Curve", "Figure", "Header", "LeftOut", "Report", "build_report"]
