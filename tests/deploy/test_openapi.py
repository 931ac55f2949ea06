"""Clients of v1 never break: the API's document is held to the one of the last release."""

import copy
import json

import pytest

from deploy.tools.openapi.breaks import breaks
from deploy.tools.openapi.corrected import ALWAYS_KEPT, newly_said
from deploy.tools.openapi.privacy import FOR_PRIVACY, kept_private
from deploy.tools.openapi.release import KEPT, document

RELEASED = json.loads(KEPT.read_text())
TOKEN = {"type": "apiKey", "in": "header", "name": "Authorization"}
SMALL = {
    "paths": {
        "/reels/{id}": {
            "post": {
                "security": [{"token": []}, {}],
                "parameters": [
                    {"in": "path", "name": "id", "required": True, "schema": {"type": "integer"}},
                    {
                        "in": "query",
                        "name": "unit",
                        "schema": {"type": "string", "enum": ["N", "lbf", "kgf"]},
                    },
                ],
                "requestBody": {
                    "content": {
                        "application/json": {"schema": {"$ref": "#/components/schemas/Sent"}},
                        "text/csv": {"schema": {"type": "string"}},
                    }
                },
                "responses": {
                    "200": {
                        "content": {
                            "application/json": {"schema": {"$ref": "#/components/schemas/Answer"}},
                            "text/csv": {"schema": {"type": "string"}},
                        }
                    },
                    "204": {},
                },
            },
            "delete": {"responses": {"204": {}}},
        }
    },
    "components": {
        "securitySchemes": {"token": TOKEN},
        "schemas": {
            "Sent": {
                "type": "object",
                "required": ["name"],
                "properties": {
                    "name": {"type": "string", "maxLength": 120},
                    "load": {"anyOf": [{"type": "number", "minimum": 0}, {"type": "string"}]},
                    "turns": {"type": "array", "items": {"type": ["integer", "null"]}},
                },
            },
            "Answer": {
                "type": "object",
                "required": ["id", "state"],
                "properties": {
                    "id": {"type": "integer"},
                    "state": {"enum": ["dry", "wetted"]},
                    "made_on": {"type": "string", "format": "date"},
                    "grip": {"type": ["string", "null"]},
                    "load": {"allOf": [{"$ref": "#/components/schemas/Load"}]},
                },
            },
            "Load": {"type": "object", "properties": {"N": {"type": "number"}}},
        },
    },
}


def changed(change) -> dict:
    """The small document after a change made by ``change(operation, schemas)``."""
    after = copy.deepcopy(SMALL)
    change(after["paths"]["/reels/{id}"]["post"], after["components"]["schemas"])
    return after


def sent(schemas) -> dict:
    return schemas["Sent"]["properties"]


def properties_of(schemas) -> dict:
    return schemas["Answer"]["properties"]


BREAKS = {
    "a parameter removed": lambda post, _: post["parameters"].pop(),
    "a parameter newly required": lambda post, _: post["parameters"][1].update(required=True),
    "a required parameter added": lambda post, _: post["parameters"].append(
        {"in": "header", "name": "Key", "required": True, "schema": {"type": "string"}}
    ),
    "an enumeration of a parameter narrowed": lambda post, _: post["parameters"][1].update(
        schema={"type": "string", "enum": ["N"]}
    ),
    "a path's parameter of another type": lambda post, _: post["parameters"][0].update(
        schema={"type": "string", "format": "uuid"}
    ),
    "a body newly required": lambda post, _: post["requestBody"].update(required=True),
    "a form of the body removed": lambda post, _: post["requestBody"]["content"].pop("text/csv"),
    "a member of the body removed": lambda _, schemas: sent(schemas).pop("turns"),
    "a member of the body newly required": lambda _, schemas: schemas["Sent"].update(
        required=["name", "load"]
    ),
    "a bound drawn tighter": lambda _, schemas: sent(schemas)["name"].update(maxLength=20),
    "a lower bound raised": lambda _, schemas: sent(schemas)["load"]["anyOf"][0].update(minimum=1),
    "a bound added": lambda _, schemas: sent(schemas)["turns"].update(maxItems=4),
    "a pattern added": lambda _, schemas: sent(schemas)["name"].update(pattern="^[a-z]+$"),
    "a list of values added": lambda _, schemas: sent(schemas)["name"].update(enum=["a"]),
    "one of several types taken no longer": lambda _, schemas: sent(schemas)["load"]["anyOf"].pop(),
    "null taken no longer": lambda _, schemas: sent(schemas)["turns"]["items"].update(
        type="integer"
    ),
    "other members taken no longer": lambda _, schemas: schemas["Sent"].update(
        additionalProperties=False
    ),
    "an answer removed": lambda post, _: post["responses"].pop("204"),
    "a form of the answer removed": lambda post, _: post["responses"]["200"]["content"].pop(
        "text/csv"
    ),
    "a member of the answer removed": lambda _, schemas: properties_of(schemas).pop("made_on"),
    "a member behind a reference removed": lambda _, schemas: schemas["Load"].update(properties={}),
    "a member no longer always there": lambda _, schemas: schemas["Answer"].update(required=["id"]),
    "a member that may now be null": lambda _, schemas: properties_of(schemas)["id"].update(
        type=["integer", "null"]
    ),
    "a member of another type": lambda _, schemas: properties_of(schemas)["id"].update(
        type="string"
    ),
    "a whole number that may now have a fraction": lambda _, schemas: properties_of(schemas)[
        "id"
    ].update(type="number"),
    "a day that became a time": lambda _, schemas: properties_of(schemas)["made_on"].update(
        format="date-time"
    ),
    "a value that may now be anything": lambda _, schemas: properties_of(schemas).update(
        state={"type": "string"}
    ),
    "an account newly required": lambda post, _: post.update(security=[{"token": []}]),
}

