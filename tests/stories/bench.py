"""A tester at the bench of the stories: what they send, and what they are answered."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from rest_framework.test import APIClient

STRAIGHT_N = (98.0, 101.0, 99.0, 102.0, 100.0)
JOINED_N = (78.0, 82.0, 80.0, 81.0, 79.0, 80.0)
FIRST_DAY = date(2026, 1, 10)
RIG = {
    "made_on": "2025-10-01",
    "load_generation": "hand winch",
    "indicator": "digital scale",
    "peak_capture": "peak hold",
    "resolution": "0.5 N",
    "capacity": "500 N",
    "first_grip": "bollard",
    "second_grip": "bollard",
    "grip_cover": "cork tape",
}


def register(client: APIClient, name: str = "shed winch") -> dict:
    """A registered rig, as answered."""
    answer = client.post("/api/v1/rigs", {"name": name, "revision": RIG}, format="json")
    assert answer.status_code == 201, answer.json()
    return answer.json()


def session(
    day: int = 0,
    straight_N: Sequence[float] = STRAIGHT_N,
    joined_N: Sequence[float] = JOINED_N,
    *,
    revision: int = 1,
    state: str = "dry",
) -> dict:
    """A session so many days after the first, with straight line of spool A and a Blood of it."""
    straight = [{"reading": round(load, 2), "failure_mode": "line"} for load in straight_N]
    joined = [{"reading": round(load, 2), "failure_mode": "join"} for load in joined_N]
    return {
        "rig": "shed winch",
        "revision": revision,
        "pulled_on": f"{FIRST_DAY + timedelta(days=day):%Y-%m-%d}",
        "state": state,
        "unit": "N",
        "baselines": [{"line": "thin", "spool": "A", "pulls": straight}] if straight else [],
        "pull_sets": [
            {
                "label": f"blood, day {day}",
                "connection": "Blood",
                "main": {"line": "thin", "spool": "A"},
                "leader": {"line": "thick"},
                "pulls": joined,
            }
        ],
    }


def send(client: APIClient, document: dict) -> dict:
    """A session taken in, as answered."""
    answer = client.post("/api/v1/sessions", document, format="json")
    assert answer.status_code == 202, answer.json()
    return answer.json()


def refusals(client: APIClient, document: dict) -> list[dict]:
    """The findings of a session that is refused."""
    answer = client.post("/api/v1/sessions", document, format="json")
    assert answer.status_code == 422, answer.json()
    return answer.json()["findings"]
