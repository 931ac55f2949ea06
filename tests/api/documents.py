"""Documents as a tester would send them."""

from rest_framework.test import APIClient

REVISION = {
    "made_on": "2025-10-04",
    "load_generation": "hand winch",
    "indicator": "digital scale",
    "peak_capture": "peak hold",
    "resolution": "0.1 lbf",
    "capacity": "110 lbf",
    "first_grip": "bollard",
    "second_grip": "bollard",
    "grip_cover": "cork tape",
    "free_length": "60 cm",
    "place": "garage",
    "latitude_deg": 55.0,
    "height_m": 200,
}


def register(client: APIClient, name: str = "bench", **changes: object) -> dict:
    """A registered rig, as answered."""
    document = {"name": name, "revision": {**REVISION, **changes}}
    answer = client.post("/api/v1/rigs", document, format="json")
    assert answer.status_code == 201, answer.json()
    return answer.json()


def calibrate(client: APIClient, revision: dict, points: list[dict], **others: object) -> object:
    """The answer to a calibration of a revision."""
    document = {"made_on": "2025-10-05", "points": points, **others}
    address = f"/api/v1/revisions/{revision['id']}/calibrations"
    return client.post(address, document, format="json")
