"""What an audit of the pinned packages may say: it never passes for want of an answer."""

import json
import subprocess
import sys

import pytest
from django.conf import settings

NOT_FOUND = {"name": "numpy", "skip_reason": "not found"}
SOUND = {"name": "numpy", "version": "2.4.6", "vulns": []}
WEAK = {"name": "numpy", "version": "2.4.6", "vulns": [{"id": "EXAMPLE-1", "fix_versions": []}]}
OTHER = {"name": "scipy", "version": "1.17.1", "vulns": []}


@pytest.mark.parametrize(
    ("reports", "code", "told"),
    [
        ([], 1, "No source of advisories answered"),
        ([[NOT_FOUND]], 1, "No source of advisories answered"),
        ([[NOT_FOUND], [SOUND]], 0, "1 packages looked up, 0 weaknesses known."),
        ([[NOT_FOUND, OTHER]], 1, "Nobody knew of 1: numpy."),
        ([[SOUND], [WEAK]], 1, "numpy 2.4.6: EXAMPLE-1"),
    ],
    ids=["no report", "nothing found", "one source is enough", "half", "weak"],
)
def test_an_audit_passes_only_where_every_package_was_looked_up_and_none_is_weak(
    reports, code, told, tmp_path
):
    paths = [tmp_path / f"{number}.json" for number in range(2)]
    for path, packages in zip(paths, reports, strict=False):
        path.write_text(json.dumps({"dependencies": packages, "fixes": []}))
    script = settings.BASE_DIR / "deploy/tools/audited.py"
    ended = subprocess.run(
        [sys.executable, str(script), *map(str, paths)], capture_output=True, text=True, check=False
    )
    assert ended.returncode == code, ended.stderr
    assert told in ended.stdout
