"""Two linked sets that are screened at the same instant are judged one after the other."""

from concurrent.futures import ThreadPoolExecutor
from threading import Event

from django.db import connections

from deploy.tools.processes import TIMEOUT_S
from results.models import Pool
from results.normalising.normalise import normalise_session
from results.screening import screen
from tests.stories.test_second_look import account, ring, send


def screen_it(pull_set, still_ours) -> None:
    try:
        screen.screen_session(pull_set.session_id, still_ours=still_ours, follow=lambda: None)
    finally:
        connections.close_all()


def test_of_two_linked_sets_at_one_instant_the_later_sees_the_earlier(
    transactional_db, planted_past, monkeypatch
):
    for number, mean_N in enumerate((78.0, 80.0, 82.0, 79.0, 81.0), start=1):
        send(account(f"tester {number}", joined=number), mean_N)
    people = ring(joined_together=True, spool="blue tin")
    first, second = (send(one, 87.5, spool="blue tin", screened=False) for one in people[:2])
    for pull_set in (first, second):
        normalise_session(pull_set.session_id, still_ours=lambda: True)
    both_judged = Event()
    judged = screen.judge_influence

    def judge(session, sets, members):
        found = judged(session, sets, members)
        if session.pk == second.session_id:
            both_judged.set()
        return found

    monkeypatch.setattr(screen, "judge_influence", judge)

    with ThreadPoolExecutor(2) as threads:

        def second_arrives() -> bool:
            """Once the first holds its locks: the second is judged without it, and waits."""
            later.append(threads.submit(screen_it, second, lambda: True))
            return both_judged.wait(TIMEOUT_S)

        later: list = []
        threads.submit(screen_it, first, second_arrives).result(TIMEOUT_S)
        later[0].result(TIMEOUT_S)

    for pull_set in (first, second):
        pull_set.refresh_from_db()
    assert (first.state, second.state) == ("normalised", "held")
    reason = second.state_changes.latest("pk").reason
    assert "Together with what is linked to it" in reason
    assert Pool.objects.get().stale_marks.exists()
