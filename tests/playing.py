"""A club's round for the stories: a draft, its testers, and their sessions by code."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from results.models import Round, RoundParticipant
from results.rounds.allocating import open_round
from results.rounds.drafts import LotDraft, RoundDraft, SampleDraft
from results.rounds.entering import enter
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
