"""What README shows a stranger and an integrator in ten lines each, line by line on the demo."""

import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import requests
from django.contrib.auth.models import User
from django.core.management import call_command

from deploy.tools.processes import TIMEOUT_S, wait_until
from results.models import Session
from tests import making
from tests.demo.tried import ROOT
from tests.people import contributor

README = (ROOT / "README.md").read_text()
POOLS = 29
"""Of the demo league; each is published with a figure or with none."""


def run_in_shell(script: str, folder: Path) -> subprocess.CompletedProcess[str]:
    strict = ["bash", "-euo", "pipefail", "-c", script]
    return subprocess.run(
        strict, cwd=folder, capture_output=True, text=True, timeout=TIMEOUT_S, check=False
    )


def path_of(heading: str, tried) -> str:
    """The lines below a heading of README, at most ten, for this service and this checkout."""
    section = README.partition(f"## {heading}")[2].partition("\n## ")[0]
    [lines] = re.findall(r"```sh\n(.*?)```", section, re.DOTALL)
    assert len(lines.splitlines()) <= 10
    lines = lines.replace(":8000", f":{tried.port}").replace("api/python", f"{ROOT}/api/python")
    return lines.replace("python3 ", f"{sys.executable} ").replace(
        "openapi-python-client generate", f"{sys.executable} -m openapi_python_client generate"
    )


def test_a_stranger_finds_the_data_checks_every_figure_and_cites_it(tried, tmp_path):
    wait_until(lambda: requests.get(latest(tried), timeout=TIMEOUT_S).ok, "The first release")

    done = run_in_shell(path_of("Open data", tried), tmp_path)

    assert done.returncode == 0, done.stdout + done.stderr
    checked(done.stdout)
    in_r = run_in_shell("Rscript recompute.R", tmp_path / "data")
    assert in_r.returncode == 0, in_r.stdout + in_r.stderr
    assert checked(in_r.stdout) == checked(done.stdout)
    assert "license: CC-BY-4.0" in done.stdout


def checked(said: str) -> tuple[int, int]:
    """How many pools have a figure and how many none, as published to eight digits."""
    [(figures, apart)] = re.findall(r"(\d+) pools, the largest difference is (\S+)", said)
    [without] = re.findall(r"(\d+) pools of fewer than three testers have none", said)
    assert float(apart) < 1e-8
    assert int(figures) + int(without) == POOLS
    return int(figures), int(without)


def latest(tried) -> str:
    return f"http://127.0.0.1:{tried.port}/open-data/latest/archive.zip"


def test_an_integrator_generates_a_client_uploads_and_reads(tried, tmp_path):
    sheet = (ROOT / "deploy" / "example-session.csv").read_text().replace("01-10", "01-21")
    (tmp_path / "deploy").mkdir()
    (tmp_path / "deploy" / "example-session.csv").write_text(sheet)

    done = run_in_shell(path_of("A client of your own", tried), tmp_path)

    assert done.returncode == 0, done.stdout + done.stderr
    state, efficiency = done.stdout.splitlines()[-2:]
    assert state in ("queued", "running", "done")
    assert 0.5 < float(efficiency) < 1.1


def test_on_a_new_service_an_account_of_ones_own_and_the_starter_catalogue_do(
    transactional_db, live_server, tmp_path
):
    call_command("load_starter_catalogue")
    name, password = "keeper-of-a-bench", "winter-of-my-own"
    making.revision_of(contributor(name), name="garage winch")
    keeper = User.objects.get(username=name)
    keeper.set_password(password)
    keeper.save()
    minutes = (ROOT / "deploy" / "ten-minutes.md").read_text()
    [sheet] = re.findall(r"<<'CSV'\n(.*?)CSV\n", minutes, re.DOTALL)
    (tmp_path / "session.csv").write_text(sheet)
    lines = path_of(
        "A client of your own", SimpleNamespace(port=live_server.url.rpartition(":")[2])
    )
    lines = lines.replace("127.0.0.1", live_server.url.split("/")[2].partition(":")[0])
    lines = lines.replace("sandgrain:winter-bench-league", f"{name}:{password}")

    done = run_in_shell(lines.replace("deploy/example-session.csv", "session.csv"), tmp_path)

    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.splitlines()[-2:] == ["queued", ""]
    assert Session.objects.get().contributor.handle == name
