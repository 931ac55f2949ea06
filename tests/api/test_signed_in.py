"""Sending by the session of the pages: with the token in the header, and the body as it is."""

import json

import pytest
from django.test import Client

from results.models import Session, Upload
from tests.intake.conftest import RIGHT, bench, sheet

__all__ = ["bench"]
FORMS = {"application/json": json.dumps(RIGHT), "text/csv": sheet()}


@pytest.fixture
def signed_in(owner, bench) -> Client:
    client = Client(enforce_csrf_checks=True)
    client.force_login(owner.user, backend="django.contrib.auth.backends.ModelBackend")
    client.get("/upload/")
    return client


@pytest.mark.parametrize("form", FORMS)
def test_a_session_is_sent_with_the_token_of_the_page(signed_in, form):
    token = signed_in.cookies["csrftoken"].value
    answer = signed_in.post(
        "/api/v1/sessions", FORMS[form], content_type=form, headers={"X-CSRFToken": token}
    )
    assert answer.status_code == 202
    assert bytes(Upload.objects.get().body).decode() == FORMS[form]


@pytest.mark.parametrize("form", FORMS)
def test_without_the_token_nothing_is_stored(signed_in, form):
    answer = signed_in.post("/api/v1/sessions", FORMS[form], content_type=form)
    assert answer.status_code == 403
    assert not Session.objects.exists()
