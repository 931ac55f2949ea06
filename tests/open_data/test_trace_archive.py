"""The archive of traces: a month is written once, and only what is withdrawn ever leaves it."""

import csv
import hashlib
import io
import json
import re
import shutil
import subprocess
import sys
import tracemalloc
from datetime import UTC, date, datetime, timedelta
from unittest.mock import patch

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from django.test import Client
from django.utils import timezone

from results.intake import amend
from results.intake.traces import samples_of
from results.models import (
    ArchivedTrace,
    Pull,
    PullSet,
    Screening,
    Session,
    Trace,
    TraceMonth,
    TraceMonthPart,
)
from results.open_data import trace_months, traced
from results.open_data.datapackage import WORDS
from rigs.metrology.traces.encoding import encode
from rigs.metrology.units import FORCE_UNITS
from tests import making
from tests.people import contributor

pytestmark = pytest.mark.usefixtures("planted_past")

IN_MAY = datetime(2026, 5, 10, 12, tzinfo=UTC)
IN_JUNE, IN_JULY = datetime(2026, 6, 1, 0, 5, tzinfo=UTC), datetime(2026, 7, 9, tzinfo=UTC)
MAY, JUNE = "traces-2026-05.parquet", "traces-2026-06.parquet"


@pytest.fixture
def league(transactional_db):
    """Four testers of one join in May, as screening left them; the pulls of three were recorded,
    straight line too."""
    thin, thick = making.line("thin"), making.line("thick", label_N=180)
    sets = []
    for number, unit in enumerate(("N", "lbf", "kgf", None)):
        session = making.session(making.revision_of(contributor(f"tester {number}")))
        baseline = making.straight(session, thin, (98.0, 101.0, 99.5))
        made = making.joined(session, thin, thick, (80.0, 84.0, 83.0, 82.0))
        PullSet.objects.filter(pk=made.pk).update(state="pooled")
        Screening.objects.create(session=session)
        for pull in (*baseline.pulls.all(), *made.pulls.all()) if unit else ():
            making.traced(pull, unit=unit, decimals=2 + number)
        sets.append(made)
    Session.objects.update(received_at=IN_MAY)
    return sets


def write(at: datetime) -> None:
    with patch.object(timezone, "now", lambda: at):
        trace_months.write_what_is_due()


def fetched(name: str) -> bytes:
    answer = Client().get(f"/open-data/traces/{name}")
    assert answer.status_code == 200, name
    return b"".join(answer.streaming_content)


def rows_of(name: str) -> list[dict]:
    return pq.read_table(io.BytesIO(fetched(name))).to_pylist()


def taken_out() -> list[tuple[str, int]]:
    rows = csv.DictReader(io.StringIO(fetched("taken-out.csv").decode()))
    return [(row["month"], int(row["pull"])) for row in rows]


def test_a_stranger_takes_a_month_alone_and_recomputes_each_pulls_peak(league):
    write(IN_JUNE)
    rows = rows_of(MAY)
    pulls = {pull.pk: pull for pull in Pull.objects.filter(trace__isnull=False)}
    assert {row["pull"] for row in rows} == set(pulls)
    assert len(pulls) > 20
    for row in rows:
        trace = pulls[row["pull"]].trace
        newtons = np.array(row["force_steps"]) / 10 ** row["force_decimals"] * row["unit_N"]
        assert newtons.max() == pytest.approx(row["peak_N"], rel=1e-12)
        assert row["peak_N"] == trace.peak_N
        assert row["samples"] == len(row["time_ticks"]) == len(newtons)
        part = pulls[row["pull"]].pull_set or pulls[row["pull"]].baseline
        belongs = row["pull_set"] or row["baseline"], row["session"]
        assert belongs == (part.pk, part.session_id)


def test_every_sample_is_there_to_the_digit_as_it_was_written(league):
    write(IN_JUNE)
    for row in rows_of(MAY):
        time_s, force = samples_of(Trace.objects.get(pk=row["pull"]))
        assert [one / 10 ** row["force_decimals"] for one in row["force_steps"]] == force
        first = time_s[0]
        since = [one / 10 ** row["time_decimals"] for one in row["time_ticks"]]
        assert since == pytest.approx([one - first for one in time_s], abs=1e-9)


