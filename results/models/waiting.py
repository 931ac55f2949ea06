"""Uploads that were checked on the upload page and wait for their contributor to store them."""

from __future__ import annotations

import uuid

from django.db import models

from rigs.models import Contributor


class WaitingUpload(models.Model):
    """The file a contributor checked last; the next one replaces it."""

    contributor = models.OneToOneField(
        Contributor, on_delete=models.CASCADE, related_name="waiting_upload"
    )
    key = models.UUIDField(
        default=uuid.uuid4, help_text="becomes the Idempotency-Key when it is stored"
    )
    file_name = models.CharField(max_length=120)
    content_type = models.CharField(max_length=120)
    body = models.BinaryField()
    checked_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["-checked_at"]

    def __str__(self) -> str:
        return f"{self.file_name} of {self.contributor.handle}"
