"""Stories 21 to 23: every pull, a figure recomputed from it, and what is not in it."""

import json
import math
import tempfile
from statistics import fmean, stdev

import numpy as np
import pytest
from django.core.management import call_command
from django.test import Client
from scipy.optimize import minimize

from results.accounts import close
from results.intake import amend
from results.models import Pool, Pull, PullSet, Release
from results.review import decisions
from results.worker import embedded
from tests import making

pytestmark = pytest.mark.usefixtures("planted_past")


def test_story_21_every_pull_is_there_as_written_and_in_newtons_voids_included(league, unpack):
    Pull.objects.filter(pull_set=league[0], number=1).update(
        failure_mode="void", reading_N=None, reading_written=""
    )
    Pull.objects.filter(pull_set=league[0], number=2).update(
        reading_written="18.5", unit="lbf", reading_N=18.5 * 4.4482216152605
    )
    package = unpack()
    pulls = {int(row["pull"]): row for row in package.rows("pulls")}
    assert set(pulls) == set(Pull.objects.values_list("pk", flat=True))
    void, pounds = (pulls[pull.pk] for pull in league[0].pulls.order_by("number")[:2])
    assert (void["failure_mode"], void["reading_N"]) == ("void", "")
    assert (pounds["reading_written"], pounds["unit"]) == ("18.5", "lbf")
    # 1 lbf is 4.4482216152605 N by definition.
    assert float(pounds["reading_N"]) == 18.5 * 4.4482216152605


def test_story_21_a_version_is_frozen(league, make, unpack):
    first = make()
    before = unpack(first)
    amend.withdraw(league[0].session, league[0].session.contributor, "the scale stuck")
    embedded.drain()
    second = make()

    assert (first.number, second.number) == (1, 2)
    assert unpack(first).files == before.files
    now = unpack(second)
    gone = str(league[0].pk)
    assert gone in before.column("pull_sets", "pull_set")
    assert gone not in now.column("pull_sets", "pull_set")
    assert gone not in now.column("pulls", "pull_set")
    assert gone not in now.column("pool_sets", "pull_set")


def test_story_21_files_stand_at_addresses_that_stay_and_may_be_kept_for_good(league, make):
    release, stranger = make(), Client()
    moved = stranger.get("/open-data/latest/pulls.csv")
    assert moved["Location"] == f"/open-data/{release.number}/pulls.csv"
    assert moved["Cache-Control"] == "no-cache"

    answer = stranger.get(moved["Location"])
    body = b"".join(answer.streaming_content)
    [shown] = [file for file in release.files if file["name"] == "pulls.csv"]
    assert (len(body), answer["ETag"]) == (shown["bytes"], f'"{shown["sha256"]}"')
    assert "immutable" in answer["Cache-Control"]
    again = stranger.get(moved["Location"], headers={"If-None-Match": answer["ETag"]})
    assert again.status_code == 304
    assert stranger.get(f"/open-data/{release.number}/nothing.csv").status_code == 404
    assert stranger.get("/open-data/99/pulls.csv").status_code == 404

    listed = stranger.get("/api/v1/open-data").json()["results"]
    assert [one["version"] for one in listed] == [release.number]
    assert listed[0]["archive"]["sha256"] == release.sha256
    assert stranger.get(listed[0]["files"][0]["url"]).status_code == 200


def test_story_22_a_pooled_figure_comes_out_of_the_package_alone(league, unpack):
    """By the steps of the README, in its own words and code; nothing of ours is called."""
    package = unpack()
    [pool] = package.rows("pools")
    mu = pooled_by_hand(package, pool["pool"])
    assert math.exp(mu) == pytest.approx(float(pool["efficiency"]), rel=1e-6)
    assert pool["sets_not_here"] == "0"


def pooled_by_hand(package, pool: str) -> float:
    """Restricted likelihood with one variance: each tester here has one session with one set."""
    calibrations = {row["calibration"]: row for row in package.rows("calibrations")}
    loads: dict[tuple[str, str], list[float]] = {}
    behind = [row for row in package.rows("pool_sets") if row["pool"] == pool]
    for pull in package.rows("pulls"):
        for row in behind:
            of = next((k for k in ("pull_set", "baseline") if pull[k] and pull[k] == row[k]), None)
            if of:
                line = calibrations[row["calibration"]]
                load = (float(pull["reading_N"]) - float(line["offset_N"])) / float(line["gain"])
                loads.setdefault((of, row[of]), []).append(load)
    joined = [loads["pull_set", row["pull_set"]] for row in behind]
    straight = [loads["baseline", row["baseline"]] for row in behind]
    a, b = (relative_variances(part) for part in (joined, straight))
    ratio = np.array([math.log(fmean(j) / fmean(s)) for j, s in zip(joined, straight, strict=True)])
    zero = np.array(
        [
            float(line["u_offset_N"]) / float(line["gain"]) * (1 / fmean(j) - 1 / fmean(s))
            for row, j, s in zip(behind, joined, straight, strict=True)
            for line in [calibrations[row["calibration"]]]
        ]
    )
    y, v = ratio + (a - b) / 2, a + a**2 / 2 + b + b**2 / 2 + zero**2

    def mean(tau2: float) -> float:
        return float(np.sum(y / (v + tau2)) / np.sum(1 / (v + tau2)))

    def restricted(log_tau2: np.ndarray) -> float:
        total = v + math.exp(log_tau2[0])
        rest = np.sum((y - mean(math.exp(log_tau2[0]))) ** 2 / total)
        return float(np.sum(np.log(total)) + math.log(np.sum(1 / total)) + rest)

    best = minimize(restricted, [math.log(1e-3)], method="Nelder-Mead", options={"xatol": 1e-10})
    return mean(math.exp(best.x[0]))


