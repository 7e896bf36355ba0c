"""What people said when the logbook asked: a soft warning accepted with a reason, a form sent twice."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models


class Answer(models.Model):
    """A person's reason for letting a questioned value stand. It quiets this very question only."""

    entity = models.CharField(max_length=30)
    record_id = models.UUIDField()
    code = models.CharField(max_length=60)
    question = models.TextField()
    reason = models.TextField()
    given_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True)
    given_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["given_at"]
        indexes = [models.Index(fields=["record_id"], name="answer_record")]
        constraints = [models.CheckConstraint(condition=~models.Q(reason=""), name="answer_has_reason")]

    def __str__(self) -> str:
        return f"{self.entity} {self.code}: {self.reason}"


class Submission(models.Model):
    """A form that was saved. Its key makes a double click or a repeated post land on the first result."""

    key = models.UUIDField(primary_key=True, default=uuid.uuid4)
    result_url = models.CharField(max_length=300)
    sent_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE)
    sent_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["sent_at"]

    def __str__(self) -> str:
        return str(self.key)
