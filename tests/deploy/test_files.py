"""The files of deploy/ hold together: what they name exists, and no secret is in them.

The shape asked of compose.yaml is that of the open Compose specification.
"""

import os
import re
import shutil
import subprocess

import pytest

from tests.deploy.files import COMPOSE, OURS, ROOT, UNITS, commands, environment_file, here, unit

SETTINGS = (ROOT / "deploy" / "settings.py").read_text()
# Read by the Prometheus client library itself.
FOREIGN = {"PROMETHEUS_MULTIPROC_DIR"}
MEMBERS = {
    *("build", "image", "command", "restart", "init", "read_only", "cap_drop", "security_opt"),
    *("tmpfs", "volumes", "logging", "environment", "depends_on", "stop_grace_period"),
    *("healthcheck", "profiles", "shm_size", "ports", "cpu_shares", "mem_limit", "user"),
}
LONG_RUNNING = [
    "base-backups",
    "database",
    "later",
    "proxy",
    "queue",
    "scheduler",
    "web",
    "web-two",
    "worker",
]


def test_the_compose_file_has_the_members_of_the_specification_and_no_other():
    assert {key for key in COMPOSE if not key.startswith("x-")} == {"name", "services", "volumes"}
    for name, service in COMPOSE["services"].items():
        assert set(service) <= MEMBERS, name


@pytest.mark.parametrize("name", LONG_RUNNING)
def test_every_lasting_service_is_started_again_and_looked_after(name):
    service = COMPOSE["services"][name]
    assert service["restart"] == "unless-stopped"
    assert service["healthcheck"]["test"][0] in {"CMD", "CMD-SHELL"}
    assert {"interval", "timeout", "retries"} <= set(service["healthcheck"])


def test_what_a_service_waits_for_exists_and_can_come_true():
    services = COMPOSE["services"]
    waits = [
        (name, other, how["condition"])
        for name, service in services.items()
        for other, how in service.get("depends_on", {}).items()
    ]
    assert waits
    for name, other, condition in waits:
        lasting = other in LONG_RUNNING
        expected = "service_healthy" if lasting else "service_completed_successfully"
        assert condition == expected, f"{name} waits for {other}"


def test_what_no_upload_waits_for_gets_only_the_time_that_nothing_else_wants():
    assert COMPOSE["services"]["later"]["cpu_shares"] == 2  # the least that there is
    later = unit(ROOT / "deploy" / "systemd" / "samespool-later.service")
    assert later["Service"]["CPUWeight"] == "1"


def test_the_database_knows_that_looking_up_a_row_costs_little():
    assert "random_page_cost=1.1" in COMPOSE["services"]["database"]["command"]


def test_every_named_volume_is_declared_and_used():
    used = {
        volume.split(":")[0]
        for service in COMPOSE["services"].values()
        for volume in service.get("volumes", [])
        if not volume.startswith(".")
    }
    assert used == set(COMPOSE["volumes"])


@pytest.mark.parametrize(
    "named",
    [*(service["environment"] for service in OURS.values()), environment_file()],
    ids=[*OURS, "environment.example"],
)
def test_every_variable_that_is_set_is_one_that_the_settings_read(named):
    assert named
    for name in set(named) - FOREIGN:
        assert f'"{name}"' in SETTINGS, name


def test_every_variable_that_a_unit_sets_is_one_that_the_settings_read():
    named = [
        pair.split("=")[0]
        for path in UNITS
        for pair in unit(path).get("Service", {}).get("Environment", "").split()
    ]
    assert "SAMESPOOL_DATABASE_POOL" in named
    for name in set(named) - FOREIGN:
        assert f'"{name}"' in SETTINGS, name


def test_no_secret_stands_in_a_file():
    for service in COMPOSE["services"].values():
        for name, value in service.get("environment", {}).items():
            if re.search("KEY|PASSWORD|TOKEN", name):
                assert re.fullmatch(r"\$\{\w+(:[?-][^}]*)?\}", value), name
    assert {environment_file()[name] for name in ("DATABASE_URL", "SAMESPOOL_SECRET_KEY")} == {""}
    assert environment_file()["SAMESPOOL_METRICS_TOKEN"] == ""


def test_only_the_proxy_is_reached_from_outside():
    assert [name for name, service in COMPOSE["services"].items() if "ports" in service] == [
        "proxy"
    ]


