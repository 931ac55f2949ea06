"""Sends the league's spring round through the HTTP API, from its plan to its report."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from tqdm import tqdm

from deploy.demo.accounts import PASSWORD
from deploy.demo.client import Client, Refusal
from deploy.demo.round import (
    DUPLICATE,
    PULLED,
    SAMPLES,
    SPOOL,
    STATE,
    TARGET,
    TIES,
    draw_session,
    participants,
)
from deploy.demo.scenario import SCENARIO, Document

TITLE = "Spring round"
ORGANISER, PACKER = "sandgrain", "coldharbour"
"""Who packs takes no part, so that the organiser stays blind."""
SPRING = 2026
"""Random state of the round's draw."""
LEFT = timedelta(days=1)
"""Until the last day for results, so that none is late where a day ends meanwhile."""
ASK_EVERY_S, MOST_ASKED = 0.2, 9000


def send_round(address: str) -> str:
    """Send the round and wait for its report; the address of its page.

    Goes on from wherever an earlier run left off. Raises Refusal where the service refuses
    anything, and TimeoutError where no report comes.
    """
    organiser = Client(address, ORGANISER, PASSWORD)
    there = next((one for one in organiser.each("/rounds") if one["title"] == TITLE), None)
    if there is None or there["state"] != "closed":
        there = _pulled(address, organiser, there)
    _wait_for_report(Client(address), there["id"])
    return f"{address}/rounds/{there['id']}/"


def _pulled(address: str, organiser: Client, there: Document | None) -> Document:
    """The round once everyone has sent their sessions and it is closed."""
    packer = Client(address, PACKER, PASSWORD)
    testers = {
        tester["handle"]: Client(address, tester["handle"], PASSWORD) for tester in participants()
    }
    if there is None:
        there = organiser.post("/rounds", _plan(organiser, packer))
    elif there["state"] == "being set up":  # only the answer to a plan has the code to enter by
        there = organiser.put(f"/rounds/{there['id']}/samples", _plan(organiser, packer))
    here = f"/rounds/{there['id']}"
    if there["state"] == "being set up":
        for tester in testers.values():
            tester.post("/rounds/entries", {"entry_code": there["entry_code"]})
        organiser.post(f"{here}/opening", {})
    _pull(testers, packer.post(f"{here}/packing-list", {}))
    return dict(organiser.post(f"{here}/closing", {}))


def _plan(organiser: Client, packer: Client) -> Document:
    lines = {line["name"]: line["id"] for line in organiser.each("/lines")}
    joins = {join["name"]: join["id"] for join in organiser.each("/connections")}
    parameters = {join["name"]: join["parameters"] for join in SCENARIO["joins"]}
    return {
        "title": TITLE,
        "starts_on": PULLED.isoformat(),
        "results_by": (max(PULLED, datetime.now(UTC).date()) + LEFT).isoformat(),
        "line_state": STATE,
        "packer": packer.get("/me")["id"],
        "lots": [{"line": lines[line], "spool": SPOOL} for line in TARGET.lines],
        "samples": [
            {
                "connection": joins[sample.connection],
                "main_lot": 1,
                "leader_lot": 2,
                "parameters": parameters[sample.connection],
                "tied": "centrally" if sample.tied_centrally else "by each tester",
                "ties": TIES,
                "codes": len(sample.numbers),
                "level": 1 if sample.connection == SAMPLES[0].connection else 2,
            }
            for sample in SAMPLES
        ],
    }


def _pull(testers: Mapping[str, Client], packed: Iterable[Document]) -> None:
    """Draw and send the session of everyone who takes part, by the codes that were packed."""
    codes: dict[str, dict[int, str]] = defaultdict(dict)
    for one in packed:
        codes[one["handle"]][one["sample"] + DUPLICATE * (one["copy"] - 1)] = one["code"]
    rng = np.random.default_rng(SPRING)
    for tester in tqdm(participants(), desc="spring round", unit="tester", disable=None):
        handle = tester["handle"]
        session = draw_session(rng, tester, codes[handle])
        testers[handle].post("/sessions", session, key=f"spring-{handle}")


def _wait_for_report(reader: Client, number: int) -> Any:
    for _ in range(MOST_ASKED):
        try:
            return reader.get(f"/rounds/{number}/report")
        except Refusal as refusal:
            if ": 404 " not in str(refusal):
                raise
        time.sleep(ASK_EVERY_S)
    raise TimeoutError("The spring round has no report")
