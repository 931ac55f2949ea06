"""A recording whose pulls are named, as the document of a session."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from results.pages.recordings.forms import LEFT_OUT, JoinForm, Named, StraightForm
from rigs.models import Rig
from rigs.refusals import Finding

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

LONGEST_LABEL = 60
PLACE = re.compile(r"(baselines|pull_sets)\[(\d+)\](?:\.pulls\[(\d+)\])?")
FIELDS: dict[str, StrOrPromise] = {
    "reading": _("reading"),
    "trace": _("recording"),
    "force": _("recording"),
    "failure_mode": _("how it ended"),
    "place": _("how it ended"),
    "pulled_on": _("day"),
    "connection": _("join"),
    "main": _("main line"),
    "leader": _("leader"),
    "parameters": _("how it was tied"),
    "discarded_ties": _("ties discarded"),
    "line": _("line"),
    "baselines": _("straight line"),
    "pull_sets": _("joins"),
    "pulls": _("pulls"),
    "rig": _("rig"),
    "revision": _("rig"),
}
"""Members of a document as the form calls them."""


@dataclass(frozen=True)
class Composed:
    """The document, and where in the form its parts are: of each list of it the numbers of its
    rows, and of each pull, by its place in the document, its number in the recording.
    """

    document: dict[str, Any]
    rows: Mapping[str, Sequence[int]]
    numbers: Mapping[str, int]

    def placed(self, finding: Finding) -> Finding:
        """A finding at the pull, straight line or join of the form, and in the form's words."""
        return Finding(
            self._where(finding.row), in_words(finding.field), finding.found, finding.expected
        )

    def _where(self, place: str) -> str:
        found = PLACE.match(place)
        if found is None:
            return in_words(place)
        part, row, pull = found.groups()
        if pull is not None:
            return gettext("pull %(number)d") % {"number": self.numbers[found.group()]}
        number = {"number": self.rows[part][int(row)]}
        if part == "baselines":
            return gettext("straight line %(number)d") % number
        return gettext("join %(number)d") % number


def in_words(member: str) -> str:
    """A member of a document, or the way to it, by what the form calls it."""
    name = re.sub(r"\[\d+\]", "", member)
    known = [FIELDS[each] for each in name.split(".") if each in FIELDS]
    return str(known[0]) if known else name.replace("_", " ").replace(".", " ")


def compose(named: Named, rig: Rig, unit: str, traces: Sequence[Mapping[str, Any]]) -> Composed:
    """The session of a form that is valid; ``traces`` are the members of its pulls in order."""
    pulls: dict[str, list[tuple[int, dict[str, Any]]]] = {}
    for number, (owner, form, trace) in enumerate(
        zip(named.owners(), named.pulls, traces, strict=True), 1
    ):
        if owner != LEFT_OUT:
            mode, _colon, place = form.cleaned_data["end"].partition(":")
            pull = {
                "failure_mode": mode,
                "place": place,
                "slipped_first": form.cleaned_data["slipped_first"],
                "trace": trace,
            }
            pulls.setdefault(owner, []).append((number, pull))
    said = named.session.cleaned_data
    baselines = [
        (_straight(row), pulls[f"s{at}"])
        for at, row in enumerate(named.straight, 1)
        if f"s{at}" in pulls
    ]
    joins = [
        (_join(row, at), pulls[f"j{at}"])
        for at, row in enumerate(named.joins, 1)
        if f"j{at}" in pulls
    ]
    return Composed(
        document={
            "rig": rig.name,
            "revision": rig.latest.number,
            "pulled_on": said["pulled_on"].isoformat(),
            "state": said["state"],
            "loading": said["loading"],
            "unit": unit,
            "baselines": [part | {"pulls": [pull for _, pull in own]} for part, own in baselines],
            "pull_sets": [part | {"pulls": [pull for _, pull in own]} for part, own in joins],
        },
        rows={
            "baselines": [at for at, row in enumerate(named.straight, 1) if f"s{at}" in pulls],
            "pull_sets": [at for at, row in enumerate(named.joins, 1) if f"j{at}" in pulls],
        },
        numbers={
            f"{kind}[{at}].pulls[{index}]": number
            for kind, parts in (("baselines", baselines), ("pull_sets", joins))
            for at, (_, own) in enumerate(parts)
            for index, (number, _) in enumerate(own)
        },
    )


def _straight(row: StraightForm) -> dict[str, Any]:
    return dict(row.cleaned_data)


def _join(row: JoinForm, number: int) -> dict[str, Any]:
    said = row.cleaned_data
    leader = {"line": said["leader"], "spool": said["leader_spool"]} if said["leader"] else None
    return {
        "label": f"{number}, {said['connection']}"[:LONGEST_LABEL],
        "connection": said["connection"],
        "doubled": said["doubled"],
        "main": {"line": said["main"], "spool": said["main_spool"]},
        "leader": leader,
        "terminal": said["terminal"],
        "parameters": said["parameters"],
        "discarded_ties": said["discarded_ties"],
    }
