"""A store that was destroyed is brought back to a given second, as the configuration ships."""

import os
import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from deploy.tools.processes import free_port, running, wait_until
from deploy.tools.throwaway import own_folder, postgresql_programs, unprivileged_account
from tests.deploy.files import COMPOSE, ROOT

DATABASE = COMPOSE["services"]["database"]
PASSPHRASE = "of a test"


class Server:
    """A PostgreSQL of this test's own that archives what it writes."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.url = f"postgresql://samespool@127.0.0.1:{self.port}/postgres"
        # The files' places are this test's own; all else is as it ships.
        self.environment = {
            **os.environ,
            "PGBACKREST_CONFIG": f"{folder}/pgbackrest.conf",
            "PGBACKREST_REPO1_PATH": f"{folder}/repo",
            "PGBACKREST_PG1_PATH": f"{folder}/data",
            "PGBACKREST_PG1_PORT": str(self.port),
            "PGBACKREST_PG1_SOCKET_PATH": str(folder),
            "PGBACKREST_PG1_DATABASE": "postgres",
            "PGBACKREST_PG1_USER": "samespool",
            **{f"PGBACKREST_{name}_PATH": f"{folder}/{name}" for name in ("LOG", "LOCK", "SPOOL")},
        }

    def run(self, *command: str) -> None:
        """A program, as the server's own account."""
        done = subprocess.run(
            command, cwd=self.folder, check=False, capture_output=True, text=True,
            stdin=subprocess.DEVNULL, env=self.environment, **unprivileged_account(),
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr

    def recover(self, *options: str) -> None:
        """What the operator types: `pgbackrest --stanza=samespool ...`."""
        self.run("pgbackrest", "--stanza=samespool", *options)

    def control(self, *options: str) -> None:
        program = str(postgresql_programs() / "pg_ctl")
        self.run(program, "--pgdata=data", "--wait", "--log=server.log", *options)

    def ask(self, query: str) -> list[tuple]:
        with psycopg.connect(self.url, autocommit=True) as connection:
            cursor = connection.execute(query)
            return cursor.fetchall() if cursor.description else []

    def starts(self, settings: str) -> None:
        initdb = str(postgresql_programs() / "initdb")
        self.run(initdb, "--pgdata=data", "--username=samespool", "--auth=trust", "--no-sync")
        with (self.folder / "data" / "postgresql.conf").open("a") as file:
            file.write(f"port={self.port}\nunix_socket_directories='{self.folder}'\n{settings}")
        self.control("start")


@pytest.fixture
def server() -> Iterator[Server]:
    assert shutil.which("pgbackrest"), "pgbackrest is missing: it is a package of Debian's"
    with own_folder(unprivileged_account()) as folder:
        made = Server(folder)
        shutil.copy(ROOT / "deploy" / "pgbackrest.conf", folder)
        try:
            yield made
        finally:
            made.control("--mode=immediate", "stop")


def settings_of_units() -> str:
    """What operations.md says of PostgreSQL's configuration."""
    text = (ROOT / "deploy" / "operations.md").read_text()
    block = re.search(r"((?:^archive_\w+ = .*\n)+)", text, re.MULTILINE)
    assert block
    return block[1]


def settings_of_containers() -> str:
    """What the composition starts PostgreSQL with."""
    pairs = [each.split("=", 1) for each in DATABASE["command"] if "=" in each]
    return "".join(f"{name} = '{value}'\n" for name, value in pairs)


def backed_up(server: Server) -> None:
    """By hand, as operations.md says."""
    server.recover("stanza-create")
    server.recover("--type=full", "backup")


def backed_up_by_its_container(server: Server) -> None:
    """The service of the composition makes the first backup as soon as it starts."""
    command = [
        str(ROOT / "deploy" / name) for name in COMPOSE["services"]["base-backups"]["command"]
    ]
    log = server.folder / "base-backups.log"
    with log.open("wb") as out:
        options = {"cwd": server.folder, "env": server.environment, "stdout": out, "stderr": out}
        with running(command, **options, **unprivileged_account()) as service:
            wait_until(lambda: b"Made." in log.read_bytes(), "The first base backup", by=service)


@pytest.mark.parametrize(
    ("settings", "back_up"),
    [(settings_of_units, backed_up), (settings_of_containers, backed_up_by_its_container)],
    ids=["units", "containers"],
)
def test_a_store_that_was_destroyed_is_brought_back_to_a_given_second(server, settings, back_up):
    server.environment["PGBACKREST_REPO1_CIPHER_PASS"] = PASSPHRASE
    server.starts(settings())
    back_up(server)
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


def test_the_containers_of_the_database_share_what_a_recovery_needs():
    backups = COMPOSE["services"]["base-backups"]
    assert backups["volumes"] == DATABASE["volumes"]
    assert backups["environment"] == DATABASE["environment"]
    assert backups["user"] == "postgres"
    assert re.fullmatch(
        r"\$\{SAMESPOOL_BACKUP_PASSPHRASE:\?[^}]+\}",
        DATABASE["environment"]["PGBACKREST_REPO1_CIPHER_PASS"],
    )
    image = (ROOT / "deploy" / "Dockerfile.database").read_text()
    for name in re.findall(r"^COPY (?:--chmod=755 )?(\S+)", image, re.MULTILINE):
        assert (ROOT / name).exists()
