"""Nobody moves a pool far by taking back what balanced the rest."""

import pytest

from results.intake import amend
from results.models import Pool
from results.worker.embedded import drain
from tests.stories.test_second_look import account, holds_of, send, state_of

pytestmark = pytest.mark.usefixtures("planted_past")


@pytest.fixture
def five(db) -> Pool:
    for number, mean_N in enumerate((78.0, 80.0, 82.0, 79.0, 81.0), start=1):
        assert send(account(f"tester {number}", joined=number), mean_N).state == "pooled"
    return Pool.objects.get()


def test_taking_back_what_balanced_the_rest_makes_the_rest_wait(five):
    """Low first, then high, each no further than counts at once; without the low one it is far."""
    person = account("balancing", joined=20)
    low = send(person, 74.0, day=11)
    high = send(person, 93.0, day=12)
    assert [state_of(low), high.state] == ["pooled", "pooled"]
    amend.withdraw(low.session, person, "mistyped")
    drain()
    assert state_of(high) == "held"
    assert [check.name for check in holds_of(high)] == ["influence on the pool"]


def test_taking_back_a_set_like_the_rest_makes_nothing_wait(five):
    person = account("honest", joined=20)
    first, second = send(person, 84.0, day=11), send(person, 86.0, day=12)
    amend.withdraw(first.session, person, "another line")
    drain()
    assert state_of(second) == "pooled"