def test_when_a_pull_was_recorded_does_not_show(league):
    """Neither by a clock that counts from midnight nor by the moment that it began."""
    trace = Trace.objects.first()
    time_s, force = (np.array(each) for each in samples_of(trace))
    late = encode(time_s + 43_215.5, force, trace.step)
    Trace.objects.filter(pk=trace.pk).update(samples=late, started_at=IN_MAY)
    write(IN_JUNE)
    row = rows_of(MAY)[0]
    assert (row["pull"], row["time_ticks"][0]) == (trace.pk, 0)
    assert not any("at" in name.split("_") for name in row)


def test_sums_and_sizes_named_beside_a_month_are_those_of_its_file(league):
    write(IN_JUNE)
    body = fetched(MAY)
    digest = hashlib.sha256(body).hexdigest()
    assert fetched("SHA256SUMS.txt").decode() == f"{digest}  {MAY}\n"
    descriptor = json.loads(fetched("datapackage.json"))
    [resource] = descriptor["resources"]
    assert (resource["path"], resource["bytes"]) == (MAY, len(body))
    assert resource["hash"] == f"sha256:{digest}"
    described = [field["name"] for field in resource["schema"]["fields"]]
    assert described == pq.read_schema(io.BytesIO(body)).names
    page = Client().get("/open-data/traces/").content.decode()
    assert digest in page
    for name in (MAY, "SHA256SUMS.txt", "datapackage.json", "taken-out.csv", *described):
        assert name in page


def test_a_month_is_written_once_and_takes_up_what_no_month_has(league):
    write(IN_MAY)
    assert not TraceMonth.objects.exists()
    write(IN_JUNE)
    before = fetched(MAY)
    late = league[3].pulls.first()
    making.traced(late)
    write(IN_JUNE + timedelta(days=3))
    assert [month.month for month in TraceMonth.objects.all()] == [date(2026, 5, 1)]
    write(IN_JULY)
    assert fetched(MAY) == before
    assert [row["pull"] for row in rows_of(JUNE)] == [late.pk]
    write(IN_JULY + timedelta(days=40))
    assert TraceMonth.objects.count() == 2


def test_what_is_not_public_waits_until_it_is(league):
    """As in the tables: nothing of a held set, nor of a session that was not looked at."""
    held = league[0]
    PullSet.objects.filter(pk=held.pk).update(state="held")
    write(IN_JUNE)
    assert held.session_id not in {row["session"] for row in rows_of(MAY)}
    PullSet.objects.filter(pk=held.pk).update(state="released")
    write(IN_JULY)
    assert {row["session"] for row in rows_of(JUNE)} == {held.session_id}


def test_a_withdrawn_session_leaves_its_month_and_every_other_row_stays(league):
    write(IN_JUNE)
    before, tag = rows_of(MAY), Client().head(f"/open-data/traces/{MAY}")["ETag"]
    session = league[1].session
    amend.withdraw(session, session.contributor, "the scale stuck")
    write(IN_JUNE + timedelta(hours=1))
    gone = {row["pull"] for row in before if row["session"] == session.pk}
    assert gone
    assert rows_of(MAY) == [row for row in before if row["pull"] not in gone]
    assert taken_out() == [("2026-05", pull) for pull in sorted(gone)]
    assert TraceMonth.objects.get().edition == 2
    assert Client().head(f"/open-data/traces/{MAY}")["ETag"] != tag
    assert not ArchivedTrace.objects.filter(trace__in=gone).exists()
    written_at = TraceMonth.objects.get().written_at
    write(IN_JUNE + timedelta(hours=2))
    assert TraceMonth.objects.get().written_at == written_at


def test_a_month_of_which_everything_was_withdrawn_is_still_a_file(league):
    write(IN_JUNE)
    for each in league[:3]:
        amend.withdraw(each.session, each.session.contributor, "the scale stuck")
    write(IN_JUNE + timedelta(hours=1))
    assert rows_of(MAY) == []
    assert len(taken_out()) == Trace.objects.count()


