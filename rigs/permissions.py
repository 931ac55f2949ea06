"""Who may do what to a rig, a calibration or the catalogue of lines."""

from __future__ import annotations

import rules
from django.contrib.auth.models import AbstractBaseUser, AnonymousUser

from rigs.models import Contributor, Rig
from rigs.refusals import Forbidden

Account = AbstractBaseUser | AnonymousUser
is_moderator = rules.is_group_member("moderators")


@rules.predicate
def owns_rig(user: Account, rig: Rig) -> bool:
    """Whether the rig is this user's own."""
    return rig.owner.user_id == user.pk


rules.add_perm("rigs.revise_rig", owns_rig)
rules.add_perm("rigs.calibrate_rig", owns_rig)
rules.add_perm("rigs.locate_rig", owns_rig | is_moderator)
rules.add_perm("rigs.accept_line", is_moderator)


def contributor_of(user: Account) -> Contributor:
    """The tester behind an account. Raises Forbidden where the account has no profile."""
    contributor = Contributor.objects.filter(user_id=user.pk).first() if user.pk else None
    if contributor is None:
        raise Forbidden("This account has no contributor profile, so it can't submit.")
    return contributor
