"""A database that was closed to writing, as in a failover: it is read, and says what it can't."""

import subprocess
import sys

import psycopg
import pytest
import requests

from deploy.tools.processes import TIMEOUT_S
from tests.deploy.files import ROOT
from tests.observing.test_hanging import servers, web  # noqa: F401, fixtures

ACCOUNT = """
import django; django.setup()
from django.contrib.auth.models import User
from knox.models import AuthToken
from rigs.models import Contributor
user = User.objects.create_user("sandgrain", password="winter-bench-league")
Contributor.objects.create(user=user, handle="sandgrain")
print(AuthToken.objects.create(user)[1])
"""


@pytest.fixture
def token(servers) -> str:  # noqa: F811
    def run(*command: str) -> str:
        environment = {**servers, "DJANGO_SETTINGS_MODULE": "deploy.settings", "PATH": ""}
        done = subprocess.run(
            [sys.executable, *command], cwd=ROOT, env=environment, check=True, capture_output=True
        )
        return done.stdout.decode().strip()

    run("manage.py", "migrate", "--verbosity", "0")
    return run("-c", ACCOUNT).splitlines()[-1]


def close_to_writing(database: str) -> None:
    with psycopg.connect(database, autocommit=True) as server:
        server.execute("ALTER SYSTEM SET default_transaction_read_only = on")
        server.execute("SELECT pg_reload_conf()")


def test_what_would_write_is_asked_to_come_back_and_readers_are_served(servers, token, web):  # noqa: F811
    assert requests.get(f"{web}/readyz", timeout=TIMEOUT_S).status_code == 200
    close_to_writing(servers["DATABASE_URL"])

    known = {"Authorization": f"Token {token}"}
    line = {"name": "new line", "material": "copolymer"}
    sent = requests.post(f"{web}/api/v1/lines", json=line, headers=known, timeout=TIMEOUT_S)
    assert sent.status_code == 503, sent.text
    assert sent.headers["Content-Type"] == "application/problem+json"
    assert int(sent.headers["Retry-After"]) > 0
    assert "can be read and not written to" in sent.json()["detail"]

    with requests.Session() as browser:
        form = browser.get(f"{web}/sign-in/", timeout=TIMEOUT_S)
        assert form.status_code == 200, form.text
        csrf = form.text.split('name="csrfmiddlewaretoken" value="')[1].split('"')[0]
        fields = {
            "csrfmiddlewaretoken": csrf,
            "login": "sandgrain",
            "password": "winter-bench-league",
        }
        page = browser.post(f"{web}/sign-in/", fields, timeout=TIMEOUT_S)
    assert page.status_code == 503
    assert "Nothing can be stored at the moment" in page.text
    assert int(page.headers["Retry-After"]) > 0

    assert requests.get(f"{web}/api/v1/pools", timeout=TIMEOUT_S).status_code == 200
    assert requests.get(f"{web}/healthz", timeout=TIMEOUT_S).status_code == 200
    ready = requests.get(f"{web}/readyz", timeout=TIMEOUT_S)
    assert (ready.status_code, ready.json()["parts"]["database"]) == (503, "ok")
    assert ready.json()["parts"]["writing"] == "the database is read-only"
    reading = requests.get(f"{web}/readyz?for=reading", timeout=TIMEOUT_S)
    assert "writing" not in reading.json()["parts"]
