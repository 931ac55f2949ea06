"""Lines and connections: testers propose, moderators accept."""

import pytest

LINE = {
    "name": "veyra-mono-35",
    "material": "nylon monofilament",
    "label_strength": "15 lbf",
    "label_basis": "test",
    "diameter": "0.35 mm",
}
CONNECTION = {
    "name": "Double uni",
    "kind": "line to line",
    "aliases": ["Uni to uni"],
    "parameters": [{"name": "turns_main", "type": "integer", "lowest": 1, "highest": 20}],
}
RESOURCES = [("lines", LINE), ("connections", CONNECTION)]


def post(client, resource, document):
    return client.post(f"/api/v1/{resource}", document, format="json")


def test_a_line_gives_back_what_was_written_and_what_it_means(as_owner):
    answer = post(as_owner, "lines", LINE).json()
    # 15 x 0.45359237 x 9.80665, exact
    assert answer["label_strength"] == {"written": "15 lbf", "N": pytest.approx(66.723323)}
    assert answer["diameter"] == {"written": "0.35 mm", "m": pytest.approx(0.00035)}


def test_a_connection_comes_with_other_names_and_tie_parameters(as_owner):
    answer = post(as_owner, "connections", CONNECTION).json()
    assert answer["aliases"] == ["Uni to uni"]
    assert answer["parameters"] == [
        {
            "name": "turns_main",
            "type": "integer",
            "unit": "",
            "lowest": 1.0,
            "highest": 20.0,
            "choices": [],
        }
    ]


@pytest.mark.parametrize(("resource", "document"), RESOURCES)
def test_a_proposal_is_seen_by_its_author_and_moderators_until_one_accepts_it(
    resource, document, as_owner, as_other, as_stranger, as_moderator
):
    proposed = post(as_owner, resource, document).json()
    assert (proposed["accepted"], proposed["proposed_by"]) == (False, "owner")
    address = f"/api/v1/{resource}/{proposed['id']}"

    def sees(client):
        listed = client.get(f"/api/v1/{resource}").json()["count"]
        assert listed == (client.get(address).status_code == 200)
        return bool(listed)

    assert sees(as_owner)
    assert sees(as_moderator)
    assert not sees(as_other)
    assert not sees(as_stranger)
    accepted = as_moderator.patch(address, {"accepted": True}, format="json")
    assert accepted.status_code == 200
    assert accepted.json()["accepted"] is True
    assert sees(as_stranger)


@pytest.mark.parametrize(("resource", "document"), RESOURCES)
def test_a_moderators_entry_is_accepted_at_once(resource, document, as_moderator):
    assert post(as_moderator, resource, document).json()["accepted"] is True


@pytest.mark.parametrize(("resource", "document"), RESOURCES)
def test_a_tester_does_not_accept_even_their_own_proposal(resource, document, as_owner):
    proposed = post(as_owner, resource, document).json()
    answer = as_owner.patch(
        f"/api/v1/{resource}/{proposed['id']}", {"accepted": True}, format="json"
    )
    assert answer.status_code == 403


@pytest.mark.parametrize(("resource", "document"), RESOURCES)
def test_a_name_is_taken_whatever_its_letters_and_with_any_owner(
    resource, document, as_owner, as_other
):
    post(as_owner, resource, document)
    again = {**document, "name": document["name"].upper(), "aliases": []}
    if resource == "lines":
        del again["aliases"]
    answer = post(as_other, resource, again)
    assert answer.status_code == 409
    assert answer.json()["type"] == "/problems/conflict"


def test_a_connection_can_not_take_another_ones_other_name(as_owner):
    post(as_owner, "connections", CONNECTION)
    answer = post(as_owner, "connections", {"name": "UNI TO UNI", "kind": "line to line"})
    assert answer.status_code == 409
    assert "Double uni" in answer.json()["detail"]


@pytest.mark.parametrize(
    "aliases", [["double UNI"], ["Grinner", "grinner"]], ids=["own name", "twice"]
)
def test_a_connection_tells_each_of_its_names_once(as_owner, aliases):
    answer = post(as_owner, "connections", {**CONNECTION, "aliases": aliases})
    assert answer.status_code == 422
    assert answer.json()["findings"][0]["field"] == "aliases"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"material": "gut"}, "material"),
        ({"label_strength": "15"}, "label_strength"),
        ({"label_strength": "9000 N"}, "label_strength"),
        ({"label_strength": "-3 lbf"}, "label_strength"),
        ({"label_strength": "nan lbf"}, "label_strength"),
        ({"diameter": "0.35 furlong"}, "diameter"),
        ({"diameter": "35 mm"}, "diameter"),
        ({"label_basis": "hearsay"}, "label_basis"),
        ({"name": ""}, "name"),
        ({"colour": "green"}, "colour"),
    ],
)
def test_a_wrong_line_is_reported_by_field_with_what_was_found(as_owner, change, field):
    answer = post(as_owner, "lines", {**LINE, **change})
    assert answer.status_code == 422
    [finding] = answer.json()["findings"]
    assert (finding["field"], finding["found"]) == (field, change[field])
    assert finding["expected"]


@pytest.mark.parametrize(
    ("parameter", "field"),
    [
        ({"name": "turns", "type": "integer", "lowest": 5, "highest": 2}, "highest"),
        ({"name": "glue", "type": "choice"}, "choices"),
        ({"name": "turns", "type": "integer", "choices": ["a"]}, "choices"),
        ({"name": "turns", "type": "feeling"}, "type"),
    ],
)
def test_a_wrong_tie_parameter_is_reported_by_its_place(as_owner, parameter, field):
    answer = post(as_owner, "connections", {**CONNECTION, "parameters": [parameter]})
    assert answer.status_code == 422
    [finding] = answer.json()["findings"]
    assert (finding["row"], finding["field"]) == ("parameters[0]", field)


@pytest.mark.parametrize("name", ["Turns main", "turnsmain", "Main diameter,mm"])
def test_two_parameters_are_not_one_by_their_words(as_owner, name):
    shown = {"name": name, "type": "integer"}
    document = CONNECTION | {"parameters": [*CONNECTION["parameters"], shown]}
    answer = post(as_owner, "connections", document)
    assert answer.status_code == 422
    [finding] = answer.json()["findings"]
    assert (finding["row"], finding["field"], finding["found"]) == ("parameters[1]", "name", name)


def test_lines_are_filtered_by_material_and_an_unknown_one_is_refused(as_moderator, as_stranger):
    post(as_moderator, "lines", LINE)
    post(as_moderator, "lines", {**LINE, "name": "ostrel", "material": "fluorocarbon"})
    found = as_stranger.get("/api/v1/lines?material=fluorocarbon").json()
    assert [line["name"] for line in found["results"]] == ["ostrel"]
    assert as_stranger.get("/api/v1/lines?material=gut").status_code == 422


@pytest.mark.parametrize(("resource", "queries"), [("lines", 2), ("connections", 4)])
def test_a_catalogue_is_listed_in_as_many_queries_however_long(
    resource, queries, as_moderator, as_stranger, django_assert_num_queries
):
    document = dict(RESOURCES)[resource]
    for number in range(4):
        aliases = {"aliases": [f"alias {number}"]} if resource == "connections" else {}
        post(as_moderator, resource, {**document, "name": f"number {number}", **aliases})
    with django_assert_num_queries(queries):  # count, rows; aliases and parameters
        assert as_stranger.get(f"/api/v1/{resource}").json()["count"] == 4
