#!/usr/bin/python3
"""What `systemctl` does with units, where systemd can't run: in a folder with namespaces.

Starts what a unit's lines say, by their account, with their environment and folders, and stops it
again. Without what only systemd gives: limits, a sandbox, restarts, the times of timers. Its log
of a unit is /var/log/units/UNIT.log. It runs on a Debian's own Python, with nothing else there.
"""

import contextlib
import grp
import os
import pwd
import re
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

FOLDERS = [Path("/etc/systemd/system"), Path("/lib/systemd/system")]
RUNNING, LOGS = Path("/run/units"), Path("/var/log/units")


class Unit:
    """A unit with its drop-ins; of a template, one instance."""

    def __init__(self, name):
        self.name = name if re.search(r"\.(service|timer|target)$", name) else f"{name}.service"
        self.kind = self.name.rpartition(".")[2]
        self.instance = self.name.rpartition(".")[0].partition("@")[2]
        self.lines = []
        for file in self._files():
            for line in re.sub(r"\\\n", " ", file.read_text()).splitlines():
                key, equals, value = line.strip().partition("=")
                if equals and not key.startswith(("#", ";")):
                    self.lines.append((key, value))
        self.pid_file = RUNNING / f"{self.name}.pid"
        self.log = LOGS / f"{self.name}.log"

    def _files(self):
        template = re.sub("@.*(?=[.])", "@", self.name)
        for folder in FOLDERS:
            for name in dict.fromkeys((self.name, template)):
                if (folder / name).exists():
                    return [folder / name, *sorted((FOLDERS[0] / f"{name}.d").glob("*.conf"))]
        sys.exit(f"Unit {self.name} not found.")

    def all(self, key):
        return [self._filled_in(value) for name, value in self.lines if name == key]

    def one(self, key, default=""):
        return (self.all(key) or [default])[-1]

    def _filled_in(self, value):
        return value.replace("%i", self.instance).replace("%%", "%")

    def environment(self):
        found = {"PATH": os.environ["PATH"], "LANG": "C.UTF-8"}
        if self.one("User"):
            found |= {"HOME": pwd.getpwnam(self.one("User")).pw_dir, "USER": self.one("User")}
        for value in self.all("Environment"):
            found |= dict(each.split("=", 1) for each in shlex.split(value))
        for file in self.all("EnvironmentFile"):
            path = Path(file.lstrip("-"))
            if not path.exists() and file.startswith("-"):
                continue
            for line in path.read_text().splitlines():
                name, equals, value = line.partition("=")
                if equals and not line.startswith("#"):
                    found[name.strip()] = " ".join(shlex.split(value))
        return found

    def command(self, line):
        environment, words = self.environment(), []
        for word in shlex.split(line.lstrip("-+!@")):
            if re.fullmatch(r"\$\w+", word):  # by itself it is split, as systemd does
                words += shlex.split(environment.get(word[1:], ""))
            else:
                words.append(re.sub(r"\$\{(\w+)\}", lambda m: environment.get(m[1], ""), word))
        return words

    def begin(self, line):
        account = self.one("User")
        options = {"env": self.environment(), "cwd": self.one("WorkingDirectory", "/")}
        if account:
            known = pwd.getpwnam(account)
            options |= {"user": known.pw_uid, "group": known.pw_gid}
            options["extra_groups"] = os.getgrouplist(account, known.pw_gid)
        if self.one("Group"):
            options["group"] = grp.getgrnam(self.one("Group")).gr_gid
        if self.one("UMask"):
            options["umask"] = int(self.one("UMask"), 8)
        with self.log.open("ab") as log:
            return subprocess.Popen(
                self.command(line), start_new_session=True, stdin=subprocess.DEVNULL,
                stdout=log, stderr=log, **options,
            )  # fmt: skip

    def folders(self):
        for key, where in (("RuntimeDirectory", "/run"), ("StateDirectory", "/var/lib")):
            for name in self.one(key).split():
                folder = Path(where) / name
                folder.mkdir(parents=True, exist_ok=True)
                folder.chmod(int(self.one(f"{key}Mode", "755"), 8))
                if self.one("User"):
                    known = pwd.getpwnam(self.one("User"))
                    os.chown(folder, known.pw_uid, known.pw_gid)

    def running(self):
        try:
            pid = int(self.pid_file.read_text())
            return pid if "Z" not in Path(f"/proc/{pid}/stat").read_text().split()[2] else 0
        except (OSError, ValueError):
            return 0

    def start(self):
        if self.kind == "target":
            for name in " ".join(self.all("Wants")).split():
                Unit(name).start()
            return
        if self.kind == "timer":
            Unit(self.one("Unit", self.name.replace(".timer", ".service")))
            return
        if self.running():
            return
        self.folders()
        kind = self.one("Type", "simple")
        for line in self.all("ExecStart"):
            process = self.begin(line)
            if kind in ("oneshot", "forking"):
                if process.wait():
                    self.fail(f"{line} ended with {process.returncode}")
            else:
                self.pid_file.write_text(str(process.pid))
                time.sleep(1)  # what can't even begin has ended by then
                if process.poll() is not None:
                    self.fail(f"{line} ended with {process.returncode}")
        if kind == "forking":
            self.pid_file.write_text(Path(self.one("PIDFile")).read_text().split()[0])
        for line in self.all("ExecStartPost"):
            if self.begin(line).wait():
                self.fail(f"{line} failed")

    def stop(self):
        for file in FOLDERS[0].glob("*.service") if self.kind == "target" else []:
            if f"PartOf={self.name}" in file.read_text():
                for pid_file in RUNNING.glob(f"{file.stem}*.pid"):
                    Unit(pid_file.stem).stop()
        pid = self.running()
        if not pid:
            return
        for line in self.all("ExecStop"):
            self.begin(line).wait()
        if not self.all("ExecStop"):
            os.kill(pid, getattr(signal, self.one("KillSignal", "SIGTERM")))
        number, unit = re.fullmatch(r"(\d+)(\w*)", self.one("TimeoutStopSec", "90")).groups()
        last_moment = time.monotonic() + int(number) * {"": 1, "s": 1, "min": 60, "h": 3600}[unit]
        while self.running() and time.monotonic() < last_moment:
            time.sleep(0.1)
        if self.all("ExecStart") and self.one("Type") != "forking":
            with contextlib.suppress(ProcessLookupError):
                os.killpg(pid, signal.SIGKILL)
        self.pid_file.unlink(missing_ok=True)

    def fail(self, reason):
        sys.stderr.write(f"{self.name}: {reason}\n{self.log.read_text()[-4000:]}\n")
        sys.exit(1)


def main():
    for folder in (RUNNING, LOGS):
        folder.mkdir(exist_ok=True)
    verb, *rest = sys.argv[1:]
    units = [Unit(name) for name in rest if not name.startswith("--")]
    if verb in ("stop", "restart"):
        for unit in reversed(units):
            unit.stop()
    if verb in ("start", "restart") or "--now" in rest:
        for unit in units:
            unit.start()
    elif verb not in ("daemon-reload", "enable", "stop"):
        sys.exit(f"{verb} is not known here")


main()
