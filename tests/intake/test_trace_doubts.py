"""Traces whose highest sample may not be the load are asked about, by page and API alike."""

import json
from copy import deepcopy

import numpy as np
import pytest

from deploy.demo.recorder import Logger, record, session
from results.intake import dry_run
from results.intake.recordings import read_recording
from tests.traces import trace

PLACE = "pull_sets[0].pulls[0]"


def clipped(sent):
    return sent | {"force": [min(force, 13.0) for force in sent["force"]]}


def without_its_break(sent):
    top = int(np.argmax(sent["force"]))
    return without(sent, range(top - 4, top + 20))


def without(sent, lost):
    kept = [at for at in range(len(sent["force"])) if at not in lost]
    return sent | {name: [sent[name][at] for at in kept] for name in ("time_s", "force")}


def drifting(sent):
    rise = np.linspace(0, 1, len(sent["force"]))
    return sent | {"force": np.round(np.array(sent["force"]) + rise, 2).tolist()}


def with_a_spike(sent):
    force = list(sent["force"])
    force[len(force) // 2] = 40.0
    return sent | {"force": force}


def upside_down(sent):
    return sent | {"force": [round(0.02 - force, 2) for force in sent["force"]]}


def twice(sent):
    later = np.array(sent["time_s"]) + sent["time_s"][-1] + 0.025
    return sent | {
        "time_s": np.round([*sent["time_s"], *later], 4).tolist(),
        "force": [*sent["force"], *(0.95 * force for force in sent["force"])],
    }


def slipping(sent):
    force = np.array(sent["force"])
    at = int(np.argmax(force >= 8.0))
    return sent | {
        "time_s": np.round(np.arange(force.size + 60) / 40, 4).tolist(),
        "force": np.round(
            np.concatenate([force[:at], np.linspace(8, 2, 20), np.linspace(2, 8, 40), force[at:]]),
            2,
        ).tolist(),
    }


def of_another_week(sent):
    return sent | {"started_at": "2026-02-14T14:03:22Z"}


FAULTS = {
    clipped: "a flat top at 13 lbf",
    without_its_break: "beside the highest",
    drifting: "without load before the pull, and",
    with_a_spike: "one sample of 40 lbf",
    upside_down: "forces down to -15.18 lbf",
    twice: "2 pulls in one trace",
    slipping: "a fall from 8 lbf to 2 lbf before the peak",
    of_another_week: "a beginning on 2026-02-14",
}


@pytest.fixture
def traced(right):
    """The right session, a pull of which is known by its trace alone."""
    pull = right["pull_sets"][0]["pulls"][0]
    pull.pop("reading")
    pull["trace"] = trace(15.2, unit="lbf", rate=5.0)
    return right


def asked(owner, document):
    body = json.dumps(document).encode()
    return [each for each in dry_run(owner, body, "application/json").asked if each.row == PLACE]


def test_a_sound_trace_is_not_asked_about(owner, traced):
    assert asked(owner, traced) == []


@pytest.mark.parametrize("fault", FAULTS)
def test_a_trace_with_a_fault_is_asked_about_by_its_pull(owner, traced, fault):
    pull = traced["pull_sets"][0]["pulls"][0]
    pull["trace"] = fault(pull["trace"])
    found = [each for each in asked(owner, traced) if each.field == "trace"]
    assert any(FAULTS[fault] in each.found for each in found), found
    assert all(each.expected for each in found)


@pytest.mark.parametrize("fault", [clipped, without_its_break])
def test_a_pull_that_is_said_to_have_held_at_least_its_peak_is_not(owner, traced, fault):
    pull = traced["pull_sets"][0]["pulls"][0]
    pull |= {"failure_mode": "none", "trace": fault(pull["trace"])}
    assert asked(owner, traced) == []


def test_a_slip_that_is_said_is_not_asked_about(owner, traced):
    pull = traced["pull_sets"][0]["pulls"][0]
    pull |= {"slipped_first": True, "trace": slipping(pull["trace"])}
    assert asked(owner, traced) == []


def test_a_zero_that_moved_in_one_pull_is_named_by_the_zeros_of_the_others(owner, traced):
    pulls = traced["pull_sets"][0]["pulls"]
    for number, pull in enumerate(pulls[:3]):
        pull.pop("reading", None)
        pull["trace"] = trace(15.2 - number / 10, unit="lbf", rate=5.0, zero=0.1)
    assert asked(owner, traced) == []
    pulls[0]["trace"] = trace(15.2, unit="lbf", rate=5.0, zero=0.9)
    [moved] = asked(owner, traced)
    assert moved.found == "0.9 lbf without load, and 0.1 lbf in most other traces"


@pytest.mark.parametrize("hertz", [5, 10, 80, 320])
def test_sound_pulls_of_a_simulated_rig_are_hardly_ever_asked_about(owner, right, hertz):
    """With its drift, noise, handling, swings and holds; slips are entered as such."""
    rng, pulls = np.random.default_rng(hertz), []
    while len(pulls) < 40:
        clock_s = 1e-3 if hertz < 200 else 1e-6
        drawn = record(rng, Logger(hertz=hertz, clock_step_s=clock_s), session(rng))
        found = read_recording(drawn.as_csv(), "text/csv")
        for part, figures in zip(found.cut.pulls, found.figures, strict=True):
            slips = bool(figures and figures.slips)
            pulls.append(
                {"failure_mode": "join", "slipped_first": slips, "trace": found.trace_of(part)}
            )
    document = deepcopy(right)
    document["pull_sets"][0]["pulls"] = pulls[:40]
    body = json.dumps(document).encode()
    of_traces = [
        each for each in dry_run(owner, body, "application/json").asked if each.field == "trace"
    ]
    assert len(of_traces) <= 1, of_traces
