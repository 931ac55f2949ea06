"""What is started twice by mistake is refused, and what is stopped while it starts ends."""

import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client

from deploy.one_scheduler import REFUSED
from deploy.tools.processes import TIMEOUT_S, free_port, running, wait_until
from results.models import WaitingUpload
from results.worker.expired import WAITING, clear_expired
from tests.people import contributor

PROGRAMS = Path(sys.executable).parent
WEB = [sys.executable, "-m", "deploy.web"]
CELERY = [str(PROGRAMS / "celery"), "-A", "deploy", "--broker", "memory://"]
LONGEST_S = 15
"""A stop that waits for nothing; what is killed after its timeout takes longer."""


def on_its_own(folder: Path) -> dict[str, str]:
    return {**os.environ, "SAMESPOOL_VAR": str(folder), "DATABASE_URL": "", "REDIS_URL": ""}


def test_a_second_scheduler_on_the_same_file_is_refused_and_not_after_the_first_is_killed(tmp_path):
    beat = [*CELERY, "beat"]
    lock = tmp_path / "celerybeat-schedule.lock"
    with running(beat, env=on_its_own(tmp_path), stderr=subprocess.DEVNULL) as first:
        wait_until(lock.exists, "The first scheduler")
        second = subprocess.run(
            beat, env=on_its_own(tmp_path), check=False, capture_output=True, timeout=TIMEOUT_S
        )
        assert second.returncode == REFUSED
        assert b"Another scheduler runs on this file" in second.stderr
        first.kill()
        first.wait()
    with (
        running(beat, env=on_its_own(tmp_path), stderr=subprocess.DEVNULL) as third,
        pytest.raises(subprocess.TimeoutExpired),
    ):
        third.wait(4)


def test_a_second_web_process_on_a_port_is_refused_even_while_the_first_still_starts(tmp_path):
    environment = on_its_own(tmp_path)
    port = str(free_port())
    web = [*WEB, "--port", port, "--workers", "1"]
    with running(web, env=environment, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL):
        wait_until(lambda: f"@samespool-web-{port}" in named_sockets(), "The first one's name")
        second = subprocess.run(web, env=environment, check=False, capture_output=True)
        assert (second.returncode, f"Port {port} is taken" in second.stderr.decode()) == (1, True)
    with socket.create_server(("127.0.0.1", 0)) as other:
        web = [*WEB, "--port", str(other.getsockname()[1])]
        assert subprocess.run(web, env=environment, check=False).returncode == 1


def named_sockets() -> str:
    return Path("/proc/net/unix").read_text()


STARTED = {
    "web": [*WEB, "--workers", "1"],
    "worker": [*CELERY, "worker", "--concurrency", "1"],
    "scheduler": [*CELERY, "beat"],
}


@pytest.mark.parametrize("after_s", [0.7, 1.5, 3.0])
@pytest.mark.parametrize("name", STARTED)
def test_what_is_stopped_while_it_starts_ends(name, after_s, tmp_path):
    port = ["--port", str(free_port())] if name == "web" else []
    with running(
        [*STARTED[name], *port],
        env=on_its_own(tmp_path),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as process:
        time.sleep(after_s)
        process.terminate()
        process.wait(LONGEST_S)
        left = subprocess.run(
            ["pgrep", "--session", str(process.pid)], check=False, capture_output=True
        )
        assert left.stdout == b""


def test_what_has_expired_is_deleted_and_nothing_else(db, client: Client):
    kept, gone = (
        WaitingUpload.objects.create(
            contributor=contributor(name), file_name="a.csv", content_type="text/csv", body=b"x"
        )
        for name in ("kept", "gone")
    )
    WaitingUpload.objects.filter(pk=gone.pk).update(checked_at=gone.checked_at - 2 * WAITING)
    client.force_login(kept.contributor.user)
    assert clear_expired() == 1
    assert list(WaitingUpload.objects.all()) == [kept]
    assert client.session.session_key


def test_whatever_is_sent_on_schedule_expires_where_no_worker_takes_it():
    for name, entry in settings.CELERY_BEAT_SCHEDULE.items():
        assert entry["options"]["expires"] >= 60, name
    assert {"results.tasks.sweep", "results.tasks.clear_expired"} <= {
        entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()
    }


def test_another_secret_key_signs_no_one_out_while_the_one_before_is_known(settings, owner):
    owner.user.set_password("cork tape and a long line")
    owner.user.save()
    kept, other = Client(), Client()
    for browser in (kept, other):
        assert browser.login(username="owner", password="cork tape and a long line")
    before = settings.SECRET_KEY
    settings.SECRET_KEY = "another key, as long as a key of fifty characters is to be"
    settings.SECRET_KEY_FALLBACKS = [before]
    assert kept.get("/bench/").status_code == 200
    settings.SECRET_KEY_FALLBACKS = []
    assert kept.get("/bench/").status_code == 200
    assert other.get("/bench/").status_code == 302
