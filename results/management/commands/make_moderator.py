"""Make an account a moderator's: handle, group and desk. A second time it changes nothing."""

from __future__ import annotations

import sys
from getpass import getpass
from typing import Any

from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.urls import reverse

from results.accounts.moderators import make_moderator
from results.accounts.second_factor import lacks_second_factor
from rigs.models import Contributor
from rigs.refusals import Refused


class Command(BaseCommand):
    """Asks for a password where the account is still to be made."""

    help = __doc__ or ""

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="the name that the account signs in with")
        parser.add_argument(
            "--handle", default="", help="where it has none yet: what others see; else the name"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        name = options["name"]
        try:
            with transaction.atomic():
                user = User.objects.filter(username=name).first() or self._new(name)
                lacked = make_moderator(user, options["handle"])
        except Refused as refusal:
            expected = "".join(f" Expected: {each.expected}." for each in refusal.findings)
            raise CommandError(f"{refusal.detail}{expected} See --handle.") from refusal
        now = f"Given: {', '.join(lacked)}." if lacked else "Nothing was lacking."
        self.stdout.write(f"{name} is a moderator. {now}")
        self.stdout.write("\n".join(_next_steps(User.objects.get(pk=user.pk))))

    def _new(self, name: str) -> User:
        if not sys.stdin.isatty():
            raise CommandError(
                f"No account signs in as {name!r}. Run this at a terminal, where it asks for a "
                f"password, or make the account first, at {reverse('account_signup')}."
            )
        user = User(username=name)
        password = getpass(f"No account signs in as {name!r} yet. Password for a new one: ")
        try:
            user.full_clean(exclude=["password"])
            validate_password(password, user)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        if getpass("The same again: ") != password:
            raise CommandError("These are two passwords. Nothing was stored.")
        user.set_password(password)
        user.save()
        return user


def _next_steps(user: User) -> list[str]:
    steps = [f"Sign in as {user.username} at {reverse('account_login')}."]
    if lacks_second_factor(user):
        steps.append(
            f"Set up the second factor at {reverse('mfa_activate_totp')}: without it neither the "
            "desk nor the API lets a moderator in. Tokens from before it end; make new ones."
        )
    if Contributor.objects.get(user=user).licence_agreed_at is None:
        steps.append(f"Agree to the licence of shared data at {reverse('pages:account')}.")
    steps.append(f"Decide at {reverse('admin:results_reviewcase_changelist')}.")
    return ["Next:", *(f"  {number}. {step}" for number, step in enumerate(steps, start=1))]
