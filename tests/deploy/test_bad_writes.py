"""What the database itself refuses, also to its administrator: each write is tried by plain SQL.

PostgreSQL refuses all. SQLite, which is for one machine and not for the public, has no triggers,
and refuses those that a check or a key of the one table can refuse.
"""

import re
from dataclasses import dataclass
from datetime import date

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.db import IntegrityError, connection, transaction
from django.db.migrations.loader import MigrationLoader
from django.utils import timezone

from results import intake
from results.accounts.erase import erase_row
from results.intake.amend import withdraw
from results.jobs.queue import enqueue
from results.models import Pool, PullSet, Release, ReleasePart, TraceMonth, audit_chain
from results.review import suspend
from results.review.decisions import answer, decide
from results.worker import embedded
from rigs.correcting import void_calibration
from rigs.kept_rows import KeepRows, KeepTable
from tests import making
from tests.results.test_closing_at_once import document


@dataclass(frozen=True)
class Write:
    """A write that must not be taken; ``everywhere`` where SQLite refuses it as well."""

    what: str
    sql: str
    everywhere: bool = False


_PULL = "UPDATE results_pull SET {} WHERE id = (SELECT MIN(id) FROM results_pull)"
_CHANGE = "UPDATE results_statechange SET {} WHERE id = (SELECT MAX(id) FROM results_statechange)"
_VERSION = "UPDATE results_poolversion SET {} WHERE id = (SELECT MIN(id) FROM results_poolversion)"
_SESSION = "UPDATE results_session SET {} WHERE id = {{session}}"
_NORMALISED = "UPDATE results_normalisedset SET {} WHERE pull_set_id = {{pull_set}}"
_NEW_MEMBER = (
    "INSERT INTO results_poolmembership (pool_id, pull_set_id, since_id, until_id) "
    "VALUES ({pool}, {pull_set}, {version}, NULL)"
)
_AS_SESSION = (
    "INSERT INTO results_session (contributor_id, revision_id, pulled_on, state, loading, unit, "
    "note, version, standing, standing_reason, fingerprint, received_at) SELECT contributor_id, "
    "{}, {}, state, loading, unit, note, version, standing, standing_reason, 'twin', received_at "
    "FROM results_session WHERE id = {{session}}"
)

