"""What something is called changes no figure and no verdict: things are known by their ids alone.

Every name and label is changed, names of like things are exchanged, and whatever says itself to
people says one and the same word. All numbers have to stay as it was.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from django.apps import apps
from django.db import models

from results.jobs import queue
from results.models import Connection, NormalisedSet, Notice, PoolVersion, PullSet, Session
from results.normalising.reference_line import Specimen
from results.normalising.uncertainty_budget import ADVICE, budgets_of
from results.worker import embedded
from rigs.metrology.budget import Cause
from rigs.models import Club, Contributor, Line, Rig, RigRevision
from tests import making
from tests.people import contributor

pytestmark = pytest.mark.usefixtures("planted_past")

FIRST_DAY = date(2026, 1, 10)
STRAIGHT_N = (98.0, 101.0, 99.0, 102.0, 100.0, 99.5)
FOUR_TURNS_N, TEN_TURNS_N = (60.0, 63.0, 61.0, 62.0), (80.0, 84.0, 81.0, 83.0)
NO_WORDS = ("url", "verdict", "cause", "kind", "evaluation", "state", "signals", "standing")
"""Members whose text is no name: addresses by id, and words of a closed list."""


def _session(revision: RigRevision, day: int, turns: dict[int, tuple[float, ...]], shift=1.0):
    rng = np.random.default_rng(100 * revision.pk + day)
    session = making.session(revision, pulled_on=FIRST_DAY + timedelta(days=day))
    thin, thick = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, thin, [shift * load for load in STRAIGHT_N], spool="A")
    making.straight(session, thick, [190.0, 188.0, 191.0], spool="A")
    for tie in ("Blood", "Albright"):
        for number, readings in turns.items():
            # Readings of another day or join, so that none are copied from one another.
            jitter = rng.normal(0, 0.02, len(readings))
            pulled = [shift * n * (1 + by) for n, by in zip(readings, jitter, strict=True)]
            pull_set = making.joined(session, thin, thick, pulled, tie=tie)
            pull_set.parameters, pull_set.main_spool = {"turns_main": number}, "A"
            pull_set.save()
    queue.enqueue(session)


def _next(revision: RigRevision) -> RigRevision:
    following = RigRevision.objects.get(pk=revision.pk)
    following.pk, following._state.adding = None, True
    following.number, following.made_on = 2, FIRST_DAY + timedelta(days=10)
    following.save()
    return following


@pytest.fixture
def world(db) -> None:
    """Five testers with two joins each, in four turns and in ten; one of them changed the rig."""
    club = Club.objects.create(name="pier club")
    for number, handle in enumerate(("ann", "bob", "cid", "dot", "eve")):
        person = contributor(handle)
        Contributor.objects.filter(pk=person.pk).update(club=club)
        revision = making.revision_of(person, name=f"rig of {handle}")
        making.calibrate(revision, gain=1.01, offset_N=0.5)
        scale = 1 + 0.01 * number
        joins = {
            10: tuple(scale * n for n in TEN_TURNS_N),
            4: tuple(scale * n for n in FOUR_TURNS_N),
        }
        for day in range(2):
            _session(revision, day, joins)
        if number == 0:
            # Four turns before the change, ten turns after it: nothing that could be compared.
            _session(revision, 3, {4: FOUR_TURNS_N}, shift=0.9)
            changed = _next(revision)
            making.calibrate(changed, gain=1.0, offset_N=0.0, made_on=changed.made_on)
            _session(changed, 12, {10: TEN_TURNS_N})
    embedded.drain()


def _sortable(value: Any) -> str:
    return repr(value)


def _numbers(value: Any, member: str = "") -> Any:
    """Whatever is no name: numbers, yes and no, and words of closed lists; lists in one order."""
    if isinstance(value, dict):
        return {name: _numbers(each, name) for name, each in value.items()}
    if isinstance(value, list):
        return sorted((_numbers(each, member) for each in value), key=_sortable)
    if isinstance(value, str):
        return value if member in NO_WORDS or value.startswith("http") else ""
    return value


def _addresses() -> Iterator[str]:
    for rig in Rig.objects.order_by("pk"):
        yield from (f"rigs/{rig.pk}", f"rigs/{rig.pk}/watch", f"rigs/{rig.pk}/bridges")
    for pull_set in PullSet.objects.order_by("pk"):
        yield from (f"pull-sets/{pull_set.pk}", f"pull-sets/{pull_set.pk}/budget")
        yield f"pull-sets/{pull_set.pk}/checks"
    for session in Session.objects.order_by("pk"):
        yield f"sessions/{session.pk}/straight-lines"
    pools = Connection.objects.values_list("pools", flat=True).order_by("pools")
    for pool in pools:
        yield from (f"pools/{pool}", f"pools/{pool}/sets", f"pools/{pool}/tester-effects")
        yield f"pools/{pool}/comparison"
    material = "nylon%20monofilament"
    yield from (f"pools/ranking?main={material}&leader={material}", "pools", "notices")


def numbers_read_by(client) -> dict[str, Any]:
    """Every number that is answered, by its address."""
    answers = {}
    for address in _addresses():
        answer = client.get(f"/api/v1/{address}")
        assert answer.status_code in (200, 404, 409), address
        answers[address] = _numbers(answer.json())
    return answers


def rename_everything(monkeypatch) -> None:
    """Exchange the names of like things, change every label, and let all say one word."""
    for model in (Connection, Line, Rig):
        names = list(model.objects.order_by("pk").values_list("pk", "name"))
        for pk, _ in names:
            model.objects.filter(pk=pk).update(name=f"for a moment {pk}")
        for (pk, _), (_, name) in zip(names, [*names[1:], names[0]], strict=True):
            model.objects.filter(pk=pk).update(name=name)
    for person in Contributor.objects.all():
        Contributor.objects.filter(pk=person.pk).update(handle=f"x{person.pk}")
    for pull_set in PullSet.objects.all():
        PullSet.objects.filter(pk=pull_set.pk).update(label=f"x{pull_set.pk}")
    Club.objects.update(name="x")
    for app in ("rigs", "results"):
        for model in apps.get_app_config(app).get_models():
            monkeypatch.setattr(model, "__str__", lambda _row: "x")
    monkeypatch.setattr(Specimen, "__str__", lambda _specimen: "x")


def work_all_out_again() -> None:
    for session in Session.objects.all():
        queue.enqueue(session)
    embedded.drain()


def test_two_ties_of_one_join_are_not_one_tie_where_the_change_of_a_rig_is_judged(
    world, as_stranger
):
    rig = Rig.objects.get(name="rig of ann")
    [bridge] = as_stranger.get(f"/api/v1/rigs/{rig.pk}/bridges").json()
    sessions = Session.objects.filter(revision__rig=rig)
    pairs = {(one["kind"], one["before"], one["after"]) for one in bridge["comparisons"]}
    last_of_ten, after = sessions.get(pulled_on="2026-01-11"), sessions.get(pulled_on="2026-01-22")
    of_ties = {pair[1:] for pair in pairs if pair[0] == "join"}
    assert of_ties == {
        tuple(f"http://testserver/api/v1/sessions/{each.pk}" for each in (last_of_ten, after))
    }


def test_renaming_everything_moves_no_figure_and_no_verdict(world, as_moderator, monkeypatch):
    before, notices = numbers_read_by(as_moderator), Notice.objects.count()
    assert {tuple(each["verdict"] for each in bridges) for bridges in _bridges(before)} != {()}
    rename_everything(monkeypatch)
    assert numbers_read_by(as_moderator) == before
    assert Notice.objects.count() == notices


def test_what_is_worked_out_again_under_other_names_comes_to_the_same(
    world, as_moderator, monkeypatch
):
    before, sets, versions = _strengths(), _sets(), PoolVersion.objects.count()
    assert Notice.objects.exists()
    notices = Notice.objects.count()
    rename_everything(monkeypatch)
    work_all_out_again()
    assert (_strengths(), _sets()) == (before, sets)
    assert PoolVersion.objects.count() == versions
    assert Notice.objects.count() == notices


def _bridges(answers: dict[str, Any]) -> list[Any]:
    return [answer for address, answer in answers.items() if address.endswith("/bridges")]


def _strengths() -> list[Any]:
    plain = (models.FloatField, models.IntegerField, models.ForeignKey)
    names = [f.attname for f in NormalisedSet._meta.concrete_fields if isinstance(f, plain)]
    return list(NormalisedSet.objects.order_by("pk").values_list(*names))


def _sets() -> list[Any]:
    return list(PullSet.objects.order_by("pk").values_list("pk", "state"))


def test_advice_goes_by_the_cause_and_not_by_the_words_of_a_source(world):
    assert set(ADVICE) == set(Cause)
    budgets = budgets_of(PullSet.objects.select_related("normalised", "session__revision").first())
    rows = tuple(replace(row, source="in other words") for row in budgets.efficiency.rows)
    in_other_words = replace(budgets.efficiency, rows=rows)
    assert replace(budgets, efficiency=in_other_words).advice == budgets.advice
