"""The OpenAPI document is valid, whole, and true of what is answered."""

import json
import re
from collections.abc import Iterator

import pytest
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from api.deprecation import RENAMED
from api.pull_sets import OwnStrength
from api.rig_charts import EquivalenceDocument
from api.schema_answers import BINARY, RECORDED
from api.schema_members import MEMBERS, OF_PATH, numbers_of
from deploy.tools.openapi.release import document
from tests.api.test_routes import QUERIES, ROUTES, world

__all__ = ["world"]

DOCUMENT = document()
OPERATIONS = {
    operation["operationId"]: (path, method, operation)
    for path, operations in DOCUMENT["paths"].items()
    for method, operation in operations.items()
}


ORIGINAL = ("sessions_original_retrieve", "text/csv")
"""The example is of an upload as JSON."""


def faults(schema: dict, value: object) -> list[str]:
    """Where a value is not as its schema says."""
    validator = Draft202012Validator({**schema, "components": DOCUMENT["components"]})
    return [f"{error.json_path}: {error.message[:200]}" for error in validator.iter_errors(value)]


def examples_of(content: dict) -> list[object]:
    """The values of the examples of a body, those behind a reference included."""
    found = content.get("examples", {}).values()
    named = DOCUMENT["components"]["examples"]
    return [
        named[each["$ref"].rpartition("/")[2]]["value"] if "$ref" in each else each["value"]
        for each in found
    ]


def successes() -> list[tuple[str, str, str, dict]]:
    """Operation, status, form and content of each answer that is no problem."""
    return [
        (name, status, form, content)
        for name, (_path, _method, operation) in OPERATIONS.items()
        for status, answer in operation["responses"].items()
        if status != "default"
        for form, content in answer.get("content", {}).items()
    ]


def test_it_is_valid_openapi():
    errors = [error.message for error in OpenAPIV31SpecValidator(DOCUMENT).iter_errors()]
    assert errors == []
    assert '"nullable"' not in json.dumps(DOCUMENT)


def test_every_operation_has_a_title_and_says_what_it_does():
    for name, (_path, _method, operation) in OPERATIONS.items():
        assert 3 < len(operation["summary"]) <= 80, (name, operation["summary"])
        assert operation["description"].endswith("."), name
    summaries = [operation["summary"] for _path, _method, operation in OPERATIONS.values()]
    assert len(set(summaries)) == len(summaries)


def test_every_success_shows_an_example_that_its_schema_takes():
    for name, status, form, content in successes():
        shown = examples_of(content)
        assert bool(shown) == (form not in BINARY and (name, form) != ORIGINAL), (name, form)
        for value in shown:
            assert faults(content["schema"], value) == [], (name, status)


def test_every_body_that_is_sent_shows_an_example_that_its_schema_takes():
    for name, (_path, _method, operation) in OPERATIONS.items():
        for form, content in operation.get("requestBody", {}).get("content", {}).items():
            shown = examples_of(content)
            assert bool(shown) == (form not in BINARY), (name, form)
            for value in shown:
                assert faults(content["schema"], value) == [], name


def test_every_problem_shows_the_kinds_that_it_may_be():
    for name, (_path, _method, operation) in OPERATIONS.items():
        content = operation["responses"]["default"]["content"]["application/problem+json"]
        shown = examples_of(content)
        assert len(shown) >= 5, name
        for value in shown:
            assert faults(content["schema"], value) == []


def test_every_number_has_words_and_every_word_is_used():
    numbers = list(numbers_of(DOCUMENT))
    assert [(of, name) for of, name, member in numbers if not member.get("description")] == []
    known = {name for _of, name, _ in numbers} | {f"{of}.{name}" for of, name, _ in numbers}
    assert set(MEMBERS) - known == set()


def test_every_parameter_has_words_and_a_path_says_what_each_number_is_of():
    used = set()
    for path, _method, operation in OPERATIONS.values():
        for parameter in operation.get("parameters", ()):
            assert parameter.get("description"), (path, parameter["name"])
        parts = re.findall(r"{(\w+)}", path)
        assert parts in ([], ["id"], ["id", "number"]), path
        used |= {path.split("/")[3], *parts[1:]} if parts else set()
    assert set(OF_PATH) == used


