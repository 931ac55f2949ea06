"""API1, API3 and API8 of 2023: what the service gives out, and to whom."""

import re

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from tests import making

HOSTILE = {
    "text/csv": b"<script>alert(1)</script>,=cmd()",
    "application/json": b'{"a": "<svg onload=alert(1)>"}',
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet": b"<html>PK",
}


def admin_addresses(patterns=None, before="") -> list[str]:
    """Every address of the admin that takes no argument, or a number in its place."""
    if patterns is None:
        entries = get_resolver().url_patterns
        patterns = next(entry for entry in entries if str(entry.pattern) == "admin/").url_patterns
    found = []
    for entry in patterns:
        address = before + str(entry.pattern)
        if isinstance(entry, URLResolver):
            found += admin_addresses(entry.url_patterns, address)
        elif isinstance(entry, URLPattern) and "(?P" not in address:
            found.append("/admin/" + address.replace("<path:object_id>", "1"))
    return [address for address in found if "<" not in address]


DESK = [
    f"/admin/{each}"
    for each in (
        "",
        "password_change/",
        "password_change/done/",
        "jsi18n/",
        "results/reviewcase/",
        "results/proposal/",
        "results/acceptedname/",
        "results/report/",
        "rigs/suspension/",
        "rigs/suspension/add/",
    )
]
"""What the moderators' group opens of it: the desk, and no table of people or results."""


@pytest.mark.parametrize("who", ["stranger", "owner", "other", "moderator"])
def test_nothing_of_the_admin_opens_to_who_is_no_administrator(request, who, db):
    client = Client()
    if who != "stranger":
        user = request.getfixturevalue(who).user
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    addresses = [address for address in admin_addresses() if "logout" not in address]
    assert len(addresses) > 50
    opened = [address for address in addresses if client.get(address).status_code == 200]
    assert opened == (DESK if who == "moderator" else [])


@pytest.mark.parametrize("form", HOSTILE)
def test_an_upload_comes_back_as_a_file_to_save_and_never_as_a_page(form, owner, as_owner):
    session = making.session(making.revision_of(owner))
    making.sent(session, HOSTILE[form], form)
    answer = as_owner.get(f"/api/v1/sessions/{session.pk}/original")
    assert answer.content == HOSTILE[form]
    assert answer["Content-Type"] == form
    assert answer["Content-Disposition"].startswith("attachment")
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_a_session_that_no_one_uploaded_has_no_original(owner, as_owner):
    session = making.session(making.revision_of(owner))
    assert as_owner.get(f"/api/v1/sessions/{session.pk}/original").status_code == 404


@pytest.mark.parametrize("address", ["/", "/sign-in/", "/api/v1/pools", "/no-such-page"])
def test_every_answer_tells_the_browser_what_to_refuse(address, db):
    answer = Client().get(address)
    assert "default-src 'none'" in answer["Content-Security-Policy"]
    assert "unsafe" not in answer["Content-Security-Policy"]
    assert not re.search(r"script-src(?! 'self'(;|$))|\*|http", answer["Content-Security-Policy"])
    assert "camera=()" in answer["Permissions-Policy"]
    assert answer["Cross-Origin-Opener-Policy"] == "same-origin"
    assert answer["X-Frame-Options"] == "DENY"
