"""What screening asks the store does not grow with the pools of a session."""

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from deploy.benchmarks.screening.cases import world_in_store
from deploy.benchmarks.screening.kinds import newcomer
from deploy.benchmarks.screening.storing import undone
from deploy.benchmarks.screening.worlds import draw_sheet
from results.models import NormalisedSet
from results.normalising.normalise import normalise_session
from results.screening.linked import Links
from results.screening.screen import screen_session

A_SET = 4
"""Statements for each set of its own: what shares its readings, what is shaped like it, and their
readings."""


@pytest.mark.usefixtures("planted_past")
def test_another_pool_of_a_session_costs_what_its_set_does():
    with world_in_store(1, whole=False, as_fourth=False) as (world, store):
        rng = np.random.default_rng(3)
        person = newcomer(world, rng)
        asked = {}
        for joins in (world.joins[:1], world.joins):
            sheet = draw_sheet(world, rng, person, 90, joins=joins)
            with undone():
                session = store._stored(sheet, store.revision(sheet), None)
                normalise_session(session.pk, still_ours=lambda: True)
                with CaptureQueriesContext(connection) as found:
                    screen_session(session.pk, still_ours=lambda: True, follow=lambda: None)
            asked[len(joins)] = [query["sql"] for query in found.captured_queries]
        assert any('"rigs_rigrevision"."grip_cover"' in sql for sql in asked[3]), "links were asked"
        more = len(asked[3]) - len(asked[1])
        assert more <= 2 * A_SET, "\n".join(asked[3])


@pytest.mark.usefixtures("planted_past")
def test_links_are_asked_once_for_all_pools(django_assert_max_num_queries):
    with world_in_store(1, whole=False, as_fourth=False) as (world, store):
        sheet = max(world.sheets, key=lambda one: len(one.joined))
        session = store.send(sheet)
        rows = NormalisedSet.objects.values_list("pool_id", "pull_set__session__contributor_id")
        testers = {}
        for pool_id, tester in rows:
            testers.setdefault(pool_id, set()).add(tester)
        assert len(testers) == 3
        links = Links(session, testers)
        with django_assert_max_num_queries(8):
            for pool_id, of_pool in testers.items():
                links.linked(pool_id, of_pool)
                links.new_together(of_pool)
                links.accepted(of_pool)
                assert links.released == []
