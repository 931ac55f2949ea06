"""I entered it wrongly: a calibration or a revision is corrected or voided, and figures follow."""

from __future__ import annotations

import pytest

from results.models import NormalisedSet, PoolVersion, PullSet, Session
from results.normalising.normalise import normalise_session
from results.pools.reproduce import recompute_all
from rigs.metrology.gravity import local_gravity
from rigs.models import Calibration, CalibrationChange, RevisionChange, RigRevision
from tests import making
from tests.stories.bench import RIG, register, send, session

pytestmark = pytest.mark.django_db
API = "/api/v1"


def points(zero_N: float = 0.0, gain: float = 1.0) -> list[dict]:
    """Readings of four check weights on a scale of this zero and gain."""
    return [
        {
            "mass": f"{mass} kg",
            "how_known": "certified",
            "reading": f"{zero_N + gain * 9.80665 * mass:.3f} N",
        }
        for mass in (0, 5, 10, 20)
    ]


def calibrated(client, revision: int, **options) -> dict:
    document = {"made_on": "2025-12-01", "points": points(**options)}
    answer = client.post(f"{API}/revisions/{revision}/calibrations", document, format="json")
    assert answer.status_code == 201, answer.json()
    return answer.json()


def post(client, address: str, document: dict, status: int = 200) -> dict:
    answer = client.post(f"{API}/{address}", document, format="json")
    assert answer.status_code == status, answer.json()
    return answer.json()


def figures() -> dict[str, float]:
    return dict(NormalisedSet.objects.values_list("pull_set__label", "efficiency"))


@pytest.fixture
def rig(as_owner) -> dict:
    making.line("thin"), making.line("thick", label_N=180), making.connection()
    return register(as_owner)


@pytest.fixture
def revision(rig) -> int:
    return rig["revisions"][0]["id"]


@pytest.fixture
def wrong(rig, revision, as_owner, drain) -> dict:
    """A calibration whose zero is ten newtons off, and a session worked out by it."""
    calibration = calibrated(as_owner, revision, zero_N=10.0)
    send(as_owner, session())
    drain()
    return calibration


CORRECTION = {"reason": "I read the wrong scale", "made_on": "2025-12-02", "points": points()}


def test_a_corrected_calibration_replaces_the_wrong_one_and_its_sets_are_worked_out_again(
    wrong, as_owner, as_stranger, drain
):
    assert figures()["blood, day 0"] == pytest.approx(70 / 90, abs=0.005)
    versions = PoolVersion.objects.count()
    made = post(as_owner, f"calibrations/{wrong['id']}/versions", CORRECTION, 201)
    drain()
    assert figures()["blood, day 0"] == pytest.approx(0.80, abs=0.005)
    assert PoolVersion.objects.count() == versions + 1
    assert NormalisedSet.objects.get().calibration_id == made["id"]

    answer = as_owner.get(f"{API}/calibrations/{wrong['id']}").json()
    assert (answer["standing"], answer["gain"]) == ("replaced", wrong["gain"])
    assert answer["replaced_by"] == made["url"]
    assert answer["ended"]["reason"] == CORRECTION["reason"]
    assert answer["ended"]["by"] == "owner"
    stranger = as_stranger.get(f"{API}/calibrations/{wrong['id']}").json()
    assert (stranger["standing"], stranger["ended"]) == ("replaced", None)
    in_use = as_stranger.get(f"{API}/revisions/{made['revision'].rsplit('/', 1)[1]}/calibrations")
    assert [each["id"] for each in in_use.json()["results"]] == [made["id"]]


def test_every_version_of_a_pool_is_still_recomputed_from_what_it_names(
    wrong, revision, as_owner, drain
):
    post(as_owner, f"calibrations/{wrong['id']}/versions", CORRECTION, 201)
    drain()
    post(as_owner, f"revisions/{revision}/versions", {"reason": "coarser", "resolution": "20 N"})
    drain()
    post(
        as_owner,
        f"calibrations/{Calibration.objects.latest('pk').pk}/voiding",
        {"reason": "of another scale"},
    )
    drain()
    found = list(recompute_all())
    assert len(found) >= 3
    assert {each.differences for each in found} == {()}
    assert PoolVersion.objects.latest("number").inputs["resolutions_N"]


