"""The order in which rows are locked, and what a closed or suspended account may not do.

Whatever writes for a contributor locks, within its transaction and in this order:

1. the contributor (`lock_contributor`), before anything is read that the write rests on,
2. rigs, then sessions, each by ascending id,
3. pull sets by ascending id (`results.models.lifecycle.lock_sets`),
4. what hangs off a set, and pool versions,
5. editions, and last of all the user.

Workers don't lock contributors or sessions: they begin with pools by ascending id, then their job,
and go on at 3. Locks are such that rows which only point at a locked one can still be inserted (FOR
NO KEY UPDATE).
SQLite has one writer at a time and needs no order.
"""

from __future__ import annotations

from django.db.models import Subquery
from django.utils.translation import gettext

from rigs.models import Contributor, RigRevision, Suspension
from rigs.refusals import AccountClosed, AccountSuspended, Conflict


def lock_contributor(contributor: Contributor) -> Contributor:
    """Lock a contributor's row until the caller's transaction ends, and read it as it is now.

    Raises AccountClosed, so that nothing is stored for an account closed a moment ago.
    """
    locked = (
        Contributor.objects.select_for_update(of=("self",), no_key=True)
        .select_related("user")
        .get(pk=contributor.pk)
    )
    if locked.closed_at is not None:
        raise AccountClosed
    return locked


def lock_uploader(contributor: Contributor) -> Contributor:
    """The same before an upload. Raises AccountSuspended as well."""
    locked = lock_contributor(contributor)
    _refuse_suspended(locked)
    return locked


def lock_uploader_on(contributor: Contributor, revision: RigRevision) -> None:
    """The same before an upload from this revision. Raises Conflict where it was voided.

    Suspension and revision are read once the lock is held, in one query: read together with the
    lock they would be as they were before it had to wait.
    """
    locked = Contributor.objects.select_for_update(no_key=True).filter(pk=contributor.pk)
    if locked.values_list("closed_at", flat=True).get() is not None:
        raise AccountClosed
    holding = Suspension.objects.filter(contributor=contributor, lifted_at=None).values("reason")
    read = RigRevision.objects.filter(pk=revision.pk).values_list("standing", Subquery(holding))
    standing, suspended_because = read.get()
    if suspended_because is not None:
        raise AccountSuspended(suspended_because)
    _refuse_voided(revision, standing)


def check_current(revision: RigRevision) -> None:
    """Raise Conflict where the revision was voided, its owner being locked."""
    standing = RigRevision.objects.values_list("standing", flat=True).get(pk=revision.pk)
    _refuse_voided(revision, standing)


def _refuse_voided(revision: RigRevision, standing: str) -> None:
    if standing != RigRevision.Standing.CURRENT:
        raise Conflict(
            gettext("Revision %(number)s of this rig was voided.") % {"number": revision.number}
        )


def refuse_uploads_of(contributor: Contributor) -> None:
    """Refuse early, and without a lock, what `lock_uploader` would refuse after all the work.

    The contributor is taken as the caller has just read it. Raises AccountClosed,
    AccountSuspended.
    """
    if contributor.closed_at is not None:
        raise AccountClosed
    _refuse_suspended(contributor)


def _refuse_suspended(contributor: Contributor) -> None:
    suspension = contributor.suspension
    if suspension is not None:
        raise AccountSuspended(suspension.reason)
