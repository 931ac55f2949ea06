"""Amending and withdrawing: what a contributor may do to a session already stored."""

from __future__ import annotations

from collections.abc import Iterator

from django.db import transaction

from results import stale
from results.models import Pool, PullSet, Session
from results.reworking import borrowers_of, work_out_again
from results.states import State, move
from rigs.locks import lock_contributor
from rigs.models import Contributor
from rigs.refusals import Conflict, Finding, Forbidden, Invalid

LONGEST_REASON = 1000


def withdraw(session: Session, by: Contributor, reason: str) -> None:
    """Take a session out of every figure; it stays in its owner's history, all versions of it.

    One transaction. Locks the contributor, the session, its earlier versions and its pull sets,
    in the order of `rigs.locks`. Raises Forbidden, AccountClosed, Conflict where it is not the
    current version, Invalid without a reason.
    """
    with transaction.atomic():
        lock_contributor(by)
        retire(session, by, Session.Standing.WITHDRAWN, reason)
        earlier = [version.pk for version in _earlier_versions(session)]
        Session.objects.filter(pk__in=earlier).update(standing=Session.Standing.WITHDRAWN)


def retire(session: Session, by: Contributor, standing: Session.Standing, reason: str) -> None:
    """End the standing of a current session, in the transaction of a caller who has locked ``by``.

    Its sets become ``withdrawn``, the pools they counted in stale, and sessions that borrowed its
    straight line are worked out again. Two at the same instant meet at a conditional UPDATE, and
    the later raises Conflict.
    """
    _check(session, by, reason)
    current = Session.objects.filter(pk=session.pk, standing=Session.Standing.CURRENT)
    if not current.update(standing=standing, standing_reason=reason.strip()):
        now = Session.objects.only("standing").get(pk=session.pk).standing
        raise Conflict(f"Session {session.pk} is no longer current: it was {now}.")
    pull_sets = list(
        PullSet.objects.select_for_update(no_key=True).filter(session=session).order_by("pk")
    )
    pools = Pool.objects.filter(normalised_sets__pull_set__session=session)
    touched = list(pools.values_list("pk", flat=True).distinct())
    move(pull_sets, State.WITHDRAWN, by=by.user, reason=reason.strip())
    work_out_again(borrowers_of(session))
    stale.mark(touched, f"session {session.pk} of {session.contributor.handle} was {standing}")


def _check(session: Session, by: Contributor, reason: str) -> None:
    if session.contributor_id != by.pk:
        raise Forbidden("Only its own contributor can amend or withdraw a session.")
    words = " ".join(reason.split())
    if not words or len(reason) > LONGEST_REASON or not words.isprintable():
        found = f"{len(reason)} characters" if words else "nothing"
        raise Invalid(
            "A reason is needed, for whoever reads the history.",
            [
                Finding(
                    "",
                    "reason",
                    found,
                    f"a sentence of at most {LONGEST_REASON} printable characters",
                )
            ],
        )


def _earlier_versions(session: Session) -> Iterator[Session]:
    version = session.replaces
    while version is not None:
        yield version
        version = version.replaces
