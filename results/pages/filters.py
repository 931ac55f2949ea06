"""What a reader asks the list of joins for; everything is optional."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.db.models import Q
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from results import lookups
from rigs.models import Material

MOST_TESTERS = 100_000


class Filters(forms.Form):
    """Conditions on pools, sent by GET."""

    main = forms.ChoiceField(label=_("Main line"), required=False)
    to = forms.ChoiceField(label=_("To leader or terminal"), required=False)
    wet = forms.ChoiceField(
        label=_("Wet or dry"),
        required=False,
        choices=[("", _("either")), ("false", _("dry")), ("true", _("wet"))],
    )
    connection = forms.ChoiceField(label=_("Join"), required=False)
    least_testers = forms.IntegerField(
        label=_("Least testers"), required=False, min_value=1, max_value=MOST_TESTERS
    )

    def __init__(self, asked: QueryDict) -> None:
        super().__init__(asked, label_suffix="")
        names, terminals = lookups.pooled_names(), lookups.pooled_terminals()
        self._offer("main", _("any material"), [*Material.values])
        self._offer("to", _("anything"), [*Material.values, *terminals])
        self._offer("connection", _("any join"), names)

    def _offer(self, name: str, anything: Any, values: list[str]) -> None:
        field = cast(forms.ChoiceField, self.fields[name])
        field.choices = [("", anything), *((value, value) for value in values)]

    def condition(self) -> Q:
        """The condition on pools; nothing where the form is not valid."""
        asked = self.cleaned_data if self.is_valid() else {}
        condition = Q()
        if main := asked.get("main"):
            condition &= Q(main_material=main)
        if to := asked.get("to"):
            condition &= Q(leader_material=to) | Q(leader_material="", terminal=to)
        if wet := asked.get("wet"):
            condition &= Q(wet=wet == "true")
        if connection := asked.get("connection"):
            condition &= Q(connection__name=connection)
        if least := asked.get("least_testers"):
            condition &= Q(current__testers__gte=least)
        return condition
