"""What a closed round came to: for those in it by handle, for each of them in plain words, and for
everyone else of all together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from results.models import Round, RoundReport
from results.pages.rounds.words import (
    CHANGES,
    OF_A_RIG,
    OF_HANDS,
    ShownSample,
    change_in_words,
    effect_in_words,
    flag_in_words,
    remarks_in_words,
    shown_sample,
)
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from results.rounds import selectors
from results.rounds.moved_scores import SCORE, of_participant
from results.rounds.reporting import handles_of, public_changes, public_part
from rigs import permissions

Kept = Mapping[str, Any]
LONGEST_NUMBER = 6


@dataclass(frozen=True)
class SampleRow:
    """One participant's result of a sample, with what each statistic says of it."""

    participant: int
    handle: str
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
    missing: list[str]
    withdrawn: list[str]
    left_out: list[str]
    by_z_prime: bool


@dataclass(frozen=True)
class Apart:
    """A participant's rig and hand, as the report keeps them."""

    handle: str
    pulls: int
    remarks: str
    rig: Kept | None
    hand: Kept | None


@require_safe
@never_cache
def of_round(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The report: for those in the round each participant by handle, else of all together.

    Where it is still being computed this leads to the round's page, which says so.
    """
    if Round.objects.filter(pk=pk, state=Round.State.CLOSED).exists() and not (
        RoundReport.objects.filter(round=pk, state=RoundReport.State.MADE).exists()
    ):
        return redirect("pages:round", pk)
    of, report = _made(pk, request.GET.get("version", ""))
    insider = selectors.is_insider(of, permissions.contributor_behind(request.user))
    whole = report.report or {}
    figures = whole if insider else public_part(whole)
    handles = handles_of(of) if insider else {}
    changes = report.changes if insider else public_changes(report.changes)
    samples = {
        sample.number: shown_sample(sample, spools=insider)
        for sample in selectors.samples_of(of, None)
    }
    context = {
        "round": of,
        "title": of.title if insider else None,
        "report": report,
        "figures": figures,
        "unsteady": any(False in (one["alike"], one["stable"]) for one in figures["spools"]),
        "samples": [
            _sample(one, samples, handles, _withdrawn(figures)) for one in figures["samples"]
        ],
        "apart": [
            Apart(
                handles[one["participant"]],
                one["pulls"],
                remarks_in_words(one),
                one["rig"],
                one["hand"],
            )
            for one in figures.get("participants", ())
        ],
        "remarks": public_part(whole),
        "insider": insider,
        "changes": [change_in_words(one, handles) for one in changes if one["what"] in CHANGES],
        "moved": [one for one in changes if one["what"] == "value"],
        "moved_scores": [
            (handles[one["participant"]], one) for one in changes if one["what"] == SCORE
        ],
        "left": len(selectors.who_left(of)),
        "versions": selectors.made_reports(of),
        "kinds": figures["hands_and_rigs"],
        "lots": {lot.number: lot.line.name for lot in selectors.lots_of(of)},
        "own": selectors.participant_of(of, permissions.contributor_behind(request.user)),
    }
    return render(request, "pages/rounds/report.html", context)


@require_safe
@contributors_only
@never_cache
def own(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The report for one participant, about them alone."""
    of = get_object_or_404(selectors.rounds(), pk=pk, state=Round.State.CLOSED)
    participant = selectors.participant_of(of, contributor_behind(request))
    if participant is not None and selectors.latest_report(of) is None:
        return redirect("pages:round", pk)  # where it says that the report is being computed
    of, report = _made(pk, request.GET.get("version", ""))
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
    handles = handles_of(of)
    mine = [
        (one.sample, row, one.found["assigned"])
        for one in (_sample(each, samples, handles, {}) for each in figures["samples"])
        for row in one.rows
        if row.participant == participant.number
    ]
    context = {
        "round": of,
        "title": of.title,
        "report": report,
        "newest": selectors.latest_report(of),
        "everyone": figures["sent"],
        "sent": found["pulls"] > 0,
        "remarks": remarks_in_words(found),
        "uncertainty": found.get("reading_uncertainty"),
        "rig": effect_in_words(OF_A_RIG, found["rig"], found["why_no_rig"]),
        "hand": effect_in_words(OF_HANDS, found["hand"], found["why_no_hand"]),
        "rig_is_off": bool(found["rig"] and found["rig"]["clear"]),
        "hand_is_off": bool(
            found["hand"] and found["hand"]["clear"] and found["hand"]["percent"] < 0
        ),
        "mine": mine,
        "moved_scores": of_participant(report.changes, participant.number),
        "by_z_prime": any(row.score and row.score["used"] == "z_prime" for _, row, _ in mine),
        "flags": [
            flag_in_words(flag, {**handles, found["participant"]: _("you")})
            for each in figures["samples"]
            for flag in each["flags"]
            if participant.number in flag["participants"]
        ],
    }
    return render(request, "pages/rounds/own_report.html", context)


def _made(pk: int, version: str) -> tuple[Round, RoundReport]:
    """A closed round and a version of its report, the newest where none is named.

    Raises Http404 where there is none.
    """
    of = get_object_or_404(selectors.rounds(), pk=pk, state=Round.State.CLOSED)
    made = selectors.made_reports(of)
    if version:
        is_number = version.isascii() and version.isdigit() and len(version) <= LONGEST_NUMBER
        made = made.filter(number=int(version)) if is_number else made.none()
    report = made.first()
    if report is None:
        raise Http404
    return of, report


def _withdrawn(figures: Kept) -> dict[int, list[int]]:
    """By participant the samples whose results were withdrawn after the close."""
    return {
        one["participant"]: one.get("samples_withdrawn", [])
        for one in figures.get("participants", ())
    }


def _sample(
    found: Kept,
    samples: Mapping[int, ShownSample],
    handles: Mapping[int, str],
    withdrawn: Mapping[int, list[int]],
) -> SampleFound:
    """With a row for each participant, where ``handles`` may be read.

    Results that were withdrawn are kept apart from those that never came.
    """
    missing: tuple[int, ...] = found.get("missing", ())
    gone = [number for number in missing if found["sample"] in withdrawn.get(number, ())]
    each = {one["participant"]: one for one in (found["precision"] or {}).get("each", ())}
    scores = {one["participant"]: one for one in found.get("scores", ())}
    rows = [
        SampleRow(
            cell["participant"],
            handles[cell["participant"]],
            cell["mean_N"],
            cell["pulls"],
            each.get(cell["participant"]),
            scores.get(cell["participant"]),
        )
        for cell in found.get("results", ())
    ]
    return SampleFound(
        samples.get(found["sample"]),
        found,
        rows,
        [flag_in_words(flag, handles) for flag in found.get("flags", ())],
        [handles[number] for number in missing if number not in gone],
        [handles[number] for number in gone],
        [handles[number] for number in (found["precision"] or {}).get("left_out", ())],
        any(row.score and row.score["used"] == "z_prime" for row in rows),
    )
