"""`deploy/try` as its user meets it, by the README's own lines: table, tour, a second run."""

import contextlib
import re
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from deploy.demo.options import USUAL_PORT
from deploy.demo.table import HEADINGS
from deploy.tools.processes import TIMEOUT_S
from tests.demo.tried import ROOT, Tried, trying

README = (ROOT / "README.md").read_text()
[TWO_COMMANDS] = re.findall(r"^## Two commands$(.*?)^## ", README, re.DOTALL | re.MULTILINE)
COMMANDS = re.findall(r"^    (\S.*)$", TWO_COMMANDS, re.MULTILINE)
VARIANTS = re.findall(r"`(deploy/try [^`]+)`", TWO_COMMANDS)
TRY = [str(ROOT / COMMANDS[0])]


@pytest.fixture(scope="module")
def tried(tmp_path_factory) -> Iterator[Tried]:
    with trying(TRY, tmp_path_factory.mktemp("try")) as found:
        yield found


def run_again(tried: Tried, *options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*TRY, *options],
        cwd=ROOT,
        env=tried.environment,
        capture_output=True,
        text=True,
        timeout=TIMEOUT_S,
        check=False,
    )


def run_in_shell(script: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run lines of a shell; a request that is refused ends them."""
    strict = 'set -euo pipefail\ncurl() { command curl --fail-with-body "$@"; }\n'
    return subprocess.run(
        ["bash", "-c", strict + script],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=TIMEOUT_S,
        check=False,
    )


def table_rows(printed: str) -> list[list[str]]:
    """The rows under the headings, cell by cell."""
    lines = printed[printed.index(HEADINGS[0] + " ") :].split("\n\n", maxsplit=1)[0].splitlines()
    return [re.split(r"\s{2,}", line) for line in lines[1:]]


def test_the_table_gives_figures_where_three_testers_pulled_and_none_where_fewer_did(tried):
    rows = table_rows(tried.printed)

    assert len(rows) > 20
    for _join, _pair, testers, _pulls, efficiency, interval, prediction, i2 in rows:
        figures = [efficiency, interval, prediction, i2]
        assert ("-" in figures) == (int(testers) < 3)


def test_the_ten_minutes_run_from_top_to_bottom_and_a_second_time(tried, tmp_path):
    tour = (ROOT / "deploy" / "ten-minutes.md").read_text()
    script = "\n".join(re.findall(r"```sh\n(.*?)```", tour, re.DOTALL))
    script = script.replace(":8000", f":{tried.port}").replace("@deploy", f"@{ROOT}/deploy")

    for _ in range(2):
        done = run_in_shell(script, tmp_path)

        assert done.returncode == 0, done.stdout + done.stderr
        assert '"state": "done"' in done.stdout
        assert "Traceback" not in done.stderr


def test_the_line_it_prints_uploads_the_example_session(tried):
    line = next(line for line in tried.printed.splitlines() if line.startswith("curl "))

    done = run_in_shell(line, ROOT)

    assert done.returncode == 0, done.stdout + done.stderr
    assert '"job":' in done.stdout


def test_a_second_run_keeps_what_is_there_and_stops_after_the_table_when_asked_to(tried):
    [no_serve] = [words.split() for words in VARIANTS if "--no-serve" in words]
    with socket.socket() as other:
        with contextlib.suppress(OSError):  # taken by somebody else, which does as well
            other.bind(("127.0.0.1", USUAL_PORT))
            other.listen()
        again = run_again(tried, *no_serve[1:])

    assert again.returncode == 0, again.stderr
    assert len(table_rows(again.stdout)) == len(table_rows(tried.printed))
    assert "Ctrl-C" not in again.stdout


def test_the_commands_are_the_two_that_are_tested():
    assert COMMANDS == ["deploy/try", "deploy/test"]
    assert VARIANTS == ["deploy/try --no-serve", "deploy/try --port 8001"]
    assert f'/../{COMMANDS[1]}"' in (ROOT / ".ci" / "run").read_text()


def test_a_taken_port_is_reported_in_one_line_with_a_way_out(tried):
    refused = run_again(tried, "--port", str(tried.port))

    assert refused.returncode == 1
    assert refused.stderr == (
        f"Port {tried.port} is taken. Stop what listens there, or choose another port: "
        f"deploy/try --port {tried.port + 1}\n"
    )