def relative_variances(parts: list[list[float]]) -> np.ndarray:
    freedom = np.array([len(part) - 1 for part in parts])
    cv2 = np.array([(stdev(part) / fmean(part)) ** 2 for part in parts])
    return np.sum(freedom * cv2) / np.sum(freedom) / np.array([len(part) for part in parts])


def test_story_22_the_id_beside_a_figure_is_the_same_everywhere_and_computes_it_again(
    league, make, unpack, capsys
):
    release = make()
    [pool] = unpack(release).rows("pools")
    address = f"/pools/{pool['pool']}/"
    api = Client().get(f"/api/v1{address[:-1]}").json()["current"]
    assert api["snapshot"] == pool["snapshot"]
    assert pool["snapshot"] in Client().get(address).content.decode()
    assert repr(api["efficiency"]) == pool["efficiency"]

    amend.withdraw(league[0].session, league[0].session.contributor, "the scale stuck")
    embedded.drain()
    for snapshot in (pool["snapshot"], release.snapshot):
        call_command("recompute", snapshot=snapshot)
        assert f"equal, {pool['efficiency']}" in capsys.readouterr().out


def test_story_23_what_is_not_in_it_is_counted(league, moderator, unpack):
    held, rejected, withdrawn, shared = league
    PullSet.objects.filter(pk=shared.pk).update(discarded_ties=3)
    decisions.decide(by=moderator.user, pull_set=held, decision="hold", reason="Which scale?")
    decisions.decide(by=moderator.user, pull_set=rejected, decision="hold", reason="Which scale?")
    rejected.refresh_from_db()
    decisions.decide(by=moderator.user, pull_set=rejected, decision="reject", reason="Made up.")
    amend.withdraw(withdrawn.session, withdrawn.session.contributor, "the scale stuck")
    waiting = making.joined(
        making.session(shared.session.revision), shared.main_line, shared.leader_line, [80.0, 82.0]
    )
    embedded.drain()

    package = unpack()
    [kind] = package.rows("selection")
    counts = {name: kind[name] for name in list(kind)[-7:]}
    assert counts == {
        "shared": "1",
        "waiting": "1",
        "held": "1",
        "rejected": "1",
        "withdrawn": "1",
        "replaced": "0",
        "discarded_ties": "3",
    }
    assert package.column("pull_sets", "pull_set") == [str(shared.pk)]
    assert set(package.column("pulls", "pull_set")) == {"", str(shared.pk)}
    assert package.column("sessions", "session") == [str(shared.session_id)]
    assert str(waiting.pk) not in package.column("pool_sets", "pull_set")


def test_a_set_held_before_its_pool_is_computed_again_takes_the_pool_out_of_the_next_version(
    league, moderator, unpack
):
    decisions.decide(by=moderator.user, pull_set=league[0], decision="hold", reason="Which scale?")
    package = unpack()
    assert package.rows("pools") == []
    assert package.rows("pool_sets") == []
    assert str(league[0].pk) not in package.column("pull_sets", "pull_set")


def test_who_closes_the_account_is_in_earlier_versions_by_number_alone(league, make, unpack):
    first, person = make(), league[0].session.contributor
    close.close_account(person, keep=False)
    embedded.drain()
    assert str(person.pk) in unpack(first).column("sessions", "tester")
    assert str(person.pk) not in unpack(make()).column("sessions", "tester")


def test_a_making_that_fails_leaves_the_last_good_version(league, make, tmp_path):
    """A folder for temporary files that is not there breaks it off as a full disk does."""
    good, kept = make(), tempfile.tempdir
    tempfile.tempdir = str(tmp_path / "not there")
    try:
        broken = Release.objects.create()
        embedded.make_releases()
    finally:
        tempfile.tempdir = kept
    broken.refresh_from_db()
    assert (broken.number, broken.state) == (None, Release.State.QUEUED)
    assert broken.problem == "FileNotFoundError while it was being made."
    latest = Client().get("/open-data/latest/", follow=True)
    assert latest.context["release"] == good

    embedded.make_releases()
    broken.refresh_from_db()
    assert (broken.number, broken.state) == (2, Release.State.MADE)


def test_the_descriptor_tells_version_and_snapshot(league, make, unpack):
    release = make()
    answer = json.loads(unpack(release).files["datapackage.json"])
    assert (answer["version"], answer["id"]) == ("1", release.snapshot)
    assert Pool.objects.count() == release.rows["pools"] == 1
