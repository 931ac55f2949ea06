"""What the files of deploy/ say: services, units, and the commands that they run."""

from __future__ import annotations

import configparser
import shlex
import shutil
import subprocess
from pathlib import Path
from typing import Any

import yaml

ROOT = Path(__file__).resolve().parents[2]
COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "deploy" / "compose.yaml").read_text())
UNITS = sorted((ROOT / "deploy" / "systemd").glob("samespool*"))
OURS = {
    name: service
    for name, service in COMPOSE["services"].items()
    if service["image"] in ("samespool", "samespool-web")
}


def unit(path: Path) -> dict[str, dict[str, str]]:
    """A unit's sections with their settings."""
    parser = configparser.ConfigParser(interpolation=None)
    parser.optionxform = str
    parser.read(path)
    return {name: dict(parser[name]) for name in parser.sections()}


def environment_file() -> dict[str, str]:
    lines = (ROOT / "deploy" / "systemd" / "environment.example").read_text().splitlines()
    return dict(line.split("=", 1) for line in lines if line and not line.startswith("#"))


def commands() -> dict[str, list[str]]:
    """Every command of our own that the files name, by file and service."""
    found = {f"compose {name}": service["command"] for name, service in OURS.items()}
    for path in UNITS:
        if command := unit(path).get("Service", {}).get("ExecStart"):
            found[path.name] = shlex.split(command.replace("%%", "%"))
    return found


def here(command: list[str], port: int | None = None) -> list[str]:
    """A command as the files write it, with this checkout in place of the deployed one."""
    program, *rest = [part.removeprefix("/srv/samespool/") for part in command]
    inside = ROOT / program if "/" in program else ROOT / ".venv" / "bin" / program
    if port is not None:
        rest[rest.index("--port") + 1] = str(port)
    return [str(inside), *rest]


def checkout_in(folder: Path) -> None:
    """This checkout's files as they are, what is not committed yet included."""
    listed = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    names = subprocess.run(listed, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    for name in filter(None, names.split("\0")):
        if (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, folder / name)
