"""Telling contributors what became of a set: kept for API and pages, mailed where it can be."""

from __future__ import annotations

import smtplib

import structlog
from django.conf import settings
from django.core.mail import send_mail

from results.jobs.after_commit import after_commit
from results.models import Baseline, Notice, PullSet
from rigs.models import Contributor

log = structlog.get_logger(__name__)


OF_A_SET = "There is something new about this set of yours: it is on your bench."
"""What a mail says, which nobody takes back: no names, and nothing of what was written."""


def tell(pull_set: PullSet, text: str, *, baseline: Baseline | None = None) -> Notice:
    """Keep a notice in the caller's transaction; it is mailed once that has committed.

    ``baseline`` is the straight line that it is about, if it is.
    """
    owner = pull_set.session.contributor
    notice = Notice.objects.create(to=owner, pull_set=pull_set, baseline=baseline, text=text)
    if settings.SAMESPOOL_MAIL_FROM and owner.user.email:
        subject = f"Samespool: set {pull_set.pk} of {pull_set.session.pulled_on:%Y-%m-%d}"
        after_commit(_mail, subject, f"{subject}\n\n{OF_A_SET}", owner.user.email)
    return notice


def tell_account(contributor: Contributor, text: str) -> None:
    """Tell a contributor of their account, in the caller's transaction; mailed where it can be.

    Kept with the newest of their sets, since each notice is of one; without any the account page
    alone says it.
    """
    newest = PullSet.objects.filter(session__contributor=contributor).order_by("-pk").first()
    if newest is not None:
        Notice.objects.create(to=contributor, pull_set=newest, text=text)
    if settings.SAMESPOOL_MAIL_FROM and contributor.user.email:
        after_commit(_mail, "Samespool: your account", text, contributor.user.email)


def _mail(subject: str, text: str, address: str) -> None:
    """A mail that can't be sent is logged: the notice itself is kept."""
    try:
        send_mail(subject, text, settings.SAMESPOOL_MAIL_FROM, [address])
    except (OSError, smtplib.SMTPException):
        log.warning("notice not mailed", subject=subject)
