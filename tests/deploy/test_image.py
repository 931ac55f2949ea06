"""The image holds the product, and the product needs nothing else: no demo, no tools, no tests."""

import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterable
from importlib.metadata import distributions, packages_distributions
from pathlib import Path

import pytest

from tests.deploy.files import ROOT

LOCKS = (
    "requirements-web.lock",
    "requirements.lock",
    "requirements-demo.lock",
    "requirements-dev.lock",
)
LEFT_OUT = ("deploy/demo", "deploy/benchmarks", "deploy/tools", "tests")
IMPORT_EACH = """
import importlib, sys

class Absent:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in absent:
            raise ModuleNotFoundError(name)

absent = set(sys.argv[1].split(","))
sys.meta_path.insert(0, Absent())
import django
django.setup()
for name in sys.argv[2:]:
    importlib.import_module(name)
"""


def pinned(lock: str) -> dict[str, str]:
    """Each package that a lock file names, and its version."""
    return dict(re.findall(r"^([\w.-]+)==([^ ;]+)", (ROOT / lock).read_text(), re.MULTILINE))


def ignored(name: str) -> bool:
    """Whether .dockerignore leaves a file out: the last of its lines that matches decides."""
    out = False
    for line in (ROOT / ".dockerignore").read_text().splitlines():
        pattern = line.removeprefix("!").removeprefix("**/")
        if not pattern or pattern.startswith("#"):
            continue
        path = Path(name)
        held = [path, *path.parents]
        if any(part.match(pattern) if "**/" in line else str(part) == pattern for part in held):
            out = not line.startswith("!")
        elif pattern == "*":
            out = True
    return out


@pytest.fixture
def image(tmp_path) -> Path:
    """What the image's build gets of this checkout."""
    listed = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    names = subprocess.run(listed, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    for name in filter(None, names.split("\0")):
        if (ROOT / name).is_file() and not ignored(name):
            (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, tmp_path / name)
    return tmp_path


def test_the_image_holds_neither_demo_nor_benchmarks_nor_tools_nor_tests(image):
    assert (image / "deploy" / "settings.py").exists()
    assert [name for name in LEFT_OUT if (image / name).exists()] == []


def names_of(libraries: Iterable[str]) -> set[str]:
    return {name.lower().replace("_", "-") for name in libraries}


def modules_of(image: Path) -> list[str]:
    return [
        ".".join(path.relative_to(image).with_suffix("").parts).removesuffix(".__init__")
        for path in sorted(image.rglob("*.py"))
        if "beside" not in path.parts  # scripts that go into the archive of the open data
    ]


def imported(image: Path, lock: str, modules: list[str]) -> str:
    """What goes wrong where the image has what a lock file names, and nothing else."""
    shipped = names_of(pinned(lock))
    absent = {
        top
        for top, libraries in packages_distributions().items()
        if not names_of(libraries) & shipped
    }
    assert {"requests", "tqdm", "pytest"} <= absent
    ours = {name: value for name, value in os.environ.items() if name in ("PATH", "HOME")}
    ended = subprocess.run(
        [sys.executable, "-c", IMPORT_EACH, ",".join(absent), *modules],
        cwd=image,
        env=ours
        | {
            "DJANGO_SETTINGS_MODULE": "deploy.settings",
            "DATABASE_URL": "postgresql://127.0.0.1:1/none",
            "REDIS_URL": "redis://127.0.0.1:1/0",
            "SAMESPOOL_SECRET_KEY": "of this test alone",
            "SAMESPOOL_VAR": str(image / "var"),
        },
        capture_output=True,
        text=True,
        check=False,
    )
    return "" if ended.returncode == 0 else ended.stderr


def test_every_module_of_the_product_imports_with_what_the_image_has_and_nothing_else(image):
    modules = modules_of(image)
    assert len(modules) > 300
    assert imported(image, "requirements.lock", modules) == ""


def test_the_web_process_needs_no_parquet(image):
    assert "pyarrow" in pinned("requirements.lock").keys() - pinned("requirements-web.lock").keys()
    served = [name for name in modules_of(image) if name.startswith(("api", "results.pages"))]
    assert len(served) > 100
    web = ["deploy.web", "deploy.urls", "deploy.wsgi", *served]
    assert imported(image, "requirements-web.lock", web) == ""
    assert "pyarrow" in imported(image, "requirements-web.lock", ["results.worker.tasks"])


def test_the_image_lists_what_its_python_is_made_of(tmp_path):
    """By the very command that builds it, here of the environment that runs the tests."""
    text = (ROOT / "deploy" / "Dockerfile").read_text()
    command = re.search(r"/tools/bin/(cyclonedx-py .*) --output-file sbom.json \.venv", text)[1]
    program, *options = command.split()
    file = tmp_path / "sbom.json"
    made = [Path(sys.executable).with_name(program), *options, "--output-file", file]
    subprocess.run([*made, sys.executable], check=True, capture_output=True)
    listed = json.loads(file.read_text())
    assert listed["bomFormat"] == "CycloneDX"
    found = {(each["name"], each["version"]) for each in listed["components"]}
    locked = names_of(pinned("requirements.lock"))
    here = {(each.name, each.version) for each in distributions() if names_of([each.name]) & locked}
    assert len(here) > 60
    assert here <= found
    assert "COPY --from=packages /srv/samespool/sbom.json" in text


def test_each_lock_file_holds_everything_of_the_one_before_at_the_same_versions():
    web, production, demo, development = map(pinned, LOCKS)
    assert {"requests", "tqdm"} <= demo.keys() - production.keys()
    assert web.items() <= production.items() <= demo.items() <= development.items()
    assert pinned("requirements-image.lock").items() <= development.items()


@pytest.mark.parametrize("lock", [*LOCKS, "requirements-image.lock"])
def test_a_lock_file_names_no_registry_and_no_folder_of_a_machine(lock):
    text = (ROOT / lock).read_text()
    assert re.findall(r"\w+://\S*|(?:^|\s)/\w\S*|index-url|find-links", text) == []
    assert text.count("--hash=sha256:") > len(pinned(lock))


def test_each_library_stands_in_its_lock_file_and_says_why_it_is_there():
    text = (ROOT / "pyproject.toml").read_text()
    named = tomllib.loads(text)
    groups = [named["project"]["dependencies"], *named["dependency-groups"].values()]
    libraries = [each for group in groups for each in group if isinstance(each, str)]
    for library in libraries:
        name = re.match(r"[\w.-]+", library)[0]
        assert name in pinned("requirements-dev.lock"), name
        assert re.search(rf'^    "{re.escape(library)}",  # \w+', text, re.MULTILINE), library
