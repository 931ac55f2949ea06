"""A stranger checks the published figures by the scripts of the archive, and cites it.

R's metafor (Viechtbauer 2010, Journal of Statistical Software 36(3)) and a second program in Python
start from the readings and use nothing of ours.
"""

import csv
import hashlib
import json
import re
import subprocess
import sys
from datetime import date

import nbformat
import numpy as np
import pytest
from django.conf import settings
from frictionless import Package, system
from jsonschema import Draft202012Validator
from nbclient import NotebookClient

from deploy.tools.processes import TIMEOUT_S
from results.jobs.queue import enqueue
from results.models import NormalisedSet, Pool, Pull, Session
from results.open_data.companions import dataset, info_of
from results.pools.estimate import CLUB_ROUND
from results.rounds.closing import close
from results.rounds.drafts import SampleDraft
from results.worker import embedded
from tests import making, playing
from tests.people import contributor

NEWTONS = np.array([1.0, 1.06, 0.97, 1.02, 0.95, 1.04])
"""Loads of six pulls over their mean."""


@pytest.fixture
def league(transactional_db, planted_past, monkeypatch):
    """Testers with and without a calibration, several sets a session, pulls that end at a grip.

    Two have load cells that sample slowly and do not read zero without load.
    """
    far = {"influence_limit": {"least": 9.0, "most": 9.0}}
    monkeypatch.setattr(settings, "SAMESPOOL_SCREENING", far)
    rng = np.random.default_rng(20260110)
    thin, thick = making.line("thin"), making.line("thick", label_N=180)
    for number in range(6):
        revision = making.revision_of(contributor(f"tester {number}"))
        if number % 3:
            making.calibrate(revision, gain=1 + number / 100, offset_N=number - 2.0)
        for day in (10, 17):
            session = making.session(revision, pulled_on=date(2026, 1, day))
            modes = ["line"] * 5 + ["grip"]
            straight_N = 100 * NEWTONS * np.exp(rng.normal(0, 0.02, 6))
            making.straight(session, thin, straight_N, modes if number % 2 else None)
            for place, tie in enumerate(("Blood", "Blood", "Albright")):
                ends = ["join", "slip", "join", "line", "join", "grip" if place else "join"]
                pulled_N = 80 * NEWTONS * np.exp(rng.normal(0, 0.04) + rng.normal(0, 0.04, 6))
                pull_set = making.joined(session, thin, thick, pulled_N, ends, tie=tie)
                pull_set.tyer = "a friend" if number == 5 and place == 1 else ""
                pull_set.save()
            if number in (1, 3):
                recorded(session, zero=number - 1.5)
            enqueue(session)
    for club in ("Harbour Club", "Weir Club", "Jetty Club"):
        in_a_round(club)
    embedded.drain()


def recorded(session: Session, zero: float) -> None:
    """Force over time of each pull, joins loaded at half the rate of straight line."""
    for pull in Pull.objects.filter(baseline__session=session):
        making.traced(pull, samples_per_s=5.0, rate=40.0, zero=zero)
    for pull in Pull.objects.filter(pull_set__session=session):
        making.traced(pull, samples_per_s=5.0, zero=zero / 2)


def in_a_round(club: str) -> None:
    """Two testers of a club tie one of the joins on spools that they share."""
    entrants = [playing.member(f"{club} {number}", club) for number in (1, 2)]
    for tester in entrants:
        playing.lent_rig(tester)
    sample = SampleDraft(making.connection("Blood"), 1, "by each tester", leader_lot=2)
    made, entered = playing.opened(entrants[0], entrants, samples=[sample])
    for number, participant in enumerate(entered):
        playing.sends(participant, load_N=76.0 + len(club) / 2 + 1.1 * number)
    close(entrants[0], made)


@pytest.fixture
def folder(league, unpack, tmp_path):
    for name, body in unpack().files.items():
        (tmp_path / name).write_bytes(body)
    return tmp_path


def run(*command: str, folder) -> tuple[int, str]:
    ended = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    return ended.returncode, ended.stdout + ended.stderr


OF_TRACES = {"zero_of_pulls_log", "missed_peak_log"}
SCRIPTS = {"recompute.R": "Rscript", "recompute.py": sys.executable}


