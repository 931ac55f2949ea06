"""Samespool on one's own machine: prepare, send the demo league, show its pools, serve."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import requests
from django.conf import settings
from django.core.management import call_command

from deploy.demo.accounts import ADMINISTRATOR, MODERATOR, PASSWORD, make_accounts
from deploy.demo.client import Client, Refusal
from deploy.demo.names import accept_names_of
from deploy.demo.options import parse
from deploy.demo.send import send_league
from deploy.demo.send_round import ORGANISER, PACKER, send_round
from deploy.demo.simulate import draw_world
from deploy.demo.table import pool_table
from deploy.tools.processes import exit_on_sigterm, free_port, running, wait_until
from results.catalogue.starter import lay_starter

SERVER = ["granian", "--interface", "wsgi", "--workers", "1", "--blocking-threads", "8"]
SERVER += ["--workers-kill-timeout", "5"]
APPLICATION = "deploy.wsgi:application"
TIMEOUT_S = 120.0
WINTER = 2025
"""Random state of the league's draw: the same winter for everybody."""
DESK = "/admin/results/reviewcase/"
SENDER = "samespool@example.org"
EXAMPLE_SENDER, EXAMPLE = "sandgrain", "deploy/example-session.csv"


def main() -> int:
    """Do it all; returns the exit code."""
    options = parse()
    exit_on_sigterm()
    call_command("migrate", verbosity=0)
    lay_starter()
    world = draw_world(np.random.default_rng(WINTER))
    make_accounts({submission["handle"]: submission["club"] for submission in world})
    accept_names_of(world)
    try:
        with _serving(options.port or free_port()) as (server, address):
            print("Sending the demo league's winter through the API ...", flush=True)
            send_league(address, world)
            spring = send_round(address)
            print(f"\n{pool_table(Client(address).each('/pools'))}\n", flush=True)
            if not options.no_serve:
                _say_where(address, spring)
                server.wait()
    except KeyboardInterrupt:
        return 0
    except (Refusal, TimeoutError) as error:
        return _stop(f"{error} ({_log()} says more)")
    return 0


def _stop(why: str) -> int:
    print(why, file=sys.stderr)
    return 1


def _log() -> Path:
    return Path(settings.VAR_DIR) / "server.log"


MAIL_FOLDER = "SAMESPOOL_MAIL_FOLDER"


def _mails() -> Path:
    """Where the demo's mails end, a file each: the folder of the environment, or one of its own."""
    return Path(os.environ.get(MAIL_FOLDER) or Path(settings.VAR_DIR) / "mails")


def _with_mail(address: str) -> dict[str, str]:
    """The environment, in which mails are written to files and their links lead to the demo."""
    mail = {
        "SAMESPOOL_MAIL_FROM": SENDER,
        MAIL_FOLDER: str(_mails()),
        "SAMESPOOL_ORIGINS": address,
    }
    return mail | os.environ


@contextlib.contextmanager
def _serving(port: int) -> Iterator[tuple[subprocess.Popen[bytes], str]]:
    """The web process from its first answer on, and its address."""
    address = f"http://127.0.0.1:{port}"
    program = Path(sys.executable).with_name(SERVER[0])
    command = [str(program), *SERVER[1:], "--host", "127.0.0.1", "--port", str(port), APPLICATION]
    environment = _with_mail(address)
    with (
        _log().open("wb") as out,
        running(command, env=environment, stdout=out, stderr=out) as server,
    ):
        wait_until(lambda: server.poll() is not None or _answers(address), "The service", TIMEOUT_S)
        if server.poll() is not None:
            raise TimeoutError("The service stopped as soon as it was started")
        yield server, address


def _answers(address: str) -> bool:
    try:
        Client(address).get("/pools")
    except requests.ConnectionError:
        return False
    return True


def _say_where(address: str, spring: str) -> None:
    token = Client(address, EXAMPLE_SENDER, PASSWORD).token
    print(
        f"Pools         {address}/\n"
        f"A club's round {spring}, which {ORGANISER} organised and {PACKER} packed\n"
        f"API           {address}/api/v1/docs\n"
        f"Sign in       {address}/sign-in/   with the password {PASSWORD}, as\n"
        f"  a tester         {EXAMPLE_SENDER}, or another of the league: to {address}/bench/\n"
        f"  a moderator      {MODERATOR}: decides at {address}{DESK}\n"
        f"  an administrator {ADMINISTRATOR}: to {address}/admin/\n"
        f"  somebody new     {address}/sign-up/\n"
        f"Mails         are files in {_mails()}; none goes out\n\n"
        f"Upload a session:\n"
        f"curl -H 'Authorization: Token {token}' -H 'Content-Type: text/csv' "
        f"--data-binary @{EXAMPLE} {address}/api/v1/sessions\n\n"
        f"Ctrl-C stops it; what is stored stays in {settings.VAR_DIR}.",
        flush=True,
    )
