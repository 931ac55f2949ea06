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
LONGEST_S = 15
"""A stop that waits for nothing; what is killed after its timeout takes longer."""


def on_its_own(folder: Path) -> dict[str, str]:
    return {**os.environ, "SAMESPOOL_VAR": str(folder), "DATABASE_URL": "", "REDIS_URL": ""}


def test_a_second_scheduler_on_the_same_file_is_refused_and_not_after_the_first_is_killed(tmp_path):
    beat = [str(PROGRAMS / "celery"), "-A", "deploy", "--broker", "memory://", "beat"]
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


def test_a_port_that_something_answers_at_is_taken():
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = str(other.getsockname()[1])
        command = [sys.executable, "-m", "deploy.port_is_free", port]
        assert subprocess.run(command, check=False, capture_output=True).returncode == 1
    assert subprocess.run(command, check=False, capture_output=True).returncode == 0


def test_a_web_process_that_is_stopped_while_it_starts_ends(tmp_path):
    web = [str(PROGRAMS / "granian"), "--interface", "wsgi", "--port", str(free_port())]
    for after_s in (1.0, 2.0):
        process = subprocess.Popen(
            [*web, "deploy.wsgi:application"],
            env=on_its_own(tmp_path),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(after_s)
        process.terminate()
        process.wait(LONGEST_S)


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


def test_sweeps_that_no_worker_took_expire():
    assert settings.CELERY_BEAT_SCHEDULE["sweep"]["options"]["expires"] >= 60


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