def test_a_rejected_or_corrected_set_stays_in_its_month(league):
    write(IN_JUNE)
    before = fetched(MAY)
    PullSet.objects.filter(pk=league[0].pk).update(state="rejected")
    Session.objects.filter(pk=league[1].session_id).update(standing=Session.Standing.REPLACED)
    write(IN_JUNE + timedelta(hours=1))
    assert fetched(MAY) == before


class Killed(BaseException):
    """As a process that is killed: nothing in the code catches it."""


def test_a_run_that_is_killed_halfway_leaves_no_half_month(league, monkeypatch):
    def killed(*_at):
        raise Killed

    for place in ("_store_parts", "sha256_of", "write_traces"):
        with monkeypatch.context() as patched:
            patched.setattr(trace_months, place, killed)
            with pytest.raises(Killed):
                write(IN_JUNE)
        assert not TraceMonth.objects.exists()
        assert not ArchivedTrace.objects.exists()
        assert not TraceMonthPart.objects.exists()
    write(IN_JUNE)
    before = fetched(MAY)
    amend.withdraw(league[1].session, league[1].session.contributor, "the scale stuck")
    with monkeypatch.context() as patched:
        patched.setattr(trace_months, "_store_parts", killed)
        with pytest.raises(Killed):
            write(IN_JUNE + timedelta(hours=1))
    assert fetched(MAY) == before
    write(IN_JUNE + timedelta(hours=1))
    assert fetched(MAY) != before


def test_two_that_write_a_month_at_once_make_one(league, monkeypatch):
    make = trace_months._make

    def and_the_other_is_quicker(traces, folder):
        made = make(traces, folder)
        monkeypatch.setattr(trace_months, "_make", make)
        trace_months.write_what_is_due()
        return made

    for at in (IN_JUNE, IN_JUNE + timedelta(hours=1)):
        monkeypatch.setattr(trace_months, "_make", and_the_other_is_quicker)
        write(at)
        month = TraceMonth.objects.get()
        assert month.traces == ArchivedTrace.objects.count() == len(rows_of(MAY))
        if at == IN_JUNE:
            amend.withdraw(league[1].session, league[1].session.contributor, "the scale stuck")
    assert month.edition == 2


def test_a_reader_never_gets_pieces_of_two_editions(league, monkeypatch):
    monkeypatch.setattr("results.open_data.kept.PART_BYTES", 1000)
    monkeypatch.setattr("results.open_data.trace_files.PART_BYTES", 1000)
    write(IN_JUNE)
    pieces = iter(Client().get(f"/open-data/traces/{MAY}").streaming_content)
    next(pieces)
    amend.withdraw(league[1].session, league[1].session.contributor, "the scale stuck")
    write(IN_JUNE + timedelta(hours=1))
    with pytest.raises(TraceMonthPart.DoesNotExist):
        list(pieces)


def test_the_versions_do_not_carry_traces_again(league, unpack):
    write(IN_JUNE)
    package = unpack()
    assert not [name for name in package.files if name.startswith("traces")]
    assert "force_steps" in package.files["README.md"].decode()


def example(language: str) -> str:
    [found] = re.findall(rf"```{language}\n(.*?)```", WORDS.read_text(), re.DOTALL)
    return found


def printed_peaks(output: str) -> dict[int, float]:
    lines = [line.split() for line in output.splitlines()]
    return {int(pull): float(newtons) for pull, newtons, _seconds in lines}


def test_the_example_in_python_reads_a_month(league, tmp_path):
    write(IN_JUNE)
    (tmp_path / MAY).write_bytes(fetched(MAY))
    (tmp_path / "read.py").write_text(example("python"))
    command = [sys.executable, "read.py", MAY]
    ended = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    expected = dict(Trace.objects.values_list("pk", "peak_N"))
    assert printed_peaks(ended.stdout) == pytest.approx(expected, rel=1e-12)


HAS_ARROW = (
    shutil.which("Rscript") is not None
    and subprocess.run(
        ["Rscript", "-e", "quit(status = !requireNamespace('arrow', quietly = TRUE))"],
        check=False,
        capture_output=True,
    ).returncode
    == 0
)


