"""Unique constraints of every table, and waiting until a request meets one."""

import time
from concurrent.futures import Future
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.models import UniqueConstraint

LONGEST_WAIT_S = 30


_M2M = "added with ON CONFLICT DO NOTHING"
_WORKERS = "written by workers alone, under the lock of the pool or the job"
_OWN = "of rows that one request makes together, of names it has checked to differ"
_ROUND = "made under the lock of its round"
_DRAWN = "drawn at random, and drawn again where it is taken"
OUT_OF_REACH = {
    "auth.Permission.content_type+codename": "made by migrations",
    "auth.Group_permissions.group+permission": _M2M,
    "auth.User_groups.user+group": _M2M,
    "auth.User_user_permissions.user+permission": _M2M,
    "contenttypes.ContentType.app_label+model": "made by migrations",
    "account.EmailConfirmation.key": "drawn at random; links are signed and store no row",
    "rigs.CalibrationReading.calibration_reading_number_is_unique": _OWN,
    "rigs.CalibrationChange.successor": _OWN,
    "results.TieParameter.tie_parameter_is_unique_to_its_connection": _OWN,
    "results.Upload.session": _OWN,
    "results.WaitingSession_proposals.waitingsession+proposal": _M2M,
    "results.Trace.pull": _OWN,
    "results.Baseline.baseline_is_told_once_a_position": _OWN,
    "results.AcceptedName.name_is_accepted_once": _M2M,
    "results.PullSet.pull_set_label_is_unique_to_its_session": _OWN,
    "results.Pool.current": _WORKERS,
    "results.Pool.pool_key_is_unique": _WORKERS,
    "results.PoolVersion.pool_version_is_unique": _WORKERS,
    "results.PoolMembership.set_counts_once_in_a_pool": _WORKERS,
    "results.PoolMembership.set_counts_in_one_pool": _WORKERS,
    "results.DirectComparison.line_pair_is_compared_once": _WORKERS,
    "results.PairReference.pair_has_one_reference": _WORKERS,
    "results.NormalisedSet.pull_set": _WORKERS,
    "results.SeriesShape.pull_set": _WORKERS,
    "results.SeriesShape.baseline": _WORKERS,
    "results.Follow.followed_once": "made under the lock of its contributor",
    "results.Vote.contributor": "made under the lock of its contributor",
    "results.Mailing.contributor": "made under the lock of its contributor",
    "results.Mailing.key": "drawn at random",
    "results.RigScatter.rig_has_one_scatter_a_kind": _WORKERS,
    "results.Round.entry_code": _DRAWN,
    "results.RoundSpecimen.code": _DRAWN,
    "results.RoundLot.round_lot_has_its_number": _ROUND,
    "results.RoundLot.round_lot_is_one_spool": _ROUND,
    "results.RoundSample.round_sample_has_its_number": _ROUND,
    "results.LotPull.lot_pull_has_its_number": _ROUND,
    "results.RoundParticipant.round_is_entered_once_by_a_tester": _ROUND,
    "results.RoundParticipant.round_participant_has_a_number": _ROUND,
    "results.RoundSight.round_is_seen_once": _ROUND,
    "results.RoundSpecimen.round_specimen_is_allocated_once": _ROUND,
    "results.SealedSession.sealed_session_key_is_used_once": _ROUND,
    "results.SealedSession.session": _ROUND,
    "results.RoundReport.round_report_has_its_number": _ROUND,
    "results.RoundSet.pull_set": _OWN,
    "results.ReviewCase.pull_set": "made under the lock of its set",
    "results.Release.number": "numbered by a worker, which makes the later again",
    "results.AuditLink.previous": "by the sweeper alone, and the later of two adds none",
    "results.AuditLink.row_is_sealed_once": "by the sweeper alone",
    "results.TraceMonth.month": "written by a worker, and the later of two gives up",
    "results.TraceMonthPart.trace_month_part_is_unique": "written with its month",
    "results.ArchivedTrace.trace": "written with its month",
    "results.ReleasePart.release_part_is_unique": "written by the one worker that makes it",
}


def constraints() -> set[str]:
    """Every unique constraint but primary keys that the database numbers itself."""
    found = set()
    for model in apps.get_models(include_auto_created=True):
        label = model._meta.label
        for column in model._meta.concrete_fields:
            if column.unique and (not column.primary_key or column.remote_field):
                found.add(f"{label}.{column.name}")
        for together in model._meta.unique_together:
            found.add(f"{label}.{'+'.join(together)}")
        for constraint in model._meta.constraints:
            if isinstance(constraint, UniqueConstraint):
                found.add(f"{label}.{constraint.name}")
    return found


def wait_for_meeting(answer: Future[Any]) -> None:
    """Until the request waits for the rival, or has been answered already."""
    end = time.monotonic() + LONGEST_WAIT_S
    while not answer.done() and time.monotonic() < end:
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
                if cursor.fetchone()[0]:
                    return
        elif time.monotonic() > end - LONGEST_WAIT_S + 1:
            return  # SQLite doesn't show who waits: by now the request has begun
        time.sleep(0.02)
