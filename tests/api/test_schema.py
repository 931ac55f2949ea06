"""The description of the API is valid, complete, and has a page to read it."""

import pytest
from drf_spectacular.validation import validate_schema


@pytest.fixture
def schema(client, db) -> dict:
    return client.get("/api/v1/schema", headers={"Accept": "application/json"}).json()


def test_the_description_is_valid_openapi_3_1(schema):
    assert schema["openapi"] == "3.1.0"
    validate_schema(schema)


def test_every_operation_says_what_a_problem_looks_like(schema):
    for operations in schema["paths"].values():
        for operation in operations.values():
            assert "application/problem+json" in operation["responses"]["default"]["content"]


def test_everything_that_takes_a_document_shows_an_example(schema):
    without = [
        operation["operationId"]
        for operations in schema["paths"].values()
        for method, operation in operations.items()
        if method == "post" and "requestBody" in operation
        if not any("examples" in form for form in operation["requestBody"]["content"].values())
    ]
    assert without == []


def test_a_quantity_goes_in_as_text_and_comes_out_as_text_and_value(schema):
    shapes = schema["components"]["schemas"]
    answered = shapes["LineDocument"]["properties"]["diameter"]
    assert set(answered["properties"]) == {"written", "m"}
    assert shapes["LineDocumentRequest"]["properties"]["diameter"]["type"] == ["string", "null"]


def test_the_page_to_read_it_needs_nothing_from_elsewhere(client, db):
    page = client.get("/api/v1/docs")
    assert page.status_code == 200
    assert "/static/drf_spectacular_sidecar/" in page.content.decode()
    assert "https://" not in page.content.decode()


def test_an_upload_without_a_body_is_outside_the_document(schema):
    for address in ("/api/v1/sessions", "/api/v1/sessions/{id}/versions"):
        assert schema["paths"][address]["post"]["requestBody"]["required"] is True
