"""`manage.py verify` proves rounds as well: seals, codes, the close and the report."""

from __future__ import annotations

import pytest
from django.db import transaction
from django.utils import timezone

from results.models import (
    Round,
    RoundReport,
    RoundSet,
    RoundSight,
    RoundSpecimen,
    SealedSession,
)
from results.models.audit_chain import seal
from tests.deploy import test_bad_round_writes
from tests.deploy.test_verify import faults, verified
from tests.rewriting import rewriting

world = test_bad_round_writes.world
pytestmark = pytest.mark.django_db


def stored() -> SealedSession:
    return SealedSession.objects.filter(state="stored").order_by("pk").first()


def code_of_an_open_round() -> RoundSpecimen:
    return RoundSpecimen.objects.filter(participant__round__state="open").first()


REWRITTEN = {
    "a seal's bytes": (
        lambda: SealedSession.objects.filter(pk=stored().pk).update(body=b"{}"),
        "its bytes are not those of its sum",
    ),
    "a seal's bytes, gone": (
        lambda: SealedSession.objects.filter(pk=stored().pk).update(body=b""),
        "its bytes are gone, and no erasure says so",
    ),
    "a seal's sum": (
        lambda: SealedSession.objects.filter(pk=stored().pk).update(sha256="0" * 64),
        "results.SealedSession {stored}: is not as it was sealed",
    ),
    "a seal that was not stored": (
        lambda: SealedSession.objects.filter(pk=stored().pk).update(state="sealed"),
        "waits, and its round is closed",
    ),
    "a seal without its session": (
        lambda: SealedSession.objects.filter(pk=stored().pk).update(session=None),
        "is stored, without a session",
    ),
    "a set under another code": (
        lambda: RoundSet.objects.filter(pk=RoundSet.objects.first().pk).update(
            specimen=code_of_an_open_round()
        ),
        "is under a code that did not come with its session",
    ),
    "a code of another sample": (
        lambda: RoundSpecimen.objects.filter(pk=RoundSpecimen.objects.first().pk).update(copy=3),
        "results.RoundSpecimen",
    ),
    "a close on another day": (
        lambda: Round.objects.filter(state="closed").update(closed_at=timezone.now()),
        "results.Round ",
    ),
    "a round open again": (
        lambda: Round.objects.filter(state="closed").update(state="open", closed_at=None),
        "is stored, and its round is not closed",
    ),
    "who has seen the codes": (
        lambda: RoundSight.objects.all().delete(),
        "results.RoundSight",
    ),
    "a figure of a report": (
        lambda: RoundReport.objects.update(report={"sent": 9}),
        "results.RoundReport",
    ),
    "the formulae of a report": (
        lambda: RoundReport.objects.update(formulae=1),
        "results.RoundReport",
    ),
}
"""By what is rewritten: how, and what is said of it."""


def test_whatever_is_rewritten_of_a_round_is_found(world):
    assert seal() > 40
    assert "rounds: no faults\nchain: no faults" in verified("--without-figures")
    missed = {}
    for what, (rewrite, expected) in REWRITTEN.items():
        with transaction.atomic():
            with rewriting():
                rewrite()
            found = faults("--without-figures")
            if not any(expected.format(stored=world["stored"]) in fault for fault in found):
                missed[what] = found
            transaction.set_rollback(True)
    assert missed == {}
