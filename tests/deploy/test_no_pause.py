"""A restart of both web processes, one after the other, refuses nobody."""

import contextlib
import itertools
import os
import re
import shutil
import signal
import subprocess
import threading
import time
from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
import requests

from deploy.tools.processes import TIMEOUT_S, free_port, running, wait_until
from tests.deploy.files import COMPOSE, ROOT, commands, here, unit
from tests.deploy.test_as_deployed import SESSION, answers, deployed, prepared

__all__ = ["deployed", "prepared"]
STATES = ("dry", "wetted", "soaked")
PAUSE_S = 0.2
BUSY_S = 8.0
NUMBERS = itertools.count()
"""Of uploads: each is another session, whichever test sends it."""


@contextlib.contextmanager
def web_process(world, name: str, port: int, release: Path = ROOT) -> Iterator[subprocess.Popen]:
    """A web process as a file names it, from when it takes requests until it has handed over."""
    command = here(commands()[name], port=port)
    with (world.folder / f"{port}.log").open("ab") as log:
        options = {"env": world.environment, "cwd": release, "stdout": log, "stderr": log}
        with running(command, **options) as process:
            address = f"http://127.0.0.1:{port}/readyz?for=requests"
            wait_until(lambda: answers(address), "A web process", by=process)
            yield process


@contextlib.contextmanager
def proxy(folder: Path, ports: tuple[int, int]) -> Iterator[str]:
    """Caddy with the file that ships, but for the certificate; yields its address."""
    program = shutil.which("caddy")
    assert program, "caddy is missing: it is a package of Debian's"
    port = free_port()
    shipped = (ROOT / "deploy" / "Caddyfile").read_text()
    version = subprocess.run([program, "version"], check=True, capture_output=True, text=True)
    if version.stdout.startswith(("2.6.2", "v2.6.2")):  # as operations.md says of Debian 12
        shipped, found = re.subn("request_buffers 12MB", "buffer_requests", shipped)
        assert found == 1
    file = folder / "Caddyfile"
    file.write_text("{\n\tadmin off\n\tauto_https off\n}\n" + shipped)
    environment = {
        "SAMESPOOL_DOMAIN": f"http://127.0.0.1:{port}",
        "SAMESPOOL_UPSTREAMS": " ".join(f"127.0.0.1:{each}" for each in ports),
        "HOME": str(folder),
    }
    command = [program, "run", "--adapter", "caddyfile", "--config", str(file)]
    with (
        (folder / "proxy.log").open("wb") as log,
        running(command, env=environment, stdout=log, stderr=log),
    ):
        address = f"http://127.0.0.1:{port}"
        wait_until(lambda: answers(f"{address}/healthz"), "The proxy")
        yield address


