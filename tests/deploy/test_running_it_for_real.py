"""Running it for real by the lines of deploy/running.md, in a checkout with nothing else."""

import contextlib
import os
import pty
import re
import shlex
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest
import requests

from deploy.tools import throwaway
from deploy.tools.processes import TIMEOUT_S, free_port, running, wait_until
from tests.deploy.files import ROOT, checkout_in
from tests.deploy.test_as_deployed import send, token

OURS = ("DATABASE_URL", "REDIS_URL", "SAMESPOOL_", "DJANGO_", "VIRTUAL_ENV", "PYTHONPATH")
PASSWORD = "a bench of one's own"
AN_ACCOUNT = """
from django.contrib.auth.models import User
from rigs.models import Contributor
name, password = %r, %r
user = User.objects.create_user(name, password=password)
Contributor.objects.create(user=user, handle=name)
"""
QUESTIONS = ("Username", "Email", "Password: ", "Password (again)")


def blocks() -> list[str]:
    """What it has its reader type, block by block."""
    text = (ROOT / "deploy" / "running.md").read_text()
    return re.findall(r"```sh\n(.*?)```", text, re.DOTALL)


def block_with(words: str) -> str:
    [found] = [block for block in blocks() if words in block]
    return found


@pytest.fixture(scope="module")
def machine(tmp_path_factory):
    """A fresh checkout, servers as the section expects them, and the reader's terminal."""
    folder = tmp_path_factory.mktemp("real")
    checkout = folder / "checkout"
    checkout_in(checkout)
    bare = {name: value for name, value in os.environ.items() if not name.startswith(OURS)}
    with throwaway.postgresql() as database, throwaway.redis() as queue:
        install = block_with("pip install")
        for variable, own in (("DATABASE_URL", database), ("REDIS_URL", queue)):
            install, times = re.subn(rf"(?<=export {variable}=)\S+", own, install)
            assert times == 1
        done = subprocess.run(
            ["bash", "-c", f"set -euo pipefail\n{install}\nenv -0 >../environment"],
            cwd=checkout,
            env=bare,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        entries = (folder / "environment").read_text().split("\0")
        environment = dict(entry.split("=", 1) for entry in entries if "=" in entry)
        yield SimpleNamespace(folder=folder, checkout=checkout, environment=environment)


def run(machine, script: str) -> None:
    done = subprocess.run(
        ["bash", "-c", f"set -euo pipefail\n{script}"],
        cwd=machine.checkout,
        env=machine.environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def answer_questions(machine, command: str, answers: list[str]) -> str:
    """Run a command at a terminal, where it asks and reads passwords; returns what it showed."""
    child, terminal = pty.fork()
    if child == 0:
        os.chdir(machine.checkout)
        os.execvpe("bash", ["bash", "-c", command], machine.environment)
    shown, waiting = "", list(zip(QUESTIONS, answers, strict=True))
    with contextlib.suppress(OSError):  # how a terminal says that nobody is at it any more
        while read := os.read(terminal, 1024):
            shown += read.decode()
            if waiting and waiting[0][0] in shown:
                os.write(terminal, f"{waiting.pop(0)[1]}\n".encode())
    os.close(terminal)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0, shown
    return shown


def test_its_lines_bring_up_a_service_that_works_a_session_out(machine):
    run(machine, block_with("migrate"))
    shown = answer_questions(
        machine, block_with("createsuperuser"), ["keeper", "", PASSWORD, PASSWORD]
    )
    assert "successfully" in shown

    port = str(free_port())
    commands = block_with("deploy.web").replace("--port 8000", f"--port {port}").splitlines()
    assert len(commands) == 3
    with contextlib.ExitStack() as stack:
        for number, command in enumerate(commands):
            out = stack.enter_context((machine.folder / f"{number}.log").open("wb"))
            options = {"cwd": machine.checkout, "env": machine.environment}
            options |= {"stdout": out, "stderr": out}
            stack.enter_context(running(["bash", "-c", command], **options))
        ask = block_with("readyz").replace(":8000", f":{port}").split()
        wait_until(lambda: '"ready": true' in answer(ask), "The service", TIMEOUT_S)

        address = f"http://127.0.0.1:{port}"
        machine.token = token(machine)
        job = send(address, machine, "2026-01-11").json()["job"]["url"]
        wait_until(
            lambda: requests.get(job, timeout=TIMEOUT_S).json()["state"] == "done",
            "The job",
            TIMEOUT_S,
        )
        tour(machine, address)
        assert requests.get(f"{address}/sign-in/", timeout=TIMEOUT_S).ok
        page = requests.get(address, timeout=TIMEOUT_S).text
        for static in re.findall(r'(?:href|src)="(/static/[^"]+)"', page):
            assert requests.get(address + static, timeout=TIMEOUT_S).ok, static


def tour(machine, address: str) -> None:
    """The ten minutes, with the starter catalogue and an account of one's own."""
    run(machine, block_with("load_starter_catalogue"))
    account = ("keeper-of-a-bench", "winter-of-my-own")
    run(machine, f".venv/bin/python manage.py shell -c {shlex.quote(AN_ACCOUNT % account)}")
    minutes = (ROOT / "deploy" / "ten-minutes.md").read_text()
    script = "\n".join(re.findall(r"```sh\n(.*?)```", minutes, re.DOTALL))
    for written, own in {
        "http://127.0.0.1:8000": address,
        "sandgrain:winter-bench-league": ":".join(account),
    }.items():
        assert written in script
        script = script.replace(written, own)
    run(machine, f'{script}\ntest "$(curl -s $pool | pick current.sets)" -ge 1')


def answer(command: list[str]) -> str:
    return subprocess.run(command, capture_output=True, text=True, check=False).stdout


def test_whatever_it_names_of_the_checkout_is_there():
    text = "".join(blocks())
    named = {Path(word) for word in re.findall(r"(?<![\w/.])(?:deploy/|manage\.)[\w/.]+", text)}
    assert named
    for path in named:
        assert (ROOT / path).exists(), path