def without_figures(folder) -> None:
    """Empty what each set came to, but what traces show, which are in files of their own."""
    table = folder / "pull_sets.csv"
    rows = list(csv.DictReader(table.open(newline="")))
    first = list(rows[0]).index("pulls")
    for row in rows:
        row.update(dict.fromkeys(set(list(row)[first:]) - OF_TRACES, ""))
    with table.open("w", newline="") as opened:
        writer = csv.DictWriter(opened, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def test_each_script_computes_every_pool_from_the_readings_alone_to_eight_digits(folder):
    without_figures(folder)
    figures = [pool for pool in Pool.objects.select_related("current") if pool.current.efficiency]
    with_rounds = [CLUB_ROUND in pool.current.figures.get("crossed", ()) for pool in figures]
    assert sorted(with_rounds) == [False, True]
    assert NormalisedSet.objects.filter(missed_peak_log__isnull=False).count() == 12
    for script, program in SCRIPTS.items():
        code, said = run(program, script, folder=folder)
        assert code == 0, said
        apart = re.search(r"2 pools, the largest difference is (\S+)", said)
        assert apart, said
        assert float(apart[1]) < 1e-8, said

    rows = (folder / "pulls.csv").read_text().splitlines(keepends=True)
    place = next(i for i, row in enumerate(rows) if ",join," in row)
    rows[place] = rows[place].replace(",join,", ",none,")
    (folder / "pulls.csv").write_text("".join(rows))
    for script, program in SCRIPTS.items():
        code, said = run(program, script, folder=folder)
        assert code == 1, said


def test_the_notebook_computes_every_pool_and_draws_a_forest(folder):
    without_figures(folder)
    notebook = nbformat.read(folder / "recompute.ipynb", 4)
    nbformat.validate(notebook)

    run_all = NotebookClient(notebook, timeout=TIMEOUT_S, resources={"metadata": {"path": folder}})
    run_all.execute()

    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    said = "".join(one.text for cell in code for one in cell.outputs if one.get("name") == "stdout")
    assert re.fullmatch(r"2 pools, the largest difference of an efficiency is \S+\n", said)
    assert float(said.split()[-1]) < 1e-8
    drawn = (folder / "forest.svg").read_text()
    pool = Pool.objects.order_by("-current__sets")[0]
    assert drawn.count(">tester ") == pool.current.sets
    assert f"pool {pool.pk}: {pool.current.efficiency:.1%}" in drawn


def its_checksums_hold(folder) -> None:
    with system.use_context(trusted=True):
        report = Package(str(folder / "datapackage.json")).validate()
    assert report.valid, report.flatten(["name", "type", "note"])[:5]
    assert len(report.tasks) == 22
    named = (folder / "SHA256SUMS.txt").read_text().splitlines()
    for line in named:
        digest, _, name = line.partition("  ")
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest
    everything = {path.name for path in folder.iterdir()} - {"SHA256SUMS.txt"}
    assert {line.partition("  ")[2] for line in named} == everything


DATACITE = {
    "required": [
        *("titles", "creators", "publisher", "publicationYear", "types", "version", "rightsList"),
    ],
    "properties": {
        "creators": {"minItems": 1, "items": {"required": ["name"]}},
        "publicationYear": {"pattern": r"^\d{4}$"},
        "types": {"properties": {"resourceTypeGeneral": {"const": "Dataset"}}},
    },
}
"""What the DataCite Metadata Schema 4.5 makes mandatory, but the DOI that a deposit is given."""
SCHEMA_ORG = {"required": ["@context", "@type", "name", "description", "license", "distribution"]}
"""What schema.org's Dataset is found by: name and description, and how to get at it."""


def test_a_package_is_valid_and_says_how_it_is_cited_and_what_has_changed(folder, make, client):
    its_checksums_hold(folder)
    the_path_that_readme_shows_is_there(folder)
    its_words_name_every_step(folder)
    release = make()
    info = info_of(release)
    metadata = json.loads((folder / "datacite.json").read_text())
    assert list(Draft202012Validator(DATACITE).iter_errors(metadata)) == []
    page = client.get("/open-data/").content.decode()
    embedded_document = re.search(
        r'<script type="application/ld\+json">(.*?)</script>', page, re.DOTALL
    )
    found = json.loads(embedded_document[1])
    assert list(Draft202012Validator(SCHEMA_ORG).iter_errors(found)) == []
    archive = f"http://testserver/open-data/{release.number}/archive.zip"
    assert found == dataset(info, "http://testserver/open-data/", archive)
    assert client.get(archive).status_code == 200

    citation = dict(
        line.split(": ", 1) for line in (folder / "CITATION.cff").read_text().splitlines()
        if ": " in line and not line.startswith(" ")
    )  # fmt: skip
    assert citation["cff-version"] == "1.2.0"
    assert citation["version"] == "'1'"
    assert citation["license"] == "CC-BY-4.0"
    assert "CC-BY-4.0" in (folder / "LICENCE.md").read_text()
    changes = client.get(f"/open-data/{release.number}/CHANGES.md")
    rows = [line for line in b"".join(changes.streaming_content).decode().splitlines()
            if re.match(r"\| \d", line)]  # fmt: skip
    assert [row.split("|")[1].strip() for row in rows] == ["2", "1"]
    names = {file["name"] for file in release.files}
    assert {"recompute.R", "recompute.py", "recompute.ipynb", "CITATION.cff"} < names
    for name in names:
        assert client.get(f"/open-data/latest/{name}", follow=True).status_code == 200, name


def the_path_that_readme_shows_is_there(folder) -> None:
    """Find, check, cite: each file that the README's lines name lies in the archive."""
    section = (settings.BASE_DIR / "README.md").read_text().partition("## Open data")[2]
    [lines] = re.findall(r"```sh\n(.*?)```", section, re.DOTALL)
    assert len(lines.splitlines()) <= 10
    named = re.findall(r"\S+\.(?:txt|py|cff)", lines)
    assert len(named) == 3
    assert all((folder / name).exists() for name in named)


def its_words_name_every_step(folder) -> None:
    words = (folder / "README.md").read_text()
    for said in (
        *("recompute.R", "recompute.py", "n_effective", "degrees_of_freedom", "I²", "`tyer`"),
        *("Prediction interval", "nine in ten", "second look", "1e-8", "restricted likelihood"),
    ):
        assert said in words, said
