"""Documents are taken as the OpenAPI document has them, and nothing else is guessed from them."""

import re

import pytest

from tests.api.documents import REVISION
from tests.api.test_routes import ROUTES

NEW_LINE = {"name": "new line", "material": "copolymer"}


@pytest.mark.parametrize("name", [7, 7.5, True, ["7"], {"is": "7"}])
def test_a_name_that_is_not_text_is_refused(as_owner, name):
    answer = as_owner.post("/api/v1/lines", {**NEW_LINE, "name": name}, format="json")

    assert answer.status_code == 422
    found = answer.json()["findings"]
    assert [(each["field"], each["expected"]) for each in found] == [("name", "text")]


def test_a_word_that_looks_like_yes_is_not_yes(as_moderator, owner):
    proposed = as_moderator.post("/api/v1/lines", NEW_LINE, format="json").json()

    answer = as_moderator.patch(proposed["url"], {"accepted": "True"}, format="json")

    assert answer.status_code == 422


def test_the_same_holds_inside_a_document_within_a_document(as_owner):
    document = {"name": "new", "revision": {**REVISION, "what_changed": 5}}

    answer = as_owner.post("/api/v1/rigs", document, format="json")

    assert answer.status_code == 422
    assert answer.json()["findings"][0]["row"] == "revision"


@pytest.mark.parametrize("route", sorted(ROUTES))
def test_to_ask_what_may_be_asked_never_breaks(as_owner, route):
    address = re.sub("<int:[a-z]+>", "1", route).replace("<uuid:pk>", "0" * 32)

    answer = as_owner.options(f"/api/v1/{address}")

    assert answer.status_code in (200, 401, 403, 404)
