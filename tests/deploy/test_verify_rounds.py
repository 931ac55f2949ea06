"""`manage.py verify` proves rounds as well: seals, codes, the close and the report."""

from __future__ import annotations

import copy

import pytest
from django.db import transaction
from django.utils import timezone

from deploy.verifying.rounds import wrong_reports
from results.models import (
    Pull,
    Round,
    RoundReport,
    RoundSet,
    RoundSight,
    RoundSpecimen,
    SealedSession,
)
from results.models.audit_chain import seal
from results.rounds.reporting import sets_of
from results.worker import recomputed_rounds
from results.worker.recomputed_rounds import (
    figures_again,
    loads_of,
    not_following,
    to_be_proven,
)
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


def every_figure(at: tuple, of) -> list[tuple]:
    """The way to each number of a report."""
    if isinstance(of, dict | list):
        inner = of.items() if isinstance(of, dict) else enumerate(of)
        return [way for name, each in inner for way in every_figure((*at, name), each)]
    return [at] if isinstance(of, float) else []


def test_whichever_figure_of_a_report_is_changed_is_found_by_computing_it_again(world, monkeypatch):
    seal()
    assert "reports of rounds: no faults" in verified()
    (made,) = to_be_proven()
    again = figures_again(made.round, loads_of(made.round))
    ways = every_figure((), made.report)
    assert len(ways) > 5
    with monkeypatch.context() as patched:
        patched.setattr(recomputed_rounds, "figures_again", lambda *_asked: again)
        patched.setattr(recomputed_rounds, "loads_of", lambda _round: {})
        for way in ways:
            made.report = changed(again, way)
            (found,) = not_following(made)
            assert found.endswith(str(way[-1])), way
    with transaction.atomic():
        with rewriting():
            RoundReport.objects.filter(pk=made.pk).update(report=changed(again, ways[-1]))
        (fault,) = wrong_reports()
        assert "does not follow from its pulls" in fault.what
        transaction.set_rollback(True)


def changed(report: dict, way: tuple) -> dict:
    """The report with another figure at the end of the way, in its seventh digit."""
    other = copy.deepcopy(report)
    inner = other
    for name in way[:-1]:
        inner = inner[name]
    inner[way[-1]] = inner[way[-1]] * (1 + 1e-6) + 1e-9
    return other


def test_a_pull_rewritten_under_a_report_is_found_by_its_figures(world):
    one = sets_of(Round.objects.get(state="closed")).first()
    with transaction.atomic():
        with rewriting():
            pull = one.pull_set.pulls.first()
            Pull.objects.filter(pk=pull.pk).update(reading_N=pull.reading_N * 1.001)
        assert any(".results[" in fault.what for fault in wrong_reports())
        transaction.set_rollback(True)
