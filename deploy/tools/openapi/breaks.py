"""Breaking changes of a new OpenAPI document against the old one."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

from deploy.tools.openapi.schemas import Documents, Schema, narrowed, weakened


def breaks(old: Schema, new: Schema) -> list[str]:
    """Name all that was removed, narrowed or newly required, with its place; empty where nothing.

    Raises RecursionError where a schema contains itself.
    """
    documents = Documents(old, new)
    before, now = _operations(old), _operations(new)
    found: list[str] = []
    for name, operation in before.items():
        if name in now:
            found += _operation_breaks(documents, operation, now[name], name)
        else:
            found.append(f"{name}: removed")
    return found


def _operations(document: Schema) -> dict[str, Schema]:
    """Each operation by method and path; names of path parameters don't matter."""
    return {
        f"{method.upper()} {re.sub('{.*?}', '{}', path)}": operation
        for path, operations in document["paths"].items()
        for method, operation in operations.items()
    }


def _operation_breaks(documents: Documents, old: Schema, new: Schema, place: str) -> Iterator[str]:
    yield from _parameters(documents, old, new, place)
    yield from _body(documents, old, new, place)
    yield from _answers(documents, old, new, place)
    if (
        not _ways_in(documents.old, old) <= (now := _ways_in(documents.new, new))
        and ANYONE not in now
    ):
        yield f"{place}: a way to authenticate is gone"


def _parameters(documents: Documents, old: Schema, new: Schema, place: str) -> Iterator[str]:
    before, now = _by_name(old), _by_name(new)
    for name, parameter in now.items():
        if parameter.get("required") and not before.get(name, {}).get("required"):
            yield f"{place} {name}: newly required"
    for name, parameter in before.items():
        if name in now:
            schemas = parameter["schema"], now[name]["schema"]
            yield from narrowed(documents, *schemas, f"{place} {name}")
        else:
            yield f"{place} {name}: removed"


def _by_name(operation: Schema) -> dict[str, Schema]:
    """Parameters by where they are and their names; those of the path by their turn."""
    parameters = operation.get("parameters", [])
    in_path = [parameter for parameter in parameters if parameter["in"] == "path"]
    others = [parameter for parameter in parameters if parameter["in"] != "path"]
    by_turn = {f"path {turn}": parameter for turn, parameter in enumerate(in_path, 1)}
    return by_turn | {f"{other['in']} {other['name']}": other for other in others}


def _body(documents: Documents, old: Schema, new: Schema, place: str) -> Iterator[str]:
    before, now = old.get("requestBody"), new.get("requestBody")
    if now and now.get("required") and not (before or {}).get("required"):
        yield f"{place} body: newly required"
    for form, content in (before or {}).get("content", {}).items():
        after = (now or {}).get("content", {}).get(form)
        if after is None:
            yield f"{place} body {form}: removed"
        else:
            schemas = content.get("schema", {}), after.get("schema", {})
            yield from narrowed(documents, *schemas, f"{place} body")


def _answers(documents: Documents, old: Schema, new: Schema, place: str) -> Iterator[str]:
    for status, answer in old["responses"].items():
        after = new["responses"].get(status)
        if after is None:
            yield f"{place} {status}: removed"
            continue
        for form, content in answer.get("content", {}).items():
            if form not in after.get("content", {}):
                yield f"{place} {status} {form}: removed"
                continue
            schemas = content.get("schema", {}), after["content"][form].get("schema", {})
            yield from weakened(documents, *schemas, f"{place} {status}")


ANYONE: frozenset[str] = frozenset()


def _ways_in(document: Schema, operation: Schema) -> set[frozenset[str]]:
    """The sets of schemes, each by what it is, of which one suffices."""
    schemes = document.get("components", {}).get("securitySchemes", {})
    return {
        frozenset(json.dumps(_essentials(schemes[name]), sort_keys=True) for name in way)
        for way in operation.get("security") or [{}]
    }


def _essentials(scheme: Schema) -> Schema:
    return {name: value for name, value in scheme.items() if name != "description"}
