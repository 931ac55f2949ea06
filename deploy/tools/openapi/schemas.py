"""Where a JSON schema accepts less than before, or promises less.

Clients send what the old schema allowed, so the schema of a request may not narrow. Clients read
what the old schema promised, so the schema of an answer may not widen, nor lose a member. Clients
must accept unknown members and enumerated values: neither is a break.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import chain
from typing import Any

Schema = dict[str, Any]
Comparing = Callable[["Documents", Schema, Schema, str], Iterator[str]]
UPPER_BOUNDS = ("maximum", "exclusiveMaximum", "maxLength", "maxItems")
LOWER_BOUNDS = ("minimum", "exclusiveMinimum", "minLength", "minItems")


@dataclass(frozen=True)
class Documents:
    """The old and the new document, in which references are looked up."""

    old: Schema
    new: Schema


def narrowed(documents: Documents, old: Schema, new: Schema, place: str) -> Iterator[str]:
    """Yield what a request may send by ``old`` and may not by ``new``."""
    now = alternatives(documents.new, new)
    for before in alternatives(documents.old, old):
        taking = [other for other in now if _covers(other, before)]
        found = [list(_narrowed_one(documents, before, other, place)) for other in taking]
        yield from min(found, key=len, default=[f"{place}: {_type(before)} is no longer taken"])


def weakened(documents: Documents, old: Schema, new: Schema, place: str) -> Iterator[str]:
    """Yield what an answer promises by ``old`` and doesn't by ``new``."""
    before = alternatives(documents.old, old)
    for now in alternatives(documents.new, new):
        known = [other for other in before if _covers(other, now)]
        found = [list(_weakened_one(documents, other, now, place)) for other in known]
        yield from min(found, key=len, default=[f"{place}: may now be {_type(now)}"])


def alternatives(document: Schema, schema: Schema) -> list[Schema]:
    """The schemas of one type each that make up ``schema``, with references looked up."""
    if reference := schema.get("$ref"):
        return alternatives(document, _looked_up(document, reference))
    if parts := schema.get("allOf"):
        rest = {name: value for name, value in schema.items() if name != "allOf"}
        together = [alternatives(document, part)[0] for part in parts]
        return alternatives(document, _merged([*together, rest]))
    if choices := schema.get("anyOf") or schema.get("oneOf"):
        return list(chain.from_iterable(alternatives(document, choice) for choice in choices))
    if schema.get("nullable") and isinstance(schema.get("type"), str):  # as OpenAPI 3.0 has it
        schema = {**schema, "type": [schema["type"], "null"]}
    if isinstance(schema.get("type"), list):
        return [_of_type(schema, name) for name in schema["type"]]
    return [schema]


def _looked_up(document: Schema, reference: str) -> Schema:
    found: Any = document
    for name in reference.removeprefix("#/").split("/"):
        found = found[name]
    return dict(found)


def _merged(parts: list[Schema]) -> Schema:
    whole: Schema = {}
    for part in parts:
        properties = {**whole.get("properties", {}), **part.get("properties", {})}
        required = [*whole.get("required", []), *part.get("required", [])]
        whole = {**whole, **part}
        whole |= {"properties": properties, "required": required} if properties else {}
    return whole


def _of_type(schema: Schema, name: str) -> Schema:
    """The part of an enumeration or of bounds for several types that speaks of one of them."""
    one = {**schema, "type": name}
    if "enum" in schema:
        one["enum"] = [value for value in schema["enum"] if (value is None) == (name == "null")]
    return one


def _type(schema: Schema) -> str:
    values = _values(schema)
    if "type" in schema:
        return str(schema["type"])
    if values:
        return "null" if values == {"null"} else "string"
    return next((kind for name, kind in SIGNS.items() if name in schema), "anything")


SIGNS = {"properties": "object", "items": "array"}


def _values(schema: Schema) -> set[str]:
    listed = schema.get("enum", [schema["const"]] if "const" in schema else [])
    return {json.dumps(value) for value in listed}


def _covers(wide: Schema, narrow: Schema) -> bool:
    """Whether every value of the narrow schema's type is of the wide one's."""
    kinds = _type(wide), _type(narrow)
    return kinds[0] in ("anything", kinds[1]) or kinds == ("number", "integer")


def _narrowed_one(documents: Documents, old: Schema, new: Schema, place: str) -> Iterator[str]:
    before, now = _values(old), _values(new)
    if now and not (before and before <= now):
        yield f"{place}: takes only {', '.join(sorted(now))}"
    yield from _tightened(old, new, place)
    for name in sorted(set(new.get("required", [])) - set(old.get("required", []))):
        yield f"{place}.{name}: newly required"
    if _takes_others(old) and not _takes_others(new):
        yield f"{place}: takes no other members any more"
    yield from _inside(narrowed, documents, old, new, place)


def _weakened_one(documents: Documents, old: Schema, new: Schema, place: str) -> Iterator[str]:
    if _values(old) and not _values(new):
        yield f"{place}: is no longer one of a list"
    # How wide a whole number is stored differs between databases, and JSON doesn't show it.
    if _type(old) == "string" and "format" in old and new.get("format") != old["format"]:
        yield f"{place}: its format is no longer {old['format']}"
    kept = set(new.get("properties", {})) - set(new.get("required", []))
    for name in sorted(kept & set(old.get("required", []))):
        yield f"{place}.{name}: is no longer always there"
    yield from _inside(weakened, documents, old, new, place)


def _tightened(old: Schema, new: Schema, place: str) -> Iterator[str]:
    for name in UPPER_BOUNDS:
        if name in new and new[name] < old.get(name, float("inf")):
            yield f"{place}: {name} is now {new[name]}"
    for name in LOWER_BOUNDS:
        if name in new and new[name] > old.get(name, float("-inf")):
            yield f"{place}: {name} is now {new[name]}"
    for name in ("pattern", "format"):
        if _type(new) == "string" and name in new and new[name] != old.get(name):
            yield f"{place}: {name} is now {new[name]}"


def _takes_others(schema: Schema) -> bool:
    return schema.get("additionalProperties", True) is not False


def _inside(
    compare: Comparing, documents: Documents, old: Schema, new: Schema, place: str
) -> Iterator[str]:
    """Compare members and items, each with its successor."""
    after = new.get("properties", {})
    for name, member in old.get("properties", {}).items():
        if name in after:
            yield from compare(documents, member, after[name], f"{place}.{name}")
        else:
            yield f"{place}.{name}: removed"
    for name, sign in (("items", "[]"), ("additionalProperties", ".*")):
        parts = old.get(name, True), new.get(name, True)
        if any(isinstance(part, dict) for part in parts) and False not in parts:
            before, now = ({} if part is True else part for part in parts)
            yield from compare(documents, before, now, f"{place}{sign}")
