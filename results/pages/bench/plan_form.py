"""The planner's inputs: a join, the difference wanted, pulls a set, sessions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

from django import forms
from django.utils.translation import gettext_lazy as _

from results.models import Pool
from results.pages.figures import whole_name
from results.pools.tester_vs_pool import TesterVsPool

DIFFERENCE, SESSIONS = 5.0, 4
"""What stands in the form at first, in percent and in sessions; common practice, no source."""


class Planned(Protocol):
    """A join that can be planned for."""

    @property
    def pool(self) -> Pool: ...

    @property
    def standing(self) -> TesterVsPool | None: ...


class PlanForm(forms.Form):
    """What one wants to find out, and how one would pull for it."""

    join = forms.ChoiceField(label=_("Join"))
    difference = forms.FloatField(
        label=_("Difference wanted, %"), min_value=0.5, max_value=50, initial=DIFFERENCE
    )
    pulls = forms.IntegerField(label=_("Pulls a set"), min_value=2, max_value=100)
    sessions = forms.IntegerField(label=_("Sessions"), min_value=1, max_value=24, initial=SESSIONS)

    def __init__(self, sent: Any, able: Sequence[Planned]) -> None:
        super().__init__(sent, label_suffix="")
        join = self.fields["join"]
        assert isinstance(join, forms.ChoiceField)
        join.choices = [(str(each.pool.pk), whole_name(each.pool)) for each in able]
        first = able[0].standing
        assert first is not None
        assert first.planned_by is not None
        self.fields["pulls"].initial = max(first.planned_by.pulls, 2)
        self.fields["join"].initial = str(able[0].pool.pk)

    def initial_values(self) -> dict[str, Any]:
        """What the form shows before anything is entered."""
        return {name: field.initial for name, field in self.fields.items()}
