"""What an operator does, or the clock: a clock that jumps, a new release, a backup restored."""

from __future__ import annotations

import dataclasses
import os
import signal
import struct
import subprocess
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from deploy.backups import back_up, restore
from deploy.benchmarks.faults.bench import Bench
from deploy.benchmarks.faults.cutting import under_load
from deploy.benchmarks.faults.servers import DATABASE
from deploy.benchmarks.faults.service import Service, copy_program
from deploy.tools.processes import free_port

HOUR_S = 3600
WATCHED_S = 5.0
NEXT_COLUMN = """
    weather = models.CharField(max_length=40, blank=True, db_default="")
"""
NEXT_MIGRATION = """
from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations, models


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("results", "{latest}")]
    operations = [
        migrations.AddField(
            "session", "weather", models.CharField(max_length=40, blank=True, db_default="")
        ),
        AddIndexConcurrently("session", models.Index(fields=["weather"], name="by_weather")),
    ]
"""


def clock_jumps(by_s: int, bench: Bench) -> None:
    """The clock of web and worker jumps under them, and back; the database keeps its own."""
    moved, file = _movable_clock(bench.folder)
    _restart(bench, dataclasses.replace(bench.service, extra=moved))
    waited = _jump(bench, file, by_s)
    _restart(bench, dataclasses.replace(bench.service, extra={}))
    bench.repaired_at = time.monotonic() - waited


def database_clock_jumps(by_s: int, bench: Bench) -> None:
    """The clock of PostgreSQL jumps under it, and back; web and worker keep theirs."""
    moved, file = _movable_clock(bench.folder / "database")
    _restart_database(bench, {**os.environ, **moved})
    waited = _jump(bench, file, by_s)
    _restart_database(bench, dict(os.environ))
    bench.repaired_at = time.monotonic() - waited


def _movable_clock(folder: Path) -> tuple[dict[str, str], Path]:
    """The environment of a clock that can be moved, and the file that says by how much it is."""
    library, file = folder / "moved_clock.so", folder / "moved_by"
    source = Path(__file__).with_name("moved_clock.c")
    compiler = ["gcc", "-shared", "-fPIC", "-O1", "-o", str(library), str(source), "-ldl"]
    subprocess.run(compiler, check=True)
    file.write_bytes(struct.pack("l", 0))
    return {"LD_PRELOAD": str(library), "MOVED_CLOCK": str(file)}, file


def _jump(bench: Bench, file: Path, by_s: int) -> float:
    """There and back under load, with all messages lost, so that the sweeper works.

    Returns the seconds from the last jump until all was done.
    """
    with under_load(bench) as go_on:
        for offset in [by_s, 0] * bench.repeats:
            with file.open("r+b") as answer:
                answer.write(struct.pack("l", offset))
            bench.strike()
            bench.queue.client().flushall()
            time.sleep(WATCHED_S)
            bench.queue.client().flushall()
            go_on()
    waited: float = bench.service.wait_until_done()
    bench.note = f"all done {waited:.1f} s after the last jump"
    return waited


def _restart_database(bench: Bench, environment: dict[str, str]) -> None:
    bench.database.stop(signal.SIGINT)
    bench.database.options["env"] = environment
    bench.database.begin()


def new_release(bench: Bench) -> None:
    """Migrate while the old release serves, then let the new one take its place bit by bit.

    The new release has one column more, with a default in the database, and one index, built
    beside the running work.
    """
    first, release = bench.service.release, bench.folder / "release"
    _next_release(release)
    with under_load(bench) as go_on:
        bench.manage("migrate", "--verbosity=0", release=release)
        bench.strike()
        go_on()
        _hand_over(bench, release)
        go_on()
    _hand_over(bench, first)
    bench.note = "old release on the new tables, both at once, new one alone, and back"


def _next_release(release: Path) -> None:
    copy_program(release)
    model = release / "results" / "models" / "sessions.py"
    before, upload, after = model.read_text().partition(
        '\n    class Meta:\n        ordering = ["-rec'
    )
    model.write_text(before + NEXT_COLUMN + upload + after)
    migrations = release / "results" / "migrations"
    latest = max(path.stem for path in migrations.glob("0*.py"))
    number = int(latest[:4]) + 1
    text = NEXT_MIGRATION.format(latest=latest)
    (migrations / f"{number:04d}_weather.py").write_text(text)


def _hand_over(bench: Bench, release: Path) -> None:
    """Start another release beside the running one, send everyone there, and end the old in order.

    Both work for a while; of schedulers there is never more than one. The senders follow as a
    proxy would let them.
    """
    old = bench.service
    new = dataclasses.replace(old, release=release, port=free_port())
    old.scheduler.stop()
    new.start()
    time.sleep(2)
    bench.senders.address, bench.service = new.address, new
    old.stop()


def restored(bench: Bench) -> None:
    """Back up while sessions come in, lose the database, restore, and have the rest sent again."""
    with bench.senders.at_work() as accepted:
        time.sleep(3)
        dump = back_up(bench.database.url(), bench.folder)
        backed_up = accepted()
        time.sleep(3)
    bench.service.stop()
    bench.database.query(f"ALTER DATABASE {DATABASE} RENAME TO lost", "postgres")
    bench.strike()
    begun = time.monotonic()
    bench.database.query(f"CREATE DATABASE {DATABASE}", "postgres")
    restore(bench.database.url(), dump)
    bench.note = f"restored in {time.monotonic() - begun:.1f} s"
    bench.repaired()
    bench.newest_version = 0
    bench.service.start()
    for sending in bench.senders.sent:
        bench.senders.send(sending)
    bench.note += f"; {backed_up} of {accepted()} accepted before the dump, all sent again"
    bench.database.query("DROP DATABASE lost", "postgres")


def _restart(bench: Bench, service: Service) -> None:
    bench.service.stop()
    bench.service = service
    bench.service.start()


FAULTS: dict[str, Callable[[Bench], None]] = {
    "clock an hour ahead": partial(clock_jumps, HOUR_S),
    "clock an hour behind": partial(clock_jumps, -HOUR_S),
    "database's clock an hour ahead": partial(database_clock_jumps, HOUR_S),
    "database's clock an hour behind": partial(database_clock_jumps, -HOUR_S),
    "new release with a migration": new_release,
    "restored from a backup": restored,
}
