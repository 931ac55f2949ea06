"""From a bare Debian to a watched, backed-up service, by the commands of operations.md.

They are taken from the page and run, block by block, in a Debian that debootstrap makes, in
namespaces of its own. Blocks that fetch packages have this machine's network, all others one of
their own, with nothing in it. What namespaces can't have is named in the page: systemd itself, for
which `like_systemctl.py` runs the very units, and a certificate of an authority.
"""

import json
import os
import re
import shlex
import shutil
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
import yaml

from deploy.tools.processes import TIMEOUT_S, running, wait_until
from tests.deploy.files import ROOT, checkout_in
from tests.deploy.test_running_it_for_real import PASSWORD, answer_questions

pytestmark = pytest.mark.machines

OPERATIONS = (ROOT / "deploy" / "operations.md").read_text()
ACCOUNT = ("keeper-of-a-bench", "winter-of-my-own")
DOMAIN = "pulls.localhost"
"""A name that the proxy makes a certificate for by itself, since no authority can be reached."""
ITS_AUTHORITY = "/var/lib/caddy/.local/share/caddy/pki/authorities/local/root.crt"
FETCHES = re.compile(r"apt-get|pip install")
LIKE_THIS_MACHINE = (
    *("/etc/apt/sources.list", "/etc/apt/sources.list.d", "/etc/apt/apt.conf.d"),
    *("/etc/apt/auth.conf.d", "/etc/apt/keyrings", "/etc/apt/trusted.gpg.d"),
    *("/etc/resolv.conf", "/etc/hosts"),
    *("/etc/pip.conf", "/etc/xdg/pip", "/root/.config/pip"),
)
"""How packages are fetched here: a machine of an operator's has its own ways."""
AUTHORITIES = "/etc/ssl/certs/ca-certificates.crt"
AUTHORITIES_HERE = "/root/of-the-machine-outside.crt"
BOOT = r"""
set -e
mount --bind "$1" "$1"
cd "$1"
mount --types proc proc proc
mkdir --parents dev/shm dev/pts
mount --types tmpfs tmpfs dev/shm
mount --types devpts devpts dev/pts
shift
for folder in "$@"; do
    mkdir --parents ".$folder"
    mount --bind "$folder" ".$folder"
done
ip link set lo up
echo 0 >/proc/sys/net/ipv4/ip_unprivileged_port_start
touch run/booted
sleep infinity & wait
"""
SIGN_UP = r"""
page=https://%(domain)s/sign-up/
curl --fail --silent --cookie-jar jar $page >form
token=$(sed -n 's/.*name="csrfmiddlewaretoken" value="\([^"]*\)".*/\1/p' form | head -n 1)
curl --fail --silent --cookie jar --cookie-jar jar --referer $page --output answer \
    --data-urlencode csrfmiddlewaretoken=$token %(fields)s $page
"""


class Machine:
    """A Debian in namespaces of its own."""

    def __init__(self, root: Path, init: int) -> None:
        self.root, self._init = root, init

    def command(self, script: str, *, fetches: bool = False) -> list[str]:
        own = ["--mount", "--pid", "--ipc", "--uts"] + ([] if fetches else ["--net"])
        inside = ["chroot", str(self.root), "bash", "-c", f"set -euo pipefail\ncd\n{script}"]
        environment = ["env", "DEBIAN_FRONTEND=noninteractive", "HOME=/root", "LANG=C.UTF-8"]
        path = "PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
        keep = [f"{name}={value}" for name, value in os.environ.items() if name[:4] == "PIP_"]
        keep += [f"PIP_CERT={AUTHORITIES_HERE}"]
        entered = ["nsenter", f"--target={self._init}", *own, "env", "--ignore-environment"]
        return [*entered, path, *keep, *environment[1:], *inside]

    def run(self, script: str) -> str:
        """What it prints; an error has all of it."""
        done = subprocess.run(
            self.command(script, fetches=bool(FETCHES.search(script))),
            check=False, capture_output=True, text=True, stdin=subprocess.DEVNULL,
        )  # fmt: skip
        assert done.returncode == 0, f"{script}\n{done.stdout}\n{done.stderr}"
        return done.stdout

    def asked(self, address: str) -> dict:
        return json.loads(self.run(f"curl --fail --silent {shlex.quote(address)}"))


