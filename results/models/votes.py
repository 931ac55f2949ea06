"""What readers ask testers to pull: one vote an account."""

from __future__ import annotations

from django.db import models

from results.models.connections import Connection
from rigs.models import Contributor, Material


class Vote(models.Model):
    """That a contributor asks for a join on these lines; it moves when they ask for another.

    ``leader_material`` is empty where the join is to a hook, ring or swivel.
    """

    contributor = models.OneToOneField(Contributor, on_delete=models.CASCADE, related_name="vote")
    connection = models.ForeignKey(Connection, on_delete=models.CASCADE, related_name="votes")
    main_material = models.CharField(max_length=40, choices=Material.choices)
    leader_material = models.CharField(max_length=40, choices=Material.choices, blank=True)
    cast_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["connection_id", "main_material", "leader_material", "pk"]

    def __str__(self) -> str:
        return f"join {self.connection_id}, {self.main_material} to {self.leader_material or '-'}"