def test_a_voided_calibration_is_used_no_more_and_stays_readable(
    wrong, revision, as_owner, as_stranger, drain
):
    answer = post(as_owner, f"calibrations/{wrong['id']}/voiding", {"reason": "of my old rig"})
    drain()
    assert answer["standing"] == "voided"
    assert NormalisedSet.objects.get().calibration is None
    assert figures()["blood, day 0"] == pytest.approx(0.80, abs=0.005)
    assert as_stranger.get(f"{API}/calibrations/{wrong['id']}").status_code == 200
    listed = as_stranger.get(f"{API}/revisions/{revision}/calibrations").json()["results"]
    assert listed == []
    voided = as_stranger.get(f"{API}/revisions/{revision}/calibrations?standing=voided").json()
    assert [each["id"] for each in voided["results"]] == [wrong["id"]]


def test_the_calibration_before_the_voided_one_is_used_again(rig, revision, as_owner, drain):
    first = calibrated(as_owner, revision)
    second = calibrated(as_owner, revision, zero_N=10.0)
    send(as_owner, session())
    drain()
    assert NormalisedSet.objects.get().calibration_id == second["id"]
    post(as_owner, f"calibrations/{second['id']}/voiding", {"reason": "the hook stuck"})
    drain()
    assert NormalisedSet.objects.get().calibration_id == first["id"]


def test_what_is_sent_twice_is_done_once(wrong, revision, as_owner):
    address = f"calibrations/{wrong['id']}/versions"
    first, again = (post(as_owner, address, CORRECTION, 201) for _ in range(2))
    assert first["id"] == again["id"]
    voiding = {"reason": "it was the other rig"}
    for _ in range(2):
        post(as_owner, f"calibrations/{first['id']}/voiding", voiding)
    correction = {"reason": "halves of a newton", "resolution": "1 N"}
    versions = {
        post(as_owner, f"revisions/{revision}/versions", correction)["version"] for _ in range(2)
    }
    assert versions == {2}
    assert CalibrationChange.objects.count() == 2
    assert RevisionChange.objects.count() == 1


def test_what_ended_is_ended(wrong, as_owner):
    address = f"calibrations/{wrong['id']}"
    post(as_owner, f"{address}/voiding", {"reason": "of my old rig"})
    refused = post(as_owner, f"{address}/versions", CORRECTION, 409)
    assert "it was voided" in refused["detail"]


@pytest.mark.parametrize("reason", [None, " "])
def test_a_reason_is_needed(wrong, revision, as_owner, reason):
    answer = {} if reason is None else {"reason": reason}
    for address in (
        f"calibrations/{wrong['id']}/voiding",
        f"revisions/{revision}/voiding",
        f"revisions/{revision}/versions",
    ):
        [finding] = post(as_owner, address, answer, 422)["findings"]
        assert finding["field"] == "reason"


def test_a_corrected_revision_keeps_its_sessions_and_what_it_was(
    wrong, revision, as_owner, as_other, as_moderator, drain
):
    sent = send(as_owner, session(1))
    drain()
    correction = {"reason": "the scale shows twenties", "resolution": "20 N", "capacity": "900 N"}
    answer = post(as_owner, f"revisions/{revision}/versions", correction)
    drain()
    assert (answer["version"], answer["resolution"]["N"]) == (2, 20.0)
    assert set(Session.objects.values_list("revision_id", "standing")) == {(revision, "current")}
    assert set(NormalisedSet.objects.values_list("resolution_N", flat=True)) == {20.0}
    [earlier] = as_moderator.get(f"{API}/revisions/{revision}/versions").json()
    assert (earlier["version"], earlier["reason"]) == (1, correction["reason"])
    assert earlier["was"]["resolution_written"] == RIG["resolution"]
    assert as_other.get(f"{API}/revisions/{revision}/versions").status_code == 403
    twin = as_owner.post(f"{API}/sessions", session(1), format="json")
    assert twin.status_code == 409, sent


