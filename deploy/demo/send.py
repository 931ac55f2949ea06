"""Sends the league's winter through the HTTP API, as its contributors would."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from typing import Any

from tqdm import tqdm

from deploy.demo.accounts import MODERATOR, PASSWORD
from deploy.demo.client import Client, Refusal
from deploy.demo.documents import (
    calibration_document,
    connection_documents,
    line_documents,
    rig_document,
)
from deploy.demo.scenario import Document

ASK_EVERY_S = 0.2


def send_league(address: str, world: Sequence[Document]) -> None:
    """Lay down the catalogue, send every submission of the world and wait for its jobs.

    What is there already is left as it is. Raises Refusal where the service refuses anything or
    a job fails.
    """
    reader, jobs = Client(address), []
    if all(_is_there(reader, submission) for submission in world):
        return
    _lay_catalogue(Client(address, MODERATOR, PASSWORD))
    for submission in tqdm(world, desc="sending", unit="tester", disable=None):
        jobs += _send_submission(Client(address, submission["handle"], PASSWORD), submission)
    _wait_for(reader, jobs)


def _lay_catalogue(moderator: Client) -> None:
    for path, documents in (
        ("/lines", line_documents()),
        ("/connections", connection_documents()),
    ):
        known = {row["name"] for row in moderator.each(path)}
        for document in documents:
            if document["name"] not in known:
                moderator.post(path, document)


def _is_there(reader: Client, submission: Document) -> bool:
    stored = reader.get("/sessions", contributor=submission["handle"], limit=1)["count"]
    return bool(stored >= len(submission["sessions"]))


def _send_submission(contributor: Client, submission: Document) -> list[str]:
    """Register and calibrate the rig where that is still to do; returns the jobs' addresses."""
    calibration = calibration_document(submission["calibration"])
    rig = rig_document(submission["rig"], made_on=calibration["made_on"])
    known = {row["name"]: row["id"] for row in contributor.get("/me")["rigs"]}
    number = known.get(rig["name"]) or contributor.post("/rigs", rig)["id"]
    revision = contributor.get(f"/rigs/{number}")["revisions"][0]["id"]
    if not any(contributor.each(f"/revisions/{revision}/calibrations")):
        contributor.post(f"/revisions/{revision}/calibrations", calibration)
    receipts: Iterable[Any] = (
        contributor.post("/sessions", session, key=f"league-{submission['handle']}-{count}")
        for count, session in enumerate(submission["sessions"], start=1)
    )
    return [receipt["job"]["url"] for receipt in receipts]


def _wait_for(reader: Client, jobs: Sequence[str]) -> None:
    with tqdm(total=len(jobs), desc="working out", unit="session", disable=None) as progress:
        for address in jobs:
            while (job := reader.get(address))["state"] != "done":
                if job["state"] == "failed":
                    raise Refusal(f"A job failed: {job['problem']}")
                time.sleep(ASK_EVERY_S)
            progress.update()
