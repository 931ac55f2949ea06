"""A single resource is answered whole, or in the members that are asked for."""

import pytest

from deploy.tools.openapi.release import document
from tests.api.test_routes import world

__all__ = ["world"]

SINGLE = [
    path
    for path, operations in document()["paths"].items()
    for names in [{each["name"] for each in operations.get("get", {}).get("parameters", ())}]
    if "fields" in names and "limit" not in names
]


def test_every_address_of_one_row_takes_fields():
    rows = ("calibrations", "connections", "contributors", "jobs", "lines", "pools", "pull-sets")
    rows += ("revisions", "rigs", "rounds", "sessions")
    assert sorted(SINGLE) == sorted(["/api/v1/me", *(f"/api/v1/{name}/{{id}}" for name in rows)])


@pytest.mark.parametrize("path", SINGLE)
def test_one_row_has_the_members_that_were_asked_for_and_names_those_there_are(
    path, world, as_owner
):
    address = path.replace("{id}", str(world.get(path.split("/")[3])))
    whole = as_owner.get(address).json()
    wanted = list(whole)[2:0:-1]

    few = as_owner.get(address, {"fields": ",".join(wanted)})
    refused = as_owner.get(address, {"fields": f"{wanted[0]},colour"})

    assert few.json() == {name: whole[name] for name in wanted}
    assert refused.status_code == 422
    [finding] = refused.json()["findings"]
    assert (finding["field"], finding["found"]) == ("fields", "colour")
    assert wanted[0] in finding["expected"]


def test_a_pool_that_is_kept_is_kept_for_each_choice_of_members(world, as_stranger):
    address = f"/api/v1/pools/{world['pools']}"
    for _ in range(2):
        assert set(as_stranger.get(address, {"fields": "id"}).json()) == {"id"}
        assert "tie" in as_stranger.get(address).json()


def test_a_question_about_an_unfinished_job_still_says_when_to_ask_again(world, as_owner):
    answer = as_owner.get(f"/api/v1/jobs/{world['jobs']}", {"fields": "state"})
    assert answer.json() == {"state": "queued"}
    assert answer["Retry-After"] == "1"
