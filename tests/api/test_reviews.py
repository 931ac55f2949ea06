"""The moderators' queue, as programs read it."""

import pytest

from tests import making


@pytest.fixture
def held(owner, as_moderator) -> str:
    """A set that a moderator holds: its address."""
    session = making.session(making.revision_of(owner))
    pull_set = making.joined(session, making.line("thin"), making.line("thick"), [80.0, 84.0])
    address = f"/api/v1/pull-sets/{pull_set.pk}"
    decision = {"decision": "hold", "reason": "which spool?"}
    assert as_moderator.post(f"{address}/decisions", decision, format="json").status_code == 201
    return address


def test_a_case_says_yes_or_no_to_whether_it_is_appealed(held, as_moderator, as_owner):
    def cases() -> list[bool]:
        return [case["appealed"] for case in as_moderator.get("/api/v1/reviews").json()["results"]]

    assert cases() == [False]
    appeal = as_owner.post(f"{held}/appeals", {"text": "the same spool"}, format="json")
    assert appeal.status_code == 201
    assert cases() == [True]


def test_the_checks_of_a_set_are_one_list_and_the_document_says_so(held, as_owner, client):
    answer = as_owner.get(f"{held}/checks").json()
    described = client.get("/api/v1/schema", headers={"Accept": "application/json"}).json()
    answers = described["paths"]["/api/v1/pull-sets/{id}/checks"]["get"]["responses"]["200"]
    assert answer == []
    assert answers["content"]["application/json"]["schema"]["type"] == "array"


def test_the_tester_and_the_moderators_read_what_was_said_of_a_set(held, as_owner, as_moderator):
    said = as_owner.post(f"{held}/thread", {"text": "the red spool"}, format="json")
    assert said.json()["text"] == "the red spool"
    for reader in (as_owner, as_moderator):
        answer = reader.get(f"{held}/thread").json()["messages"]
        assert [each["text"] for each in answer] == ["which spool?", "the red spool"]
