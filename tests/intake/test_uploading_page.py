"""The page on uploading: its examples run, and it names everything that can be sent."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest
from knox.models import AuthToken

from results.intake.columns import COLUMNS
from results.intake.document import (
    BaselineDocument,
    LineOnSpool,
    PullDocument,
    PullSetDocument,
    SessionDocument,
    TraceDocument,
)
from results.models import Session
from tests.intake.conftest import sheet

PAGE = (Path(__file__).parents[2] / "api" / "uploading.md").read_text(encoding="utf-8")


def block(language: str) -> str:
    return re.search(rf"```{language}\n(.*?)```", PAGE, re.DOTALL)[1]


@pytest.fixture
def shed(live_server, owner, bench, tmp_path):
    """A folder with a sheet in it and the environment that the examples expect."""
    (tmp_path / "session.csv").write_text(sheet(), encoding="utf-8")
    token = AuthToken.objects.create(owner.user)[1]
    return {
        "cwd": tmp_path,
        "env": {**os.environ, "SAMESPOOL": live_server.url, "TOKEN": token, "no_proxy": "*"},
    }


def output_of(command: list[str], shed: dict) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True, **shed).stdout


@pytest.mark.django_db(transaction=True)
def test_the_three_lines_of_curl_check_send_and_ask(shed):
    said = output_of(["bash", "-ec", block("bash")], shed)

    assert '"efficiency":' in said
    assert '"state":"queued"' in said
    assert Session.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_lines_of_python_send_and_ask(shed):
    said = output_of([sys.executable, "-c", block("python")], shed)

    assert said == "queued\n"
    assert Session.objects.count() == 1


def test_the_document_on_the_page_can_be_sent(send):
    assert send(json.loads(block("json"))).created


def test_the_page_names_every_column_of_a_sheet():
    named = re.findall(r"^\| ([a-z ]+) \|", PAGE, re.MULTILINE)

    assert named[1:] == list(COLUMNS)


def test_the_document_on_the_page_shows_every_member():
    shown = set(re.findall(r'"(\w+)":', block("json")))
    forms = (
        SessionDocument,
        BaselineDocument,
        PullSetDocument,
        PullDocument,
        LineOnSpool,
        TraceDocument,
    )
    known = {info.name for form in forms for info in msgspec.structs.fields(form)}

    assert known <= shown
