"""API8 of 2023, misconfiguration: in production nothing is left open by default."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
# Nothing is asked of the servers: these only tell that the service runs on some.
SERVERS = {
    "DATABASE_URL": "postgresql://samespool@127.0.0.1:1/none",
    "REDIS_URL": "redis://127.0.0.1:1/0",
}
KEY = {"SAMESPOOL_SECRET_KEY": "a-key-of-fifty-characters-and-more-9Yq2LrZ0vB7wTnX4kUeH1"}


def check(tmp_path: Path, *options: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """`manage.py check` with these variables, and none of the run's own."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if name not in SERVERS and not name.startswith(("SAMESPOOL_", "DJANGO_ALLOW"))
    }
    return subprocess.run(
        [sys.executable, "manage.py", "check", *options],
        cwd=ROOT,
        env={**kept, "SAMESPOOL_VAR": str(tmp_path), **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def test_as_deployed_django_warns_of_nothing_but_what_is_the_operators_to_decide(tmp_path):
    """Whether all subdomains speak TLS, and whether to be on the preload list (W005, W021)."""
    found = check(tmp_path, "--deploy", **SERVERS, **KEY, SAMESPOOL_HTTPS="true")
    assert found.returncode == 0, found.stderr
    assert set(re.findall(r"\((\w+\.[A-Z]\d+)\)", found.stderr)) == {
        "security.W005",
        "security.W021",
    }


@pytest.mark.parametrize(
    "key",
    [
        {},
        {"SAMESPOOL_SECRET_KEY": ""},
        {"SAMESPOOL_SECRET_KEY": "not-secret-only-for-trying-samespool-on-your-own-machine"},
    ],
)
def test_without_a_key_of_its_own_the_service_does_not_start(tmp_path, key):
    found = check(tmp_path, **SERVERS, **key)
    assert found.returncode != 0
    assert "SAMESPOOL_SECRET_KEY is not set" in found.stderr


def test_the_password_of_the_mail_server_does_not_go_in_the_clear(tmp_path):
    mail = {"SAMESPOOL_MAIL_FROM": "pulls@example.org", "SAMESPOOL_MAIL_USER": "pulls"}
    found = check(tmp_path, **mail)
    assert found.returncode != 0
    assert "SAMESPOOL_MAIL_TLS" in found.stderr
    assert check(tmp_path, **mail, SAMESPOOL_MAIL_TLS="starttls").returncode == 0


def test_a_switch_that_is_set_to_something_else_is_refused_with_what_it_can_be(tmp_path):
    for name in ("SAMESPOOL_SIGN_UP", "SAMESPOOL_MAIL_TLS"):
        found = check(tmp_path, **{name: "perhaps"})
        assert found.returncode != 0
        assert name in found.stderr
        assert "Must be one of" in found.stderr
