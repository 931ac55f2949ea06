"""The league inside this process: the verbs without the API, the jobs without a worker.

For tests and benchmarks that need the whole way a session takes, many times over.
"""

from __future__ import annotations

import json
from datetime import date

from django.contrib.auth.models import User

from deploy.demo.documents import (
    calibration_document,
    connection_documents,
    line_documents,
    rig_document,
)
from deploy.demo.scenario import Document
from results.intake.receiving import receive
from results.models import Connection, Session, TieParameter
from results.worker import run_session
from rigs.calibrating import calibrate
from rigs.metrology.units import parse_force, parse_length, parse_mass
from rigs.models import CalibrationReading, Contributor, Line, RigRevision
from rigs.registering import register_rig


def settle(submission: Document, handle: str = "") -> Contributor:
    """The contributor of a submission, with account, rig and calibration."""
    name = handle or submission["handle"]
    contributor = Contributor.objects.create(user=User.objects.create_user(name), handle=name)
    calibration = calibration_document(submission["calibration"])
    document = rig_document(submission["rig"], made_on=calibration["made_on"])
    rig = register_rig(contributor.user, document["name"], _revision(document["revision"]))
    readings = [_reading(point) for point in calibration["points"]]
    made_on = date.fromisoformat(calibration["made_on"])
    calibrate(contributor.user, rig.revisions.get(), made_on, readings)
    return contributor


def send(contributor: Contributor, document: Document) -> Session:
    """Send a session and run its job: normalised and screened, its pools left stale."""
    body = json.dumps(document).encode()
    receipt = receive(contributor, body, "application/json", None)
    run_session.run(receipt.job.pk)
    return receipt.session


def lay_catalogue() -> None:
    """The lines and joins of the scenario, accepted."""
    for line in line_documents():
        Line.objects.create(
            name=line["name"],
            material=line["material"],
            label_strength_N=parse_force(line["label_strength"]).newtons,
            label_strength_written=line["label_strength"],
            label_basis=line["label_basis"],
            diameter_m=parse_length(line["diameter"]).metres,
            diameter_written=line["diameter"],
            accepted=True,
        )
    for document in connection_documents():
        connection = Connection.objects.create(
            name=document["name"], kind=document["kind"], accepted=True
        )
        TieParameter.objects.bulk_create(
            TieParameter(connection=connection, **parameter) for parameter in document["parameters"]
        )


def _revision(document: Document) -> RigRevision:
    columns = dict(document)
    resolution, capacity = columns.pop("resolution"), columns.pop("capacity")
    free_length = columns.pop("free_length")
    columns["made_on"] = date.fromisoformat(columns["made_on"])
    return RigRevision(
        resolution_N=parse_force(resolution).newtons,
        resolution_written=resolution,
        capacity_N=parse_force(capacity).newtons,
        capacity_written=capacity,
        free_length_m=parse_length(free_length).metres,
        free_length_written=free_length,
        **columns,
    )


def _reading(point: Document) -> CalibrationReading:
    return CalibrationReading(
        mass_kg=parse_mass(point["mass"]).kilograms,
        mass_written=point["mass"],
        u_mass_kg=parse_mass(point["tolerance"]).kilograms / 3**0.5,
        how_known=point["how_known"],
        reading_N=parse_force(point["reading"]).newtons,
        reading_written=point["reading"],
    )
