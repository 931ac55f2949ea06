"""An administrator makes accounts: a contributor's, a moderator's, or one that is both."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib.auth.models import Group, User
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.crypto import get_random_string
from django.utils.translation import gettext

from results.accounts.join import take_handle
from rigs.models import Club, Contributor
from rigs.permissions import MODERATORS, is_moderator
from rigs.refusals import Conflict, Finding, Forbidden, Invalid

PASSWORD_LENGTH = 20


@dataclass(frozen=True)
class Person:
    """Who is to be made or given rights: ``handle`` and ``club`` are a contributor's alone.

    A club is given by its name; one that there is not yet is made.
    """

    name: str
    email: str = ""
    handle: str = ""
    contributor: bool = False
    moderator: bool = False
    club: str = ""


@dataclass(frozen=True)
class Made:
    """An account with what it was given; ``password`` is empty where it existed before."""

    user: User
    password: str
    given: tuple[str, ...]


def make_person(by: User, person: Person) -> Made:
    """Make an account, or give an existing one of this name what it lacks; all or nothing.

    A new account gets a random password, which is returned and kept nowhere; a contributor agrees
    to the licence when they first sign in. Locks the account. Raises Forbidden for anyone but an
    administrator, Invalid for a name, address or handle that can't be one or where neither role
    is chosen, and Conflict for a handle of someone else or an account that is closed.
    """
    if not (by.is_active and by.is_superuser):
        raise Forbidden(gettext("Only an administrator makes accounts."))
    if not (person.contributor or person.moderator or person.club.strip()):
        expected = gettext("contributor, moderator or both")
        raise Invalid(
            gettext("Choose what the account is for."),
            [Finding("", "contributor", gettext("neither"), expected)],
        )
    with transaction.atomic():
        user, password = _account(person)
        if not user.is_active:
            raise Conflict(gettext("This account is closed or switched off."))
        given = []
        if person.contributor and not Contributor.objects.filter(user=user).exists():
            handle = take_handle(user, person.handle or person.name).handle
            given.append(gettext("the handle '%(handle)s'") % {"handle": handle})
        if person.club.strip():
            given += _entered_in_club(user, person.club.strip())
        if person.moderator and not is_moderator(user):
            user.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
            given.append(gettext("a moderator's rights"))
    return Made(user, password, tuple(given))


def _entered_in_club(user: User, name: str) -> list[str]:
    """Make a contributor a member of the club of this name, whatever they were a member of."""
    contributor = Contributor.objects.select_for_update(of=("self",)).filter(user=user).first()
    if contributor is None:
        raise Invalid(
            gettext("Only a contributor is a member of a club."),
            [Finding("", "club", name[:20], gettext("nothing, or a contributor"))],
        )
    club = Club.objects.filter(name__iexact=name).first() or Club(name=name)
    try:
        if club.pk is None:
            club.full_clean()
            club.save()
    except ValidationError as error:
        expected = " ".join(error.messages)
        raise Invalid(
            gettext("The club can't be made."), [Finding("", "club", name[:20], expected)]
        ) from None
    if contributor.club_id == club.pk:
        return []
    contributor.club = club
    contributor.save(update_fields=["club"])
    return [gettext("membership of %(club)s") % {"club": club.name}]


def _account(person: Person) -> tuple[User, str]:
    """The account of this name, locked, or a new one with its password."""
    found = User.objects.select_for_update().filter(username=person.name).first()
    if found is not None:
        return found, ""
    password = get_random_string(PASSWORD_LENGTH)
    user = User(username=person.name, email=person.email)
    user.set_password(password)
    try:
        user.full_clean()
        with transaction.atomic():
            user.save()
    except ValidationError as error:
        findings = [
            Finding("", field if field == "email" else "name", "", " ".join(texts))
            for field, texts in error.message_dict.items()
        ]
        raise Invalid(gettext("This account can't be made."), findings) from None
    except IntegrityError:
        raise Conflict(gettext("Someone else has just taken this name: choose another.")) from None
    return user, password