def test_the_example_in_r_is_a_program(tmp_path):
    (tmp_path / "read.R").write_text(example("r"))
    command = ["Rscript", "-e", "stopifnot(length(parse('read.R')) == 2)"]
    subprocess.run(command, cwd=tmp_path, check=True)


@pytest.mark.skipif(not HAS_ARROW, reason="R's arrow is not installed")
def test_the_example_in_r_reads_a_month(league, tmp_path):
    write(IN_JUNE)
    (tmp_path / MAY).write_bytes(fetched(MAY))
    (tmp_path / "read.R").write_text(example("r"))
    command = ["Rscript", "read.R", MAY]
    ended = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    expected = dict(Trace.objects.values_list("pk", "peak_N"))
    assert printed_peaks(ended.stdout) == pytest.approx(expected, rel=1e-12)


def recorded(rng, samples: int, *, samples_per_s: float, noise: float, decimals: int) -> Trace:
    """A trace that rises by a power law, with white noise and a tail of drift: no recorder here."""
    clock_s = np.arange(samples) / samples_per_s
    rise = np.clip((clock_s - clock_s[-1] / 10) / (clock_s[-1] * 0.8), 0, None)
    force = np.where(rise < 1, 90 * rise**1.4, 0) + noise * rng.standard_normal(samples)
    step = 10.0**-decimals
    coded = encode(np.round(clock_s, 4), np.round(force, decimals), step)
    pull = Pull(pk=1, pull_set=PullSet(pk=1, session_id=1))
    return Trace(pull=pull, samples=coded, unit="N", step=step, peak_N=float(force.max()))


@pytest.mark.parametrize(
    "recorder",
    [
        {"samples_per_s": 80.0, "noise": 0.05, "decimals": 2},
        {"samples_per_s": 10.0, "noise": 0.4, "decimals": 1},
        {"samples_per_s": 1000.0, "noise": 0.3, "decimals": 2},
        {"samples_per_s": 80.0, "noise": 0.3, "decimals": 3},
    ],
)
def test_a_sample_takes_at_most_two_bytes(monkeypatch, tmp_path, recorder):
    rng = np.random.default_rng(20260531)
    rows = [recorded(rng, 2000, **recorder) for _ in range(100)]
    path = tmp_path / MAY
    monkeypatch.setattr(FakeTraces, "rows", rows)
    written = traced.write_traces(FakeTraces(), path)
    assert written.samples == 200_000
    assert path.stat().st_size / written.samples <= 2.0


class FakeTraces:
    """Rows as a query hands them out, without a store of a million samples."""

    rows: tuple = ()

    def select_related(self, *_paths):
        return self

    order_by = select_related

    def iterator(self, _batch):
        return iter(self.rows)


def test_memory_does_not_grow_with_the_month(monkeypatch, tmp_path):
    """Five times the traces in five times the row groups: neither Arrow nor Python holds more."""
    rng = np.random.default_rng(20260601)
    few = [recorded(rng, 2000, samples_per_s=80.0, noise=0.1, decimals=2) for _ in range(50)]
    monkeypatch.setattr(traced, "SAMPLES_AT_ONCE", 50_000)
    held: list[int] = []
    batch = traced._batch

    def weighed(rows):
        held.append(pa.total_allocated_bytes() + tracemalloc.get_traced_memory()[1])
        return batch(rows)

    monkeypatch.setattr(traced, "_batch", weighed)
    most = {}
    for times in (2, 10):
        monkeypatch.setattr(FakeTraces, "rows", few * times)
        held.clear()
        tracemalloc.start()
        traced.write_traces(FakeTraces(), tmp_path / MAY)
        tracemalloc.stop()
        assert pq.ParquetFile(tmp_path / MAY).num_row_groups == len(held) == 2 * times
        most[times] = max(held)
    assert most[10] < 1.5 * most[2]


def test_every_unit_of_a_trace_has_its_newtons_beside_it(league):
    write(IN_JUNE)
    units = {row["unit"]: row["unit_N"] for row in rows_of(MAY)}
    assert units == {unit: FORCE_UNITS[unit] for unit in units}
    assert len(units) == 3
