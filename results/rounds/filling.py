"""Sessions of a round as they are sent, by code, and as the round fills them in."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext

from results.intake.findings import shown
from results.models import Round, RoundLot, RoundSample, RoundSpecimen
from results.rounds.codes import readable, understood
from rigs.models import Contributor
from rigs.refusals import Conflict, Finding, Invalid, Unreadable

FROM_THE_ROUND = ("connection", "doubled", "main", "leader", "terminal", "parameters")
"""What a code says of a set, so that its tester need not, and often can't."""
LONGEST_CODE_SHOWN = 20


@dataclass(frozen=True)
class Filled:
    """A session whose codes the round has filled in: its bytes, and the specimens set by set."""

    round: Round
    body: bytes
    specimens: tuple[RoundSpecimen, ...]


def names_codes(body: bytes) -> bool:
    """Whether an upload says ``sample`` of a pull set."""
    if b'"sample"' not in body:
        return False
    try:
        sets = _loaded(body).get("pull_sets")
    except Unreadable:
        return False
    return isinstance(sets, list) and any(isinstance(one, dict) and "sample" in one for one in sets)


def fill(contributor: Contributor, body: bytes) -> Filled:
    """Put what each code stands for into a session. Reads only.

    Raises Unreadable, Invalid with what is wrong about codes, lots and conditions, and Conflict
    where the round takes no results. What else is wrong is for the check of uploads to find.
    """
    document = _loaded(body)
    sets = document.get("pull_sets")
    if not isinstance(sets, list) or not all(isinstance(one, dict) for one in sets):
        expected = gettext("a list of pull sets")
        raise Invalid(gettext("No set can be read."), [Finding("", "pull_sets", "", expected)])
    specimens, findings = _specimens(contributor, sets)
    rounds = {one.participant.round for one in specimens if one is not None}
    if len(rounds) > 1:
        findings.append(
            Finding("", "pull_sets", gettext("codes of several rounds"), gettext("those of one"))
        )
    if findings:
        raise Invalid(gettext("The codes can't be used. Nothing was stored."), findings)
    (of,) = rounds
    if of.state == Round.State.SETTING_UP:
        raise Conflict(gettext("The round is not open yet."))
    known = [one for one in specimens if one is not None]
    findings = [*_conditions(of, document), *_straight(of, document)]
    if findings:
        raise Invalid(gettext("The session does not fit its round. Nothing was stored."), findings)
    filled = [
        _filled(one, specimen.sample, specimen.code)
        for one, specimen in zip(sets, known, strict=True)
    ]
    whole = json.dumps(document | {"pull_sets": filled}).encode()
    return Filled(of, whole, tuple(known))


def _loaded(body: bytes) -> dict[str, Any]:
    try:
        document = json.loads(body.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        raise Unreadable(gettext("A session with codes of a round is sent as JSON.")) from None
    if not isinstance(document, dict):
        raise Unreadable(gettext("A session is a JSON object."))
    return document


def _specimens(
    contributor: Contributor, sets: Sequence[Mapping[str, Any]]
) -> tuple[list[RoundSpecimen | None], list[Finding]]:
    """The specimen of each set, and what is wrong with its code."""
    codes = [understood(str(one.get("sample", ""))[:60]) for one in sets]
    own = {
        one.code: one
        for one in RoundSpecimen.objects.filter(
            code__in=codes, participant__contributor=contributor, participant__withdrawn_at=None
        ).select_related(
            "participant__round",
            "sample__connection",
            "sample__main_lot__line",
            "sample__leader_lot__line",
        )
    }
    findings: list[Finding] = []
    for number, (one, code) in enumerate(zip(sets, codes, strict=True)):
        place = f"pull_sets[{number}]"
        if "sample" not in one:
            expected = gettext("a code: other sets are sent in a session of their own")
            findings.append(Finding(place, "sample", gettext("nothing"), expected))
        elif code not in own:
            found = shown(str(one["sample"])[:LONGEST_CODE_SHOWN])
            findings.append(Finding(place, "sample", found, gettext("a code of your own")))
        elif codes.index(code) != number:
            findings.append(Finding(place, "sample", readable(code), gettext("each code once")))
        findings += [
            Finding(place, member, shown(one[member]), gettext("nothing: the code says it"))
            for member in FROM_THE_ROUND
            if member in one
        ]
    return [own.get(code) for code in codes], findings


def _conditions(of: Round, document: Mapping[str, Any]) -> list[Finding]:
    wanted = {"state": of.line_state, "loading": "static"}
    said = {"state": document.get("state"), "loading": document.get("loading", "static")}
    return [
        Finding(
            "",
            member,
            shown(said[member]),
            gettext("as the round has it: %(value)s") % {"value": value},
        )
        for member, value in wanted.items()
        if said[member] != value
    ]


def _straight(of: Round, document: Mapping[str, Any]) -> list[Finding]:
    """Lots without a baseline. All of them are wanted, so that none gives away a sample."""
    baselines = document.get("baselines")
    pulled = {
        (str(one.get("line")).casefold().strip(), str(one.get("spool", "")).strip())
        for one in (baselines if isinstance(baselines, list) else [])
        if isinstance(one, dict)
    }
    return [
        Finding(
            "",
            "baselines",
            gettext("none of lot %(number)d") % {"number": lot.number},
            gettext("straight line of every lot of the round: '%(line)s', spool '%(spool)s'")
            % {"line": lot.line.name, "spool": lot.spool},
        )
        for lot in of.lots.select_related("line")
        if (lot.line.name.casefold(), lot.spool) not in pulled
    ]


def _filled(said: Mapping[str, Any], sample: RoundSample, code: str) -> dict[str, Any]:
    whole = {name: value for name, value in said.items() if name != "sample"}
    whole.setdefault("label", readable(code))
    return whole | {
        "connection": sample.connection.name,
        "doubled": sample.doubled,
        "main": _end(sample.main_lot),
        "leader": None if sample.leader_lot is None else _end(sample.leader_lot),
        "terminal": sample.terminal,
        "parameters": sample.parameters,
    }


def _end(lot: RoundLot) -> dict[str, str]:
    return {"line": lot.line.name, "spool": lot.spool}
