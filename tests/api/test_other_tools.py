"""Tools of others take the OpenAPI document: types for TypeScript, a linter, a second validator.

They come from npm, by the lock file in ``typescript/``; Node and npm are Debian's.
"""

import json
import shutil
import subprocess
import time
from pathlib import Path

import pytest

from deploy.tools.openapi.release import document
from results.worker import embedded
from tests.api.documents import REVISION
from tests.api.leagues import league_of
from tests.api.test_generated_client import PASSWORD, session_document
from tests.people import contributor

HERE = Path(__file__).with_name("typescript")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The tools, installed as the lock file says, beside the document."""
    made = tmp_path_factory.mktemp("tools") / "typescript"
    shutil.copytree(HERE, made)
    run("npm", "ci", "--no-progress", "--loglevel=error", folder=made)
    (made / "openapi.json").write_text(json.dumps(document()))
    return made


def run(*command: str, folder) -> str:
    ended = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stdout + ended.stderr
    return ended.stdout


def test_a_strict_linter_finds_nothing_that_is_not_explained(folder):
    said = json.loads(run("node", "lint.mjs", "openapi.json", folder=folder))

    assert said == {"found": [], "unneeded": [], "invalid": []}

    broken = json.loads((folder / "openapi.json").read_text())
    del broken["paths"]["/api/v1/sessions"]["post"]["summary"]
    broken["paths"]["/api/v1/rigs"]["get"]["responses"]["200"].pop("description")
    (folder / "broken.json").write_text(json.dumps(broken))
    said = json.loads(run("node", "lint.mjs", "broken.json", folder=folder))
    assert any(each.startswith("operation-summary: ") for each in said["found"])
    assert said["invalid"] != []


def test_a_program_in_typescript_registers_uploads_waits_reads_and_compares(
    folder, transactional_db, live_server
):
    league_of({"Blood": 80.0}, testers=4)
    person = contributor("newcomer")
    person.user.set_password(PASSWORD)
    person.user.save()
    run("npx", "openapi-typescript", "openapi.json", "--output", "schema.ts", folder=folder)
    run("npx", "tsc", "--project", ".", folder=folder)

    rig = json.dumps({"name": "shed winch", "revision": REVISION})
    session = json.dumps(session_document("2026-01-13"))
    command = ["node", "built/program.js", live_server.url, "newcomer", PASSWORD, rig, session]
    with subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, text=True) as program:
        while program.poll() is None:
            embedded.drain()
            time.sleep(0.1)
        said = json.loads(program.stdout.read())

    assert said["revision"] == 1
    assert (said["testers"], said["own"]) == (5, 1)
    assert said["interval"]["low"] < 0.81 < said["interval"]["high"]
    assert said["others"]["low"] < 0.81 < said["others"]["high"]
    assert said["missing"] == 404


def test_the_compiler_refuses_a_member_that_the_document_does_not_know(folder):
    run("npx", "openapi-typescript", "openapi.json", "--output", "schema.ts", folder=folder)
    program = (folder / "program.ts").read_text()
    (folder / "program.ts").write_text(program.replace("current?.testers", "current?.tester"))

    ended = subprocess.run(
        ["npx", "tsc", "--noEmit", "--project", "."], cwd=folder, capture_output=True, check=False
    )

    assert b"Property 'tester' does not exist" in ended.stdout
