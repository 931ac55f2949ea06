"""Uploads, amendments, withdrawals, decisions and workers at one instant with a close.

Rows are locked in the one order of `rigs.locks`, so none of them ends in a deadlock; and whatever
comes after the close is refused.
"""

import copy
import json
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.contrib.auth.models import Group
from django.db import close_old_connections, connections

from results.accounts.close import close_account
from results.intake import amend as intake_amend
from results.intake import receive
from results.models import Job, PoolMembership, PullSet, Session
from results.models.lifecycle import COUNTING
from results.review.decisions import decide_many
from results.worker import embedded
from rigs.models import Contributor
from rigs.permissions import MODERATORS
from rigs.refusals import AccountClosed, Refused
from tests import making
from tests.intake.conftest import RIGHT
from tests.people import contributor

ROUNDS = 12
JSON = "application/json"


def document(rig: str, day: int, sets: int = 3) -> bytes:
    answer = copy.deepcopy(RIGHT)
    answer |= {"rig": rig, "pulled_on": f"2026-01-{day:02d}"}
    (one,) = answer["pull_sets"]
    one |= {"connection": "Blood", "parameters": {}}
    answer["pull_sets"] = [{**one, "label": f"set {number}"} for number in range(sets)]
    return json.dumps(answer).encode()


def arrives(owner: Contributor, number: int, *, keep: bool) -> list:
    """What arrives at one instant for an account with four sessions, and its close."""
    rig = f"rig {number}"
    making.revision_of(owner, name=rig)
    sessions = [receive(owner, document(rig, day), JSON, None).session for day in (1, 2, 3, 4)]
    moderator = contributor(f"moderator {number}")
    moderator.user.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
    sets = list(PullSet.objects.filter(session__in=sessions).order_by("-pk"))

    def amend(session: Session, day: int) -> None:
        receive(owner, document(rig, day), JSON, None, replaces=session, reason="a digit")

    return [
        lambda: close_account(owner, keep=keep),
        lambda: receive(owner, document(rig, 11), JSON, "eleven"),
        lambda: receive(owner, document(rig, 12), JSON, None),
        lambda: intake_amend.withdraw(sessions[0], owner, "the scale stuck"),
        lambda: amend(sessions[1], 13),
        lambda: amend(sessions[3], 14),
        lambda: decide_many(by=moderator.user, pull_sets=sets, decision="hold", reason="why?"),
        embedded.drain,
    ]


def at_once(acts: list) -> list[Exception | None]:
    """Do all of them at one instant, each on a connection of its own; what each raised."""
    together = Barrier(len(acts))

    def do(act) -> Exception | None:
        close_old_connections()
        together.wait()
        try:
            act()
        except Exception as error:
            return error
        finally:
            connections.close_all()
        return None

    with ThreadPoolExecutor(len(acts)) as threads:
        return list(threads.map(do, acts))


def nothing_counts_of(owner: Contributor) -> bool:
    """Whether no session, no set and no pool has anything of a contributor that counts."""
    sets = PullSet.objects.filter(session__contributor=owner)
    return not (
        owner.sessions.filter(standing=Session.Standing.CURRENT).exists()
        or sets.filter(state__in=COUNTING).exists()
        or PoolMembership.objects.filter(pull_set__in=sets, until=None).exists()
    )


@pytest.mark.parametrize("keep", [False, True])
def test_nothing_deadlocks_with_a_close_and_nothing_that_comes_later_counts(transactional_db, keep):
    making.connection("Blood")
    making.line("thin")
    making.line("thick", label_N=180)
    for number in range(ROUNDS):
        owner = contributor(f"owner {number}")
        closed, *others = at_once(arrives(owner, number, keep=keep))
        assert closed is None
        assert [error for error in others if not isinstance(error, Refused | None)] == []
        embedded.drain()
        assert not Job.objects.exclude(problem=None).exists()
        assert keep or nothing_counts_of(owner)
        stored = owner.sessions.count()
        owner.refresh_from_db()
        with pytest.raises(AccountClosed):
            receive(owner, document(f"rig {number}", 20), JSON, None)
        assert owner.sessions.count() == stored
