"""Several web and worker hosts, links of which are cut while sessions come in.

Ends well also where nothing happens in time: what is asserted is what became of each session.
"""

import os
import subprocess
import sys

import psycopg
import pytest
from django.db import connection

from deploy.benchmarks.faults.hosts import hosts
from deploy.benchmarks.faults.servers import postgresql
from deploy.benchmarks.faults.several import links_cut, several
from deploy.tools.processes import TIMEOUT_S, running
from deploy.tools.throwaway import own_folder, unprivileged_account
from tests.deploy.files import ROOT

HOLDS_A_LOCK = """
import time, django
django.setup()
from django.db import connection
with connection.cursor() as cursor:
    cursor.execute("SELECT pg_advisory_lock(22)")
    print("held", flush=True)
    time.sleep(%d)
"""


@pytest.mark.machines
def test_no_upload_is_lost_or_doubled_while_a_web_and_a_worker_are_out_of_reach():
    if os.geteuid() != 0:
        pytest.skip("hosts of their own need root")
    with (
        own_folder(unprivileged_account()) as folder,
        several(folder / "several", repeats=1, random_state=1) as ground,
    ):
        row = ground.run("links cut", links_cut)
    assert row.is_clean, row.audit.complaints
    assert row.audit.marked_failed == 0
    assert row.audit.accepted >= 12
    assert "FAILED" not in row.note, row.note


@pytest.mark.machines
def test_what_a_host_held_that_is_gone_for_good_is_free_again():
    """Its link stays cut; without the settings' limits PostgreSQL would wait for hours."""
    if os.geteuid() != 0:
        pytest.skip("hosts of their own need root")
    with (
        own_folder(unprivileged_account()) as folder,
        hosts("database", "worker") as (on, worker),
        postgresql(folder, on) as database,
    ):
        environment = {
            **os.environ,
            "DATABASE_URL": database.url(),
            "REDIS_URL": "redis://127.0.0.1:1/0",
            "DJANGO_SETTINGS_MODULE": "deploy.settings",
            "SAMESPOOL_SECRET_KEY": "only-for-this-test-which-no-one-else-can-reach-at-all-22",
            "SAMESPOOL_VAR": str(folder),
        }
        command = [sys.executable, "-c", HOLDS_A_LOCK % (10 * TIMEOUT_S)]
        options = {"env": environment, "cwd": ROOT, "stdout": subprocess.PIPE}
        with running(worker.inside(command), **options) as process:
            assert process.stdout.readline() == b"held\n"
            with psycopg.connect(database.url(), autocommit=True) as other:
                other.execute(f"SET lock_timeout = '{TIMEOUT_S:.0f}s'")
                worker.cut()
                other.execute("SELECT pg_advisory_lock(22)")


@pytest.mark.skipif(connection.vendor == "sqlite", reason="a file has no link that can be cut")
def test_a_database_and_its_client_that_hear_nothing_give_up_on_each_other(db):
    with connection.cursor() as cursor:
        shown = {}
        for name in ("tcp_keepalives_idle", "tcp_keepalives_interval", "tcp_keepalives_count"):
            cursor.execute(f"SHOW {name}")
            shown[name.removeprefix("tcp_")] = int(cursor.fetchone()[0])
        cursor.execute("SELECT setting::int FROM pg_settings WHERE name = 'tcp_user_timeout'")
        shown["tcp_user_timeout"] = cursor.fetchone()[0]
    client = connection.get_connection_params()
    for name, value in shown.items():
        assert value == client[name], name
    idle, often, times = (shown[f"keepalives_{name}"] for name in ("idle", "interval", "count"))
    assert idle + often * times <= 25
    assert shown["tcp_user_timeout"] == 25_000
