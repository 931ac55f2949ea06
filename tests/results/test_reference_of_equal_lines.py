"""To choose the line that happened to part lower makes every efficiency too high."""

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from results.jobs.queue import enqueue
from results.models import NormalisedSet
from results.normalising.pair_evidence import ALONE, MOST_OTHERS
from results.normalising.references import fix_references
from results.statistics.apart import clearly_apart
from results.statistics.censored import strength
from results.worker.embedded import drain
from tests import making

PULLS = 4
SESSIONS = 6


def draw(rng, cv, shape, law):
    """Loads of mean 1; lognormal or Weibull."""
    if law == "lognormal":
        sd = np.sqrt(np.log1p(cv**2))
        return rng.lognormal(-(sd**2) / 2, sd, shape)
    return rng.weibull(1.2 / cv, shape) / (1 - 0.5772 * cv / 1.2)


def chosen(loads, others_log_ratio):
    """Which of two lines a session is measured against: the rule, without the database."""
    first, second = (strength(each, np.zeros(each.size, bool)) for each in loads)
    if clearly_apart(first, second):
        return int(second.mean_N < first.mean_N)
    return int(others_log_ratio > 0)


@pytest.mark.parametrize(("cv", "law"), [(0.06, "lognormal"), (0.10, "weibull")])
def test_of_two_equal_lines_the_choice_of_the_reference_moves_no_efficiency(cv, law):
    rng = np.random.default_rng(16)
    worlds = draw(rng, cv, (2000, SESSIONS, 2, PULLS), law)
    logs = np.log(worlds)
    ratios = logs[:, :, 0].mean(-1) - logs[:, :, 1].mean(-1)
    others = (ratios.sum(1, keepdims=True) - ratios) / (SESSIONS - 1)
    line = np.array(
        [[chosen(worlds[i, j], others[i, j]) for j in range(SESSIONS)] for i in range(len(worlds))]
    )
    means = np.log(worlds.mean(-1))
    against = np.take_along_axis(means, line[..., None], -1)[..., 0]
    bias = means.mean() - against.mean(1)
    error = bias.std() / np.sqrt(bias.size)
    assert abs(bias.mean()) < 0.002 + 2 * error
    assert error < 0.0007
    by_own = means.mean() - means.min(-1).mean()
    assert by_own > 0.015, "what the session's own weaker line would have made of it"


def test_of_lines_that_differ_by_a_tenth_the_weaker_is_the_reference_in_almost_every_session():
    rng = np.random.default_rng(17)
    worlds = draw(rng, 0.06, (500, SESSIONS, 2, PULLS), "lognormal") * [[1.0], [0.9]]
    ratios = np.log(worlds[:, :, 0]).mean(-1) - np.log(worlds[:, :, 1]).mean(-1)
    others = (ratios.sum(1, keepdims=True) - ratios) / (SESSIONS - 1)
    line = [chosen(worlds[i, j], others[i, j]) for i in range(500) for j in range(SESSIONS)]
    assert np.mean(line) > 0.998


def pulled(revision, rng, main, leader):
    session = making.session(revision)
    for line in (main, leader):
        making.straight(session, line, (100 * draw(rng, 0.05, PULLS, "lognormal")).tolist())
    making.joined(session, main, leader, (80 * draw(rng, 0.05, PULLS, "lognormal")).tolist())
    enqueue(session)
    drain()
    return session


def test_a_new_session_moves_the_earlier_ones_until_enough_have_pulled_both_lines(owner):
    """However many are asked about their line, the database is asked once for all of them."""
    rng = np.random.default_rng(18)
    main, leader = making.line("one"), making.line("two")
    revision = making.revision_of(owner)
    sessions = [pulled(revision, rng, main, leader) for _ in range(2)]
    with CaptureQueriesContext(connection) as of_two:
        fix_references(sessions[0])
    sessions += [pulled(revision, rng, main, leader) for _ in range(MOST_OTHERS)]
    found = NormalisedSet.objects.filter(pull_set__session__in=sessions).order_by("pk")
    lines = [each.baseline.line for each in found]
    ratios = np.array(
        [
            np.mean(np.log(_loads(session, main))) - np.mean(np.log(_loads(session, leader)))
            for session in sessions
        ]
    )
    for index, line in enumerate(lines):
        others = [r for at, r in enumerate(ratios) if at != index][:MOST_OTHERS]
        assert line == (main if sum(others) <= 0 else leader), index
    with CaptureQueriesContext(connection) as of_all:
        fix_references(sessions[0])
    assert len(of_all) == len(of_two), [query["sql"] for query in of_all]
    assert not any(fix_references(session) for session in sessions), "and then all is settled"


def test_alone_with_a_pair_the_labels_choose_and_without_them_the_set_says_what_that_means(
    owner, client
):
    """By labels the choice knows nothing of the scatter; by its own pulls the bias stays."""
    rng = np.random.default_rng(16)
    worlds = draw(rng, 0.06, (5000, 2, PULLS), "lognormal")
    means = np.log(worlds.mean(-1))
    by_label = [means[i, chosen(worlds[i], 1.0)] for i in range(1000)]
    error = np.std(by_label) / np.sqrt(1000)
    assert abs(means[:1000].mean() - np.mean(by_label)) < 0.002 + 2 * error
    by_own = means.mean() - means.min(-1).mean()
    assert by_own == pytest.approx(0.017, abs=0.002)

    revision = making.revision_of(owner)
    main, strong, light = (
        making.line(name, label_N=label_N)
        for name, label_N in (("one", 90.0), ("two", 90.0), ("light", 60.0))
    )
    found = []
    for leader in (strong, light):
        session = making.session(revision)
        for line, loads_N in ((main, [94.0, 97, 99, 101]), (leader, [95.0, 98, 100, 102])):
            making.straight(session, line, loads_N)
        making.joined(session, main, leader, [76.0, 79, 81, 84])
        enqueue(session)
        drain()
        found.append(NormalisedSet.objects.get(pull_set__session=session))
    alone, labelled = found
    assert ALONE in alone.notes
    assert "known from this session" in client.get(f"/pull-sets/{alone.pk}/").content.decode()
    assert labelled.baseline.line == light
    assert ALONE not in labelled.notes

    pulled(revision, rng, main, strong)
    alone.refresh_from_db()
    assert ALONE not in alone.notes, "another session has pulled the pair since"


def _loads(session, line):
    return list(session.baselines.filter(line=line).values_list("pulls__reading_N", flat=True))


def test_a_line_that_is_tied_to_itself_is_its_own_reference_without_a_word(db, owner):
    """As where a broken line is joined again: nothing is chosen, so nothing is said of a choice."""
    rng = np.random.default_rng(18)
    session = making.session(making.revision_of(owner))
    line = making.line("thin")
    making.straight(session, line, (100 * draw(rng, 0.05, PULLS, "lognormal")).tolist())
    making.joined(session, line, line, (80 * draw(rng, 0.05, PULLS, "lognormal")).tolist())
    enqueue(session)
    drain()
    normalised = NormalisedSet.objects.get()
    assert normalised.baseline.line == line
    assert not [note for note in normalised.notes if "weaker" in note]
