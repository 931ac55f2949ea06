"""Whatever a dry run accepts the worker can compute, and comes to the figures that were shown."""

import json
import math

import pytest
from django.db import models
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from results.intake import dry_run, receive
from results.models import (
    Job,
    NormalisedSet,
    PairReference,
    PoolVersion,
    PullSet,
    Screening,
    Session,
)
from results.worker.embedded import drain
from rigs.metrology.bounds import CALIBRATION_READING_N, READING_N, RESOLUTION_N
from rigs.refusals import Refused
from tests import making
from tests.intake.conftest import RIGHT

pytestmark = pytest.mark.usefixtures("planted_past")

SOME = settings(
    max_examples=40,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
ENDS = [READING_N.lowest, READING_N.highest]
READINGS = st.one_of(
    st.floats(15, 25).map(lambda reading: round(reading, 1)),
    st.floats(*ENDS),
    st.sampled_from([*ENDS, 1.0, 80.0, 80.0000001]),
    st.floats(math.log(ENDS[0]), math.log(ENDS[1])).map(
        lambda log: min(max(math.exp(log), ENDS[0]), ENDS[1])
    ),
)
MODES = ["join", "slip", "line", "grip", "terminal", "none", "void"]
STRAIGHT_MODES = ["line", "line", "line", "grip", "slip", "none", "void"]


def pulls(modes: list[str], least: int):
    one = st.fixed_dictionaries({"reading": READINGS, "failure_mode": st.sampled_from(modes)})
    alike = st.tuples(READINGS, st.lists(st.sampled_from(modes), min_size=least, max_size=7)).map(
        lambda answer: [{"reading": answer[0], "failure_mode": mode} for mode in answer[1]]
    )
    return st.lists(one, min_size=least, max_size=9) | alike


SETS = st.lists(
    st.tuples(pulls(MODES, 2), st.sampled_from(["thick", "braid", None])), min_size=1, max_size=3
)
CALIBRATED = st.none() | st.tuples(
    st.sampled_from([0.5, 1.0, 1.02, 3.0]),
    st.sampled_from([CALIBRATION_READING_N.lowest, -6.0, 0.0, 60.0]),
)


def session(straight: list, sets: list) -> bytes:
    """The session that is right, with these pulls."""
    one = RIGHT["pull_sets"][0]
    answer = [
        {
            **one,
            "label": f"set {number}",
            "leader": {"line": leader} if leader else None,
            "terminal": "" if leader else "hook",
            "connection": "Double uni" if leader else "Palomar",
            "parameters": {},
            "pulls": pulled,
        }
        for number, (pulled, leader) in enumerate(sets)
    ]
    baselines = [{**RIGHT["baselines"][0], "pulls": straight}]
    return json.dumps({**RIGHT, "unit": "N", "baselines": baselines, "pull_sets": answer}).encode()


def numbers(value: object):
    """Every number in a value of a row."""
    if isinstance(value, float):
        yield value
    inside = value.values() if isinstance(value, dict) else value
    for part in inside if isinstance(value, dict | list | tuple) else ():
        yield from numbers(part)


def stored_numbers(model: type[models.Model]):
    for row in model.objects.values():
        yield from numbers(row)


def kept(sentence: str) -> str:
    """As it is stored, where others read it: without the spool's name."""
    return sentence.replace(", spool A", " from that spool")


def as_at_first() -> None:
    """Before each example the store counts nothing of the last."""
    for model in (Job, NormalisedSet, PairReference):
        model.objects.all().delete()
    Session.objects.update(standing="replaced")
    PullSet.objects.update(state="withdrawn")


@SOME
@given(
    straight=pulls(STRAIGHT_MODES, 3),
    sets=SETS,
    resolution=st.sampled_from([RESOLUTION_N.lowest, 0.5, RESOLUTION_N.highest]),
    calibration=CALIBRATED,
)
def test_what_a_dry_run_accepts_the_worker_computes_to_the_same_figures(
    owner, bench, straight, sets, resolution, calibration
):
    as_at_first()
    bench.calibrations.all().delete()
    bench.resolution_N, bench.capacity_N = resolution, None
    bench.save()
    if calibration is not None:
        making.calibrate(bench, gain=calibration[0], offset_N=calibration[1])
    body = session(straight, sets)
    try:
        shown = dry_run(owner, body, "application/json")
    except Refused:
        return

    job = receive(owner, body, "application/json", None).job
    drain()

    job.refresh_from_db()
    assert (job.state, job.attempts, job.problem) == ("done", 1, None), body
    found = {one.pull_set.label: one for one in NormalisedSet.objects.select_related("pull_set")}
    for preview in shown.sets:
        stored = found.get(preview.label)
        if preview.efficiency is None:
            assert stored is None
            answer = PullSet.objects.get(session=job.session, label=preview.label)
            assert answer.not_normalised == kept(preview.why_not)[:300]
            continue
        assert stored is not None, preview
        assert preview.efficiency == pytest.approx(stored.efficiency, rel=1e-12)
        ends = [preview.interval_low, preview.interval_high]
        assert ends == [
            pytest.approx(end, rel=1e-12) if end is not None else None
            for end in (stored.interval_low, stored.interval_high)
        ]
        assert [kept(note) for note in preview.notes] == stored.notes
    for model in (NormalisedSet, PoolVersion, Screening):
        assert all(map(math.isfinite, stored_numbers(model))), model
