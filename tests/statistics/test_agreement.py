"""`deploy/bench agree`: every figure of the reference files, and the table kept of it."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from deploy.benchmarks.agreement.comparing import read
from deploy.benchmarks.agreement.kinds import KINDS, agreement
from deploy.benchmarks.agreement.table import table

ROOT = Path(__file__).parents[2]
KEPT = ROOT / "results/statistics/AGREEMENT.md"
REFERENCES = sorted(
    path
    for path in (ROOT / "tests/data").rglob("*.json")
    if '"kind"' in path.read_text() and json.loads(path.read_text()).get("kind") in KINDS
)


def run(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "deploy.benchmarks.agree", *map(str, arguments)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("path", REFERENCES, ids=lambda path: path.stem)
def test_every_figure_of_a_reference_file_agrees(path):
    figures = agreement(read(path))
    assert figures
    assert [figure for figure in figures if not figure.agrees] == []


def test_the_kept_table_is_what_the_reference_files_give(tmp_path):
    made = table(REFERENCES)
    fresh = tmp_path / KEPT.name
    fresh.write_text(made)
    assert made == KEPT.read_text(), f"the table has changed; the new one is {fresh}"


def test_a_figure_that_is_off_in_the_fourth_digit_ends_the_command_with_one(tmp_path):
    document = json.loads((ROOT / "tests/data/pooling/random-effects-bcg.json").read_text())
    document["expected"]["REML"]["tau2"] *= 1.0002
    spoilt = tmp_path / "spoilt.json"
    spoilt.write_text(json.dumps(document))
    ran = run(spoilt)
    assert ran.returncode == 1
    short = [line for line in ran.stdout.splitlines() if line.endswith("SHORT")]
    assert len(short) == 1
    assert short[0].startswith("REML.tau2")


def test_an_expected_figure_we_do_not_compute_is_short_of_agreement(tmp_path):
    document = json.loads((ROOT / "tests/data/pooling/random-effects-bcg.json").read_text())
    document["expected"] = {"REML": {"omega": 1.5}}
    unknown = tmp_path / "unknown.json"
    unknown.write_text(json.dumps(document))
    ran = run(unknown)
    assert ran.returncode == 1
    assert "not computed" in ran.stdout


@pytest.mark.parametrize("content", ['{"kind": "astrology", "expected": {}}', "not JSON", "[]"])
def test_a_file_of_no_known_kind_ends_the_command_with_two(tmp_path, content):
    path = tmp_path / "strange.json"
    path.write_text(content)
    ran = run(path)
    assert ran.returncode == 2
    assert "strange.json" in ran.stderr
    assert "Traceback" not in ran.stderr


def test_an_unread_file_with_other_data_and_fewer_figures_works(tmp_path):
    document = json.loads((ROOT / "tests/data/pooling/three-level-districts.json").read_text())
    kept = [row for row, cluster in enumerate(document["data"]["cluster"]) if cluster != 644]
    document["data"] = {
        name: [values[row] for row in kept] for name, values in document["data"].items()
    }
    # R 4.2.2, metafor 3.8.1 on the same 52 rows: rma.mv(yi, vi, random = ~ 1 | cluster/effect)
    document["expected"] = {
        "k": 52,
        "mu": 0.186281816115,
        "se_model": 0.092280789844,
        "sigma2_between_clusters": 0.0725525985,
        "sigma2_within_clusters": 0.0330397331,
        "restricted_loglik": -6.91134529384,
        "Q": 574.785667018661,
    }
    fewer = tmp_path / "fewer.json"
    fewer.write_text(json.dumps(document))
    assert run(fewer).returncode == 0
