"""Editions: marks of what readers see, by which a cached response is known to be out of date."""

from __future__ import annotations

from django.db import models


class Edition(models.Model):
    """A mark that changes, in the same transaction, with every change of its subject.

    Drawn at random, so that a store put back to an earlier day never has a later day's mark.
    """

    class Subject(models.TextChoices):
        POOLS = "pools"
        NAMES = "names"
        DRAWINGS = "drawings"
        VOTES = "votes"

    subject = models.CharField(primary_key=True, max_length=20, choices=Subject.choices)
    mark = models.CharField(max_length=32)

    class Meta:
        ordering = ["subject"]

    def __str__(self) -> str:
        return f"{self.subject}, {self.mark}"
