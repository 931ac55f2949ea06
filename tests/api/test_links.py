"""An answer leads to the next operation by an id that it holds, as the document says."""

import json
from pathlib import Path

import pytest
from drf_spectacular.generators import SchemaGenerator
from knox.models import AuthToken

from api.schema_answers import RECORDED
from api.schema_links import LINKS
from deploy.tools.fuzzing import fuzz
from tests import making

EXAMPLES = 3


@pytest.fixture(scope="module")
def document() -> dict:
    return SchemaGenerator().get_schema(public=True)


def operations(of: dict) -> dict[str, dict]:
    return {
        operation["operationId"]: {"path": path, **operation}
        for path, methods in of["paths"].items()
        for operation in methods.values()
    }


@pytest.mark.parametrize(("origin", "status"), LINKS)
def test_each_link_leads_to_an_operation_by_a_member_that_the_answer_has(origin, status, document):
    known = operations(document)
    recorded = json.loads(Path(RECORDED).read_text()).get(origin, {}).get(status)
    for name, link in known[origin]["responses"][status]["links"].items():
        assert "{id}" in known[name]["path"]
        (where,) = link["parameters"].values()
        if where.startswith("$request"):
            assert "{id}" in known[origin]["path"]
            continue
        part = recorded
        for step in where.partition("#/")[2].split("/"):
            part = part[int(step) if isinstance(part, list) else step]
        assert part, f"{origin} {status} {where}"


def test_a_program_that_follows_the_links_meets_no_answer_outside_the_document(
    django_db_reset_sequences, live_server, owner, settings, tmp_path
):
    settings.SAMESPOOL_REQUESTS_A_MINUTE = 1_000_000
    revision = making.revision_of(owner)
    session = making.session(revision)
    making.straight(session, making.line("thin"))
    making.joined(session, making.line("thin"), making.line("thick", label_N=180), [80.0, 84.0])
    tokens = [AuthToken.objects.create(owner.user)[1] for _ in range(2)]
    people = {"": f"Token {tokens[0]}", "tokens_delete": f"Token {tokens[1]}"}

    found = fuzz(live_server.url, people, EXAMPLES, tmp_path, random_state=1, phases="stateful")

    assert found.failures == (), found.said
    assert found.examples > len(LINKS)