WRITES = (
    Write("a reading that is no number", _PULL.format("\"reading_N\" = 'NaN'"), everywhere=False),
    Write("an infinite reading", _PULL.format('"reading_N" = {infinite}'), everywhere=True),
    Write("a reading changed", _PULL.format('"reading_N" = 61.5')),
    Write("a reading as written changed", _PULL.format("reading_written = '61.5'")),
    Write("another failure mode", _PULL.format("failure_mode = 'slip'")),
    Write("a failure mode that there is not", _PULL.format("failure_mode = 'cut'"), True),
    Write("another unit", _PULL.format("unit = 'kgf'")),
    Write("a pull given to another set", _PULL.format("number = 77")),
    Write("a pull deleted", "DELETE FROM results_pull WHERE pull_set_id = {pull_set}"),
    Write("other bytes", "UPDATE results_upload SET body = {bytes} WHERE session_id = {session}"),
    Write(
        "another sum of the bytes",
        "UPDATE results_upload SET sha256 = 'ab' WHERE session_id = {session}",
    ),
    Write("an upload deleted", "DELETE FROM results_upload WHERE session_id = {session}"),
    Write(
        "an upload of another's session",
        "INSERT INTO results_upload (contributor_id, session_id, content_type, body, sha256, "
        "received_at) SELECT {other}, {bare}, content_type, body, sha256, received_at "
        "FROM results_upload WHERE session_id = {session}",
    ),
    Write(
        "an upload whose sum is another's",
        "INSERT INTO results_upload (contributor_id, session_id, content_type, body, sha256, "
        "received_at) SELECT contributor_id, {bare}, content_type, body, 'ab', received_at "
        "FROM results_upload WHERE session_id = {session}",
    ),
    Write("a decision deleted", "DELETE FROM results_statechange WHERE by_id IS NOT NULL"),
    Write("a decision with another reason", _CHANGE.format("reason = 'it was good'")),
    Write("a decision of somebody else", _CHANGE.format("by_id = {admin}")),
    Write("a decision on another day", _CHANGE.format("at = '2020-01-01 00:00:00+00:00'")),
    Write("a step that there is not", _CHANGE.format("to_state = 'received'"), True),
    Write(
        "a change of state that skips a decision",
        "INSERT INTO results_statechange (pull_set_id, from_state, to_state, reason, at) "
        "VALUES ({pull_set}, 'rejected', 'pooled', '', '2026-01-10 00:00:00+00:00')",
        True,
    ),
    Write("a message rewritten", "UPDATE results_message SET text = 'all is well'"),
    Write("a message deleted", "DELETE FROM results_message"),
    Write("an erasure rewritten", "UPDATE results_erasure SET reason = 'none'"),
    Write("an erasure deleted", "DELETE FROM results_erasure"),
    Write("a link of the chain changed", "UPDATE results_auditlink SET hash = 'ab'"),
    Write("a link of the chain deleted", "DELETE FROM results_auditlink"),
    Write("a check's figure changed", "UPDATE results_checkresult SET figure = 0.5"),
    Write("a check deleted", "DELETE FROM results_checkresult"),
    Write("a version's figure changed", _VERSION.format("efficiency = 0.99")),
    Write("a version's figure infinite", _VERSION.format("efficiency = {infinite}"), True),
    Write(
        "an interval upside down",
        _VERSION.format("interval_low = 0.9, interval_high = 0.8"),
        True,
    ),
    Write("a version's counts changed", _VERSION.format("testers = 0")),
    Write("a version of more testers than sets", _VERSION.format("testers = 99"), True),
    Write("a version deleted", "DELETE FROM results_poolversion"),
    Write("a pool of another join", "UPDATE results_pool SET doubled = TRUE WHERE id = {pool}"),
    Write(
        "a pool that shows another pool's version",
        "UPDATE results_pool SET current_id = {foreign} WHERE id = {pool}",
    ),
    Write(
        "a withdrawn set pooled",
        "UPDATE results_pullset SET state = 'pooled' WHERE id = {withdrawn}",
    ),
    Write(
        "a pooled set as if just received",
        "UPDATE results_pullset SET state = 'received' WHERE id = {pull_set}",
    ),
    Write("a set tied otherwise", "UPDATE results_pullset SET doubled = TRUE"),
    Write(
        "a set of another session",
        "UPDATE results_pullset SET session_id = {bare}, label = 'x' WHERE id = {pull_set}",
    ),
    Write(
        "a set that counts in two pools",
        _NEW_MEMBER.replace("{pool}", "{beside}").replace("{version}", "{foreign}"),
        True,
    ),
    Write(
        "a set counted since another pool's version",
        _NEW_MEMBER.replace("{version}", "{foreign}").replace("{pull_set}", "{withdrawn}"),
    ),
    Write("a membership deleted", "DELETE FROM results_poolmembership"),
    Write(
        "a membership that ends in another pool",
        "UPDATE results_poolmembership SET until_id = {foreign} WHERE pull_set_id = {pull_set}",
    ),
    Write(
        "a membership that ended and goes on",
        "UPDATE results_poolmembership SET until_id = NULL WHERE pull_set_id = {withdrawn}",
    ),
    Write("a session on another's rig", _AS_SESSION.format("{theirs}", "pulled_on")),
    Write("a session of the year 2999", _AS_SESSION.format("revision_id", "'2999-01-01'")),
    Write("a session moved to another rig", _SESSION.format("revision_id = {theirs}")),
    Write("a session of another day", _SESSION.format("pulled_on = '2026-01-09'")),
    Write("a session of the year 1900", _SESSION.format("pulled_on = '1900-01-01'"), True),
    Write(
        "a withdrawn session current again",
        "UPDATE results_session SET standing = 'current' WHERE standing = 'withdrawn'",
    ),
    Write("a session deleted", "DELETE FROM results_session WHERE id = {bare}"),
    Write("a baseline of another spool", "UPDATE results_baseline SET spool = 'from Hilda'"),
    Write("an efficiency that is infinite", _NORMALISED.format("efficiency = {infinite}"), True),
    Write("an infinite missed peak", _NORMALISED.format("missed_peak_log = {infinite}"), True),
    Write("an efficiency below nothing", _NORMALISED.format("efficiency = -0.4"), True),
    Write("more pulls counted than there are", _NORMALISED.format("counted = 900"), True),
    Write("a set against another's straight line", _NORMALISED.format("baseline_id = {straight}")),
    Write("a calibration's gain changed", "UPDATE rigs_calibration SET gain = 2.0"),
    Write("a calibration's gain infinite", "UPDATE rigs_calibration SET gain = {infinite}", True),
    Write(
        "a voided calibration current",
        "UPDATE rigs_calibration SET standing = 'current' WHERE standing = 'voided'",
    ),
    Write("a calibration's end deleted", "DELETE FROM rigs_calibrationchange"),
    Write("a suspension deleted", "DELETE FROM rigs_suspension"),
    Write("another reason of a suspension", "UPDATE rigs_suspension SET reason = 'none'"),
    Write("a release's sum changed", "UPDATE results_release SET sha256 = 'ab'"),
    Write("a part of a release deleted", "DELETE FROM results_releasepart"),
    Write("a month of traces deleted", "DELETE FROM results_tracemonth"),
    Write("another month of traces", "UPDATE results_tracemonth SET month = '2026-02-01'"),
)


