"""Record the API's answers as examples: `python -m deploy.demo.answers ADDRESS`.

ADDRESS is that of a fresh `deploy/try`, which this writes to. The OpenAPI document shows what is
recorded; `tests/api/test_document.py` holds each example to the schema that it stands beside.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any

import requests

from api.recordings import EXAMPLE

RECORDED = Path(__file__).resolve().parents[2] / "api" / "answers.json"
TESTER, MODERATOR, PASSWORD = "sandgrain", "benchwarden", "winter-bench-league"
PUBLIC = "https://pulls.example"
KEPT_ITEMS = 2
"""Of a list an example shows the first ones."""
HIDDEN = {"token": "5d1f0e0b7c9a"}
POINTS = [
    {"mass": f"{mass} kg", "how_known": "certified", "reading": f"{mass} kgf"}
    for mass in (5, 10, 20)
]
WHY = {"reason": "the resolution was that of another scale"}


class Recorder:
    """Asks one service as one person and keeps what it answers, by operation and status."""

    def __init__(self, address: str, kept: dict[str, Any]) -> None:
        self.address, self.kept = address, kept
        self.http = requests.Session()
        self.http.trust_env = False

    def example(self, path: str) -> Any:
        """The document that the OpenAPI document shows for POST to this path."""
        schema = self.http.get(
            f"{self.address}/api/v1/schema", headers={"Accept": "application/json"}, timeout=60
        ).json()
        body = schema["paths"][f"/api/v1{path}"]["post"]["requestBody"]
        return next(iter(body["content"]["application/json"]["examples"].values()))["value"]

    def sign_in(self, name: str) -> None:
        found = self.ask("tokens_create", "POST", "/tokens", auth=(name, PASSWORD))
        self.http.headers["Authorization"] = f"Token {found['token']}"

    def ask(self, operation: str, method: str, path: str, **sent: Any) -> Any:
        """The answer's document; raises RuntimeError where it is a problem."""
        where = path if path.startswith("http") else f"{self.address}/api/v1{path}"
        answer = self.http.request(method, where, timeout=60, **sent)
        if not answer.ok:
            raise RuntimeError(f"{operation}: {answer.status_code} {answer.text[:500]}")
        form = answer.headers.get("Content-Type", "").partition(";")[0]
        document = answer.json() if form == "application/json" else answer.text
        if answer.status_code != 204:
            shown = json.loads(json.dumps(document).replace(self.address, PUBLIC))
            self.kept.setdefault(operation, {})[str(answer.status_code)] = _shortened(shown)
        return document

    def get(self, operation: str, path: str, **query: Any) -> Any:
        return self.ask(operation, "GET", path, params=query)

    def post(self, operation: str, path: str, document: Any, **query: Any) -> Any:
        return self.ask(operation, "POST", path, json=document, params=query)

    def finished(self, job: str) -> Any:
        """The job's document once it is done."""
        for _ in range(120):
            document = self.get("jobs_retrieve", job)
            if document["state"] in ("done", "failed"):
                return document
            time.sleep(0.5)
        raise RuntimeError(f"{job} does not end")


def _shortened(document: Any, name: str = "") -> Any:
    if name in HIDDEN:
        return HIDDEN[name]
    if isinstance(document, list):
        return [_shortened(each) for each in document[:KEPT_ITEMS]]
    if isinstance(document, dict):
        return {key: _shortened(value, key) for key, value in document.items()}
    return document


def read(reader: Recorder) -> None:
    """What anybody may read."""
    reader.get("root", "/")
    for operation in ("clubs", "contributors", "connections", "lines", "rigs", "sessions"):
        rows = reader.get(f"{operation}_list", f"/{operation}")["results"]
        if "url" in rows[0]:
            reader.get(f"{operation}_retrieve", rows[0]["url"])
    reader.get("contributors_retrieve", "/contributors/1")
    reader.get("open_data_list", "/open-data")
    reader.get("sessions_template.csv_retrieve", "/sessions/template.csv")
    pool = reader.get("pools_list", "/pools", least_testers=4)["results"][0]
    key = {name: pool[f"{name}_material"] for name in ("main", "leader")}
    reader.get("pools_ranking", "/pools/ranking", **key)
    reader.get("pools_retrieve", pool["url"])
    for part in ("tester-effects", "versions"):
        reader.get(f"pools_{part.replace('-', '_')}_list", f"{pool['url']}/{part}")
    counting = reader.get("pools_sets_list", f"{pool['url']}/sets")["results"][0]
    reader.get("pools_versions_changes_list", f"{pool['url']}/versions/1/changes")
    of_set = reader.get("pull_sets_retrieve", counting["pull_set"])
    reader.get("pull_sets_budget", f"{of_set['url']}/budget")
    reader.get("sessions_straight_lines", f"{of_set['session']}/straight-lines")
    rig = reader.get("rigs_retrieve", "/rigs/1")
    reader.get("rigs_watch", f"{rig['url']}/watch")
    reader.get("rigs_bridges", f"{rig['url']}/bridges")
    reader.get("rigs_revisions_list", f"{rig['url']}/revisions")
    reader.get("revisions_retrieve", rig["revisions"][0]["url"])
    of_revision = f"{rig['revisions'][0]['url']}/calibrations"
    calibration = reader.get("revisions_calibrations_list", of_revision)["results"][0]
    reader.get("calibrations_retrieve", calibration["url"])


