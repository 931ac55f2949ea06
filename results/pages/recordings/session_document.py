"""A recording whose pulls are named, as the document of a session."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext

from results.pages.recordings.forms import LEFT_OUT, JoinForm, Named, StraightForm
from rigs.models import Rig
from rigs.refusals import Finding

LONGEST_LABEL = 60


@dataclass(frozen=True)
class Composed:
    """The document, and of each pull in it, by its place there, its number in the recording."""

    document: dict[str, Any]
    numbers: Mapping[str, int]

    def placed(self, finding: Finding) -> Finding:
        """A finding at the number of its pull in place of its place in the document."""
        place = next((each for each in self.numbers if finding.row.startswith(each)), None)
        if place is None:
            return finding
        pull = gettext("pull %(number)d") % {"number": self.numbers[place]}
        return Finding(pull, finding.field, finding.found, finding.expected)


def compose(named: Named, rig: Rig, unit: str, traces: Sequence[Mapping[str, Any]]) -> Composed:
    """The session of a form that is valid; ``traces`` are the members of its pulls in order."""
    pulls: dict[str, list[tuple[int, dict[str, Any]]]] = {}
    for number, (owner, form, trace) in enumerate(
        zip(named.owners(), named.pulls, traces, strict=True), 1
    ):
        if owner != LEFT_OUT:
            mode, _colon, place = form.cleaned_data["end"].partition(":")
            pull = {"failure_mode": mode, "place": place, "trace": trace}
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
