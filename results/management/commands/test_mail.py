"""Send a mail to see whether mail goes out: ``manage.py test_mail you@example.org``."""

from __future__ import annotations

import smtplib
from typing import Any

from django.conf import settings
from django.core.mail import send_mail
from django.core.management.base import BaseCommand, CommandError, CommandParser


class Command(BaseCommand):
    """Says which server took it, or why none did."""

    help = __doc__

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("address")

    def handle(self, *_arguments: Any, **options: Any) -> None:
        """Send one, as notices are sent."""
        if not settings.SAMESPOOL_MAIL_FROM:
            raise CommandError("SAMESPOOL_MAIL_FROM is not set: the service sends no mail.")
        server = f"{settings.EMAIL_HOST}:{settings.EMAIL_PORT}"
        text = "This service can send mail."
        try:
            send_mail("Samespool: a test", text, settings.SAMESPOOL_MAIL_FROM, [options["address"]])
        except (OSError, smtplib.SMTPException) as error:
            raise CommandError(f"{server} did not take it: {error}") from error
        self.stdout.write(f"{server} took a mail to {options['address']}.")
