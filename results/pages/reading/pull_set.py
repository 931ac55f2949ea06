"""One pull set: its pulls as written, its figures, and its state."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from results.jobs.selectors import is_being_processed
from results.models import CheckResult, Pull, PullSet, Round
from results.normalising.scales import Scale, scale_of
from results.normalising.uncertainty_budget import budgets_of
from results.pages.reading.overlaid import overlay_of
from results.pages.showing import render
from results.pools import selectors
from results.pools.descriptives import LEAST_FOR_WORST
from results.public.rows import sessions_for
from results.review.decisions import may_follow
from results.review.selectors import holds_of
from results.statistics.failure_modes import EXACT
from rigs.metrology.units import FORCE_UNITS


@dataclass(frozen=True)
class Loaded:
    """A pull with the load behind its reading, in newtons and in the unit it was written in."""

    pull: Pull
    load_N: float | None
    load: float | None


@dataclass(frozen=True)
class Worst:
    """The lowest pull that is a strength, of so many."""

    load_N: float
    efficiency: float
    pulls: int


@require_safe
def pull_set(request: HttpRequest, pk: int) -> HttpResponse:
    """A pull set with its straight line."""
    visible = selectors.pull_sets().filter(sessions_for(request.user, "session__"))
    found = get_object_or_404(visible, pk=pk)
    scale = scale_of(found.session)
    baselines = [
        (baseline, _loaded(baseline.pulls.all(), scale))
        for baseline in selectors.straight_of(found)
    ]
    normalised, pulls = getattr(found, "normalised", None), _loaded(found.pulls.all(), scale)
    return render(
        request,
        "pages/reading/pull_set.html",
        {
            "set": found,
            "own": request.user.is_authenticated
            and found.session.contributor.user_id == request.user.pk,
            "normalised": normalised,
            "in_round": _in_round(found),
            "own_strength": selectors.own_strength_of(found),
            "worst": _worst(pulls, normalised.baseline_mean_N) if normalised else None,
            "calibration": scale.calibration,
            "being_worked_out": is_being_processed(found.session),
            "pulls": pulls,
            "baselines": baselines,
            "overlay": overlay_of(found, [baseline for baseline, _ in baselines]),
            "budgets": budgets_of(found),
            "changes": found.state_changes.all(),
            "holds": _holds(request, found),
        },
    )


@dataclass(frozen=True)
class InRound:
    """The round that a set was pulled in; ``central`` where one hand tied it for everybody."""

    of: Round
    central: bool


def _in_round(found: PullSet) -> InRound | None:
    in_round = getattr(found, "in_round", None)
    if in_round is None:
        return None
    return InRound(in_round.specimen.sample.round, in_round.tied_centrally)


def _holds(request: HttpRequest, found: PullSet) -> list[CheckResult]:
    """The checks by which a set waits, for its contributor and for moderators."""
    if found.state != PullSet.State.HELD or not may_follow(request.user, found):
        return []
    return list(holds_of(found))


def _worst(pulls: list[Loaded], straight_N: float) -> Worst | None:
    """None where fewer than ten are strengths: 'worst of ten' is said only where ten were."""
    loads = [row.load_N for row in pulls if row.load_N and row.pull.failure_mode in EXACT]
    if len(loads) < LEAST_FOR_WORST:
        return None
    return Worst(min(loads), min(loads) / straight_N, len(loads))


def _loaded(pulls: Iterable[Pull], scale: Scale) -> list[Loaded]:
    """Loads, but for pulls whose reading was lost."""
    rows = list(pulls)
    read = [pull for pull in rows if pull.reading_N is not None]
    loads_N = dict(zip((pull.pk for pull in read), scale.loads_N(read).tolist(), strict=True))
    return [
        Loaded(pull, load, None if load is None else load / FORCE_UNITS[pull.unit])
        for pull in rows
        for load in [loads_N.get(pull.pk)]
    ]
