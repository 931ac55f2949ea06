"""Erase what a person wrote: of one account, of all closed ones, or of one row."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.apps import apps
from django.contrib.auth.models import User
from django.core.exceptions import ObjectDoesNotExist
from django.core.management.base import BaseCommand, CommandError

from results.accounts.close import close_account, erase_closed
from results.accounts.erase import erase_row
from rigs.models import Contributor
from rigs.refusals import Refused


class Command(BaseCommand):
    """``erase --by ADMIN --reason WHY`` with ``--account``, ``--closed`` or ``--row``."""

    help = "Erase personal text for good; who, when, why and which rows are kept, never the text."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--by", required=True, help="sign-in name of an administrator")
        parser.add_argument("--reason", required=True, help="for the audit; without the text")
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("--account", type=int, help="number of a contributor: closes the account")
        what.add_argument("--closed", action="store_true", help="accounts closed earlier")
        what.add_argument("--row", nargs=2, metavar=("MODEL", "NUMBER"), help="results.PullSet 12")
        parser.add_argument("--withdraw", action="store_true", help="with --account: its sessions")
        parser.add_argument("--columns", nargs="*", default=[], help="with --row: only these")

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            by = User.objects.get(username=options["by"])
            if options["row"]:
                model, number = options["row"]
                row = apps.get_model(model)._base_manager.get(pk=number)
                erase_row(row, by=by, reason=options["reason"], only=options["columns"])
            elif options["closed"]:
                for contributor in Contributor.objects.exclude(closed_at=None):
                    erase_closed(contributor, by=by, reason=options["reason"])
            else:
                contributor = Contributor.objects.get(pk=options["account"])
                keep = not options["withdraw"]
                close_account(contributor, keep=keep, by=by, reason=options["reason"])
        except Refused as refusal:
            raise CommandError(" ".join([refusal.detail, *map(str, refusal.findings)])) from refusal
        except (ObjectDoesNotExist, LookupError, ValueError) as missing:
            raise CommandError(f"There is none such: {missing}") from missing
        self.stdout.write("Erased. The audit is in the admin, under Erasures.")
