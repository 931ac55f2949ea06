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

from rigs.models import Contributor
from rigs.refusals import AccountClosed, AccountSuspended


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