def test_only_the_web_process_pools_its_connections():
    pooling = [
        name
        for name, service in OURS.items()
        if "SAMESPOOL_DATABASE_POOL" in service["environment"]
    ]
    assert pooling == ["web", "web-two"]


@pytest.mark.parametrize("command", commands().values(), ids=commands())
def test_every_command_names_a_program_that_exists(command):
    program = here(command)[0]
    assert os.access(program, os.X_OK), program


def test_containers_and_units_run_the_same_commands():
    found = commands()
    for name in ("worker", "later", "scheduler"):
        written = here(found[f"samespool-{name}.service"])
        assert written == here(found[f"compose {name}"])


def test_every_file_that_the_image_copies_exists():
    copied = re.findall(
        r"^COPY (?!--from)(.+) \S+$", (ROOT / "deploy/Dockerfile").read_text(), re.M
    )
    for name in " ".join(copied).split():
        assert (ROOT / name).exists(), name
        assert f"!{name}" in (ROOT / ".dockerignore").read_text().splitlines(), name


def test_the_image_runs_as_an_unprivileged_user_and_from_the_locked_packages():
    lines = (ROOT / "deploy" / "Dockerfile").read_text()
    assert re.search(r"^USER samespool$", lines, re.M)
    assert "ARG LOCK=requirements.lock\n" in lines
    assert "--no-deps --require-hashes -r ${LOCK}" in lines


def test_the_file_of_secrets_gets_into_neither_the_image_nor_the_repository():
    left_out = (ROOT / ".dockerignore").read_text().splitlines()
    assert "**/.env*" in left_out[left_out.index("!deploy") :]  # the last that matches decides
    asked = ["git", "check-ignore", "--quiet", "deploy/.env"]
    assert subprocess.run(asked, cwd=ROOT, check=False).returncode == 0


@pytest.fixture
def units_of_this_checkout(tmp_path):
    """The units, with this checkout in place of the deployed one, so that programs are found."""
    for path in UNITS:
        (tmp_path / path.name).write_text(path.read_text().replace("/srv/samespool/", f"{ROOT}/"))
    return sorted(str(path) for path in tmp_path.iterdir())


def verify(units: list[str]) -> str:
    program = shutil.which("systemd-analyze")
    assert program, "systemd-analyze is missing: it comes with Debian's package systemd"
    done = subprocess.run([program, "verify", *units], check=False, capture_output=True, text=True)
    return done.stdout + done.stderr


def test_systemd_finds_nothing_amiss_with_the_units(units_of_this_checkout):
    assert verify(units_of_this_checkout) == ""


def test_systemd_would_tell_a_setting_that_it_does_not_know(units_of_this_checkout, tmp_path):
    with (tmp_path / "samespool-web@.service").open("a") as stream:
        stream.write("[Service]\nPrivateTemp=yes\n")
    assert "PrivateTemp" in verify(units_of_this_checkout)


SERVICES = [path for path in UNITS if path.suffix == ".service"]


@pytest.mark.parametrize("path", SERVICES, ids=lambda path: path.name)
def test_systemd_calls_every_unit_well_confined(path):
    rate = ["systemd-analyze", "security", "--offline=yes", "--threshold=20", str(path)]
    rated = subprocess.run(rate, check=False, capture_output=True, text=True)
    assert rated.returncode == 0, rated.stdout


@pytest.mark.parametrize("name", ["web@", "worker", "later"])
def test_a_unit_that_draws_charts_may_protect_memory_by_keys(name):
    """Else its process is killed at the first chart, where the processor has such keys."""
    confined = unit(ROOT / "deploy" / "systemd" / f"samespool-{name}.service")["Service"]
    assert confined["SystemCallFilter"].split() == ["@system-service", "@pkey"]


@pytest.mark.parametrize("path", SERVICES, ids=lambda path: path.name)
def test_every_unit_bounds_its_memory(path):
    assert unit(path)["Service"]["MemoryMax"][-1] in "MG"


@pytest.mark.parametrize("name", ["web", "web-two", "worker", "later", "scheduler"])
def test_every_process_of_ours_in_a_container_bounds_its_memory(name):
    assert COMPOSE["services"][name]["mem_limit"][-1] in "mg"
