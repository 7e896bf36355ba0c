"""What was typed and not finished: kept for its owner, given back to its owner, forgotten once saved."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from registry.models import Draft, User

KEPT_DAYS = 14


def keep(*, owner: User, place: str, payload: dict[str, str]) -> None:
    """Store what was typed at a place, and forget the owner's drafts that have grown old."""
    Draft.objects.update_or_create(owner=owner, place=place, defaults={"payload": payload})
    old = timezone.now() - timedelta(days=KEPT_DAYS)
    Draft.objects.filter(owner=owner, saved_at__lt=old).delete()


def forget(*, owner: User, place: str) -> None:
    Draft.objects.filter(owner=owner, place=place).delete()


def of(owner: User, prefix: str) -> dict[str, Draft]:
    """The owner's drafts at places that begin with ``prefix``, by place."""
    return {draft.place: draft for draft in Draft.objects.filter(owner=owner, place__startswith=prefix)}
