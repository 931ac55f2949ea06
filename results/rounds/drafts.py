"""What an organiser plans, before it is stored: checked whole, with every finding."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.utils import timezone
from django.utils.translation import gettext

from results.intake.document import LineOnSpool, PullSetDocument
from results.intake.findings import Findings, shown
from results.intake.ties import ends_findings, parameters_of
from results.models import Connection, RoundSample, Session
from rigs.metrology.bounds import EARLIEST_DAY
from rigs.models import Contributor, Line
from rigs.refusals import Finding

MOST_LOTS, MOST_SAMPLES = 6, 12
MOST_TIES, MOST_CODES = 50, 3
SIGMA_RELATIVE = (0.001, 1.0)
LONGEST = timedelta(days=366)
"""From today to the last day for results: a day that is further off was mistyped."""
LONGEST_TITLE, LONGEST_SPECIFICATION = 120, 2000


@dataclass(frozen=True)
class LotDraft:
    """A spool that samples are made from."""

    line: Line
    spool: str


@dataclass(frozen=True)
class SampleDraft:
    """A sample; lots by their place in the draft, from 1."""

    connection: Connection
    main_lot: int
    tied: str
    leader_lot: int | None = None
    terminal: str = ""
    doubled: bool = False
    parameters: Mapping[str, bool | int | float | str] = field(default_factory=dict)
    specification: str = ""
    ties: int = 5
    codes: int = 1
    level: int = 1


@dataclass(frozen=True)
class RoundDraft:
    """A round as its organiser plans it.

    Without a ``packer`` they pack themselves, and without a ``tyer`` tie what is tied centrally.
    ``sigma_relative`` is the standard deviation for assessment over the value, where one is
    declared (ISO 13528:2022, 8.2 and 8.3).
    """

    title: str
    starts_on: date
    results_by: date
    lots: Sequence[LotDraft]
    samples: Sequence[SampleDraft]
    line_state: str = Session.State.DRY
    packer: Contributor | None = None
    tyer: Contributor | None = None
    sigma_relative: float | None = None


def findings_of(draft: RoundDraft) -> list[Finding]:
    """Everything wrong with a draft."""
    return [
        *_of_the_round(draft),
        *_of_the_lots(draft.lots),
        *(
            finding
            for number, sample in enumerate(draft.samples)
            for finding in _of_a_sample(sample, draft.lots, f"samples[{number}]")
        ),
    ]


def _of_the_round(draft: RoundDraft) -> Iterator[Finding]:
    if not draft.title.strip() or len(draft.title) > LONGEST_TITLE or not draft.title.isprintable():
        expected = gettext("a title of at most %(most)d printable characters")
        yield Finding("", "title", shown(draft.title), expected % {"most": LONGEST_TITLE})
    if draft.starts_on < EARLIEST_DAY:
        expected = gettext("a day from %(earliest_day)s on") % {"earliest_day": EARLIEST_DAY}
        yield Finding("", "starts_on", f"{draft.starts_on}", expected)
    if draft.results_by < draft.starts_on:
        expected = gettext("a day not before the start, %(day)s") % {"day": draft.starts_on}
        yield Finding("", "results_by", f"{draft.results_by}", expected)
    yield from too_far_off(draft.results_by)
    if draft.line_state not in Session.State.values:
        expected = gettext("dry, wetted or soaked")
        yield Finding("", "line_state", shown(draft.line_state), expected)
    sigma, (least, most) = draft.sigma_relative, SIGMA_RELATIVE
    if sigma is not None and not least <= sigma <= most:
        expected = gettext("a share of the value, from %(least)s to %(most)s")
        said = {"least": f"{least:g}", "most": f"{most:g}"}
        yield Finding("", "sigma_relative", f"{sigma:g}", expected % said)
    for member, found, most in (
        ("lots", len(draft.lots), MOST_LOTS),
        ("samples", len(draft.samples), MOST_SAMPLES),
    ):
        if not 1 <= found <= most:
            expected = gettext("1 to %(most)d of them") % {"most": most}
            yield Finding("", member, str(found), expected)


def too_far_off(results_by: date) -> Iterator[Finding]:
    """That a last day for results is further off than any round takes, since it only moves on."""
    latest = timezone.now().date() + LONGEST
    if results_by > latest:
        expected = gettext("a day until %(day)s, a year from today") % {"day": latest}
        yield Finding("", "results_by", f"{results_by}", expected)


def _of_the_lots(lots: Sequence[LotDraft]) -> Iterator[Finding]:
    seen = set()
    for number, lot in enumerate(lots):
        spool = lot.spool.strip()
        if not spool or len(spool) > 60 or not spool.isprintable():
            expected = gettext("the name of the spool, of at most 60 characters")
            yield Finding(f"lots[{number}]", "spool", shown(lot.spool), expected)
        if not lot.line.accepted:
            expected = gettext("a line that is accepted into the catalogue")
            yield Finding(f"lots[{number}]", "line", shown(lot.line.name), expected)
        if (lot.line.pk, spool) in seen:
            expected = gettext("each spool once")
            yield Finding(f"lots[{number}]", "spool", shown(lot.spool), expected)
        seen.add((lot.line.pk, spool))


def _of_a_sample(sample: SampleDraft, lots: Sequence[LotDraft], place: str) -> Iterator[Finding]:
    known = dict(enumerate(lots, start=1))
    numbers = gettext("the number of a lot, from 1 to %(last)d") % {"last": len(lots)}
    if sample.main_lot not in known:
        yield Finding(place, "main_lot", shown(sample.main_lot), numbers)
    if sample.leader_lot is not None and sample.leader_lot not in known:
        yield Finding(place, "leader_lot", shown(sample.leader_lot), numbers)
    if not sample.connection.accepted:
        expected = gettext("a join that is accepted into the catalogue")
        yield Finding(place, "connection", shown(sample.connection.name), expected)
    if sample.tied not in RoundSample.TiedBy.values:
        expected = gettext("centrally, or by each tester")
        yield Finding(place, "tied", shown(sample.tied), expected)
    if len(sample.specification) > LONGEST_SPECIFICATION or not all(
        letter.isprintable() or letter in "\r\n\t" for letter in sample.specification
    ):
        expected = gettext("text of at most %(most)d characters") % {"most": LONGEST_SPECIFICATION}
        yield Finding(place, "specification", shown(sample.specification), expected)
    for member, value, least, most in (
        ("ties", sample.ties, 2, MOST_TIES),
        ("codes", sample.codes, 1, MOST_CODES),
        ("level", sample.level, 1, MOST_SAMPLES),
    ):
        if not least <= value <= most:
            expected = gettext("a whole number from %(least)d to %(most)d")
            yield Finding(place, member, str(value), expected % {"least": least, "most": most})
    if sample.main_lot in known and (sample.leader_lot is None or sample.leader_lot in known):
        yield from _of_the_tie(sample, known, place)


def _of_the_tie(
    sample: SampleDraft, known: Mapping[int, LotDraft], place: str
) -> Iterator[Finding]:
    """What an upload would be refused for, so that no result of the round is."""
    leader = None if sample.leader_lot is None else known[sample.leader_lot]
    said = PullSetDocument(
        label=place,
        connection=sample.connection.name,
        main=_end(known[sample.main_lot]),
        leader=None if leader is None else _end(leader),
        terminal=sample.terminal,
        pulls=[],
    )
    yield from ends_findings(sample.connection, said, place)
    if len(sample.terminal) > 60 or not sample.terminal.isprintable():
        expected = gettext("at most 60 printable characters")
        yield Finding(place, "terminal", shown(sample.terminal), expected)
    found = Findings()
    parameters_of(sample.connection, dict(sample.parameters), place, found)
    yield from found.kept


def _end(lot: LotDraft) -> LineOnSpool:
    return LineOnSpool(line=lot.line.name, spool=lot.spool)