def test_where_the_rig_stood_is_kept_in_no_history(rig, revision, as_owner):
    place = {"reason": "it stands elsewhere", "place": "boat shed", "latitude_deg": 47.25}
    post(as_owner, f"revisions/{revision}/versions", place)
    post(as_owner, f"revisions/{revision}/versions", {"reason": "nor there", "latitude_deg": 12.5})
    kept = repr(list(RevisionChange.objects.values_list("was", flat=True)))
    assert "47.25" not in kept
    assert "boat shed" not in kept


def test_a_corrected_latitude_corrects_the_calibrations_that_rest_on_it(
    wrong, revision, as_owner, drain
):
    answer = post(
        as_owner, f"revisions/{revision}/versions", {"reason": "I had none", "latitude_deg": 55.2}
    )
    assert answer["version"] == 2
    old, new = Calibration.objects.order_by("pk")
    assert (old.standing, new.standing) == ("replaced", "current")
    assert new.local_gravity == pytest.approx(local_gravity(55.2, 0.0), abs=0.005)
    assert new.gain == pytest.approx(old.gain * old.local_gravity / new.local_gravity, rel=1e-5)
    drain()
    assert NormalisedSet.objects.get().calibration == new


def test_a_revision_that_sessions_stand_on_is_not_voided_and_the_refusal_says_what_to_do(
    wrong, revision, rig, as_owner, drain
):
    change = {"made_on": "2026-01-11", "what_changed": "jaws", "why": "slip", "first_grip": "jaws"}
    second = post(as_owner, f"rigs/{rig['id']}/revisions", change, 201)
    refused = post(as_owner, f"revisions/{revision}/voiding", {"reason": "never so"}, 409)
    assert "Sessions stand on this revision, 1 of them." in refused["detail"]
    post(as_owner, f"revisions/{second['id']}/voiding", {"reason": "I never fitted them"})
    assert [one["id"] for one in as_owner.get(f"{API}/rigs/{rig['id']}").json()["revisions"]] == [
        revision
    ]
    third = post(as_owner, f"rigs/{rig['id']}/revisions", change, 201)
    assert (third["number"], RigRevision.objects.get(pk=third["id"]).version) == (3, 1)
    answer = as_owner.post(f"{API}/sessions", session(4, revision=2), format="json")
    assert answer.status_code == 422
    [finding] = [one for one in answer.json()["findings"] if one["field"] == "revision"]
    assert finding["found"] == "2, which was voided"
    assert as_owner.get(f"{API}/rigs/{rig['id']}/bridges").json()[0]["to_revision"] == 3


def test_the_only_revision_is_corrected_and_not_voided(rig, revision, as_owner):
    refused = post(as_owner, f"revisions/{revision}/voiding", {"reason": "never so"}, 409)
    assert "only revision" in refused["detail"]


@pytest.mark.parametrize(
    ("day", "expected"),
    [("2025-12-24", "not after its first calibration"), ("2030-01-01", "not after today")],
)
def test_a_day_that_can_not_be_is_refused(wrong, revision, as_owner, day, expected):
    answer = post(
        as_owner, f"revisions/{revision}/versions", {"reason": "later", "made_on": day}, 422
    )
    [finding] = answer["findings"]
    assert (finding["field"], finding["found"]) == ("made_on", day)
    assert expected in finding["expected"]


def test_a_correction_of_nothing_is_refused(rig, revision, as_owner):
    answer = post(
        as_owner,
        f"revisions/{revision}/versions",
        {"reason": "why not", "resolution": RIG["resolution"]},
        422,
    )
    assert "Nothing would change" in answer["detail"]


def test_a_job_that_read_the_wrong_calibration_does_not_write_after_the_correction(
    wrong, as_owner, drain, monkeypatch
):
    """The slow worker computed before the correction, and comes to write after it."""
    from results.normalising import normalise  # noqa: PLC0415

    pull_set = PullSet.objects.get()
    compute_figures = normalise.compute_figures

    def correct_meanwhile(*answer):
        found = compute_figures(*answer)
        monkeypatch.setattr(normalise, "compute_figures", compute_figures)
        post(as_owner, f"calibrations/{wrong['id']}/versions", CORRECTION, 201)
        drain()
        return found

    monkeypatch.setattr(normalise, "compute_figures", correct_meanwhile)
    normalise_session(pull_set.session_id, still_ours=lambda: True)
    assert figures()["blood, day 0"] == pytest.approx(0.80, abs=0.005)
