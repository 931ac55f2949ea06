"""Sessions of a round as they are sent, by code, and as the round fills them in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext, ngettext

from results.intake.blind_codes import is_code, understood
from results.intake.cells import folded, forgiven
from results.intake.checking import check
from results.intake.days import days_meant
from results.intake.findings import shown
from results.intake.places import in_order, on_sheet
from results.intake.reading import Coded
from results.models import Round, RoundLot, RoundSpecimen, SealedSession
from results.rounds.codes import readable
from rigs.models import Contributor
from rigs.refusals import Conflict, Finding, Forbidden, Invalid

FROM_THE_ROUND = ("connection", "doubled", "main", "leader", "terminal", "parameters")
"""What a code says of a set, so that its tester need not, and often can't."""
TIED_FOR_EVERYBODY = "tied for everybody in a round"
"""In place of a name; who it was is `RoundSet.tied_by`."""
LONGEST_CODE_SHOWN = 20


@dataclass(frozen=True)
class Filled:
    """A session whose codes the round has filled in, and the specimens set by set."""

    round: Round
    value: dict[str, Any]
    specimens: tuple[RoundSpecimen, ...]


def fill(contributor: Contributor, coded: Coded, sealed: SealedSession | None = None) -> Filled:
    """Put what each code stands for into a session, ``sealed`` where it has come. Reads only.

    Raises Invalid with what is wrong about codes, lots and conditions, and Conflict where the round
    takes no results or has those of a code. What else is wrong is for the check of uploads to find.
    """
    sets = coded.sets
    if not all(isinstance(one, dict) for one in sets):
        expected = gettext("a list of pull sets")
        raise Invalid(gettext("No set can be read."), [Finding("", "pull_sets", "", expected)])
    specimens, findings = _specimens(contributor, sets)
    known = [one for one in specimens if one is not None]
    findings += _of_several_rounds(specimens)
    if findings:
        detail = gettext("The codes can't be used. Nothing was stored.")
        raise Invalid(detail, _placed([*findings, *_of_pulls(contributor, coded)], coded))
    of = known[0].participant.round
    too_late = list(_too_late(known, sealed))
    if too_late:
        closed = of.state == Round.State.CLOSED
        detail = (
            gettext("The round is closed: it takes no results any more.")
            if closed
            else gettext(
                "Results of one of these codes have come already: take that session back first."
            )
        )
        raise Conflict(detail, _placed(too_late, coded))
    document = coded.value
    findings = [*_conditions(of, document), *_straight(of, document), *_too_many(sets, known)]
    if findings:
        detail = gettext("The session does not fit its round. Nothing was stored.")
        raise Invalid(detail, _placed([*findings, *_of_pulls(contributor, coded)], coded))
    filled = [_filled(one, specimen) for one, specimen in zip(sets, known, strict=True)]
    return Filled(of, document | {"pull_sets": filled}, tuple(known))


def _of_pulls(by: Contributor, coded: Coded) -> list[Finding]:
    """What is wrong with single pulls, which no code has to be known for: one answer names all."""
    try:
        check(by, coded.read(coded.value))
    except (Invalid, Forbidden) as refusal:
        return [each for each in refusal.findings if ".pulls[" in each.row]
    return []


def _placed(findings: Sequence[Finding], coded: Coded) -> list[Finding]:
    return in_order(on_sheet(each, coded.rows) for each in findings)


def _specimens(
    contributor: Contributor, sets: Sequence[Mapping[str, Any]]
) -> tuple[list[RoundSpecimen | None], list[Finding]]:
    """The specimen of each set, and what is wrong with its code."""
    codes = [understood(str(one.get("sample", ""))[:60]) for one in sets]
    there = {
        one.code: one
        for one in RoundSpecimen.objects.filter(code__in=codes).select_related(
            "participant__round",
            "participant__contributor",
            "sample__connection",
            "sample__main_lot__line",
            "sample__leader_lot__line",
            "sent_in",
        )
    }
    found: list[RoundSpecimen | None] = []
    findings: list[Finding] = []
    for number, (one, code) in enumerate(zip(sets, codes, strict=True)):
        place = f"pull_sets[{number}]"
        specimen = there.get(code)
        expected = _unusable(contributor, one, code, specimen)
        first = codes.index(code)
        if expected:
            written = str(one.get("sample", ""))[:LONGEST_CODE_SHOWN]
            saw = shown(written) if written.strip() else gettext("nothing")
            findings.append(Finding(place, "sample", saw, expected))
        elif first != number:
            twice = gettext("%(code)s a second time") % {"code": readable(code)}
            findings.append(Finding(place, "sample", twice, gettext("each code once")))
        findings += [
            Finding(place, member, shown(one[member]), gettext("nothing: the code says it"))
            for member in FROM_THE_ROUND
            if member in one
        ]
        if one.get("tyer") and specimen is not None and specimen.sample.is_hidden:
            by_whose_hand = gettext("nothing: it was tied for everybody")
            findings.append(Finding(place, "tyer", shown(one["tyer"]), by_whose_hand))
        found.append(None if expected else specimen)
    return found, findings


