"""What documents are made of: strict serializers, quantities as written, finite numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from django.db import models
from django.utils.translation import gettext, gettext_lazy
from rest_framework import serializers
from rest_framework.fields import SkipField
from rest_framework.relations import PKOnlyObject
from rest_framework.request import Request
from rest_framework.reverse import reverse

from api.pagination import OF_ANY_LIST
from results.public.readers import Hidden, Reader, reader_of
from results.public.seeing import seen
from rigs.metrology import units
from rigs.metrology.bounds import EARLIEST_DAY, Bounds

LONGEST_WRITTEN = 40
AnyField = serializers.Field[Any, Any, Any, Any]
"""A field of whatever values: documents are JSON."""
JSON_TYPES: tuple[tuple[type[AnyField], type | tuple[type, ...], str], ...] = (
    (serializers.BooleanField, bool, "true or false"),
    (serializers.IntegerField, (int, float), "a whole number"),
    (serializers.FloatField, (int, float), "a number"),
    (serializers.CharField, str, "text"),
)


DAY = {"help_text": f"from {EARLIEST_DAY} to today"}
"""What a document says of a day; the verb that stores it refuses any other."""


def limits(bounds: Bounds) -> dict[str, Any]:
    """Bounds, both ends included, as a number's field takes them."""
    return {"min_value": bounds.lowest, "max_value": bounds.highest}


class Number(serializers.FloatField):
    """A finite number: DRF's own field would let ``"nan"`` and ``"inf"`` through."""

    def to_internal_value(self, data: Any) -> float:
        number = super().to_internal_value(data)
        if not math.isfinite(number):
            raise serializers.ValidationError(gettext("a finite number"))
        return number


class Day(serializers.DateField):
    """A date, of which a refusal says how to write one."""

    default_error_messages = {
        "invalid": gettext_lazy("a date, as 2026-01-31"),
        "datetime": gettext_lazy("a date without a time, as 2026-01-31"),
    }


class Id(serializers.IntegerField):
    """The number of a row, which no row has where it is larger than a column of numbers holds."""

    largest = 2**63 - 1

    def to_internal_value(self, data: Any) -> int:
        number: int = super().to_internal_value(data)
        if not 1 <= number <= self.largest:
            raise serializers.ValidationError(gettext("the number of a row, from 1"))
        return number


class Choice(serializers.ChoiceField):
    """One of a few words, which the refusal lists."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = ", ".join(str(word) for word in self.choices)
        self.error_messages["invalid_choice"] = f"one of: {words}"


class Quantity(AnyField):
    """A quantity: ``"15 lbf"`` comes in, ``{"written": "15 lbf", "N": 66.72}`` goes out.

    It represents two columns of the model, ``<base>_<symbol>`` and ``<base>_written``, and has to
    be within ``bounds``, in the symbol's unit.
    """

    symbol: str
    example: str

    def __init__(self, base: str, bounds: Bounds, **kwargs: Any) -> None:
        super().__init__(source="*", **kwargs)
        self.number, self.written = f"{base}_{self.symbol}", f"{base}_written"
        self.bounds = bounds

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if data is None:
            return {self.number: None, self.written: ""}
        if not isinstance(data, str) or len(data) > LONGEST_WRITTEN:
            raise serializers.ValidationError(
                gettext("text of number and unit, as in %(example)s") % {"example": self.example}
            )
        try:
            value = self.in_symbol(data)
        except units.UnitError as error:
            raise serializers.ValidationError(error.expected) from None
        if not self.bounds.holds(value):
            raise serializers.ValidationError(f"{self.bounds} {self.symbol}")
        return {self.number: value, self.written: data}

    def to_representation(self, instance: Any) -> dict[str, Any] | None:
        value = getattr(instance, self.number)
        if value is None:
            return None
        return {"written": getattr(instance, self.written), self.symbol: value}

    def in_symbol(self, written: str) -> float:
        """The value of what was written, in the symbol's unit. Raises units.UnitError."""
        raise NotImplementedError


class ForceField(Quantity):
    """A force or the reading of a scale; kg and lb of a reading are kgf and lbf."""

    symbol, example = "N", "15 lbf, 7 kg or 66.7 N"

    def in_symbol(self, written: str) -> float:
        return units.parse_force(written).newtons


class MassField(Quantity):
    """A mass, as of a check weight."""

    symbol, example = "kg", "5 kg, 500 g or 2.5 lb"

    def in_symbol(self, written: str) -> float:
        return units.parse_mass(written).kilograms


