"""A person who signs in, at one centre and in one role."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from django.contrib.auth.models import AbstractUser
from django.db import models

from registry.choices import Role

if TYPE_CHECKING:
    from registry.models.centre import Centre


class User(AbstractUser):
    role = models.CharField(max_length=20, choices=Role.choices)
    centre = models.ForeignKey("registry.Centre", on_delete=models.PROTECT, null=True, related_name="people")

    further_centres = models.ManyToManyField(
        "registry.Centre",
        blank=True,
        related_name="further_readers",
        help_text="Centres whose counts this person may compare with their own. Never their cases.",
    )

    one_time_password_at = models.DateTimeField(
        null=True, editable=False, help_text="When a password was given out that must be changed at sign-in."
    )

    REQUIRED_FIELDS: ClassVar[list[str]] = []

    class Meta(AbstractUser.Meta):
        constraints = [
            models.CheckConstraint(condition=models.Q(role__in=[*Role.values, ""]), name="user_role_value"),
        ]

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    @property
    def compared_centres(self) -> list[Centre]:
        """The own centre, then those that let this person compare with theirs, by code."""
        if self.centre is None:
            return []
        return [self.centre, *self.further_centres.exclude(pk=self.centre.pk)]
