"""A store that was destroyed is brought back to a given second, as the configuration ships."""

import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from deploy.tools.processes import free_port, wait_until
from deploy.tools.throwaway import own_folder, postgresql_programs, unprivileged_account
from tests.deploy.files import ROOT


class Server:
    """A PostgreSQL of this test's own that archives what it writes."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.url = f"postgresql://samespool@127.0.0.1:{self.port}/postgres"

    def run(self, *command: str) -> None:
        """A program, as the server's own account."""
        done = subprocess.run(
            command, cwd=self.folder, check=False, capture_output=True, text=True,
            stdin=subprocess.DEVNULL, **unprivileged_account(),
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr

    def recover(self, *options: str) -> None:
        """What the operator types: `pgbackrest --stanza=samespool ...`."""
        config = f"--config={self.folder}/pgbackrest.conf"
        self.run("pgbackrest", config, "--stanza=samespool", *options)

    def control(self, *options: str) -> None:
        program = str(postgresql_programs() / "pg_ctl")
        self.run(program, "--pgdata=data", "--wait", "--log=server.log", *options)

    def ask(self, query: str) -> list[tuple]:
        with psycopg.connect(self.url, autocommit=True) as connection:
            cursor = connection.execute(query)
            return cursor.fetchall() if cursor.description else []


@pytest.fixture
def server() -> Iterator[Server]:
    assert shutil.which("pgbackrest"), "pgbackrest is missing: it is a package of Debian's"
    with own_folder(unprivileged_account()) as folder:
        made = Server(folder)
        shipped = (ROOT / "deploy" / "pgbackrest.conf").read_text()
        # The files' places, and a passphrase, are this test's own; all else is as it ships.
        here = {
            "repo1-path": folder / "repo",
            "pg1-path": f"{folder}/data\npg1-port={made.port}\npg1-socket-path={folder}"
            "\npg1-user=samespool\npg1-database=postgres",
        }
        for name, value in here.items():
            shipped, found = re.subn(f"(?m)^{name}=.*$", f"{name}={value}", shipped)
            assert found == 1
        paths = "".join(f"{name}-path={folder}/{name}\n" for name in ("log", "lock", "spool"))
        own = f"\n[global]\nrepo1-cipher-pass=of a test\n{paths}"
        (folder / "pgbackrest.conf").write_text(shipped.replace("\n[global]\n", own))
        initdb = str(postgresql_programs() / "initdb")
        made.run(initdb, "--pgdata=data", "--username=samespool", "--auth=trust", "--no-sync")
        with (folder / "data" / "postgresql.conf").open("a") as settings:
            settings.write(
                f"port={made.port}\nunix_socket_directories='{folder}'\narchive_mode=on\n"
                f"archive_command='pgbackrest --config={folder}/pgbackrest.conf "
                "--stanza=samespool archive-push %p'\n"
            )
        made.control("start")
        try:
            yield made
        finally:
            made.control("--mode=immediate", "stop")


def test_a_store_that_was_destroyed_is_brought_back_to_a_given_second(server):
    server.recover("stanza-create")
    server.recover("--type=full", "backup")
    server.ask("CREATE TABLE came (what text)")
    server.ask("INSERT INTO came VALUES ('before')")
    time.sleep(1.1)
    ((second,),) = server.ask("SELECT date_trunc('second', clock_timestamp())::text")
    time.sleep(1.1)
    server.ask("INSERT INTO came VALUES ('after')")
    server.ask("SELECT pg_switch_wal()")
    server.recover("check")
    server.control("--mode=immediate", "stop")
    shutil.rmtree(server.folder / "data")
    server.run("mkdir", "--mode=700", "data")

    server.recover("--type=time", f"--target={second}", "--target-action=promote", "restore")
    server.control("start")

    wait_until(lambda: server.ask("SELECT pg_is_in_recovery()") == [(False,)], "The recovery")
    assert server.ask("SELECT what FROM came") == [("before",)]
