"""Rows from before there were bounds: a store that holds some comes through the migrations."""

from datetime import date

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from results.models import Job, NormalisedSet, Pool, Pull, PullSet, Session, StalePool, StateChange
from results.worker.embedded import drain
from rigs.models import Calibration, RigRevision
from tests import making

pytestmark = pytest.mark.usefixtures("planted_past")

BEFORE = [
    ("rigs", "0005_corrections_of_rigs"),
    ("results", "0019_resolutions_corrected_since"),
]


def back() -> None:
    MigrationExecutor(connection).migrate(BEFORE)


def forward() -> None:
    """To the newest state of both."""
    executor = MigrationExecutor(connection)
    leaves = executor.loader.graph.leaf_nodes()
    executor.migrate([node for node in leaves if node[0] in ("rigs", "results")])


@pytest.fixture
def old_store(owner, transactional_db):
    """Two sound sessions, one with an impossible reading, one of the year 1, a rig as old."""
    revision = making.revision_of(owner)
    made = []
    for day in (date(2026, 1, 10), date(2026, 1, 11), date(2026, 1, 12)):
        session = making.session(revision, pulled_on=day)
        making.straight(session, making.line("thin"))
        making.joined(session, making.line("thin"), making.line("thick", label_N=200), [80, 84, 82])
        Job.objects.create(session=session)
        made.append(session)
    drain()
    back()
    sound, tiny, ancient = made
    pull = Pull.objects.filter(pull_set__session=tiny).first()
    Pull.objects.filter(pk=pull.pk).update(reading_N=1e-320)
    Session.objects.filter(pk=ancient.pk).update(pulled_on=date(1, 1, 1))
    RigRevision.objects.update(made_on=date(1, 1, 1), capacity_N=1e300, resolution_N=1e-300)
    making.calibrate(revision, gain=1, offset_N=0, made_on=date(1, 1, 1))
    yield sound, tiny, ancient, pull
    forward()


def test_what_can_not_be_is_withdrawn_with_its_reason_and_the_rest_stays(old_store):
    sound, tiny, ancient, pull = old_store

    forward()

    for session in (sound, tiny, ancient):
        session.refresh_from_db()
    assert [each.standing for each in (sound, tiny, ancient)] == [
        "current",
        "withdrawn",
        "withdrawn",
    ]
    assert tiny.standing_reason.startswith("It held a reading of 1e-320 N")
    assert ancient.standing_reason.startswith("It held the day 0001-01-01")
    assert ancient.pulled_on == date(1950, 1, 1)
    pull.refresh_from_db()
    assert (pull.failure_mode, pull.reading_N) == ("void", None)
    assert "join: no possible reading" in pull.note
    assert pull.reading_written in pull.note
    assert StateChange.objects.filter(to_state="withdrawn").count() == 2
    assert StalePool.objects.exists()


def test_the_pool_is_then_computed_without_them(old_store):
    sound, *_ = old_store
    # By one column: the old store has none that came later.
    number = NormalisedSet.objects.values_list("pool", flat=True).get(pull_set__session=sound)
    pool = Pool.objects.get(pk=number)
    before = pool.current.number

    forward()
    drain()

    pool.refresh_from_db()
    assert pool.current.number > before
    counting = PullSet.objects.exclude(state="withdrawn")
    assert [each.session_id for each in counting] == [sound.pk]


def test_a_rig_of_the_year_1_is_as_old_as_may_be(old_store):
    forward()

    revision = RigRevision.objects.get()
    assert revision.made_on == Calibration.objects.get().made_on == date(1950, 1, 1)
    assert (revision.capacity_N, revision.resolution_N) == (None, 0.0001)
