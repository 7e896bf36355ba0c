"""From a record to the grades its values propose, and the question when a person chose another."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db.models import Max, Min
from django.utils import timezone

from registry.choices import ShockStage
from registry.choices_events import EventKind
from registry.grading import (
    Proposal,
    propose_barc,
    propose_kdigo,
    propose_rutherford,
    propose_stage,
)
from registry.models import Course, DailyCheck, Event, Record
from registry.problem import Problem, ask

KIDNEY_WINDOW = timedelta(days=7)
KIDNEY_RISE_WINDOW = timedelta(days=2)
LIMB_WINDOW = timedelta(days=1)


@dataclass(frozen=True)
class Graded:
    """``chosen`` is the column a person fills, ``kept`` the one that keeps the proposal beside it."""

    chosen: str
    kept: str
    proposal: Proposal | None


def graded(record: Record) -> Graded | None:
    """The graded column of a record with its proposal; None for records without one."""
    if isinstance(record, Course):
        proposal = propose_stage(
            lactate_mmol_l=_number(record.lactate_mmol_l),
            inotropes=record.inotropes,
            vasopressors=record.vasopressors,
        )
        return Graded("shock_stage", "proposed_stage", proposal)
    if not isinstance(record, Event):
        return None
    if record.kind == EventKind.BLEEDING:
        return Graded("barc", "proposed_barc", _bleed(record))
    if record.kind == EventKind.LIMB:
        return Graded("rutherford", "proposed_rutherford", _limb(record))
    if record.kind == EventKind.RENAL:
        return Graded("kidney_stage", "proposed_kidney_stage", _kidney(record))
    return None


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _bleed(event: Event) -> Proposal | None:
    return propose_barc(
        site=event.bleed_site,
        drop_g_dl=_number(event.haemoglobin_drop_g_dl),
        red_cell_units=event.red_cell_units,
        actions=event.actions,
        resolution=event.resolution,
    )


def _rows_about(event: Event, before: timedelta, after: timedelta) -> Any:
    if not event.onset_at or not event.course_id:
        return DailyCheck.objects.none()
    day = timezone.localtime(event.onset_at).date()
    return DailyCheck.objects.filter(
        run__course_id=event.course_id, checked_on__range=(day - before, day + after)
    )


def _limb(event: Event) -> Proposal | None:
    rows = _rows_about(event, timedelta(0), LIMB_WINDOW).exclude(limb_neuro="")
    if event.run_id:
        rows = rows.filter(run_id=event.run_id)
    row = rows.order_by("checked_on").first()
    neuro, pulse = (row.limb_neuro, row.pulse) if row else ("", "")
    return propose_rutherford(neuro=neuro, pulse=pulse, action=event.limb_action)


def _kidney(event: Event) -> Proposal | None:
    rows = _rows_about(event, KIDNEY_RISE_WINDOW, KIDNEY_WINDOW).exclude(creatinine_umol_l=None)
    found = rows.aggregate(highest=Max("creatinine_umol_l"))
    near = _rows_about(event, KIDNEY_RISE_WINDOW, timedelta(0)).aggregate(
        low=Min("creatinine_umol_l"), high=Max("creatinine_umol_l")
    )
    rise = None if near["low"] is None else float(near["high"] - near["low"])
    return propose_kdigo(
        baseline_umol_l=_number(event.course.creatinine_umol_l),
        highest_umol_l=_number(found["highest"]),
        rise_48h_umol_l=rise,
        renal_replacement=event.renal_replacement,
    )


def keep_proposal(record: Record) -> None:
    """Lay the proposal beside the chosen grade, before the record is saved."""
    found = graded(record)
    if found:
        column: Any = record._meta.get_field(found.kept)
        none = None if column.null else ""
        setattr(record, found.kept, column.to_python(found.proposal.grade) if found.proposal else none)


def said(found: Graded | None, record: Record) -> str:
    """The proposal in words; empty when the values say too little."""
    if not found or not found.proposal:
        return ""
    labels = {str(code): label for code, label in record._meta.get_field(found.chosen).choices}  # type: ignore[union-attr]
    return f"The entered values propose {labels[found.proposal.grade]}, because {found.proposal.because}."


def check_grade(record: Record) -> list[Problem]:
    """A question when the chosen grade is not the proposed one; for shock, when it is a milder one."""
    found = graded(record)
    if not found or not found.proposal:
        return []
    chosen, proposal = str(getattr(record, found.chosen) or ""), found.proposal
    agrees = chosen == proposal.grade
    if isinstance(record, Course):
        stages = ShockStage.values
        agrees = chosen not in stages or stages.index(chosen) >= stages.index(proposal.grade)
    if not chosen or agrees:
        return []
    return [ask(f"{found.chosen}_differs", found.chosen, said(found, record))]
