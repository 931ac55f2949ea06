"""Forms of which a small club needs a part, and the rest is folded away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms


@dataclass(frozen=True)
class Folded:
    """A form of which a small club needs the ``first`` fields, and ``more`` is folded away.

    ``is_open`` where something else than the default stands in those, or something is wrong.
    """

    form: forms.Form
    first: list[forms.BoundField]
    more: list[forms.BoundField]
    is_open: bool


def folded(form: forms.Form, first: Sequence[str]) -> Folded:
    more = [field for field in form if field.name not in first]
    return Folded(
        form,
        [form[name] for name in first],
        more,
        any(field.errors or _as_text(field.value()) != _default(field) for field in more),
    )


def _as_text(value: Any) -> str:
    return "" if value in (None, False) else str(value)


def _default(field: forms.BoundField) -> str:
    """What a browser sends of a field that was left alone."""
    if field.field.initial is not None:
        return _as_text(field.field.initial)
    choices = list(getattr(field.field, "choices", ()))
    return _as_text(choices[0][0]) if choices else ""