def test_the_bounds_of_a_page_are_those_that_are_kept(as_stranger, db):
    for path, method, operation in OPERATIONS.values():
        for parameter in operation.get("parameters", ()):
            schema = parameter["schema"]
            if parameter["name"] in ("limit", "offset"):
                assert method == "get"
                lowest, highest = schema["minimum"], schema["maximum"]
                assert lowest <= schema["default"] <= highest, path
    for name, number, status in (("limit", 200, 200), ("limit", 201, 422), ("limit", 0, 422)):
        assert as_stranger.get(f"/api/v1/rigs?{name}={number}").status_code == status
    for offset, status in ((1_000_000, 200), (1_000_001, 422)):
        assert as_stranger.get(f"/api/v1/rigs?offset={offset}").status_code == status


@pytest.mark.parametrize("who", ["as_stranger", "as_owner", "as_moderator"])
def test_whatever_is_answered_is_as_the_document_says(who, world, request):
    """Every GET on a small world: nulls, empty lists and the last page's address included."""
    client, checked = request.getfixturevalue(who), 0
    for route in ROUTES:
        number = str(world.get(route.partition("/")[0]))
        address = "/api/v1/" + route.replace("<int:pk>", number).replace("<uuid:pk>", number)
        answer = client.get(address.replace("<int:number>", "1") + QUERIES.get(route, ""))
        path = "/api/v1/" + re.sub("<[a-z]+:pk>", "{id}", route).replace("<int:number>", "{number}")
        if "get" not in DOCUMENT["paths"].get(path, {}) or answer["Content-Type"] in BINARY:
            continue
        responses = DOCUMENT["paths"][path]["get"]["responses"]
        said = responses.get(str(answer.status_code), responses["default"])["content"]
        form = answer["Content-Type"].partition(";")[0]
        if form.endswith("json"):
            assert faults(said[form]["schema"], answer.json()) == [], route
            checked += 1
    assert checked > 35


def test_an_interval_has_one_name_everywhere_and_what_it_was_called_is_deprecated():
    schemas = DOCUMENT["components"]["schemas"]
    for name, schema in schemas.items():
        for member, of in schema.get("properties", {}).items():
            if re.fullmatch(r"(\w+_)?(low|high|lower|upper)|told", member) and name != "Interval":
                assert of.get("deprecated"), (name, member)
                assert f"{name}.{member}" in RENAMED
    for name, better in RENAMED.items():
        component, _, member = name.partition(".")
        assert schemas[component]["properties"][member]["description"] == f"the same as {better}"
        assert better.partition(".")[0] in schemas[component]["properties"], name


def test_the_better_name_of_a_member_says_the_same():
    recorded, seen = json.loads(RECORDED.read_text()), set()
    for name, (_path, _method, operation) in OPERATIONS.items():
        for status, answer in operation["responses"].items():
            schema = answer.get("content", {}).get("application/json", {}).get("schema")
            if schema and status in recorded.get(name, {}):
                seen |= set(renamed_in(schema, recorded[name][status]))
    for shown in (equivalence(), OwnStrength(OWN_STRENGTH)):
        component = type(shown).__name__
        seen |= set(renamed_in({"$ref": f"#/components/schemas/{component}"}, shown.data))
    compared = DOCUMENT["components"]["schemas"]["ComparedDocument"]["properties"]
    assert compared["told"]["oneOf"] == compared["result"]["oneOf"]
    assert set(RENAMED) - seen == {"ComparedDocument.told"}


OWN_STRENGTH = {"failures": 4, "efficiency": 0.8, "interval_low": 0.7, "interval_high": 0.9}
"""What the join itself holds in a set, of which no example is recorded."""


def equivalence() -> EquivalenceDocument:
    """Before and after a change of a rig, of which no example is recorded."""
    result = {"verdict": "same", "ratio": 1.01, "lower": 0.98, "upper": 1.03, "p_same": 0.01}
    return EquivalenceDocument({**result, "more_pulls": None})


def renamed_in(schema: dict, value: object) -> Iterator[str]:
    """The members in a document that have a better name, once they were compared with it."""
    for part in (schema, *schema.get("allOf", ()), *schema.get("oneOf", ())):
        component = part.get("$ref", "").rpartition("/")[2]
        part = DOCUMENT["components"]["schemas"].get(component, part)  # noqa: PLW2901
        if isinstance(value, list) and "items" in part:
            for each in value:
                yield from renamed_in(part["items"], each)
        for member in value if isinstance(value, dict) else ():
            name = f"{component}.{member}"
            if name in RENAMED:
                first, _, end = RENAMED[name].partition(".")
                assert value[member] == (value[first][end] if end else value[first]), name
                yield name
            yield from renamed_in(part.get("properties", {}).get(member, {}), value[member])
