"""Notices to contributors about their sets: stored for API and pages, mailed if possible."""

from __future__ import annotations

import smtplib

import structlog
from django.conf import settings
from django.core.mail import send_mail
from django.utils.translation import gettext, gettext_lazy, override

from results.jobs.after_commit import after_commit
from results.models import Baseline, Notice, PullSet, WaitingSession
from rigs.models import Contributor

log = structlog.get_logger(__name__)


OF_A_SET = gettext_lazy("There is news about one of your sets on your bench.")
"""Text of a mail, which can't be taken back: no names, and nothing that was written."""


OF_THE_CATALOGUE = gettext_lazy("There is news about a session of yours that waits.")
About = Notice.About


def notify_owner(
    pull_set: PullSet,
    text: str,
    *,
    about: Notice.About = About.SET,
    baseline: Baseline | None = None,
    mailed: str = "",
) -> Notice:
    """Store a notice in the caller's transaction; it is mailed once that has committed.

    The mail is in the service's language: the reader's is not known where it is sent.

    ``about`` says where its link leads (see `results.review.notices`); ``baseline`` is the
    straight line that it is about, if any, and leads to its chart; ``mailed`` is what the mail
    says besides, of no person and of nothing that was written.
    """
    owner = pull_set.session.contributor
    notice = Notice.objects.create(
        to=owner,
        about=About.CHART if baseline is not None else about,
        pull_set=pull_set,
        baseline=baseline,
        text=text,
    )
    if settings.SAMESPOOL_MAIL_FROM and owner.user.email:
        with override(settings.LANGUAGE_CODE):
            subject = gettext("Samespool: set %(number)s of %(day)s") % {
                "number": pull_set.pk,
                "day": f"{pull_set.session.pulled_on:%Y-%m-%d}",
            }
            text = "\n\n".join(filter(None, (subject, str(OF_A_SET), mailed)))
        after_commit(_mail, subject, text, owner.user.email)
    return notice


def notify_account(contributor: Contributor, text: str) -> None:
    """Notify a contributor about their account, in the caller's transaction; mailed if possible.

    It names their newest set, if they have one, since version 1 of the API lists notices by set.
    """
    newest = PullSet.objects.filter(session__contributor=contributor).order_by("-pk").first()
    Notice.objects.create(to=contributor, about=About.ACCOUNT, pull_set=newest, text=text)
    if settings.SAMESPOOL_MAIL_FROM and contributor.user.email:
        with override(settings.LANGUAGE_CODE):
            subject = gettext("Samespool: your account")
        after_commit(_mail, subject, text, contributor.user.email)


def notify_waiting(waiting: WaitingSession, text: str) -> Notice:
    """Notify a contributor about a session that waits for the catalogue; mailed if possible."""
    owner = waiting.contributor
    notice = Notice.objects.create(to=owner, about=About.WAITING, waiting=waiting, text=text)
    if settings.SAMESPOOL_MAIL_FROM and owner.user.email:
        with override(settings.LANGUAGE_CODE):
            subject = gettext("Samespool: a session that waits")
            body = f"{subject}\n\n{OF_THE_CATALOGUE}"
        after_commit(_mail, subject, body, owner.user.email)
    return notice


def _mail(subject: str, text: str, address: str) -> None:
    """Mail the notice; a failure is logged, since the notice itself is stored."""
    try:
        send_mail(subject, text, settings.SAMESPOOL_MAIL_FROM, [address])
    except (OSError, smtplib.SMTPException):
        log.warning("notice not mailed", subject=subject)
