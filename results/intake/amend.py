"""Amend and withdraw: what a contributor may do to a stored session."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext

from results.jobs import stale_marks
from results.models import NormalisedSet, PullSet, Session
from results.models.lifecycle import COUNTING, State, move
from results.normalising.reprocess import borrowers_of, enqueue_reprocessing
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
        earlier = [version.pk for version in session.earlier_versions()]
        Session.objects.filter(pk__in=earlier).update(standing=Session.Standing.WITHDRAWN)


def retire(session: Session, by: Contributor, standing: Session.Standing, reason: str) -> None:
    """Replace or withdraw a current session, in the transaction of a caller who has locked ``by``.

    Its sets become ``withdrawn``, the pools they counted in stale, and sessions that borrowed its
    straight line are worked out again, as are the tester's others that count beside them: what they
    move was judged together. Where nothing takes its place, these pools have no public
    figure until they are computed without it, nor have those of the borrowers, whose sets count
    again once they are worked out. Two at the same instant meet at a conditional UPDATE, and the
    later raises Conflict.
    """
    check_amendable(session, by, reason)
    current = Session.objects.filter(pk=session.pk, standing=Session.Standing.CURRENT)
    if not current.update(standing=standing, standing_reason=reason.strip()):
        _refuse_outdated(session)
    pull_sets = list(
        PullSet.objects.select_for_update(no_key=True).filter(session=session).order_by("pk")
    )
    counted = {pull_set.pk for pull_set in pull_sets if pull_set.state in COUNTING}
    why = f"session {session.pk} was {standing}"
    pools = NormalisedSet.objects.filter(pull_set__in=pull_sets)
    touched = set(pools.values_list("pool_id", flat=True))
    down: set[int] = set()
    if standing == Session.Standing.WITHDRAWN:
        down = set(pools.filter(pull_set__in=counted).values_list("pool_id", flat=True))
    borrowers = set(borrowers_of(session).values_list("pk", flat=True))
    beside = NormalisedSet.objects.filter(
        pool__in=pools.filter(pull_set__in=counted).values("pool"),
        pull_set__session__contributor=session.contributor_id,
        pull_set__state__in=COUNTING,
    ).exclude(pull_set__session=session)
    beside_it = set(beside.values_list("pull_set__session_id", flat=True))
    if standing == Session.Standing.WITHDRAWN:
        down |= _lose_straight_line(session)
    move(pull_sets, State.WITHDRAWN, by=by.user, reason=reason.strip())
    again = Session.objects.filter(pk__in=borrowers | beside_it)
    enqueue_reprocessing(again.order_by("pk"))
    stale_marks.mark(touched - down, why)
    stale_marks.mark(down, why, takes_down=True)


def _lose_straight_line(session: Session) -> set[int]:
    """Take the figures of what borrowed its straight line away; the pools where they counted."""
    rest_on_it = NormalisedSet.objects.filter(baseline__session=session).exclude(
        pull_set__session=session
    )
    counting = rest_on_it.filter(pull_set__state__in=COUNTING)
    pools = set(counting.values_list("pool_id", flat=True))
    rest_on_it.delete()
    return pools


def _refuse_outdated(session: Session) -> None:
    now = Session.objects.only("standing").get(pk=session.pk).standing
    raise Conflict(
        gettext("Session %(pk)s is no longer current: it was %(now)s.")
        % {"pk": session.pk, "now": now}
    )


def check_amendable(session: Session, by: Contributor, reason: str) -> None:
    """Raise as amending would, before it is done: it is judged again when it is."""
    if session.contributor_id != by.pk:
        raise Forbidden(gettext("Only its own contributor can amend or withdraw a session."))
    words = " ".join(reason.split())
    if not words or len(reason) > LONGEST_REASON or not words.isprintable():
        found = (
            gettext("%(reason)s characters") % {"reason": len(reason)}
            if words
            else gettext("nothing")
        )
        raise Invalid(
            gettext("A reason is needed, for readers of the history."),
            [
                Finding(
                    "",
                    "reason",
                    found,
                    gettext("a sentence of at most %(longest_reason)s printable characters")
                    % {"longest_reason": LONGEST_REASON},
                )
            ],
        )
    if session.standing != Session.Standing.CURRENT:
        _refuse_outdated(session)