class LengthField(Quantity):
    """A length, as of a line's diameter."""

    symbol, example = "m", "0.35 mm, 1.2 m or 0.014 in"

    def in_symbol(self, written: str) -> float:
        return units.parse_length(written).metres


class Link(serializers.HyperlinkedRelatedField[Any]):
    """The address of the row that a row points to."""

    def __init__(self, view_name: str, **kwargs: Any) -> None:
        super().__init__(view_name=view_name, read_only=True, **kwargs)


class PoolLink(Link):
    """The address of the pool that a row points to; nothing where it has none for this reader."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__("api:pool", default=None, allow_null=True, **kwargs)

    def use_pk_only_optimization(self) -> bool:
        return False

    def get_attribute(self, instance: Any) -> Any:
        pool: Any = super().get_attribute(instance)
        return pool if pool is not None and pool.may_open else None


def address_of(view_name: str, request: Request) -> str:
    """The address of the rows of a view, with ``%d`` where a row's number goes."""
    of_row_0 = reverse(view_name, [0], request=request)
    return of_row_0.replace("%", "%%").removesuffix("0") + "%d"


class Shown(serializers.Serializer[Any]):
    """A document of what its reader may see: a member that is not for them is left out."""

    def to_representation(self, instance: Any) -> Any:
        request = self.context.get("request")
        if request is None and isinstance(instance, models.Model):
            raise TypeError(f"{type(self).__name__} shows a row and was not given the request.")
        reader = reader_of(request) if request is not None else Reader()
        shown = seen(instance, reader)
        document = {}
        for field in self._readable_fields:
            with suppress(Hidden, SkipField):
                value = field.get_attribute(shown)
                absent = (value.pk if isinstance(value, PKOnlyObject) else value) is None
                document[field.field_name] = None if absent else field.to_representation(value)
        return document


class ShownRow(Shown, serializers.ModelSerializer[Any]):
    """The same of one table."""


class Strict(Shown):
    """A document that refuses members it doesn't know, so that a misspelt one is not lost.

    Members are of the types that the OpenAPI document names: DRF would take 7 for "7".
    """

    in_json = True

    def to_internal_value(self, data: Any) -> Any:
        errors: dict[str, Any] = {}
        if isinstance(data, Mapping):
            known = [name for name, field in self.fields.items() if not field.read_only]
            expected = gettext("no member of this name; known are %(known)s") % {
                "known": ", ".join(known)
            }
            errors = {name: [expected] for name in data if name not in known}
            if self.in_json:
                errors |= {
                    name: [expected]
                    for name in known
                    if data.get(name) is not None
                    and (expected := _type_expected(self.fields[name], data[name]))
                }
        try:
            value = super().to_internal_value(data)
        except serializers.ValidationError as error:
            found = error.detail if isinstance(error.detail, dict) else {}
            raise serializers.ValidationError({**found, **errors}) from None
        if errors:
            raise serializers.ValidationError(errors)
        return value


def _type_expected(field: AnyField, sent: Any) -> str:
    """What is expected of this field, if a value is of another JSON type."""
    if isinstance(field, serializers.ChoiceField):
        is_one = any(
            sent is choice or (sent == choice and isinstance(sent, str)) for choice in field.choices
        )
        return "" if is_one else f"one of: {', '.join(map(str, field.choices))}"
    for kind, types, expected in JSON_TYPES:
        if isinstance(field, kind):
            wrong = not isinstance(sent, types) or (isinstance(sent, bool) and types is not bool)
            return expected if wrong else ""
    return ""


class Document(Strict, ShownRow):
    """A strict document of one table."""

    serializer_field_mapping = {
        **serializers.ModelSerializer.serializer_field_mapping,
        models.DateField: Day,
        models.FloatField: Number,
    }
    serializer_choice_field = Choice


class Filters(Strict):
    """Query parameters of a list; a field's source is its queryset condition."""

    in_json = False

    @classmethod
    def conditions(cls, request: Request) -> dict[str, Any]:
        """The conditions of a query, as arguments of ``filter``. Raises ValidationError."""
        asked = {k: v for k, v in request.query_params.items() if k not in OF_ANY_LIST}
        filters = cls(data=asked)
        filters.is_valid(raise_exception=True)
        conditions: dict[str, Any] = filters.validated_data
        return conditions
