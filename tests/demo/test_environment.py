"""Where `deploy/try` can't begin, it says why in one line, and what to do."""

import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from deploy.tools.processes import TIMEOUT_S

ROOT = Path(__file__).parents[2]
NEEDED = ("deploy/try", "deploy/environment.sh", "deploy/demo/options.py", "requirements-demo.lock")
TOOLS = ("bash", "cat", "dirname", "env", "grep", "rm", "sha256sum")


@pytest.fixture
def bare(tmp_path) -> Path:
    """A fresh checkout's worth of what `deploy/try` begins with, and no environment yet."""
    (tmp_path / "deploy" / "demo").mkdir(parents=True)
    for name in NEEDED:
        shutil.copy(ROOT / name, tmp_path / name)
    return tmp_path


def begin(bare: Path, *options: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [bare / "deploy" / "try", *options],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=TIMEOUT_S,
        check=False,
    )


def test_a_python_that_is_too_old_is_named_beside_what_is_needed(bare):
    programs = bare / "bin"
    programs.mkdir()
    for tool in TOOLS:
        (programs / tool).symlink_to(shutil.which(tool))
    old = programs / "python3"
    old.write_text('#!/bin/sh\n[ "$1" = --version ] && echo "Python 3.9.2" && exit 0\nexit 1\n')
    old.chmod(0o755)

    stopped = begin(bare, "--no-serve", PATH=str(programs))

    assert stopped.returncode == 1
    assert stopped.stderr == (
        "Samespool needs Python 3.11 or newer, and this machine has Python 3.9.2. "
        "Install python3.11 and run this again.\n"
    )


def test_a_taken_port_is_found_before_anything_is_installed(bare):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]

        stopped = begin(bare, "--port", str(port))

    assert stopped.returncode == 1
    assert stopped.stderr.startswith(f"Port {port} is taken.")
    assert not (bare / ".venv").exists()


@pytest.mark.parametrize("port", ["0", "65536", "-1", "eight"])
def test_what_is_no_port_is_refused_before_anything_is_installed(port, bare):
    stopped = begin(bare, "--port", port)

    assert stopped.returncode == 2
    assert "--port" in stopped.stderr
    assert not (bare / ".venv").exists()


def test_help_needs_no_environment(bare):
    shown = begin(bare, "--help")

    assert (shown.returncode, shown.stderr) == (0, "")
    assert "--no-serve" in shown.stdout
    assert not (bare / ".venv").exists()


def test_a_missing_venv_module_is_reported_with_the_package_that_brings_it(bare):
    (bare / "ensurepip.py").write_text("raise ImportError\n")

    stopped = begin(bare, "--no-serve", PYTHONPATH=str(bare))

    assert stopped.returncode == 1
    assert stopped.stderr == (
        "Python's venv module is missing. Install it (on Debian: apt-get install python3-venv) "
        "and run this again.\n"
    )


def test_a_missing_network_is_reported_and_where_the_details_are(bare):
    nowhere = {
        "PIP_CONFIG_FILE": os.devnull,
        "PIP_INDEX_URL": "http://127.0.0.1:9/",
        "PIP_FIND_LINKS": "",
        "PIP_NO_CACHE_DIR": "1",
        "PIP_RETRIES": "0",
    }
    own_python = Path(sys.base_prefix) / "bin"

    stopped = begin(bare, "--no-serve", PATH=f"{own_python}:{os.environ['PATH']}", **nowhere)

    assert stopped.returncode == 1
    assert stopped.stderr == (
        "The packages could not be fetched. Connect this machine to the network and run this "
        "again; .venv/install.log says more.\n"
    )
    assert "altair" in (bare / ".venv" / "install.log").read_text()