def _unusable(
    by: Contributor, said: Mapping[str, Any], code: str, specimen: RoundSpecimen | None
) -> str:
    """What was expected in place of a code that can't be used; empty of one that can."""
    if "sample" not in said or not code:
        return gettext("the code on its label: sets without one are a session of their own")
    if specimen is None:
        if not is_code(code):
            example = readable("K7MQ3XWD")
            looks = gettext("eight letters and digits, as in %(example)s; never 0, 1, I or O")
            return looks % {"example": example}
        return gettext("a code that is on one of your labels: no round has this one")
    participant = specimen.participant
    if participant.contributor_id != by.pk:
        return gettext("a code of your own: this is on another tester's label")
    if participant.withdrawn_at is not None:
        return gettext("a code of a round that you take part in: you have left this one")
    return ""


def _too_late(
    specimens: Sequence[RoundSpecimen], sealed: SealedSession | None
) -> Iterator[Finding]:
    """Codes of a closed round, and those of which another session has the results."""
    for number, one in enumerate(specimens):
        place, code = f"pull_sets[{number}]", readable(one.code)
        if one.participant.round.state == Round.State.CLOSED:
            found = gettext("%(code)s, of a round that is closed") % {"code": code}
            yield Finding(place, "sample", found, gettext("a code of a round that is open"))
        elif one.sent_in is not None and one.sent_in != sealed:
            said = {"code": code, "day": f"{one.sent_in.received_at:%Y-%m-%d}"}
            found = gettext("%(code)s, of which results came on %(day)s") % said
            expected = gettext("each code once: take those results back first")
            yield Finding(place, "sample", found, expected)


def _of_several_rounds(specimens: Sequence[RoundSpecimen | None]) -> Iterator[Finding]:
    """Codes of another round than most of the session's."""
    rounds = [one.participant.round_id for one in specimens if one is not None]
    usual = max(rounds, key=rounds.count, default=None)
    for number, one in enumerate(specimens):
        if one is not None and one.participant.round_id != usual:
            yield Finding(
                f"pull_sets[{number}]",
                "sample",
                gettext("%(code)s, of another round") % {"code": readable(one.code)},
                gettext("codes of one round: those of another are a session of their own"),
            )


def _conditions(of: Round, document: Mapping[str, Any]) -> Iterator[Finding]:
    for member, value, usual in (("state", of.line_state, None), ("loading", "static", "static")):
        said = document.get(member, usual)
        if forgiven(member, said) != value:
            expected = gettext("as the round has it: %(value)s") % {"value": value}
            yield Finding("", member, shown(said), expected)
    days = days_meant(str(document.get("pulled_on", "")))
    if len(days) == 1 and days[0] < of.starts_on:
        expected = gettext("a day from %(day)s on, when the round starts") % {"day": of.starts_on}
        yield Finding("", "pulled_on", f"{days[0]}", expected)


def _straight(of: Round, document: Mapping[str, Any]) -> Iterator[Finding]:
    """Lots without a baseline. All of them are wanted, so that none gives away a sample."""
    baselines = document.get("baselines")
    pulled = {
        (folded(str(one.get("line"))), str(one.get("spool", "")).strip())
        for one in (baselines if isinstance(baselines, list) else [])
        if isinstance(one, dict)
    }
    for lot in of.lots.select_related("line"):
        if (folded(lot.line.name), lot.spool) not in pulled:
            yield Finding(
                "",
                "baselines",
                gettext("none of lot %(number)d") % {"number": lot.number},
                gettext("straight line of every lot of the round: '%(line)s', spool '%(spool)s'")
                % {"line": lot.line.name, "spool": lot.spool},
            )


def _too_many(
    sets: Sequence[Mapping[str, Any]], specimens: Sequence[RoundSpecimen]
) -> Iterator[Finding]:
    """Sets of more pulls than there are joins under the code; voids may stand for lost readings."""
    for number, (one, specimen) in enumerate(zip(sets, specimens, strict=True)):
        pulls = one.get("pulls")
        read = [
            pull
            for pull in (pulls if isinstance(pulls, list) else [])
            if not (isinstance(pull, dict) and pull.get("failure_mode") == "void")
        ]
        ties = specimen.sample.ties
        if len(read) > ties:
            said = {"code": readable(specimen.code), "ties": ties}
            yield Finding(
                f"pull_sets[{number}]",
                "pulls",
                gettext("%(pulls)d pulls that are not void") % {"pulls": len(read)},
                ngettext(
                    "at most %(ties)d: so many joins are under %(code)s",
                    "at most %(ties)d: so many joins are under %(code)s",
                    ties,
                )
                % said,
            )


def _filled(said: Mapping[str, Any], specimen: RoundSpecimen) -> dict[str, Any]:
    sample = specimen.sample
    whole = {name: value for name, value in said.items() if name != "sample"}
    whole.setdefault("label", readable(specimen.code))
    if _is_by_another(specimen):
        whole["tyer"] = TIED_FOR_EVERYBODY
    return whole | {
        "connection": sample.connection.name,
        "doubled": sample.doubled,
        "main": _end(sample.main_lot),
        "leader": None if sample.leader_lot is None else _end(sample.leader_lot),
        "terminal": sample.terminal,
        "parameters": sample.parameters,
    }


def _is_by_another(specimen: RoundSpecimen) -> bool:
    participant = specimen.participant
    return (
        specimen.sample.is_hidden
        and participant.round.central_tyer_id != participant.contributor_id
    )


def tied_by(specimen: RoundSpecimen) -> int | None:
    """Who tied it for its tester; None where these are the tester's own hands."""
    return specimen.participant.round.central_tyer_id if _is_by_another(specimen) else None


def _end(lot: RoundLot) -> dict[str, str]:
    return {"line": lot.line.name, "spool": lot.spool}
