"""A rig is judged by its own days, and by those of all rigs while it has few."""

import numpy as np
import pytest

from results.models import RigScatter
from results.rig_checks.control_charts import report_signals, series_of
from results.rig_checks.rig_scatter import history_of, priors
from rigs.metrology.day_to_day import LEAST_RIGS, USUAL, Scatter
from tests import making

pytestmark = pytest.mark.django_db


def pulled(revision, factors, line):
    """A session for each factor, of five straight pulls times that."""
    for factor in factors:
        session = making.session(revision)
        making.straight(session, line, [factor * load for load in making.PARTED_STRAIGHT])
        report_signals(session.pk)


def test_each_session_renews_what_all_rigs_are_judged_by(owner):
    revision, line = making.revision_of(owner), making.line("thin")
    pulled(revision, [1.0, 1.001, 0.999], line)
    steady = RigScatter.objects.get(rig=revision.rig)
    assert steady.kind == "straight line"
    assert steady.factor < 0.1
    pulled(revision, [1.06, 0.95], line)
    assert RigScatter.objects.get(rig=revision.rig).factor > 5


def test_two_lines_of_one_day_are_one_comparison(owner):
    revision, lines = making.revision_of(owner), [making.line("thin"), making.line("thick")]
    for factor in (1.0, 1.02, 0.99):
        session = making.session(revision)
        for line in lines:
            making.straight(session, line, [factor * load for load in making.PARTED_STRAIGHT])
        report_signals(session.pk)
    assert RigScatter.objects.get().degrees_of_freedom == pytest.approx(2 * 4 / 5)


def test_without_enough_rigs_the_usual_scatter_is_the_prior_and_then_that_of_all(owner):
    assert priors() == {"straight line": USUAL, "join": USUAL}
    rng = np.random.default_rng(7)
    for number in range(LEAST_RIGS):
        rig = making.revision_of(owner, name=f"rig {number}").rig
        factor = 3 * rng.chisquare(4) / 4
        RigScatter.objects.create(
            rig=rig, kind="straight line", factor=factor, degrees_of_freedom=4.0
        )
    found = priors()
    assert found["join"] == USUAL
    assert found["straight line"].factor == pytest.approx(3, rel=0.5)
    new = making.revision_of(owner, name="new")
    for factor in (1.0, 1.01):
        session = making.session(new)
        making.straight(
            session, making.line("thin"), [factor * load for load in making.PARTED_STRAIGHT]
        )
    [series] = series_of(new.rig)
    assert series.scatter.factor > 1.5, "a rig with two sessions is judged by all rigs"


def test_a_session_is_judged_by_the_scatter_known_before_it():
    prior = Scatter(1.0, 4.0)
    history = history_of({1: [0.0], 2: [0.0, 2.0], 5: [30.0]}, prior)
    assert history.before(0) == history.before(1) == prior
    assert history.before(2).factor < 1
    assert history.before(5) == history.before(4), "nothing of its own"
    assert history.now.factor > 3


def test_all_rigs_are_asked_in_one_query(owner, django_assert_num_queries):
    making.revision_of(owner)
    with django_assert_num_queries(1):
        priors()
