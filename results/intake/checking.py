"""Checking what an upload says: that it names what exists, and that it can have been so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property, partial

from django.utils import timezone
from django.utils.translation import gettext

from results.intake import doubts, sufficiency
from results.intake.catalogue import (
    Catalogue,
    Named,
    connections_for,
    lines_for,
    proposed_parameters,
)
from results.intake.cells import folded
from results.intake.document import PullDocument, PullSetDocument, SessionDocument
from results.intake.findings import Findings, nearest, shown
from results.intake.limits import MOST_FINDINGS
from results.intake.parts import JoinedPart, StraightPart
from results.intake.places import in_order, on_sheet
from results.intake.reading import Read
from results.intake.readings import Readings, capacity_findings, readings_of, unit_of
from results.intake.ties import ends_findings, parameters_of
from results.intake.trace_doubts import doubts_of_traces
from results.models import Connection, PullSet
from rigs.metrology.bounds import EARLIEST_DAY, latest_day
from rigs.models import Contributor, Line, Rig, RigRevision
from rigs.refusals import Finding, Forbidden

CURRENT = RigRevision.Standing.CURRENT


@dataclass(frozen=True)
class Checked:
    """A session that can be stored; ``unit`` is the symbol of its unit."""

    document: SessionDocument
    revision: RigRevision
    unit: str
    straight: tuple[StraightPart, ...]
    joined: tuple[JoinedPart, ...]
    warnings: tuple[Finding, ...]
    asked: tuple[Finding, ...] = ()


@dataclass
class CheckRun:
    """A running check of a document: its input, and its findings so far."""

    contributor: Contributor
    read: Read
    findings: Findings
    warnings: list[Finding]
    miscounted: set[str] = field(default_factory=set)
    """Parts of which a pull was refused, so that they may have more than they seem to."""

    @cached_property
    def proposed_parameters(self) -> Mapping[int, Mapping[str, str]]:
        """By connection the names that the sender proposed, asked for once and if need be."""
        return proposed_parameters(self.contributor)


def check(contributor: Contributor, read: Read) -> Checked:
    """CheckRun a document whole. Reads only; raises Invalid or Forbidden with every finding."""
    said = read.document
    under_way = CheckRun(contributor, read, read.findings, list(read.remarks))
    findings = under_way.findings
    revision, forbidden = _revision(under_way)
    _date(said.pulled_on, revision, under_way)
    unit = unit_of(said.unit, "", findings) if said.unit else "N"
    names = _line_names(said)
    lines = lines_for(contributor, names)
    connections = connections_for(
        contributor,
        {each.connection for each in said.pull_sets},
        with_parameters=any(each.parameters for each in said.pull_sets),
    )
    straight = _straight(under_way, unit, revision, lines)
    joined = _joined(under_way, unit, revision, lines, connections)
    _enough(under_way, revision, straight, joined)
    if findings.number:
        refused = in_order([on_sheet(finding, read.rows) for finding in findings.kept])
        raise Forbidden(findings.summary(), refused) if forbidden else findings.refusal(refused)
    assert revision is not None
    asked = [
        *read.asked,
        *doubts.asked(straight, joined, revision.resolution_N),
        *doubts_of_traces(straight, joined, said.pulled_on),
    ]
    warnings = [*asked, *under_way.warnings, *doubts.warnings_of(straight, joined, unit)]
    shown_warnings = tuple(on_sheet(warning, read.rows) for warning in warnings[:MOST_FINDINGS])
    return Checked(
        said,
        revision,
        unit,
        tuple(straight),
        tuple(joined),
        shown_warnings,
        shown_warnings[: len(asked)],
    )


def _revision(under_way: CheckRun) -> tuple[RigRevision | None, bool]:
    """The revision, and whether the rig is someone else's."""
    said, findings = under_way.read.document, under_way.findings
    if not said.rig:
        return None, False
    revised = RigRevision.objects.filter(rig__owner=under_way.contributor)
    of_own = list(revised.select_related("rig").order_by("rig__name", "number"))
    own = {each.rig_id: each.rig for each in of_own}
    meant = Named((rig.name, pk) for pk, rig in own.items()).find(said.rig)
    if meant is None:
        names = sorted(each.name for each in own.values())
        expected = nearest(said.rig, names) if names else gettext("register it first")
        findings.add(
            "",
            "rig",
            shown(said.rig),
            gettext("a rig of your own: %(expected)s") % {"expected": expected},
        )
        return None, Rig.objects.filter(name__iexact=said.rig).exists()
    rig = own[meant]
    revisions = [each for each in of_own if each.rig_id == meant]
    numbers = {each.number: each for each in revisions if each.standing == CURRENT}
    if said.revision not in numbers:
        if said.revision:
            voided = any(each.number == said.revision for each in revisions)
            found = (
                gettext("%(revision)s, which was voided") % {"revision": said.revision}
                if voided
                else str(said.revision)
            )
            expected = gettext("a revision of %(name)s: %(str)s") % {
                "name": rig.name,
                "str": ", ".join(map(str, numbers)),
            }
            findings.add("", "revision", found, expected)
        return None, False
    return numbers[said.revision], False


def _date(pulled_on: date, revision: RigRevision | None, under_way: CheckRun) -> None:
    latest = latest_day(timezone.now())
    if pulled_on > latest:
        expected = gettext(
            "a day that has come: %(latest)s at the latest, the day where it is latest on Earth"
        ) % {"latest": latest}
        under_way.findings.add("", "pulled_on", str(pulled_on), expected)
    elif pulled_on < EARLIEST_DAY:
        expected = gettext("a day from %(earliest_day)s on") % {"earliest_day": EARLIEST_DAY}
        under_way.findings.add("", "pulled_on", str(pulled_on), expected)
    elif revision is not None and pulled_on < revision.made_on:
        expected = gettext("a day from %(made_on)s on, when this revision of the rig was made") % {
            "made_on": revision.made_on
        }
        under_way.warnings.append(Finding("", "pulled_on", str(pulled_on), expected))