def measure(tester: Recorder) -> tuple[Any, str]:
    """A tester's rig, its corrections and an upload; the set, and the pool that it counts in."""
    rig = tester.post("rigs_create", "/rigs", tester.example("/rigs"))
    first = rig["revisions"][0]["url"]
    change = {"made_on": "2026-01-02", "what_changed": "new tape", "why": "the line slid"}
    later = tester.post("rigs_revisions_create", f"{rig['url']}/revisions", change)
    tester.post("revisions_void", f"{later['url']}/voiding", {"reason": "the tape came off"})
    tester.post("revisions_correct", f"{first}/versions", {**WHY, "resolution": "0.2 lbf"})
    tester.get("revisions_versions", f"{first}/versions")
    made = {"made_on": "2026-01-03", "points": POINTS}
    address = f"{first}/calibrations"
    calibration = tester.post("revisions_calibrations_create", address, made)
    corrected = {**made, "reason": "5 kg was entered twice"}
    now = tester.post("calibrations_correct", f"{calibration['url']}/versions", corrected)
    spare = tester.post("revisions_calibrations_create", address, made)
    tester.post("calibrations_void", f"{spare['url']}/voiding", {"reason": "the zero had moved"})
    tester.get("calibrations_retrieve", now["url"])
    pulled = {**tester.example("/sessions"), "rig": rig["name"]}
    tester.post("sessions_create", "/sessions", pulled, dry_run="true")
    receipt = tester.post("sessions_create", "/sessions", pulled)
    tester.finished(receipt["job"]["url"])
    unknown = {**pulled["pull_sets"][0], "connection": "made-up loop"}
    tester.post("sessions_propose", "/sessions/waiting", {**pulled, "pull_sets": [unknown]})
    tester.get("sessions_waiting_list", "/sessions/waiting")
    corrected = {**pulled, "note": "spool A after all"}
    address = f"{receipt['session']}/versions"
    receipt = tester.post("sessions_amend", address, corrected, reason="the spool was mistaken")
    pool = tester.finished(receipt["job"]["url"])["pools"][0]
    session = tester.get("sessions_retrieve", receipt["session"])
    recorded = {"data": EXAMPLE, "headers": {"Content-Type": "text/csv"}}
    tester.ask("recordings_read", "POST", "/recordings", **recorded)
    tester.get("pull_sets_traces_list", f"{session['pull_sets'][0]['url']}/traces")
    tester.get("sessions_original_retrieve", f"{receipt['session']}/original")
    of_set = tester.get("pull_sets_retrieve", session["pull_sets"][0]["url"])
    tester.get("pull_sets_checks", f"{of_set['url']}/checks")
    return of_set, pool


def mistake(tester: Recorder) -> None:
    """A session in another unit than meant, and its correction."""
    mistaken = {**tester.example("/sessions"), "rig": f"{TESTER} bench"}
    sent = {**mistaken, "pulled_on": "2026-01-12", "unit": "kgf"}
    receipt = tester.post("sessions_create", "/sessions", sent)
    tester.finished(receipt["job"]["url"])
    tester.post("sessions_repair_unit", f"{receipt['session']}/unit-repair", None)


def settle(tester: Recorder, moderator: Recorder, of_set: Any, pool: str) -> None:
    """What goes on between a tester and a moderator, and how the session ends."""
    tester.get("me_retrieve", "/me")
    tester.get("pools_comparison", f"{pool}/comparison")
    line = tester.post("lines_create", "/lines", {"name": "made-up 30", "material": "copolymer"})
    join = {"name": "made-up splice", "kind": "splice"}
    connection = tester.post("connections_create", "/connections", join)
    accepted = {"json": {"accepted": True}}
    moderator.ask("lines_partial_update", "PATCH", line["url"], **accepted)
    moderator.ask("connections_partial_update", "PATCH", connection["url"], **accepted)
    held = {"decision": "hold", "reason": "The baseline reads as kilograms: pounds?"}
    moderator.post("pull_sets_decide", f"{of_set['url']}/decisions", held)
    moderator.get("reviews_list", "/reviews")
    thread = f"{of_set['url']}/thread"
    moderator.post("pull_sets_say", thread, {"text": "Which unit did the scale show?"})
    tester.post("pull_sets_say", thread, {"text": "Pounds, as the photo shows."})
    tester.get("notices_list", "/notices")
    released = {"decision": "release", "reason": "pounds, by the photo"}
    cases = [{"pull_set": of_set["id"]}]
    moderator.post("reviews_decide", "/reviews/decisions", {"cases": cases, **released})
    moderator.post("pull_sets_decide", f"{of_set['url']}/decisions", held)
    tester.post("pull_sets_appeal", f"{of_set['url']}/appeals", {"text": "It was settled."})
    tester.get("pull_sets_thread", thread)
    moderator.get("reviews_checks", "/reviews/checks")
    about = {"subject_kind": "rig", "subject_id": 1, "text": "It bears a company's name."}
    tester.post("reports_create", "/reports", about)
    moderator.get("reports_list", "/reports")
    stuck = {"reason": "the scale stuck above 20 lbf"}
    tester.post("sessions_withdraw", f"{of_set['session']}/withdrawal", stuck)


def main() -> int:
    """Record every operation and write the examples."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("address", help="of a fresh deploy/try, as http://127.0.0.1:8000")
    kept: dict[str, Any] = {}
    address = parser.parse_args().address
    stranger, tester, moderator = (Recorder(address, kept) for _ in range(3))
    read(stranger)
    tester.sign_in(TESTER)
    moderator.sign_in(MODERATOR)
    mistake(tester)
    settle(tester, moderator, *measure(tester))
    RECORDED.write_text(json.dumps(kept, indent=1, sort_keys=True, ensure_ascii=False) + "\n")
    print(f"{len(kept)} operations kept in {RECORDED.name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
