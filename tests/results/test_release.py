"""An upgrade: what was kept of the answers of the old release is not taken for the new one's."""

import hashlib

import pytest
from django.core.cache import caches

from results.http_cache import code_version
from results.models import Session
from results.open_data import releases
from results.worker.embedded import drain, make_releases
from tests import every_address, making
from tests.api.leagues import league_of

CHECKSUMS = {
    "open-data/<int:number>/<str:name>",
    "open-data/traces/<str:name>",
    "api/v1/sessions/<int:pk>/original",
}
"""Whose tag is the checksum of the very bytes, which no release changes."""


@pytest.fixture
def walked(transactional_db) -> list[every_address.Address]:
    """Every address of a league of two pools, drawn, with its open data."""
    league_of({"Blood": 85.0, "Double uni": 80.0}, testers=4)
    session = Session.objects.order_by("pk")[0]
    making.sent(session, b"a,b", "text/csv")
    releases.request_release()
    drain()
    make_releases()
    return list(every_address.readable(every_address.numbers(1)))


def test_every_address_that_gives_a_tag_gives_another_one_under_another_release(
    walked, monkeypatch
):
    tester = Session.objects.order_by("pk")[0].contributor.user
    readers = [every_address.client_of(None), every_address.client_of(tester)]
    asked = [(reader, *shown) for reader in readers for shown in walked]
    before = [(reader, route, address, reader.get(address)) for reader, route, address in asked]
    tagged = [(*shown, answer) for *shown, answer in before if answer.has_header("ETag")]
    assert {route for _, route, *_ in tagged} >= {
        "", "pools/<int:pk>/", "pools/<int:pk>/forest.svg", "pools/<int:pk>/forest.png",
        "api/v1/pools", "api/v1/pools/<int:pk>", "api/v1/pools/<int:pk>/versions", *CHECKSUMS,
    }  # fmt: skip
    monkeypatch.setattr(code_version, "release", lambda: "another")
    wrong = []
    for reader, route, address, answer in tagged:
        again = reader.get(address, HTTP_IF_NONE_MATCH=answer["ETag"])
        if route in CHECKSUMS:
            checksum = hashlib.sha256(every_address.body_of(answer)).hexdigest()
            right = (again["ETag"], answer["ETag"]) == (f'"{checksum}"',) * 2
        else:
            right = again.status_code == 200 and again["ETag"] != answer["ETag"]
        if not right:
            wrong.append(address)
    assert wrong == []


def test_under_the_same_release_an_unchanged_answer_still_matches_its_tag(walked):
    stranger = every_address.client_of(None)
    for address in ("/", "/api/v1/pools"):
        tag = stranger.get(address)["ETag"]
        caches["kept"].clear()
        assert stranger.get(address, HTTP_IF_NONE_MATCH=tag).status_code == 304


@pytest.mark.parametrize(
    "changed", ["api/pools.py", "results/pages/templates/pages/pool.html", "requirements.lock"]
)
def test_code_templates_and_libraries_are_what_a_release_is_named_by(tmp_path, changed):
    for name in ("api/pools.py", "results/pages/templates/pages/pool.html", "requirements.lock"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("as it was")
    before = code_version.digest_of(tmp_path)
    (tmp_path / "results/pages/pool.cpython-311.pyc").write_text("compiled")
    assert code_version.digest_of(tmp_path) == before
    (tmp_path / changed).write_text("as it is now")
    assert code_version.digest_of(tmp_path) != before


def test_the_release_is_that_of_the_code_that_runs():
    assert code_version.release() == code_version.digest_of(code_version.ROOT)
