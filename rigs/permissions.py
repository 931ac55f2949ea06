"""Who may do what to a rig, a calibration or the catalogue of lines."""

from __future__ import annotations

from django.contrib.auth.models import AbstractBaseUser, AnonymousUser
from django.utils.translation import gettext
from rules.permissions import add_perm, has_perm
from rules.predicates import is_group_member, predicate

from rigs.models import Contributor, Rig
from rigs.refusals import Forbidden

Account = AbstractBaseUser | AnonymousUser
MODERATORS = "moderators"
"""The group whose members may decide."""
is_moderator = is_group_member(MODERATORS)


@predicate
def owns_rig(user: Account, rig: Rig) -> bool:
    """Whether the rig is this user's own."""
    return rig.owner.user_id == user.pk


add_perm("rigs.revise_rig", owns_rig)
add_perm("rigs.calibrate_rig", owns_rig)
add_perm("rigs.locate_rig", owns_rig | is_moderator)
add_perm("rigs.accept_line", is_moderator)


def may(user: Account, permission: str, of: object = None) -> bool:
    """Whether the rule of this permission holds, for whatever object it is asked of.

    Ask this and never ``user.has_perm``, which says yes to a superuser before any rule is read:
    running the service gives no right to write other people's measurements.
    """
    return bool(has_perm(permission, user, of))


def contributor_behind(user: Account) -> Contributor | None:
    """The tester behind an account; None for a reader, and for an account without a handle."""
    return Contributor.objects.filter(user_id=user.pk).first() if user.pk else None


def contributor_of(user: Account) -> Contributor:
    """The tester behind an account. Raises Forbidden where the account has no profile."""
    contributor = contributor_behind(user)
    if contributor is None:
        raise Forbidden(
            gettext(
                "This account has no handle yet, so it can't submit: choose one on its "
                "page at /account/join/."
            )
        )
    return contributor
