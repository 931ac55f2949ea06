"""A short run of schemathesis over every operation; `deploy/bench fuzz` is the long one.

Whatever is sent, there is no answer of 500 and none outside the OpenAPI document.
"""

import pytest
from knox.models import AuthToken

from deploy.tools.fuzzing import fuzz
from tests import making

EXAMPLES = 2


@pytest.fixture
def world(owner) -> None:
    """Something behind the lowest numbers, all of it the owner's."""
    revision = making.revision_of(owner)
    making.calibrate(revision, gain=1.0, offset_N=0.0)
    session = making.session(revision)
    making.straight(session, making.line("thin"))
    making.joined(session, making.line("thin"), making.line("thick", label_N=180), [80.0, 84.0])
    making.sent(session, b"rig", "text/csv")


def of(person) -> dict[str, str]:
    """A token, and another to be ended by the operation that ends one."""
    tokens = [AuthToken.objects.create(person.user)[1] for _ in range(2)]
    return {"": f"Token {tokens[0]}", "tokens_delete": f"Token {tokens[1]}"}


@pytest.mark.parametrize("who", ["stranger", "owner", "moderator"])
def test_nothing_that_is_sent_is_answered_outside_the_document(
    who, django_db_reset_sequences, live_server, world, owner, moderator, settings, tmp_path
):
    settings.SAMESPOOL_REQUESTS_A_MINUTE = 1_000_000
    people = {"stranger": {}, "owner": of(owner), "moderator": of(moderator)}

    found = fuzz(
        live_server.url, people[who], EXAMPLES, tmp_path, random_state=1, phases="examples,fuzzing"
    )

    assert found.failures == (), found.said
    assert found.operations > 50
    assert found.examples > 100
