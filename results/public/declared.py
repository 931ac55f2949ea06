"""The one declaration of what is public, table by table."""

from __future__ import annotations

from functools import cache

from django.db.models import Model

from results.public.of_following import OF_FOLLOWING
from results.public.of_pools import OF_POOLS
from results.public.of_rigs import OF_RIGS
from results.public.of_rounds import OF_ROUNDS
from results.public.of_sessions import OF_SESSIONS
from results.public.rules import Declared, Rule

DECLARED: dict[str, Declared] = {
    **OF_RIGS,
    **OF_SESSIONS,
    **OF_POOLS,
    **OF_ROUNDS,
    **OF_FOLLOWING,
}
"""By label of the table. Of a table that is not here, such as those of accounts, nothing is."""


@cache
def rules_of(model: type[Model]) -> dict[str, Rule]:
    """The rule of each field, by its name and by that of its column; private where undeclared."""
    declared = DECLARED.get(model._meta.label)
    fields = declared.fields if declared else {}
    found: dict[str, Rule] = {}
    for field in model._meta.concrete_fields:
        rule = fields.get(field.name, Rule.PRIVATE)
        found |= {field.name: rule, field.attname: rule}
    return found
