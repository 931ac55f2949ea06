"""Making an account a moderator's: everything that deciding takes, at once."""

from __future__ import annotations

from django.contrib.auth.models import Group, User
from django.db import transaction
from django.utils.translation import gettext

from results.accounts.join import take_handle
from rigs.models import Contributor
from rigs.permissions import MODERATORS, is_moderator
from rigs.refusals import Conflict


def make_moderator(user: User, handle: str = "") -> list[str]:
    """Give an account what a moderator needs, and return what it lacked; idempotent.

    That is a contributor, since moderators add to the catalogue too, with ``handle`` or else the
    sign-in name; and the group, to which the desk is open. One transaction. Locks the account's
    row. Raises Conflict for an account that is closed or switched off, or for a handle that
    another contributor has, and Invalid for one that can't be a handle.
    """
    lacked = []
    with transaction.atomic():
        locked = User.objects.select_for_update().get(pk=user.pk)
        if not locked.is_active:
            raise Conflict(gettext("This account is closed or switched off."))
        if not Contributor.objects.filter(user=locked).exists():
            lacked.append(f"the handle '{take_handle(locked, handle or locked.username)}'")
        if not is_moderator(User.objects.get(pk=locked.pk)):
            locked.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
            lacked.append(f"membership of the group '{MODERATORS}'")
    return lacked
