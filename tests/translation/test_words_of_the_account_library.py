"""Where the account library's own words would show through, ours stand."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import allauth
import pytest
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext, override
from django.utils.translation.template import templatize

TEMPLATES = Path(allauth.__file__).parent / "templates"
QUOTED = r"""(?:'(?:[^'\\]|\\.)*'|"(?:[^"\\]|\\.)*")"""
MARKED = re.compile(rf"\bn?gettext\(u?({QUOTED})")

# Parts of the library that the service has no address for.
WITHOUT_A_ROUTE = {
    "code": "account_request_login_code",
    "phone": "account_change_phone",
    "passkey": "account_signup_by_passkey",
    "webauthn": "mfa_add_webauthn",
    "trust": "mfa_trust",
}
# Ours stand in place of these, or the service never comes to them.
OTHER_TEMPLATES = {"account/login.html", "account/signup.html", "account/signup_closed.html"}
# One's one address is changed on another page of the library, which has no use here.
NOT_USED = {"account/email_change.html", "account/verified_email_required.html"}
STAND_AS_THEY_ARE = {"Note", "Warning:", "Cancel", "Remove", "Manage", "Add", "View", "Download"}


def words() -> Iterator[str]:
    """What the library's pages and mails say, template by template."""
    for path in sorted(TEMPLATES.rglob("*.*")):
        name = path.relative_to(TEMPLATES).as_posix()
        if not name.startswith(("account/", "mfa/")) or name in OTHER_TEMPLATES | NOT_USED:
            continue
        without_codes = name.replace("recovery_codes", "")
        if any(part in without_codes for part in WITHOUT_A_ROUTE):
            continue
        for found in MARKED.finditer(templatize(path.read_text(), origin=name)):
            yield ast.literal_eval(found[1])


@pytest.mark.parametrize("address", WITHOUT_A_ROUTE.values())
def test_what_is_left_out_has_no_address(address):
    with pytest.raises(NoReverseMatch):
        reverse(address)


def test_every_sentence_of_the_library_that_can_be_seen_is_said_in_our_words():
    found = set(words()) - STAND_AS_THEY_ARE
    assert len(found) > 80
    keys = ("security key", "Security Keys")
    with override("en-gb"):
        theirs = {
            each for each in found if gettext(each) == each and not any(key in each for key in keys)
        }
    # the plural one is looked up by both of its forms
    assert {each for each in theirs if "%(unused_count)s" not in each} == set()
