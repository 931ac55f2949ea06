"""What an audit of the pinned packages may say: it never passes for want of an answer."""

import os
import subprocess

import pytest
from django.conf import settings

AUDITOR = """#!/bin/sh
printf '%s\\n' "$*" >>"{asked}"
case "$*" in *--version*) exit 0 ;; *--vulnerability-service\\ {fails}*) exit 1 ;; esac
"""


def audit(folder, fails: str, *locks: str) -> tuple[int, list[str]]:
    """The exit code, and how the auditor was asked; ``fails`` names the source that does.

    The auditor exits by 1 where a package is weak and where its source does not answer, and if
    strict where the source does not know a package.
    """
    program = folder / "auditor" / "bin" / "pip-audit"
    program.parent.mkdir(parents=True)
    program.write_text(AUDITOR.format(asked=folder / "asked", fails=fails))
    program.chmod(0o755)
    ended = subprocess.run(
        [settings.BASE_DIR / "deploy" / "audit", *locks],
        env={**os.environ, "SAMESPOOL_VAR": str(folder)},
        check=False,
    )
    asked = (folder / "asked").read_text().splitlines()
    return ended.returncode, [line for line in asked if "--version" not in line]


@pytest.mark.parametrize(("fails", "code"), [("neither", 0), ("pypi", 1), ("osv", 1)])
def test_an_audit_passes_only_where_both_sources_know_every_package_and_none_is_weak(
    fails, code, tmp_path
):
    ended, asked = audit(tmp_path, fails)
    assert ended == code
    assert len(asked) == 2
    assert all("--strict" in line and "--require-hashes" in line for line in asked)


def test_an_audit_looks_up_what_each_lock_file_pins(tmp_path):
    locks = sorted(path.name for path in settings.BASE_DIR.glob("requirements*.lock"))
    assert len(locks) == 5
    for line in audit(tmp_path, "neither")[1]:
        assert sorted(part[14:] for part in line.split() if "--requirement=" in part) == locks