HARMLESS = {
    "an optional parameter added": lambda post, _: post["parameters"].append(
        {"in": "query", "name": "page", "schema": {"type": "integer"}}
    ),
    "a member of the answer added": lambda _, schemas: properties_of(schemas).update(
        spool={"type": "null"}
    ),
    "a value of the answer added": lambda _, schemas: properties_of(schemas)["state"][
        "enum"
    ].append("wet"),
    "an optional member of the body added": lambda _, schemas: sent(schemas).update(
        note={"type": "string"}
    ),
    "a bound loosened": lambda _, schemas: sent(schemas)["name"].update(maxLength=200),
    "a required member made optional": lambda _, schemas: schemas["Sent"].pop("required"),
    "any number taken for a whole one": lambda _, schemas: sent(schemas)["turns"].update(
        items={"type": ["number", "null"]}
    ),
    "another answer added": lambda post, _: post["responses"].update({"202": {}}),
    "null answered no more": lambda _, schemas: properties_of(schemas)["grip"].update(
        type="string"
    ),
    "an account no longer required": lambda post, _: post.pop("security"),
    "a reference written out": lambda _, schemas: properties_of(schemas).update(
        load=schemas["Load"]
    ),
}


def test_nothing_that_the_last_release_had_is_removed_narrowed_or_newly_required():
    private, others = kept_private(breaks(RELEASED, document()))
    said, broken = newly_said(others)
    assert broken == []
    used = {name for name in FOR_PRIVACY for each in private if f".{name}: " in each}
    assert used == set(FOR_PRIVACY)
    assert {each.split(" ", 2)[2] for each in said} == set(ALWAYS_KEPT)


def test_no_bound_but_those_that_were_always_kept_passes_as_said_late():
    others = ["GET /reels query limit: maximum is now 100", "GET /reels query kind: removed"]
    assert newly_said(others) == ([], others)


def test_null_of_openapi_3_0_is_null_of_3_1():
    before = changed(
        lambda _, schemas: properties_of(schemas)["grip"].update(type="string", nullable=True)
    )
    assert breaks(before, SMALL) == []
    assert len(breaks(changed(lambda _, s: properties_of(s)["grip"].update(type="string")), before))


def test_nothing_but_what_is_listed_is_taken_away_for_privacy():
    after = changed(lambda _, schemas: schemas["Answer"].update(required=["id"]))
    found = breaks(SMALL, after)
    assert kept_private(found) == ([], found)


@pytest.mark.parametrize("change", BREAKS.values(), ids=BREAKS)
def test_each_kind_of_break_is_found_once(change):
    assert len(breaks(SMALL, changed(change))) == 1


@pytest.mark.parametrize("change", HARMLESS.values(), ids=HARMLESS)
def test_what_a_client_bears_is_no_break(change):
    assert breaks(SMALL, changed(change)) == []


def test_an_operation_that_went_is_found():
    after = copy.deepcopy(SMALL)
    del after["paths"]["/reels/{id}"]["delete"]
    assert breaks(SMALL, after) == ["DELETE /reels/{}: removed"]


def test_a_body_that_went_is_found_for_each_form_of_it():
    after = changed(lambda post, _: post.pop("requestBody"))
    assert len(breaks(SMALL, after)) == 2


def test_another_name_for_a_part_of_the_path_is_no_break():
    after = json.loads(json.dumps(SMALL).replace("/reels/{id}", "/reels/{pk}"))
    assert breaks(SMALL, after) == []


def test_the_break_is_reported_with_its_place():
    after = changed(lambda _, schemas: sent(schemas)["name"].update(maxLength=20))
    assert breaks(SMALL, after) == ["POST /reels/{} body.name: maxLength is now 20"]