def blocks(heading: str) -> list[str]:
    """What a section has its reader type, block by block."""
    section = OPERATIONS.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    return re.findall(r"```sh\n(.*?)```", section, re.DOTALL)


def filled_in(block: str) -> str:
    """A block with an operator's own words in place of those that stand for them."""
    block = block.replace("domain=pulls.example\n", f"domain={DOMAIN}\n")
    return block.replace("ADDRESS_OF_THE_REPOSITORY", "/root/repository")


@pytest.fixture(scope="module")
def machine(tmp_path_factory) -> Iterator[Machine]:
    if os.geteuid() != 0:
        pytest.skip("namespaces with packages of their own need root")
    root = tmp_path_factory.mktemp("bare") / "debian"
    site = subprocess.run(
        ["apt-get", "indextargets", "--format", "$(SITE)", "Codename: bookworm"],
        check=True, capture_output=True, text=True,
    ).stdout.split()  # fmt: skip
    assert site, "a Debian 12 fetches its packages here: no other has been tried"
    made = ["debootstrap", "--variant=minbase", "--include=python3", "bookworm", str(root)]
    done = subprocess.run([*made, site[0]], check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr
    for path in LIKE_THIS_MACHINE:
        if Path(path).is_dir():
            shutil.copytree(path, f"{root}{path}", dirs_exist_ok=True)
        elif Path(path).exists():
            (root / path[1:]).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(path, f"{root}{path}")
    shutil.copy(AUTHORITIES, f"{root}{AUTHORITIES_HERE}")
    # Services are started by the page's commands, and not by what installs them.
    (root / "usr/sbin/policy-rc.d").write_text("#!/bin/sh\nexit 101\n")
    (root / "usr/sbin/policy-rc.d").chmod(0o755)
    shutil.copy(ROOT / "tests/deploy/like_systemctl.py", root / "usr/local/bin/systemctl")
    (root / "usr/local/bin/systemctl").chmod(0o755)
    (root / "root/.curlrc").write_text(f'cacert = "{ITS_AUTHORITY}"\n')
    checkout_in(root / "root/repository")
    boot = ["unshare", "--mount", "--pid", "--fork", "--kill-child", "--net", "--ipc", "--uts"]
    boot += ["bash", "-c", BOOT, "boot", str(root), *folders_of_packages()]
    with running(boot, stop_by=signal.SIGKILL) as process:
        children = Path(f"/proc/{process.pid}/task/{process.pid}/children")
        wait_until(lambda: bool(children.read_text()), "The namespaces", by=process)
        made = Machine(root, int(children.read_text()))
        wait_until(lambda: booted(made), "The machine", by=process)
        yield made


def booted(machine: Machine) -> bool:
    asked = machine.command("test -e /run/booted")
    return subprocess.run(asked, check=False, capture_output=True).returncode == 0


def folders_of_packages() -> list[str]:
    """Folders of this machine that pip fetches packages from, if any; of an index all around it."""
    said = subprocess.run(["pip", "config", "list"], check=False, capture_output=True, text=True)
    links = re.findall(r"(?<![\w:/.])/(?!etc/)[\w./-]+", said.stdout)
    indexes = re.findall(r"(?<=file://)/[\w./-]+", said.stdout)
    named = {*map(Path, links), *(Path(index).parent for index in indexes)}
    return sorted(str(path) for path in named if path.is_dir())


@pytest.fixture(scope="module")
def installed(machine: Machine) -> Machine:
    """The machine after the section on a bare Debian."""
    machine.run(
        "apt-get install --yes git >/dev/null; cd repository; git init --quiet; git add .;"
        "git -c user.name=a -c user.email=a@example.org commit --quiet --message=all"
    )
    for block in blocks("From a bare Debian"):
        if "createsuperuser" not in block:
            machine.run(filled_in(block))
            if "apt-get install" in block:  # as its installation does on a machine with systemd
                machine.run("systemctl start postgresql@15-main redis-server")
            continue
        at_a_terminal = SimpleNamespace(checkout=ROOT, environment=os.environ)
        answer_questions(
            at_a_terminal,
            shlex.join(machine.command(filled_in(block))),
            ["keeper", "", PASSWORD, PASSWORD],
        )
    return machine


def ten_minutes() -> str:
    """The tour, at the address and by the account of this service."""
    text = (ROOT / "deploy" / "ten-minutes.md").read_text()
    script = "\n".join(re.findall(r"```sh\n(.*?)```", text, re.DOTALL))
    for written, own in {
        "http://127.0.0.1:8000": f"https://{DOMAIN}",
        "sandgrain:winter-bench-league": ":".join(ACCOUNT),
    }.items():
        assert written in script
        script = script.replace(written, own)
    return f"{script}\ncurl -s $pool | pick current.sets"


def test_a_bare_debian_becomes_a_watched_service_whose_backups_come_back(installed):
    assert installed.asked("http://127.0.0.1:8001/readyz")["ready"] is True
    for address, answer in {
        f"http://{DOMAIN}/": "308",
        f"https://{DOMAIN}/metrics": "404",
        f"https://{DOMAIN}/readyz": "404",
    }.items():
        asked = f"curl --silent --output answer --write-out '%{{http_code}}' {address}"
        assert installed.run(asked) == answer, address

    an_upload_becomes_a_figure(installed)
    somebody_is_called(installed)
    backups_come_back(installed)


def an_upload_becomes_a_figure(machine: Machine) -> None:
    name, password = ACCOUNT
    given = {"username": name, "handle": name, "agreed": "on"}
    given |= {"password1": password, "password2": password}
    fields = " ".join(f"--data-urlencode {key}={shlex.quote(given[key])}" for key in given)
    machine.run(SIGN_UP % {"domain": DOMAIN, "fields": fields})
    assert int(machine.run(ten_minutes()).split()[-1]) >= 1


def somebody_is_called(machine: Machine) -> None:
    watcher = "http://127.0.0.1:9090/api/v1"
    wanted = {"samespool": 2, "machine": 1, "certificate": 1}

    def up() -> dict[str, int]:
        asked = machine.asked(f"{watcher}/query?query=sum(up)by(job)")["data"]["result"]
        return {one["metric"]["job"]: int(one["value"][1]) for one in asked}

    wait_until(lambda: up() == wanted, "What is watched", TIMEOUT_S)
    written = yaml.safe_load((ROOT / "deploy/watching/alerts.yaml").read_text())
    [group] = machine.asked(f"{watcher}/rules")["data"]["groups"]
    assert [rule["name"] for rule in group["rules"]] == [
        rule["alert"] for rule in written["groups"][0]["rules"]
    ]
    assert "Sets that wait" in machine.run("curl -sSf 127.0.0.1:9090/consoles/overview.html")
    machine.run("amtool check-config /etc/prometheus/alertmanager.yml")

    machine.run("systemctl stop samespool-web@8001")

    def called() -> set[str]:
        alerts = machine.asked("http://127.0.0.1:9093/api/v2/alerts")
        return {one["labels"]["alertname"] for one in alerts}

    wait_until(lambda: "WebDown" in called(), "The alert", TIMEOUT_S)
    machine.run("systemctl start samespool-web@8001")


def backups_come_back(machine: Machine) -> None:
    def kept(database: str = "samespool") -> str:
        asked = "SELECT count(*) FROM results_session"
        return machine.run(f"runuser -u postgres -- psql -At {database} -c '{asked}'").strip()

    before = kept()
    for block in blocks("Backup and restore"):
        if "second=" not in block:
            machine.run(block)
            continue
        machine.run("sleep 1.1")
        second = machine.run("date --utc '+%Y-%m-%d %H:%M:%S+00'").strip()
        machine.run("sleep 1.1")
        machine.run("runuser -u postgres -- psql samespool -c 'CREATE TABLE came_after ()'")
        then, times = re.subn(r'second="[^"]+"', f'second="{second}"', block)
        assert times == 1
        machine.run(then)
    assert kept() == kept("samespool_restored") == before
    left = "SELECT count(*) FROM pg_tables WHERE tablename = $$came_after$$"
    assert machine.run(f"runuser -u postgres -- psql -At samespool -c '{left}'").strip() == "0"
    wait_until(
        lambda: machine.asked("http://127.0.0.1:8000/readyz")["ready"], "The service", TIMEOUT_S
    )
