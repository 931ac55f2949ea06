"""The demo's spring round, as a stranger and its participants find it."""

import re
from pathlib import Path

import pytest
import requests

from deploy.demo.accounts import PASSWORD
from deploy.demo.client import Client
from deploy.demo.round import RIG_LOG, SAMPLES, hand_log, participants
from deploy.tools.processes import TIMEOUT_S
from tests.demo.tried import ROOT

README = Path(ROOT / "README.md").read_text()
[PLACE] = re.findall(r"spring round is at `(/rounds/\d+/)`", README)
NUMBER = int(PLACE.split("/")[2])
LOW, WEAK = "quernstone", "reedmace"
"""Whose rig reads lowest and whose ties hold least, as the round's truth has it."""


@pytest.fixture(scope="module")
def address(tried) -> str:
    return f"http://127.0.0.1:{tried.port}"


def page(address: str) -> str:
    with requests.Session() as session:
        session.trust_env = False
        answer = session.get(address, timeout=TIMEOUT_S)
    assert answer.ok, address
    return " ".join(re.sub(r"<[^>]+>", " ", answer.text).split())


def test_readme_leads_to_a_closed_round_and_its_report(address):
    said = page(f"{address}{PLACE}")
    assert "Spring round" in said
    assert "Report for the club" in said
    report = page(f"{address}{PLACE}report/")
    assert "8 of 8 testers sent 288 pulls" in report
    assert not [tester["handle"] for tester in participants() if tester["handle"] in report]


def test_everyone_reads_in_their_own_report_what_the_truth_has_of_them(address):
    assert min(RIG_LOG, key=RIG_LOG.get) == LOW
    assert min(participants(), key=hand_log)["handle"] == WEAK
    found = {
        handle: Client(address, handle, PASSWORD).get(f"/rounds/{NUMBER}/my-report")["own"]
        for handle in RIG_LOG
    }
    assert found[LOW]["rig"]["high_percent"] < 0
    assert found[WEAK]["hand"]["high_percent"] < 0
    assert {one["pulls"] for one in found.values()} == {36}


def test_two_samples_of_the_four_were_hidden_twice_and_all_count_as_sets(address):
    report = Client(address).get(f"/rounds/{NUMBER}/report")
    assert [one["sample"] for one in report["report"]["samples"]] == [1, 2, 3, 4]
    twice = {one["sample"]: bool(one["duplicates"]) for one in report["report"]["samples"]}
    assert twice == {sample.number: sample.hidden_twice for sample in SAMPLES}
    assert len(report["sets"]) == 8 * 6
    assert report["formulae"] is not None