@pytest.fixture
def world(owner, other, moderator) -> dict[str, object]:
    """Two testers, a pool of two versions and another, and one of each thing decided."""
    admin = User.objects.create_superuser("keeper")
    bench, theirs = making.revision_of(owner), making.revision_of(other)
    making.line("thin"), making.line("thick", label_N=180), making.connection("Blood")
    void_calibration(owner.user, making.calibrate(bench, gain=1.0, offset_N=0.0), "a slip")
    sent = [
        intake.receive(owner, document("shed winch", day), intake.JSON, None).session
        for day in (10, 11)
    ]
    bare = making.session(bench)
    foreign = making.session(theirs)
    straight = making.straight(foreign, making.line("thin"))
    wire = making.line("wire", material="knottable wire trace")
    making.joined(foreign, making.line("thin"), wire, [80.0, 84.0, 83.0, 82.0, 81.0])
    enqueue(foreign)
    embedded.drain()
    withdraw(sent[1], owner, "the scale stuck")
    embedded.drain()
    kept = PullSet.objects.filter(session=sent[0]).order_by("pk")
    decide(by=moderator.user, pull_set=kept[1], decision="hold", reason="which spool?")
    answer(by=owner.user, pull_set=kept[1], text="the second")
    suspend.suspend(by=moderator.user, contributor=other, reason="too many at once")
    erase_row(kept[2], by=admin, reason="names a neighbour", only=["note"])
    made = Release.objects.create(state="made", number=1, sha256="ab" * 32)
    ReleasePart.objects.create(release=made, number=0, body=b"archive")
    TraceMonth.objects.create(
        month=date(2026, 1, 1), written_at=timezone.now(), traces=0, samples=0, bytes=0
    )
    audit_chain.seal()
    pool = Pool.objects.get(memberships__pull_set=kept[0])
    beside = Pool.objects.exclude(pk=pool.pk).get()
    return {
        "admin": admin.pk,
        "other": other.pk,
        "session": sent[0].pk,
        "bare": bare.pk,
        "theirs": theirs.pk,
        "straight": straight.pk,
        "pull_set": kept[0].pk,
        "withdrawn": PullSet.objects.filter(session=sent[1]).first().pk,
        "pool": pool.pk,
        "version": pool.current_id,
        "beside": beside.pk,
        "foreign": beside.current_id,
        "infinite": "'Infinity'" if connection.vendor == "postgresql" else "9e999",
        "bytes": "'\\x7b7d'" if connection.vendor == "postgresql" else "x'7b7d'",
    }


def kept_by(kind: type[KeepRows | KeepTable]) -> dict[str, set[str]]:
    """Tables that the migrations keep, with the columns that they had then."""
    loader = MigrationLoader(None)
    kept: dict[str, set[str]] = {}
    for key in sorted(loader.disk_migrations):
        for operation in loader.disk_migrations[key].operations:
            if isinstance(operation, kind):
                model = loader.project_state(key).apps.get_model(key[0], operation.model_name)
                kept[model._meta.label] = {each.column for each in model._meta.concrete_fields}
    return kept


def test_a_table_whose_rows_are_kept_is_not_emptied_either():
    assert kept_by(KeepTable).keys() == kept_by(KeepRows).keys(), "KeepTable goes with KeepRows"


def test_a_column_added_to_history_is_kept_as_well():
    kept = kept_by(KeepRows)
    now = {
        label: {each.column for each in apps.get_model(label)._meta.concrete_fields}
        for label in kept
    }
    assert now == kept, "repeat KeepRows in the migration that adds the column"
    assert len(kept) >= 20


def is_refused(sql: str) -> bool:
    """Try it; whether the database refused it, at once or before it would have been committed."""
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                # No table is emptied while checks of its rows are still to come.
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE; SET CONSTRAINTS ALL DEFERRED")
            cursor.execute(sql)
            rows = cursor.rowcount
            if connection.vendor == "postgresql":
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            transaction.set_rollback(True)
    except IntegrityError:
        return True
    assert rows, f"the world has no row for: {sql}"
    return False


def test_the_database_refuses_each_bad_write_by_itself(world):
    everything = connection.vendor == "postgresql"
    tables = [apps.get_model(label)._meta.db_table for label in kept_by(KeepRows)]
    emptied = [Write(f"{table} emptied", f"TRUNCATE {table} CASCADE") for table in tables]
    tried = [write for write in (*WRITES, *emptied) if everything or write.everywhere]
    taken = [
        write.what
        for write in tried
        if not is_refused(re.sub(r"\{(\w+)\}", lambda found: str(world[found[1]]), write.sql))
    ]
    assert taken == []
    assert len(WRITES) >= 34