class Load:
    """Four who read and upload again and again, and what they were answered."""

    def __init__(self, address: str, token: str) -> None:
        self.address, self.token = address, token
        self.answered: Counter[str] = Counter()
        self._done = threading.Event()

    def __enter__(self) -> "Load":
        doings = (self._upload, self._upload, self._read, self._read)
        self._threads = [threading.Thread(target=self._again, args=(each,)) for each in doings]
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_error: object) -> None:
        self._done.set()
        for thread in self._threads:
            thread.join()

    def _again(self, doing) -> None:
        with requests.Session() as http:
            while not self._done.is_set():
                try:
                    answer = str(doing(http).status_code)
                except requests.RequestException as error:
                    answer = type(error).__name__
                self.answered[f"{doing.__name__.strip('_')} {answer}"] += 1
                self._done.wait(PAUSE_S)

    def _upload(self, http: requests.Session) -> requests.Response:
        number = next(NUMBERS)
        document = {
            **SESSION,
            "pulled_on": str(date(2026 - number // 840, 1 + number // 28 % 10, 1 + number % 28)),
            "state": STATES[number // 280 % 3],
        }
        headers = {"Authorization": f"Token {self.token}"}
        url = f"{self.address}/api/v1/sessions"
        return http.post(url, json=document, headers=headers, timeout=TIMEOUT_S)

    def _read(self, http: requests.Session) -> requests.Response:
        return http.get(f"{self.address}/api/v1/connections", timeout=TIMEOUT_S)

    def goes_on(self, more: int = 8) -> None:
        """Wait for so many more answers."""
        wanted = self.answered.total() + more
        wait_until(lambda: self.answered.total() >= wanted, "More answers")

    def refused(self) -> dict[str, int]:
        return {
            what: times
            for what, times in self.answered.items()
            if what not in {"upload 202", "read 200"}
        }


def logged(folder: Path) -> str:
    """What the web processes logged of a refusal, for who reads why the test failed."""
    lines = [line for log in folder.glob("[0-9]*.log") for line in log.read_text().splitlines()]
    return "\n".join(line for line in lines if re.search("answered|rror", line))[-8000:]


@pytest.mark.parametrize("name", ["samespool-web@.service", "compose web"])
def test_both_web_processes_are_restarted_under_load_and_no_request_is_refused(deployed, name):
    deployed.environment["SAMESPOOL_REQUESTS_A_MINUTE"] = "100000"
    ports = free_port(), free_port()
    with contextlib.ExitStack() as first, contextlib.ExitStack() as second:
        stacks = (first, second)
        for stack, port in zip(stacks, ports, strict=True):
            stack.enter_context(web_process(deployed, name, port))
        with proxy(deployed.folder, ports) as address, Load(address, deployed.token) as load:
            load.goes_on()
            for stack, port in zip(stacks, ports, strict=True):
                stack.close()
                stack.enter_context(web_process(deployed, name, port))
            load.goes_on()
        assert load.refused() == {}, logged(deployed.folder)
        assert load.answered["upload 202"] >= 8


def test_who_comes_while_both_are_too_busy_to_say_anything_waits_and_is_not_refused(deployed):
    ports = free_port(), free_port()
    name = "samespool-web@.service"
    with contextlib.ExitStack() as stack:
        both = [stack.enter_context(web_process(deployed, name, port)) for port in ports]
        address = stack.enter_context(proxy(deployed.folder, ports))
        for process in both:
            os.killpg(process.pid, signal.SIGSTOP)
        time.sleep(BUSY_S)
        with Load(address, deployed.token) as load:
            time.sleep(PAUSE_S)
            for process in both:
                os.killpg(process.pid, signal.SIGCONT)
            load.goes_on()
        assert load.refused() == {}
        assert load.answered["upload 202"]


NEXT_MIGRATION = """
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("{app}", "{before}")]
    operations = [
        migrations.AddField("{model}", "of_the_next", models.IntegerField({options})),
    ]
"""


@pytest.fixture
def next_release(tmp_path) -> Path:
    """This checkout with one more column in the tables that uploads write, and another page."""
    listed = ["git", "ls-files", "-z", "--", "manage.py", "pyproject.toml", "deploy", "results"]
    names = subprocess.run([*listed, "rigs", "api"], cwd=ROOT, check=True, capture_output=True)
    made = tmp_path / "next"
    for name in filter(None, names.stdout.decode().split("\0")):
        (made / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, made / name)
    migrations = made / "results" / "migrations"
    for model, options in (("session", "db_default=7"), ("pullset", "null=True")):
        before = max(path.stem for path in migrations.glob("[0-9]*.py"))
        values = {"app": "results", "before": before, "model": model, "options": options}
        name = f"{int(before[:4]) + 1:04d}_{model}_of_the_next_release.py"
        (migrations / name).write_text(NEXT_MIGRATION.format(**values))
    page = made / "results" / "pages" / "templates" / "pages" / "reading" / "about.html"
    page.write_text(
        page.read_text().replace("{% block content %}", "{% block content %}Of the next.")
    )
    return made


def test_an_upgrade_and_the_way_back_under_load_refuse_nobody(deployed, next_release):
    """With a migration between: on the way back its columns stay, and the old code writes on."""
    deployed.environment["SAMESPOOL_REQUESTS_A_MINUTE"] = "100000"
    ports = free_port(), free_port()
    name = "samespool-web@.service"
    with contextlib.ExitStack() as first, contextlib.ExitStack() as second:
        stacks = (first, second)
        for stack, port in zip(stacks, ports, strict=True):
            stack.enter_context(web_process(deployed, name, port))
        with proxy(deployed.folder, ports) as address, Load(address, deployed.token) as load:
            load.goes_on()
            assert "Of the next." not in requests.get(f"{address}/about/").text
            for release in (next_release, ROOT):
                if release != ROOT:
                    migrate = here(commands()["compose migrate"])
                    migrate[1] = str(release / "manage.py")
                    subprocess.run(
                        migrate, env=deployed.environment, cwd=release, check=True,
                        capture_output=True,
                    )  # fmt: skip
                    load.goes_on()  # the old code on the new tables
                for stack, port in zip(stacks, ports, strict=True):
                    stack.close()
                    stack.enter_context(web_process(deployed, name, port, release))
                load.goes_on()
                is_next = "Of the next." in requests.get(f"{address}/about/").text
                assert is_next == (release != ROOT)
        assert load.refused() == {}, logged(deployed.folder)
        assert load.answered["upload 202"] >= 8


def test_a_web_process_says_that_it_takes_no_more_before_it_stops(deployed):
    port = free_port()
    with web_process(deployed, "samespool-web@.service", port) as process:
        process.send_signal(signal.SIGTERM)
        begun = time.monotonic()
        address = f"http://127.0.0.1:{port}"
        unready = lambda: requests.get(f"{address}/readyz?for=requests").status_code == 503  # noqa: E731
        wait_until(unready, "That it takes no more")
        assert requests.get(f"{address}/api/v1/connections", timeout=TIMEOUT_S).ok
        assert process.wait(TIMEOUT_S) == 0
        assert time.monotonic() - begun >= 5


def test_units_and_containers_leave_time_to_hand_over():
    from deploy.web import DRAINS_S, SETTLES_S  # noqa: PLC0415

    web = unit(ROOT / "deploy" / "systemd" / "samespool-web@.service")["Service"]
    assert web["KillMode"] == "mixed"  # else the web server is told to stop with its parent
    assert int(web["TimeoutStopSec"]) > SETTLES_S + DRAINS_S + 20
    for name in ("web", "web-two"):
        grace_s = int(COMPOSE["services"][name]["stop_grace_period"].rstrip("s"))
        assert grace_s > SETTLES_S + DRAINS_S + 20
    assert COMPOSE["services"]["web-two"]["depends_on"]["web"]["condition"] == "service_healthy"
    for file in ("Caddyfile", "Caddyfile.replica"):
        text = (ROOT / "deploy" / file).read_text()
        upstreams = re.findall(r"\{\$SAMESPOOL_UPSTREAMS:(.*?)\}", text)
        assert set(upstreams) == {"web:8000 web-two:8000"}
        interval = re.search(r"for=requests\n\s+health_interval (\d+)s", text)
        assert 3 * int(interval[1]) <= min(SETTLES_S, DRAINS_S)
