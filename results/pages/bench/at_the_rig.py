"""At the rig: a page for the phone on the bench that goes on working without a network."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from results.pages.bench import selectors
from results.pages.offered import catalogue_offered
from results.pages.rounds.words import shown_sample
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from results.rounds.codes import readable
from results.rounds.selectors import CodeToPull, codes_to_pull
from rigs import selectors as rig_selectors
from rigs.metrology.bounds import EARLIEST_DAY, READING_N
from rigs.metrology.units import FORCE_UNITS

WORKER = Path(__file__).parents[1] / "static" / "pages" / "at-the-rig-worker.js"
BAUD_RATES = (
    1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600,
)  # fmt: skip


@require_safe
@contributors_only
@never_cache
def at_the_rig(request: HttpRequest) -> HttpResponse:
    """The page with one's own rigs, the lines and the joins in it."""
    contributor = contributor_behind(request)
    rigs = list(rig_selectors.rigs().filter(owner=contributor))
    return render(
        request,
        "pages/bench/at_the_rig.html",
        {
            "contributor": contributor,
            "rigs": rigs,
            "earlier": selectors.latest_straight(contributor),
            "units": FORCE_UNITS.items(),
            "baud_rates": BAUD_RATES,
            "most_N": READING_N.highest,
            "earliest_day": EARLIEST_DAY.isoformat(),
            "codes": [_shown(one) for one in codes_to_pull(contributor)],
        }
        | catalogue_offered(request.user),
    )


@dataclass(frozen=True)
class ShownCode:
    """A code that can be pulled: its round, what it is as far as known, how many, its spools."""

    code: str
    title: str
    state: str
    what: str
    ties: int
    lots: str


def _shown(one: CodeToPull) -> ShownCode:
    what = shown_sample(one.own.sample, spools=True).join if one.own.sample else _("comes tied")
    lots = [{"line": lot.line.name, "spool": lot.spool} for lot in one.lots]
    return ShownCode(
        readable(one.own.code),
        one.of.title,
        one.of.line_state,
        what,
        one.own.ties,
        json.dumps(lots),
    )


@require_safe
def worker(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """The service worker, at an address below which it may answer."""
    return HttpResponse(WORKER.read_bytes(), content_type="text/javascript; charset=utf-8")
