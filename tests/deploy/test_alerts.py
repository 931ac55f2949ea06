"""Somebody is called: each alert rule is tried, explained, and asks for what is measured."""

import contextlib
import re
import shutil
import subprocess
from collections.abc import Iterator

import psycopg
import pytest
import yaml
from django.db import connection
from django.test import Client
from psycopg.conninfo import make_conninfo

from tests.deploy.files import ROOT

WATCHING = ROOT / "deploy" / "watching"
RULES = yaml.safe_load((WATCHING / "alerts.yaml").read_text())["groups"][0]["rules"]
NAMES = [rule["alert"] for rule in RULES]
TESTS = ["alerts_test.yaml", "alerts_week_test.yaml"]
OUR_METRIC = re.compile(r"\bsamespool_[a-z_]+\b")
ON_POSTGRESQL = {
    "samespool_replica_lag_seconds",
    "samespool_worker_silent_seconds",
    "samespool_workers_of_one_name",
}
"""What an embedded service has none of, or a primary."""


def test_each_alert_is_quiet_and_then_fires():
    tried = [
        case["name"]
        for name in TESTS
        for case in yaml.safe_load((WATCHING / name).read_text())["tests"]
    ]
    assert sorted(tried) == sorted(NAMES)
    program = shutil.which("promtool")
    assert program, "promtool is missing: it comes with Debian's package prometheus"
    for what in (["test", "rules", *TESTS], ["check", "config", "prometheus.yaml"]):
        done = subprocess.run(
            [program, *what], cwd=WATCHING, check=False, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stdout + done.stderr


def test_each_alert_has_its_paragraph_and_each_paragraph_its_alert():
    written = (ROOT / "deploy" / "operations.md").read_text()
    part = written.split("### Alerts\n")[1].split("\n## ")[0]
    assert re.findall(r"^\*\*(\w+)\.\*\* .+", part, re.M) == NAMES


def test_what_rules_and_console_ask_for_is_measured(client: Client, db, settings, tmp_path):
    settings.SAMESPOOL_BACKUPS = str(tmp_path)
    (tmp_path / "samespool-20260110T031700Z.dump").write_bytes(b"")
    asked = {
        name
        for file in ("alerts.yaml", "overview.html")
        for name in OUR_METRIC.findall((WATCHING / file).read_text())
    }
    assert len(asked) > 10
    measured = set(OUR_METRIC.findall(client.get("/metrics").content.decode()))
    assert asked - measured - ON_POSTGRESQL == set()
    exported = (ROOT / "deploy" / "observing" / "metrics.py").read_text()
    for name in ON_POSTGRESQL:
        assert f'"{name.removeprefix("samespool_")}"' in exported


@pytest.mark.django_db(transaction=True)
def test_metrics_answer_while_a_table_is_locked(client: Client):
    """Embedded nothing locks tables, and all is counted."""
    with locked("results_job"):
        answer = client.get("/metrics").content.decode()
    assert f"samespool_database_up {0.0 if connection.vendor == 'postgresql' else 1.0}" in answer
    assert "samespool_database_up 1.0" in client.get("/metrics").content.decode()


@contextlib.contextmanager
def locked(table: str) -> Iterator[None]:
    """A table that somebody else has locked, and forgotten."""
    if connection.vendor != "postgresql":
        yield
        return
    with psycopg.connect(_dsn()) as other:
        other.execute(f"LOCK TABLE {table} IN ACCESS EXCLUSIVE MODE")
        yield


def _dsn() -> str:
    given = connection.settings_dict
    return make_conninfo(
        host=given["HOST"],
        port=given["PORT"],
        user=given["USER"],
        password=given["PASSWORD"] or None,
        dbname=given["NAME"],
    )
