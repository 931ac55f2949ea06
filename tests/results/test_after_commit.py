"""What is done after a commit must not undo the answer to it."""

import pytest
from django.db import transaction

from results.jobs.after_commit import after_commit
from results.models import Connection
from tests import making


def refuse(what: str) -> None:
    raise ConnectionError(f"{what} does not answer")


@pytest.mark.django_db(transaction=True)
def test_what_fails_after_the_commit_is_reported_in_the_log_alone(caplog):
    done = []

    with transaction.atomic():
        making.connection("Alberto")
        after_commit(refuse, "the queue")
        after_commit(done.append, "the next")

    assert Connection.objects.filter(name="Alberto").exists()
    assert done == ["the next"]
    assert "the queue does not answer" in caplog.text
