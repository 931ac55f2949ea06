"""`deploy/backup FOLDER` and `deploy/restore FILE`: the database of ``DATABASE_URL``, whole.

PostgreSQL's own programs do the work and find the server through their environment, so that no
password appears in the list of processes.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import psycopg
from psycopg.conninfo import conninfo_to_dict

TABLES_AND_THE_LIKE = """
    SELECT count(*) FROM pg_class JOIN pg_namespace ON pg_namespace.oid = relnamespace
    WHERE nspname <> 'information_schema' AND nspname NOT LIKE 'pg\\_%'
"""


class CannotGoOn(Exception):
    """What is amiss, in a sentence for the operator."""


def back_up(url: str, folder: Path) -> Path:
    """Write a dump named for the moment in UTC, and its SHA-256 beside it; returns the dump.

    The dump takes its name only once it is whole. Raises CannotGoOn where pg_dump fails.
    """
    dump = folder / f"samespool-{datetime.now(UTC):%Y%m%dT%H%M%SZ}.dump"
    unfinished = dump.with_suffix(".unfinished")
    os.umask(0o077)
    try:
        _run(["pg_dump", "--format=custom", "--no-owner", f"--file={unfinished}"], url)
        _sum_file(dump).write_text(f"{_sha256(unfinished)}  {dump.name}\n")
        unfinished.rename(dump)
    finally:
        unfinished.unlink(missing_ok=True)
    return dump


def restore(url: str, dump: Path) -> None:
    """Restore a dump into an empty database, whole or not at all.

    Raises CannotGoOn where the database is not empty, the dump is not the one that was written,
    or pg_restore fails.
    """
    _check_sum(dump)
    with psycopg.connect(url) as connection:
        row = connection.execute(TABLES_AND_THE_LIKE).fetchone()
        if row and row[0]:
            raise CannotGoOn(
                f"The database {connection.info.dbname} is not empty: it holds {row[0]} tables, "
                "indexes and sequences. Restore into a new one, made with createdb."
            )
    command = ["pg_restore", "--single-transaction", "--exit-on-error", "--no-owner"]
    database = str(conninfo_to_dict(url)["dbname"])
    _run([*command, "--no-privileges", f"--dbname={database}", str(dump)], url)


def main() -> int:
    """Run one of the two; 1 with a sentence on what is amiss where it can't be done."""
    parser = argparse.ArgumentParser(prog="deploy/backup or deploy/restore")
    commands = parser.add_subparsers(dest="command", required=True)
    commands.add_parser("back-up").add_argument("folder", type=Path)
    commands.add_parser("restore").add_argument("dump", type=Path)
    arguments = parser.parse_args()
    try:
        url = os.environ.get("DATABASE_URL")
        if not url:
            raise CannotGoOn("DATABASE_URL is not set: it names the database.")
        if arguments.command == "back-up":
            print(back_up(url, arguments.folder))
        else:
            restore(url, arguments.dump)
            print(f"{arguments.dump} is restored.")
    except (CannotGoOn, psycopg.OperationalError, OSError) as error:
        print(error, file=sys.stderr)
        return 1
    return 0


def _run(command: list[str], url: str) -> None:
    done = subprocess.run(
        command, env=_environment(url), check=False, capture_output=True, text=True
    )
    if done.returncode:
        raise CannotGoOn(f"{command[0]} failed: {done.stderr.strip()}")


def _environment(url: str) -> dict[str, str]:
    """The parts of a database's address under the names that PostgreSQL's programs read."""
    names = {"dbname": "PGDATABASE"}
    parts = {
        names.get(key, f"PG{key.upper()}"): str(value)
        for key, value in conninfo_to_dict(url).items()
    }
    return {**os.environ, **parts}


def _sum_file(dump: Path) -> Path:
    return dump.with_name(f"{dump.name}.sha256")


def _sha256(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _check_sum(dump: Path) -> None:
    expected = _sum_file(dump).read_text().split()[0]
    if (found := _sha256(dump)) != expected:
        raise CannotGoOn(
            f"{dump} is not as it was written: its SHA-256 is {found}, expected {expected}."
        )


if __name__ == "__main__":
    sys.exit(main())
