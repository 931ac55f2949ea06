"""`deploy/bench agree`: every figure of the reference files, and the table kept of it."""

import json
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest

from deploy.benchmarks.agreement.comparing import read
from deploy.benchmarks.agreement.kinds import agreement
from deploy.benchmarks.agreement.table import table

ROOT = Path(__file__).parents[2]
KEPT = ROOT / "results/statistics/AGREEMENT.md"
BCG = ROOT / "tests/data/pooling/random-effects-bcg.json"


def is_reference(path):
    return '"kind"' in path.read_text() and "kind" in json.loads(path.read_text())


REFERENCES = sorted(path for path in (ROOT / "tests/data").rglob("*.json") if is_reference(path))


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
    document = json.loads(BCG.read_text())
    document["expected"]["REML"]["tau2"] *= 1.0002
    spoilt = tmp_path / "spoilt.json"
    spoilt.write_text(json.dumps(document))
    ran = run(spoilt)
    assert ran.returncode == 1
    short = [line for line in ran.stdout.splitlines() if line.endswith("SHORT")]
    assert len(short) == 1
    assert short[0].startswith("REML.tau2")


def test_an_expected_figure_we_do_not_compute_is_short_of_agreement(tmp_path):
    document = json.loads(BCG.read_text())
    document["expected"] = {"REML": {"mu": -0.7145, "omega": 1.5}}
    unknown = tmp_path / "unknown.json"
    unknown.write_text(json.dumps(document))
    ran = run(unknown)
    assert ran.returncode == 1
    line = next(line for line in ran.stdout.splitlines() if line.startswith("REML.omega"))
    assert "not computed" in line
    assert line.endswith("SHORT")
    assert "REML.mu" in ran.stdout
    assert ran.stdout.count("not computed") == 1


@pytest.mark.parametrize(
    "path",
    {json.loads(path.read_text())["kind"]: path for path in REFERENCES}.values(),
    ids=lambda path: path.stem,
)
def test_in_a_file_of_every_kind_a_figure_that_nothing_computes_is_seen(path):
    document = read(path)
    name = next((name for name in document if name.startswith("expected")), None)
    (document[name] if name else document)["omega"] = Decimal("1.5")
    missing = [figure.name for figure in agreement(document) if figure.ours is None]
    assert missing == ["omega"]


def test_cumulative_pools_those_without_one_and_covariates_are_computed_in_files_of_any_kind():
    """On absolute latitude: R metafor's documentation of these data, from memory."""
    document = read(BCG)
    latitude = [44, 55, 42, 52, 13, 44, 19, 13, 27, 42, 18, 33, 33]
    document["data"]["latitude"] = [Decimal(each) for each in latitude]
    whole, rows = document["expected"]["DL"], range(13)
    document["expected"] = json.loads(
        json.dumps(
            {
                "cumulative_DL": {"first_row_has": 1, "mu": [0.0] * 13, "se": [0.0] * 13},
                "cumulative_REML_knapp_hartung": {"ci": [[0.0, 0.0]] * 12, "Q": [0.0] * 12},
                "leave_one_out_PM": {"mu": [0.0] * 13, "tau2": [0.0] * 13},
                "REML_moderator": {
                    "coefficients": [0.2515, -0.0291],
                    "se_model": [0.2491, 0.0072],
                    "tau2": 0.0764,
                    "QE": 30.7331,
                    "R2_percent": 75.62,
                    "latitude": {"estimate": -0.0291, "se": 0.0072},
                },
            }
        ),
        parse_float=Decimal,
        parse_int=Decimal,
    )
    found = {figure.name: figure for figure in agreement(document)}
    assert [name for name, figure in found.items() if figure.ours is None] == []
    on_latitude = [figure for name, figure in found.items() if name.startswith("REML_moderator")]
    assert len(on_latitude) == 9
    assert all(figure.agrees for figure in on_latitude)
    assert found["cumulative_DL.mu[0]"].ours == pytest.approx(float(document["data"]["yi"][0]))
    assert found["cumulative_DL.mu[12]"].ours == pytest.approx(float(whole["mu"]))
    assert len({found[f"leave_one_out_PM.mu[{row}]"].ours for row in rows}) == 13


def test_where_rows_stand_in_clusters_whole_clusters_come_and_go():
    document = read(ROOT / "tests/data/pooling/three-level-districts.json")
    whole = document["expected"]["mu"]
    document["expected"] = json.loads(
        json.dumps(
            {
                "cumulative": {"first_row_has": 3, "mu": [0.0] * 9, "se_model": [0.0] * 9},
                "leave_one_cluster_out": {"mu": [0.0] * 11, "sigma2_between_clusters": [0.0] * 11},
            }
        ),
        parse_float=Decimal,
        parse_int=Decimal,
    )
    found = {figure.name: figure.ours for figure in agreement(document)}
    assert None not in found.values()
    assert found["cumulative.mu[8]"] == pytest.approx(float(whole))


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
