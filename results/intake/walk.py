"""Going through a document field by field, to name everything that is not of its form.

It is the slow path, taken once ``msgspec`` has refused the document as a whole. What can't be
used is replaced by a stand-in that no later check remarks on, so that one answer can name the
mistakes of form and those of fact together.
"""

from __future__ import annotations

import types
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

import msgspec
from django.utils.translation import gettext, gettext_noop
from msgspec import NODEFAULT, Struct
from msgspec.structs import FieldInfo, replace

from results.intake.cells import as_parameters_are_written, forgiven
from results.intake.days import days_meant
from results.intake.document import (
    BaselineDocument,
    PullDocument,
    PullSetDocument,
    SessionDocument,
)
from results.intake.findings import Findings, nearest, shown, which_day
from results.intake.limits import MOST_PULLS
from rigs.metrology.bounds import EARLIEST_DAY
from rigs.refusals import TooLarge

_OBJECT = gettext_noop("an object with named members")
_AS_WRITTEN = {
    SessionDocument: gettext_noop("a session: {'rig': ..., 'baselines': [...], ...}"),
    BaselineDocument: gettext_noop("a baseline: {'line': ..., 'pulls': [...]}"),
    PullSetDocument: gettext_noop("a pull set: {'label': ..., 'connection': ..., 'pulls': [...]}"),
    PullDocument: gettext_noop("a pull: {'reading': 20.5, 'failure_mode': 'line'}"),
}
Form = TypeVar("Form", bound=Struct)


class Repeating(dict[str, Any]):
    """An object of JSON some of whose members stand in it more than once."""

    repeated: tuple[str, ...] = ()

    @classmethod
    def of(cls, members: list[tuple[str, Any]]) -> dict[str, Any]:
        """The object of these members, as ``object_pairs_hook`` of a JSON reader."""
        plain = dict(members)
        if len(plain) == len(members):
            return plain
        kept = cls(plain)
        counted = Counter(name for name, _ in members)
        kept.repeated = tuple(name for name, number in counted.items() if number > 1)
        return kept


@dataclass
class Walk:
    """Findings so far; ``broken`` holds the places whose content was replaced."""

    findings: Findings = field(default_factory=Findings)
    broken: set[str] = field(default_factory=set)

    def document(self, value: object, form: type[Form], place: str = "") -> Form:
        """A document of this form, mistakes replaced; ``value`` is as a JSON reader gives it."""
        if not isinstance(value, dict):
            self._refuse(place, "", shown(value), gettext(_AS_WRITTEN.get(form, _OBJECT)))
            return form(**{info.name: _stand_in(info) for info in _fields(form).values()})
        fields = _fields(form)
        if isinstance(value, Repeating):
            self._refuse_repeated(value, place)
        for name in [name for name in value if name not in fields]:
            expected = gettext("a known field") if self.findings.is_full else nearest(name, fields)
            self._refuse(place, shown(name, quoted=False), gettext("an unknown field"), expected)
        members = {name: self._member(value, info, place) for name, info in fields.items()}
        return form(**members)

    def _member(self, value: dict[str, Any], info: FieldInfo, place: str) -> Any:
        if info.name not in value:
            if info.required:
                self._refuse(place, info.name, gettext("nothing"), expected_of(info))
                return _stand_in(info)
            return _default(info)
        found, form = value[info.name], _plain(info.type)
        inner = f"{place}.{info.name}" if place else info.name
        if isinstance(found, Repeating) and not _is_struct(form):
            self._refuse_repeated(found, inner)
        if _is_struct(form) and isinstance(found, dict):
            return self.document(found, form, inner)
        if get_origin(form) is list and isinstance(found, list):
            of = get_args(form)[0]
            numbers = not _is_struct(of)
            return (
                self._numbers(found, info, place) if numbers else [*self._items(found, of, inner)]
            )
        for value_meant in (found, forgiven(info.name, found)):
            with suppress(ValueError, RecursionError):
                return msgspec.convert(value_meant, info.type)
        values = get_args(form) if get_origin(form) is dict and isinstance(found, dict) else ()
        wrong = (
            next((n for n in found if not _converts(found[n], values[1])), None) if values else None
        )
        if wrong is not None:
            said = f"{shown(wrong, quoted=False)} = {shown(found[wrong])}"
            expected = gettext("a number, yes or no, or a word")
            self._refuse(place, info.name, said, expected)
        else:
            self._refuse(place, info.name, shown(found), _asked_for(info, found))
        return _stand_in(info)

    def _numbers(self, found: list[Any], info: FieldInfo, place: str) -> Any:
        """A list of numbers; the first item that is none is named."""
        wrong = next((at for at, each in enumerate(found) if not _is_number(each)), None)
        if wrong is not None:
            item = f"{info.name}[{wrong}]"
            self._refuse(place, item, shown(found[wrong]), gettext("a number"))
            return _stand_in(info)
        with suppress(ValueError, OverflowError):
            return msgspec.convert(found, info.type)
        count = gettext("%(count)s numbers") % {"count": len(found)}
        self._refuse(place, info.name, count, expected_of(info))
        return _stand_in(info)

    def _items(self, found: list[Any], form: type[Struct], place: str) -> Iterator[Struct]:
        if len(found) > MOST_PULLS:
            raise TooLarge(
                gettext("%(place)s has %(found)s items; at most %(most_pulls)s are taken.")
                % {"place": place, "found": len(found), "most_pulls": MOST_PULLS}
            )
        for index, item in enumerate(found):
            before = self.findings.number
            inner = f"{place}[{index}]"
            converted = self.document(item, form, inner)
            illegible = form is PullDocument and self.findings.number > before
            # A void pull is asked nothing more of, but its reading is still looked at.
            void = {"failure_mode": "void", "trace": None}
            yield replace(converted, **void) if illegible else converted

    def _refuse_repeated(self, value: Repeating, place: str) -> None:
        for name in dict.fromkeys(value.repeated):
            found = gettext("the member more than once")
            self._refuse(place, shown(name, quoted=False), found, gettext("each member once"))

    def _refuse(self, place: str, name: str, found: str, expected: str) -> None:
        self.findings.add(place, name, found, expected)
        self.broken.add(place.partition(".pulls[")[0])
        if not name or name in ("baselines", "pull_sets"):
            self.broken.add("")


