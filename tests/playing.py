"""A club's round for the stories: a draft, its testers, and their sessions by code."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np

from results.models import Round, RoundParticipant
from results.rounds.allocating import open_round
from results.rounds.drafts import LotDraft, RoundDraft, SampleDraft
from results.rounds.entering import enter
from results.rounds.receiving import Sealed, receive
from results.rounds.set_up import set_up
from rigs.models import Club, Contributor
from tests import making
from tests.people import contributor

SPOOLS = {"thin": "spring reel", "thick": "leader reel"}


def member(handle: str, club: str = "Harbour Club") -> Contributor:
    """A tester of a club, who may set up its rounds and has a rig."""
    tester = contributor(handle)
    return join_club(tester, club)


def join_club(tester: Contributor, club: str = "Harbour Club") -> Contributor:
    tester.club = Club.objects.get_or_create(name=club)[0]
    tester.save()
    return tester


def draft(**changes) -> RoundDraft:
    """Four samples on one pair of lines: two tied centrally, one of them twice, two by testers."""
    lots = [
        LotDraft(making.line("thin"), SPOOLS["thin"]),
        LotDraft(making.line("thick", label_N=180), SPOOLS["thick"]),
    ]
    samples = [
        SampleDraft(making.connection(join), 1, tied, leader_lot=2, codes=codes, level=level)
        for join, tied, codes, level in (
            ("Blood", "centrally", 2, 1),
            ("Albright", "centrally", 1, 2),
            ("Blood", "by each tester", 1, 1),
            ("Albright", "by each tester", 1, 2),
        )
    ]
    planned = {
        "title": "Spring round",
        "starts_on": date(2026, 3, 1),
        "results_by": date(2026, 4, 15),
        "lots": lots,
        "samples": samples,
    }
    return RoundDraft(**(planned | changes))


def opened(
    organiser: Contributor, testers: Sequence[Contributor], **changes
) -> tuple[Round, list[RoundParticipant]]:
    """An open round that these testers take part in."""
    made = set_up(organiser, draft(**changes))
    entered = [enter(tester, made.entry_code) for tester in testers]
    return open_round(organiser, made), entered


def lent_rig(tester: Contributor) -> None:
    """A calibrated rig of this tester, by the name that `session` sends."""
    making.calibrate(making.revision_of(tester), gain=1.0, offset_N=0.0)


def session(
    codes: Sequence[str], *, load_N: float = 80.0, day: int = 10, **changes
) -> dict[str, Any]:
    """A session as a participant sends it: straight line of both lots, and a set a code."""
    rng = np.random.default_rng([round(100 * load_N), day])
    straight = [
        {"line": line, "spool": spool, "pulls": _pulls(rng, at, "line")}
        for (line, spool), at in zip(SPOOLS.items(), (100.0, 190.0), strict=True)
    ]
    sets = [{"sample": code, "pulls": _pulls(rng, load_N, "join")} for code in codes]
    document = {
        "rig": "shed winch",
        "revision": 1,
        "pulled_on": f"2026-03-{day:02d}",
        "state": "dry",
        "unit": "N",
        "baselines": straight,
        "pull_sets": sets,
    }
    return document | changes


def _pulls(rng: np.random.Generator, load_N: float, mode: str) -> list[dict[str, Any]]:
    loads = load_N * np.exp(rng.normal(0, 0.04, 5))
    return [{"reading": round(float(load), 1), "failure_mode": mode} for load in loads]


def sends(participant: RoundParticipant, key: str | None = None, **changes) -> Sealed:
    """A participant sends results of all of their codes."""
    codes = list(participant.specimens.order_by("pk").values_list("code", flat=True))
    body = json.dumps(session(codes, **changes)).encode()
    return receive(participant.contributor, body, "application/json", key)
