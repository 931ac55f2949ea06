"""The demo's mails: files that one can read, with links that open for their receivers."""

import email
import re
from email.message import Message
from pathlib import Path

import pytest
import requests

from deploy.demo.accounts import PASSWORD
from deploy.demo.round import RIG_LOG
from deploy.demo.send_round import ORGANISER
from deploy.tools.processes import TIMEOUT_S
from tests.demo.tried import ROOT, Tried

LINK = re.compile(r"https?://\S+")
BETWEEN = re.compile(r"^-{79}$", re.MULTILINE)
README = (ROOT / "README.md").read_text()


@pytest.fixture(scope="module")
def folder(tried) -> Path:
    """Where README and the demo itself say that mails are."""
    [said] = re.findall(r"each is a file in `var/(\w+)/`", README)
    found = Path(tried.environment["SAMESPOOL_VAR"]) / said
    assert f"files in {found}" in tried.printed
    return found


def mails_in(folder: Path) -> list[Message]:
    written = [
        part for each in sorted(folder.iterdir()) for part in BETWEEN.split(each.read_text())
    ]
    return [email.message_from_string(part.lstrip()) for part in written if part.strip()]


def text_of(mail: Message) -> str:
    return mail.get_payload(decode=True).decode()


def signed_in(tried: Tried, name: str) -> requests.Session:
    session = requests.Session()
    session.trust_env = False
    address = f"http://127.0.0.1:{tried.port}/sign-in/"
    session.get(address, timeout=TIMEOUT_S)
    sent = {
        "login": name,
        "password": PASSWORD,
        "csrfmiddlewaretoken": session.cookies["csrftoken"],
    }
    assert session.post(address, data=sent, timeout=TIMEOUT_S).ok
    return session


def test_everyone_of_the_round_got_a_mail_of_its_close_and_nobody_else_did(tried, folder):
    got = [mail["To"] for mail in mails_in(folder) if re.search(r"round \d+ of ", mail["Subject"])]
    assert {f"{handle}@example.org" for handle in {*RIG_LOG, ORGANISER}} <= set(got)


def test_every_link_of_every_mail_opens_for_who_got_it(tried, folder):
    """Notices of sets and rounds, and the way to a new password."""
    at = f"http://127.0.0.1:{tried.port}"
    there, guest = len(mails_in(folder)), requests.Session()
    guest.trust_env = False
    asked = f"{at}/account/password/forgotten/"
    guest.get(asked, timeout=TIMEOUT_S)
    sent = {"email": "marram@example.org", "csrfmiddlewaretoken": guest.cookies["csrftoken"]}
    assert guest.post(asked, data=sent, timeout=TIMEOUT_S).ok
    mails = mails_in(folder)
    assert len(mails) > there
    names = {mail["To"].partition("@")[0] for mail in mails}
    readers = {name: signed_in(tried, name) for name in names}
    for mail in mails:
        reader = readers[mail["To"].partition("@")[0]]
        links = LINK.findall(text_of(mail))
        assert links, mail.as_string()
        for link in links:
            assert link.startswith(at), mail.as_string()
            answer = reader.get(link, timeout=TIMEOUT_S)
            assert answer.ok, (mail["To"], link, answer.status_code)
            assert "/sign-in/" not in answer.url, (mail["To"], link)
