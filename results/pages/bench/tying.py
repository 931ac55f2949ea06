"""My tying beside everyone else's, join by join."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.core.cache import caches
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from results.models import Pool
from results.pages.bench import selectors, tying_pictures
from results.pages.bench.plan_form import PlanForm
from results.pages.bench.tying_pictures import curve_of
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from results.pools.advice import pull_again, work_on
from results.pools.pool_data import members_of_each
from results.pools.selectors import own_sets_waiting
from results.pools.session_planning import plan_sessions
from results.pools.tester_vs_pool import TesterVsPool, compare_in_members
from results.pools.wanted import gains_for
from rigs.models import Contributor
from rigs.refusals import Conflict

JOINS_A_PAGE = 6
KEPT_FOR_S = 24 * 3600

WORK = {
    "strength": _(
        "Strength: your ties hold less than others' ties of the same join, by more than chance "
        "explains. Check how you seat, wet and trim it."
    ),
    "evenness": _(
        "Consistency: your ties scatter more than others', and more than your rig explains. Tie "
        "every one the same way, and count those you discard."
    ),
    "rig": _(
        "The rig: your straight line scatters more than your ties add to it. Check the grips and "
        "your pulling speed before your tying."
    ),
    "unknown": _(
        "Your joins scatter more than others'. There is not enough data yet to say whether the "
        "tying or the rig causes it."
    ),
    "nothing": _("Nothing stands out: as far as the pulls show, you tie it as well as others."),
}


@dataclass(frozen=True)
class MoreSessions:
    """Sessions that a difference takes in all, and how many of them are still to come.

    Both are None where no number of one's own is enough.
    """

    difference: float
    in_all: int | None
    more: int | None


def _more(difference: float, in_all: int | None, done: int) -> MoreSessions:
    return MoreSessions(difference, in_all, None if in_all is None else max(in_all - done, 0))


@dataclass(frozen=True)
class Tied:
    """A join that one ties, where one stands, or why that can't be said."""

    pool: Pool
    standing: TesterVsPool | None
    why_not: str = ""
    own_sets: Sequence[float] = ()

    @property
    def picture(self) -> tying_pictures.Standing | None:
        """Own sets on the pool's strip."""
        return tying_pictures.standing_of(self.standing, self.own_sets) if self.standing else None

    @property
    def scatter_picture(self) -> tying_pictures.Scattering | None:
        """Own scatter beside the others'."""
        return tying_pictures.scattering_of(self.standing) if self.standing else None

    @property
    def plans(self) -> Sequence[MoreSessions]:
        """What the usual differences take beyond the sessions that one has."""
        if self.standing is None:
            return []
        done = self.standing.own.sessions
        return [_more(each.difference, each.sessions, done) for each in self.standing.plans]

    @property
    def work(self) -> str:
        """What to work on, in words."""
        return str(WORK[work_on(self.standing)]) if self.standing else ""


@require_safe
@contributors_only
@never_cache
def tying(request: HttpRequest) -> HttpResponse:
    """One's own comparison in every pool that one has a set in."""
    contributor = contributor_behind(request)
    pages = Paginator(selectors.pools_tied_by(contributor), JOINS_A_PAGE)
    page = pages.get_page(request.GET.get("page"))
    own = list(page.object_list)
    tied = _tied(contributor, own)
    standings = [(each.pool, each.standing) for each in tied if each.standing is not None]
    context = {
        "tied": tied,
        "page": page,
        "next": next(iter(gains_for(contributor, 1)), None),
        "again": pull_again(standings),
        "below": [each for each in tied if _place_of(each) == "below"],
        "compared": [each for each in tied if _place_of(each)],
    }
    return render(request, "pages/bench/tying.html", context | _planner(request, tied))


def _place_of(tied: Tied) -> str:
    comparison = tied.standing.comparison if tied.standing else None
    return comparison.place if comparison else ""


def _planner(request: HttpRequest, tied: Sequence[Tied]) -> dict[str, Any]:
    """The planner's form, and what it comes to: of the first join where nothing was entered."""
    able = [each for each in tied if each.standing and each.standing.planned_by]
    if not able:
        return {}
    form = PlanForm(request.GET if "join" in request.GET else None, able)
    if form.is_bound and not form.is_valid():
        return {"planner": form}
    given = form.cleaned_data if form.is_bound else form.initial_values()
    chosen = next(each for each in able if str(each.pool.pk) == given["join"])
    assert chosen.standing is not None
    planned = plan_sessions(
        chosen.standing,
        difference=given["difference"] / 100,
        pulls=given["pulls"],
        sessions=given["sessions"],
    )
    return {
        "planner": form,
        "planned": planned,
        "planned_pool": chosen.pool,
        "takes": planned
        and _more(planned.difference, planned.needed, chosen.standing.own.sessions),
        "curve": curve_of(planned) if planned else None,
    }


def _tied(contributor: Contributor, own: Sequence[Pool]) -> list[Tied]:
    """Each pool's comparison, worked out once for each state of the pool."""
    waiting = own_sets_waiting(contributor)
    mine = f"standing.{contributor.pk}.{get_language()}.{sum(waiting)}.{len(waiting)}"
    keys = {pool.pk: f"{mine}.{_state_of(pool)}" for pool in own}
    known: dict[str, tuple[TesterVsPool | None, str]] = caches["kept"].get_many(keys.values())
    missing = [pool.pk for pool in own if keys[pool.pk] not in known]
    everything = members_of_each(missing, also=waiting) if missing else {}
    for pool_id, members in everything.items():
        try:
            found: tuple[TesterVsPool | None, str] = compare_in_members(members, contributor), ""
        except Conflict as why_not:
            found = None, why_not.detail
        known[keys[pool_id]] = found
        caches["kept"].set(keys[pool_id], found, KEPT_FOR_S)
    own_sets = selectors.own_efficiencies(contributor, [pool.pk for pool in own])
    return [Tied(pool, *known[keys[pool.pk]], own_sets[pool.pk]) for pool in own]


def _state_of(pool: Pool) -> str:
    since = pool.freshness.since
    return f"{pool.current_id}.{since.timestamp() if since else 'current'}"
