"""Suspending: a moderator holds all sets of an account and refuses its uploads, until lifted."""

from __future__ import annotations

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext

from results import notices
from results.jobs import stale_marks
from results.models import Pool, PullSet, ReviewCase, Session, StateChange
from results.models.lifecycle import COUNTING, State, lock_sets, move
from rigs.locks import lock_contributor
from rigs.models import Contributor, Suspension
from rigs.permissions import is_moderator
from rigs.refusals import Conflict, Finding, Forbidden, Invalid

LONGEST_REASON = 4000
HELD_BY_IT = (*COUNTING, State.RECEIVED)


def suspend(*, by: User, contributor: Contributor, reason: str) -> Suspension:
    """Hold every set of an account that counts or may come to, and refuse its uploads from now on.

    The contributor can sign in, read, answer, appeal, withdraw and close; they are notified. One
    transaction. Locks the contributor, their current sessions and those sets, in the order of
    `rigs.locks`. Raises Forbidden for anyone but a moderator, for oneself and for another
    moderator's account, Invalid without a reason, AccountClosed, and Conflict where it is
    suspended already.
    """
    _check(by, contributor, reason)
    with transaction.atomic():
        locked = lock_contributor(contributor)
        if locked.suspension is not None:
            raise Conflict(gettext("This account is suspended already."))
        sets = _lock_sets(locked)
        pools = Pool.objects.filter(normalised_sets__pull_set__in=sets)
        touched = list(pools.values_list("pk", flat=True).distinct())
        held = _hold(by, sets, f"The account is suspended. {reason.strip()}")
        suspension = Suspension.objects.create(
            contributor=locked, by=by, reason=reason.strip(), held=held
        )
        stale_marks.mark(touched, "the sets of an account were held with it", takes_down=True)
        notices.notify_account(
            locked,
            f"A moderator has suspended your account and holds {len(held)} of your sets. "
            f"{suspension.reason} You can sign in, read and answer; uploads are refused until a "
            "moderator lifts it.",
        )
    return suspension


def lift(*, by: User, contributor: Contributor, reason: str, release: bool = False) -> Suspension:
    """End a suspension; with ``release`` the sets held by it that counted before count again.

    What was held or decided otherwise stays so. Transaction, locks and refusals as `suspend`;
    Conflict where the account is not suspended.
    """
    _check(by, contributor, reason)
    with transaction.atomic():
        locked = lock_contributor(contributor)
        suspension = locked.suspension
        if suspension is None:
            raise Conflict(gettext("This account is not suspended."))
        suspension.lifted_by, suspension.lifted_at = by, timezone.now()
        suspension.lifted_reason = reason.strip()
        suspension.save()
        released = _release(by, suspension) if release else 0
        notices.notify_account(
            locked,
            f"A moderator has lifted the suspension of your account; {released} of your sets count "
            f"again. {suspension.lifted_reason}",
        )
    return suspension


def _lock_sets(contributor: Contributor) -> list[PullSet]:
    sessions = Session.objects.select_for_update(no_key=True).order_by("pk")
    current = list(
        sessions.filter(contributor=contributor, standing=Session.Standing.CURRENT).values_list(
            "pk", flat=True
        )
    )
    of_sessions = PullSet.objects.filter(session__in=current).order_by("pk")
    lock_sets(of_sessions.values_list("pk", flat=True))
    return list(of_sessions.filter(state__in=HELD_BY_IT))


def _hold(by: User, sets: list[PullSet], reason: str) -> list[int]:
    """Hold the sets; returns the ids of their changes of state."""
    ids = [pull_set.pk for pull_set in sets]
    move(sets, State.HELD, by=by, reason=reason)
    ReviewCase.objects.bulk_create(
        [ReviewCase(pull_set_id=pk) for pk in ids], ignore_conflicts=True
    )
    latest: dict[int, int] = dict(
        StateChange.objects.filter(pull_set__in=ids).order_by("pk").values_list("pull_set_id", "pk")
    )
    return sorted(latest.values())


def _release(by: User, suspension: Suspension) -> int:
    """Release the sets whose latest change is that by which the suspension held them."""
    changes = StateChange.objects.filter(pk__in=suspension.held, from_state__in=COUNTING)
    lock_sets(changes.values_list("pull_set_id", flat=True))
    sets = [
        change.pull_set
        for change in changes.select_related("pull_set")
        if change.pull_set.state == State.HELD
        and change.pk == change.pull_set.state_changes.latest("pk").pk
    ]
    reason = f"The suspension is lifted. {suspension.lifted_reason}"
    move(sets, State.RELEASED, by=by, reason=reason)
    pools: QuerySet[Pool] = Pool.objects.filter(normalised_sets__pull_set__in=sets)
    stale_marks.mark(
        pools.values_list("pk", flat=True), "the sets of an account were released with it"
    )
    return len(sets)


def _check(by: User, contributor: Contributor, reason: str) -> None:
    if not is_moderator(by):
        raise Forbidden(gettext("Only a moderator suspends an account."))
    if contributor.user_id == by.pk:
        raise Forbidden(gettext("This is your own account: another moderator has to decide on it."))
    if is_moderator(contributor.user) or contributor.user.is_superuser:
        raise Forbidden(gettext("An administrator takes a moderator's rights away before."))
    if not reason.strip() or len(reason) > LONGEST_REASON:
        found = (
            gettext("%(reason)s characters") % {"reason": len(reason)}
            if reason.strip()
            else gettext("nothing")
        )
        expected = gettext(
            "a sentence that the contributor can read, at most %(longest_reason)s characters"
        ) % {"longest_reason": LONGEST_REASON}
        raise Invalid(gettext("A reason is needed."), [Finding("", "reason", found, expected)])
