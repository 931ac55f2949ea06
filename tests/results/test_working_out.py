"""Processing a session: which line is the reference, and what grip breaks and zeros do."""

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from results.jobs.queue import enqueue
from results.models import Pull, PullSet, Session
from results.normalising.normalise import normalise_session
from results.normalising.set_figures import Scale
from results.worker.embedded import drain
from tests import making


@pytest.fixture
def session(owner) -> Session:
    return making.session(making.revision_of(owner))


def normalise(session: Session) -> None:
    normalise_session(session.pk, still_ours=lambda: True)


def test_the_efficiency_is_the_join_over_the_straight_line_of_the_same_rig(session):
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    pull_set = making.joined(session, main, leader, [78, 82, 80, 81, 79])

    normalise(session)

    normalised = pull_set.normalised
    assert normalised.efficiency == pytest.approx(0.80, abs=0.001)
    assert normalised.interval_low < 0.80 < normalised.interval_high
    assert normalised.failure_modes == {"join": 5}


def test_a_rig_that_reads_a_tenth_low_gives_the_same_efficiency(owner, other):
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    found = []
    for person, gain in ((owner, 1.0), (other, 0.9)):
        session = making.session(making.revision_of(person))
        making.straight(session, main, [gain * reading for reading in making.PARTED_STRAIGHT])
        pull_set = making.joined(session, main, leader, [gain * r for r in (78, 82, 80, 81)])
        normalise(session)
        found.append(pull_set.normalised.efficiency)

    assert found[0] == pytest.approx(found[1], rel=1e-5)


def test_a_zero_error_does_not_cancel_and_the_calibration_takes_it_out(owner, other):
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    found = []
    for person, calibrated in ((owner, False), (other, True)):
        revision = making.revision_of(person)
        if calibrated:
            making.calibrate(revision, gain=1.0, offset_N=-6.0)
        session = making.session(revision)
        making.straight(session, main, [reading - 6 for reading in making.PARTED_STRAIGHT])
        pull_set = making.joined(session, main, leader, [r - 6 for r in (78, 82, 80, 81, 79)])
        normalise(session)
        found.append(pull_set.normalised)

    raw, corrected = found
    assert raw.efficiency == pytest.approx(74 / 94, abs=0.002)
    assert corrected.efficiency == pytest.approx(0.80, abs=0.001)
    assert "not calibrated" in raw.notes[0]
    assert raw.u_offset_log > corrected.u_offset_log > 0


def test_the_reference_is_the_line_that_parts_first_on_this_rig_whatever_the_labels_say(session):
    main = making.line("labelled low, parts high", label_N=50)
    leader = making.line("labelled high, parts low", label_N=200)
    making.straight(session, main, [150, 152, 149, 151])
    weaker = making.straight(session, leader, [98, 101, 99, 102])
    pull_set = making.joined(session, main, leader, [80, 81, 79])

    normalise(session)

    assert pull_set.normalised.baseline == weaker


def test_where_lines_part_alike_the_other_sessions_say_which_is_the_reference(owner, other):
    main, leader = making.line("one"), making.line("two")
    sets = []
    for person, main_N, leader_N in ((owner, 100, 102), (other, 102, 100)):
        session = making.session(making.revision_of(person))
        making.straight(session, main, [main_N - 1, main_N, main_N + 1])
        making.straight(session, leader, [leader_N - 1, leader_N, leader_N + 1])
        sets.append(making.joined(session, main, leader, [80, 81, 79]))
        enqueue(session)
        drain()

    found = [PullSet.objects.get(pk=pull_set.pk).normalised for pull_set in sets]
    assert [each.baseline.line for each in found] == [leader, main], "each by the other's pulls"
    assert [round(each.baseline_mean_N) for each in found] == [102, 102]
    assert all("other sessions" in each.notes[-1] for each in found)


def test_a_line_that_is_clearly_the_weaker_is_the_reference_whatever_other_sessions_say(
    owner, other
):
    main, leader = making.line("one"), making.line("two")
    references = []
    for person, main_N, leader_N in ((owner, 100, 120), (other, 120, 100)):
        session = making.session(making.revision_of(person))
        making.straight(session, main, [main_N - 1, main_N, main_N + 1])
        making.straight(session, leader, [leader_N - 1, leader_N, leader_N + 1])
        pull_set = making.joined(session, main, leader, [80, 81, 79])
        enqueue(session)
        drain()
        references.append(pull_set)

    assert [each.normalised.baseline.line for each in references] == [main, leader]


def test_a_set_whose_weaker_line_was_not_pulled_straight_says_which_baseline_is_missing(session):
    main, leader = making.line("strong", label_N=180), making.line("weak", label_N=60)
    making.straight(session, main, [180, 181, 179])
    pull_set = making.joined(session, main, leader, [50, 51, 52])

    normalise(session)

    pull_set.refresh_from_db()
    assert pull_set.not_normalised == "no straight-line pulls of weak"


def test_grip_breaks_of_the_baseline_count_as_at_least_and_are_not_dropped(owner, other):
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    straight_N = [96, 99, 100, 101, 104]
    means = []
    for person, modes in ((owner, None), (other, ["line", "line", "line", "line", "grip"])):
        session = making.session(making.revision_of(person))
        making.straight(session, main, straight_N, modes)
        pull_set = making.joined(session, main, leader, [80, 81, 79])
        normalise(session)
        means.append(pull_set.normalised.baseline_mean_N)

    counted_as_breaks, counted_as_at_least = means
    assert counted_as_at_least > counted_as_breaks
    assert counted_as_at_least > np.mean(straight_N[:-1])


def test_a_join_that_outlasts_the_line_has_no_strength_of_its_own_but_is_counted(session):
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    pull_set = making.joined(session, main, leader, [99, 101, 100, 98], ["line"] * 3 + ["join"])

    normalise(session)

    itself = pull_set.normalised.join_itself
    assert (itself["failures"], itself["outlasted"]) == (1, 3)
    assert 0 < itself["outlasting_share_low"] < 0.75
    assert "efficiency" not in itself


def test_a_scale_that_was_never_calibrated_takes_the_reading_for_the_load():
    loads = Scale(None, 0.5).loads_N([Pull(reading_N=12.5), Pull(reading_N=13.0)])

    assert loads.tolist() == [12.5, 13.0]


def test_pulls_are_read_before_a_set_is_locked_and_never_while_it_is(session):
    """An upload waits for these locks, however many sets the session has."""
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    for _ in range(3):
        making.joined(session, main, leader, [78, 82, 80, 79, 81], ["join"] * 4 + ["void"])

    with CaptureQueriesContext(connection) as asked:
        normalise(session)

    queries = [query["sql"] for query in asked.captured_queries]
    begun = next(at for at, sql in enumerate(queries) if sql.startswith(("SAVEPOINT", "BEGIN")))
    assert any('"results_pull"' in sql for sql in queries[:begun])
    assert [sql for sql in queries[begun:] if '"results_pull"' in sql] == []
    assert sum('INTO "results_normalisedset"' in sql for sql in queries) == 1, "for all sets"
    kept = session.pull_sets.values_list("normalised__pulls", "normalised__failure_modes")
    assert list(kept) == [(5, {"join": 4, "void": 1})] * 3