def _converts(value: object, form: Any) -> bool:
    try:
        msgspec.convert(value, form)
    except (ValueError, RecursionError):
        return False
    return True


def _asked_for(info: FieldInfo, found: object) -> str:
    """What is expected; of a day that can be two, which of them it was, and text as text."""
    days = days_meant(found) if info.name == "pulled_on" and isinstance(found, str) else ()
    if len(days) > 1:
        return which_day(days)
    if info.name == "parameters" and isinstance(found, str):
        return as_parameters_are_written()
    return expected_of(info)


def expected_of(info: FieldInfo) -> str:
    """The expectation in a field's annotation."""
    annotation = next(
        meta.extra
        for meta in _metas(info.type)
        if isinstance(meta, msgspec.Meta) and meta.description and meta.extra
    )
    words, values = gettext(annotation["expected"]), annotation["values"]
    return words % values if values else words


@cache
def _fields(form: type[Struct]) -> dict[str, FieldInfo]:
    return {info.name: info for info in msgspec.structs.fields(form)}


def _metas(annotated: Any) -> Iterator[Any]:
    if get_origin(annotated) is Annotated:
        yield from annotated.__metadata__
    for inner in get_args(annotated):
        yield from _metas(inner)


def _plain(annotated: Any) -> Any:
    """The type without its annotations and without None."""
    if get_origin(annotated) is Annotated:
        return _plain(get_args(annotated)[0])
    if get_origin(annotated) in (Union, types.UnionType):
        kinds = [kind for kind in get_args(annotated) if kind is not type(None)]
        return _plain(kinds[0]) if len(kinds) == 1 else annotated
    return annotated


def _is_struct(form: Any) -> bool:
    return isinstance(form, type) and issubclass(form, Struct)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _default(info: FieldInfo) -> Any:
    return info.default if info.default is not NODEFAULT else info.default_factory()


def _stand_in(info: FieldInfo) -> Any:
    if not info.required:
        return _default(info)
    form = _plain(info.type)
    if get_origin(form) is Literal:
        return get_args(form)[0]
    if get_origin(form) is list:
        return []
    if _is_struct(form):
        return form(**{each.name: _stand_in(each) for each in _fields(form).values()})
    return {str: "", int: 0, date: EARLIEST_DAY}[form]