def _line_names(said: SessionDocument) -> set[str]:
    ends = [end for each in said.pull_sets for end in (each.main, each.leader) if end]
    return {end.line for end in ends} | {baseline.line for baseline in said.baselines}


def _straight(
    under_way: CheckRun, unit: str, revision: RigRevision | None, lines: Catalogue[Line]
) -> list[StraightPart]:
    parts, seen = [], set()
    for index, said in enumerate(under_way.read.document.baselines):
        place = f"baselines[{index}]"
        line = lines.find(said.line, place, "line", under_way.findings)
        spool = said.spool.strip()
        key = (line.pk if line else folded(said.line), spool, said.position)
        if key in seen and said.line:
            found = gettext("%(line)s, %(position)s, a second time") % {
                "line": shown(said.line),
                "position": said.position,
            }
            expected = gettext("each line, spool and position once")
            under_way.findings.add(place, "line", found, expected)
        seen.add(key)
        for number, pull in enumerate(said.pulls):
            if pull.failure_mode == "join":
                under_way.miscounted.add(place)
                under_way.findings.add(
                    f"{place}.pulls[{number}]",
                    "failure_mode",
                    "join",
                    gettext("line, grip, slip, terminal, none or void: straight line has no join"),
                )
        readings = _readings(under_way, said.pulls, unit, revision, place)
        parts.append(StraightPart(place, said.pulls, readings, line, spool, said.position))
    return parts


def _joined(
    under_way: CheckRun,
    unit: str,
    revision: RigRevision | None,
    lines: Catalogue[Line],
    connections: Catalogue[Connection],
) -> list[JoinedPart]:
    parts, seen = [], set()
    for index, said in enumerate(under_way.read.document.pull_sets):
        place = f"pull_sets[{index}]"
        label = folded(said.label)
        if label in seen and label:
            under_way.findings.add(place, "label", shown(said.label), gettext("each label once"))
        seen.add(label)
        row = _pull_set(under_way, said, place, lines, connections)
        readings = _readings(under_way, said.pulls, unit, revision, place)
        parts.append(JoinedPart(place, said.pulls, readings, row))
    return parts


def _pull_set(
    under_way: CheckRun,
    said: PullSetDocument,
    place: str,
    lines: Catalogue[Line],
    connections: Catalogue[Connection],
) -> PullSet | None:
    findings = under_way.findings
    main = lines.find(said.main.line, f"{place}.main", "line", findings)
    leader = said.leader
    leader_line = lines.find(leader.line, f"{place}.leader", "line", findings) if leader else None
    connection = connections.find(said.connection, place, "connection", findings)
    parameters = {}
    if connection is not None:
        findings.extend(ends_findings(connection, said, place))
        known = partial(_proposed, under_way, connection.pk)
        parameters = parameters_of(connection, said.parameters, place, findings, known)
    if main is None or connection is None or (leader is not None and leader_line is None):
        return None
    return PullSet(
        label=" ".join(said.label.split()),
        connection=connection,
        doubled=said.doubled,
        main_line=main,
        main_spool=said.main.spool.strip(),
        leader_line=leader_line,
        leader_spool=leader.spool.strip() if leader else "",
        terminal=" ".join(said.terminal.casefold().split()),
        parameters=parameters,
        tyer=said.tyer.strip(),
        discarded_ties=said.discarded_ties,
        time_to_tie_s=said.time_to_tie_s,
        join_diameter_m=said.join_diameter_mm and said.join_diameter_mm / 1000,
        note=said.note,
    )


def _proposed(under_way: CheckRun, connection: int) -> Mapping[str, str]:
    return under_way.proposed_parameters.get(connection, {})


def _readings(
    under_way: CheckRun,
    pulls: Sequence[PullDocument],
    unit: str,
    revision: RigRevision | None,
    place: str,
) -> Readings:
    readings = readings_of(pulls, unit, place, under_way.findings)
    if revision is not None:
        impossible, surprising = capacity_findings(
            readings, revision.capacity_N, revision.capacity_written, place
        )
        under_way.findings.extend(impossible)
        under_way.warnings += surprising
    return readings


def _enough(
    under_way: CheckRun,
    revision: RigRevision | None,
    straight: list[StraightPart],
    joined: list[JoinedPart],
) -> None:
    """Counts and references, of the parts that hold no stand-ins."""
    said, findings = under_way.read.document, under_way.findings
    broken = under_way.read.broken | under_way.miscounted
    if not (said.baselines or said.pull_sets) and "" not in broken:
        findings.add(
            "", "pull_sets", gettext("no pulls at all"), gettext("baselines and pull sets")
        )
    findings.extend(
        sufficiency.set_findings(
            [part for part in joined if part.row is not None and part.place not in broken]
        )
    )
    sound = all(part.place not in broken and part.line is not None for part in straight)
    if not sound or "" in broken:
        return
    findings.extend(sufficiency.baseline_findings(straight))
    rig = f"revision {said.revision} of {said.rig}"
    session = sufficiency.unsaved(said, revision) if revision is not None else None
    findings.extend(
        sufficiency.reference_findings(straight, joined, rig, session, under_way.warnings)
    )
