"""What a closed round came to: for the club by numbers, and for each participant in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from results.models import Round, RoundReport
from results.pages.rounds.words import (
    ShownSample,
    flag_in_words,
    hand_in_words,
    rig_in_words,
    shown_sample,
)
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from results.rounds import selectors
from rigs import permissions

Kept = Mapping[str, Any]


@dataclass(frozen=True)
class SampleRow:
    """One participant's result of a sample, with what each statistic says of it."""

    participant: int
    mean_N: float
    pulls: int
    consistency: Kept | None
    score: Kept | None


@dataclass(frozen=True)
class SampleFound:
    """A sample with its figures; ``found`` as the report keeps them."""

    sample: ShownSample | None
    found: Kept
    rows: list[SampleRow]
    flags: list[str]


@dataclass(frozen=True)
class Apart:
    """A participant's rig and hand, as the report keeps them."""

    participant: int
    pulls: int
    rig: Kept | None
    hand: Kept | None


@require_safe
@never_cache
def of_round(request: HttpRequest, pk: int) -> HttpResponse:
    """The report for the club: participants by the numbers that the close drew."""
    of, report = _made(pk)
    insider = selectors.is_insider(of, permissions.contributor_behind(request.user))
    figures = report.report or {}
    samples = {
        sample.number: shown_sample(sample, spools=insider)
        for sample in selectors.samples_of(of, None)
    }
    context = {
        "round": of,
        "title": of.title if insider else None,
        "report": report,
        "figures": figures,
        "samples": [_sample(one, samples) for one in figures["samples"]],
        "apart": [
            Apart(one["participant"], one["pulls"], one["rig"], one["hand"])
            for one in figures["participants"]
        ],
        "kinds": figures["hands_and_rigs"],
        "lots": {lot.number: lot.line.name for lot in selectors.lots_of(of)},
        "own": selectors.participant_of(of, permissions.contributor_behind(request.user)),
    }
    return render(request, "pages/rounds/report.html", context)


@require_safe
@contributors_only
@never_cache
def own(request: HttpRequest, pk: int) -> HttpResponse:
    """The report for one participant, about them alone."""
    of, report = _made(pk)
    participant = selectors.participant_of(of, contributor_behind(request))
    figures = report.report or {}
    found = next(
        (
            one
            for one in figures["participants"]
            if participant is not None and one["participant"] == participant.number
        ),
        None,
    )
    if participant is None or found is None:
        raise Http404
    samples = {
        sample.number: shown_sample(sample, spools=True)
        for sample in selectors.samples_of(of, None)
    }
    mine = [
        (one.sample, row, one.found["assigned"], one.found["scatter_percent"])
        for one in (_sample(each, samples) for each in figures["samples"])
        for row in one.rows
        if row.participant == participant.number
    ]
    context = {
        "round": of,
        "title": of.title,
        "number": participant.number,
        "everyone": figures["sent"],
        "found": found,
        "rig": rig_in_words(found["rig"], found["why_no_rig"]),
        "hand": hand_in_words(found["hand"], found["why_no_hand"]),
        "mine": mine,
    }
    return render(request, "pages/rounds/own_report.html", context)


def _made(pk: int) -> tuple[Round, RoundReport]:
    """A closed round and its newest report. Raises Http404 before there is one."""
    of = get_object_or_404(selectors.rounds(), pk=pk, state=Round.State.CLOSED)
    report = selectors.latest_report(of)
    if report is None:
        raise Http404
    return of, report


def _sample(found: Kept, samples: Mapping[int, ShownSample]) -> SampleFound:
    each = {one["participant"]: one for one in (found["precision"] or {}).get("each", ())}
    scores = {one["participant"]: one for one in found["scores"]}
    rows = [
        SampleRow(
            cell["participant"],
            cell["mean_N"],
            cell["pulls"],
            each.get(cell["participant"]),
            scores.get(cell["participant"]),
        )
        for cell in found["results"]
    ]
    return SampleFound(
        samples.get(found["sample"]), found, rows, [flag_in_words(flag) for flag in found["flags"]]
    )
