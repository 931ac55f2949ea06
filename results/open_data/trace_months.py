"""The archive of traces: a Parquet file a month, written once.

A month is written when it has ended, with every trace that is public by then and in no month
before. It never changes after, but for what is withdrawn: that is taken out, and the month has
another edition. A run that dies leaves nothing behind, and the next begins again.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import structlog
from django.db import IntegrityError, transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from results.models import ArchivedTrace, Trace, TraceMonth, TraceMonthPart
from results.open_data.kept import one_instant, parts_of, sha256_of
from results.open_data.traced import write_traces
from results.public import rows as public

log = structlog.get_logger(__name__)

LONGEST_S = 6 * 3600
"""Of one run."""
AT_ONCE = 5000


def write_what_is_due() -> None:
    """Take out what was withdrawn, then write the month that has ended, if there is anything."""
    for month in _with_withdrawn():
        _take_out(month)
    ended = _first_of_month(timezone.now())
    last = _first_of_month(ended - timedelta(days=1)).date()
    if TraceMonth.objects.filter(month__gte=last).exists():
        return
    fresh = _not_archived(ended)
    if fresh.exists():
        _write_month(last, fresh)


def _first_of_month(moment: datetime) -> datetime:
    return datetime(moment.year, moment.month, 1, tzinfo=UTC)


def _not_archived(before: datetime) -> QuerySet[Trace]:
    """Traces that a month takes up: public for good, received before it ended, in no other."""
    received = Q(pull__pull_set__session__received_at__lt=before) | Q(
        pull__baseline__session__received_at__lt=before
    )
    return public.archived_traces().filter(received, archived=None)


def _with_withdrawn() -> QuerySet[TraceMonth]:
    """Months with traces that are no longer public."""
    stands = public.public_traces().filter(pk=OuterRef("trace"))
    gone = ArchivedTrace.objects.filter(~Exists(stands)).order_by()
    return TraceMonth.objects.filter(pk__in=gone.values("month"))


@dataclass(frozen=True)
class _Made:
    """A file that was written and is not yet stored."""

    path: Path
    pulls: Sequence[int]
    samples: int

    def columns(self) -> dict[str, object]:
        return {
            "written_at": timezone.now(),
            "traces": len(self.pulls),
            "samples": self.samples,
            "bytes": self.path.stat().st_size,
            "sha256": sha256_of(self.path),
        }


def _make(traces: QuerySet[Trace], folder: str) -> _Made:
    path = Path(folder) / "traces.parquet"
    with one_instant():
        written = write_traces(traces, path)
    return _Made(path, written.pulls, written.samples)


def _write_month(month: date, traces: QuerySet[Trace]) -> None:
    """Write a month that there is not yet. One transaction; of two at once the later gives up."""
    with tempfile.TemporaryDirectory(prefix="samespool-") as folder:
        made = _make(traces, folder)
        try:
            with transaction.atomic():
                stored = TraceMonth.objects.create(month=month, **made.columns())
                ArchivedTrace.objects.bulk_create(
                    (ArchivedTrace(trace_id=pull, month=stored) for pull in made.pulls),
                    batch_size=AT_ONCE,
                )
                _store_parts(stored, made.path)
        except IntegrityError:
            log.warning("traces of a month written by another", month=f"{month:%Y-%m}")


def _take_out(month: TraceMonth) -> None:
    """Write a month again without what is no longer public. The other rows stay as they are.

    One transaction; of two at once the later changes nothing.
    """
    stands = public.public_traces().filter(archived__month=month)
    with tempfile.TemporaryDirectory(prefix="samespool-") as folder:
        made = _make(stands, folder)
        with transaction.atomic():
            archived = ArchivedTrace.objects.filter(month=month)
            kept = frozenset(made.pulls)
            gone = [pk for pk in archived.values_list("pk", flat=True) if pk not in kept]
            ours = TraceMonth.objects.filter(pk=month.pk, edition=month.edition).update(
                edition=month.edition + 1,
                taken_out=[*month.taken_out, *gone],
                **made.columns(),
            )
            if not ours:
                return
            archived.filter(pk__in=gone).delete()
            TraceMonthPart.objects.filter(month=month).delete()
            month.refresh_from_db()
            _store_parts(month, made.path)


def _store_parts(month: TraceMonth, path: Path) -> None:
    with path.open("rb") as opened:
        for number, body in enumerate(parts_of(opened)):
            TraceMonthPart.objects.create(
                month=month, edition=month.edition, number=number, body=body
            )
