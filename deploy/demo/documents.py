"""The scenario in the API's words: its lines, joins, rigs and calibrations as documents to send."""

from __future__ import annotations

from deploy.demo.scenario import SCENARIO, Document
from results.catalogue.starter import joins

LOAD_GENERATION = {
    "hand winch": "hand winch",
    "water into a hanging drum": "water or sand run into a container",
    "water into a bucket over a pulley": "water or sand run into a container",
    "lever and screw": "screw",
    "weights added by hand": "weights added",
}
READING: dict[str, Document] = {
    "digital hanging scale, peak hold": {"indicator": "digital scale", "peak_capture": "peak hold"},
    "dial scale": {"indicator": "dial scale", "peak_capture": "read by eye"},
    "S-type load cell at 50 Hz": {
        "indicator": "load cell",
        "peak_capture": "peak hold",
        "sample_rate_Hz": 50,
    },
    "bathroom scale under the drum": {
        "indicator": "platform scale",
        "peak_capture": "read by eye",
        "pulleys_between": 1,
    },
    "sum of weights": {"indicator": "sum of weights", "peak_capture": "last weight added"},
}
GRIPS = {
    "padded bollard both ends": ("bollard", "bollard"),
    "padded bollard and eye": ("bollard", "eye"),
    "crimped loop and eye": ("crimp", "eye"),
    "eye and eye": ("eye", "eye"),
}


def line_documents() -> list[Document]:
    """The lines of the scenario."""
    return [
        {
            "name": line["id"],
            "material": line["material"],
            "label_strength": line["label"],
            "label_basis": "test",
            "diameter": f"{line['diameter_mm']} mm",
        }
        for line in SCENARIO["lines"]
    ]


def connection_documents() -> list[Document]:
    """The joins of the scenario, as the starter catalogue has them."""
    return [joins()[join["name"]] for join in SCENARIO["joins"]]


def rig_document(rig: Document, made_on: str) -> Document:
    """A rig of the scenario with its first revision."""
    first_grip, second_grip = GRIPS[rig["grip"]]
    revision = {
        "made_on": made_on,
        "load_generation": LOAD_GENERATION[rig["load_generation"]],
        "resolution": f"{rig['resolution']} {rig['unit']}",
        "capacity": f"{rig['capacity']} {rig['unit']}",
        "first_grip": first_grip,
        "second_grip": second_grip,
        "grip_cover": "padded" if "padded" in rig["grip"] else "",
        "free_length": f"{rig['free_length_m']} m",
        "latitude_deg": rig["latitude"],
        "height_m": rig["height_m"],
    }
    return {"name": rig["name"], "revision": revision | READING[rig["reading"]]}


def calibration_document(calibration: Document) -> Document:
    """A calibration of the scenario."""
    return {
        "made_on": calibration["calibrated_on"],
        "points": [
            {
                "mass": f"{row['mass_kg']} kg",
                "tolerance": f"{row['mass_kg'] * calibration['tolerance_percent'] / 100:.6g} kg",
                "how_known": calibration["how_known"],
                "reading": f"{row['reading']} {calibration['unit']}",
            }
            for row in calibration["rows"]
        ],
    }
