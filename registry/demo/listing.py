"""The waiting list: tiers of two weeks while a pump bridges to a transplant, renewed or stepped down."""

from __future__ import annotations

from datetime import date, timedelta

from registry.choices import Intent, Outcome
from registry.choices_events import EventKind, InfectionKind, NeuroKind
from registry.choices_extended import ListingTier
from registry.demo.case import Case
from registry.demo.chance import Chance
from registry.models import ListingSpell

SPELL = timedelta(days=14)
PAUSE = timedelta(days=7)
BASES = {
    ListingTier.TWO: "Balloon pump for shock",
    ListingTier.THREE: "Balloon pump beyond 14 days",
    ListingTier.FOUR: "Inotrope outside intensive care",
    ListingTier.SIX: "Heart failure at home",
    ListingTier.INACTIVE: "Paused until treated",
}
PAUSING = (InfectionKind.BLOODSTREAM_DEVICE, InfectionKind.BLOODSTREAM_OTHER, InfectionKind.PNEUMONIA)


def enlist(case: Case, chance: Chance) -> None:
    """Spells from the listing to the outcome, or to the day before the story stops."""
    listed_on = _listed_on(case, chance)
    if listed_on is None or chance.yes(0.04):
        return
    last = case.day(case.outcome.occurred_at) if case.outcome else case.day(case.now) - timedelta(days=1)
    if case.planned and case.course.intent == Intent.TRANSPLANT and case.course.admitted_at:
        known = case.day(case.course.admitted_at) - timedelta(days=chance.randint(9, 160))
        _add(case, chance.pick({ListingTier.FOUR: 55, ListingTier.SIX: 45}), known, None)
    _on_support(case, chance, listed_on, last)


def _listed_on(case: Case, chance: Chance) -> date | None:
    """The day of the listing on support; None for a patient who was never listed."""
    begun = case.day(case.seen_from)
    if case.course.intent == Intent.TRANSPLANT:
        return begun + timedelta(days=chance.pick({0: 40, 1: 40, 2: 20} if case.planned else {2: 50, 4: 50}))
    for change in case.plans:
        if change.intent == Intent.TRANSPLANT:
            return case.day(change.changed_at) + timedelta(days=chance.randint(0, 2))
    if case.outcome and case.outcome.outcome == Outcome.TRANSPLANT:
        return max(case.day(case.outcome.occurred_at) - timedelta(days=5), begun)
    return None


def _on_support(case: Case, chance: Chance, day: date, last: date) -> None:
    tier = ListingTier.TWO
    while day <= last:
        pause = _pause(case, day)
        _add(case, tier, day, day + SPELL)
        if pause and pause <= last:
            _add(case, ListingTier.INACTIVE, pause, None)
            day = pause + PAUSE
        else:
            day += SPELL
            tier = ListingTier.THREE if tier == ListingTier.THREE or chance.yes(0.4) else ListingTier.TWO


def _pause(case: Case, day: date) -> date | None:
    """The first serious infection or stroke during the spell that begins on ``day``."""
    ill = [
        case.day(event.onset_at)
        for event in case.events
        if (event.kind == EventKind.INFECTION and event.infection_kind in PAUSING)
        or event.neuro_kind == NeuroKind.ISCHAEMIC
    ]
    return min((on for on in ill if day < on < day + SPELL), default=None)


def _add(case: Case, tier: ListingTier, began_on: date, expires_on: date | None) -> None:
    spell = ListingSpell(course=case.course, tier=tier, began_on=began_on, expires_on=expires_on)
    spell.basis = BASES[tier]
    case.spells.append(spell)
