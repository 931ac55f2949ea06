"""What a scraper reads, and who may read it."""

import pytest
from django.core.cache import caches
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families

from results.jobs import queue, stale_marks
from results.models import CheckResult, Pool, PoolVersion, Release, Screening
from results.worker import embedded
from tests import making


@pytest.fixture(autouse=True)
def nothing_counted_yet():
    caches["kept"].delete("outcomes")


def scraped(client: Client, **headers) -> dict[tuple, float]:
    """Every sample by name and labels, read by the client library's own parser."""
    answer = client.get("/metrics", **headers)
    assert answer.status_code == 200
    return {
        (sample.name, *sorted(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(answer.content.decode())
        for sample in family.samples
    }


def worked_out(owner, count: int = 1):
    revision = making.revision_of(owner)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    made = []
    for number in range(count):
        session = making.session(revision)
        making.straight(session, main, [98.0 + number, 101, 99, 102, 100.5])
        making.joined(session, main, leader, [80.0 - number, 83, 78, 81.5])
        made.append(queue.enqueue(session))
    return made


def test_jobs_are_counted_by_state_with_the_age_of_the_oldest(owner, client):
    first, _second = worked_out(owner, 2)
    queue.Job.objects.filter(pk=first.pk).update(created_at="2020-01-01T00:00:00Z")

    answer = scraped(client)

    assert answer["samespool_jobs", ("state", "queued")] == 2
    assert answer["samespool_jobs", ("state", "failed")] == 0
    assert answer["samespool_oldest_unfinished_job_seconds",] > 5 * 365 * 86400


def test_work_that_is_done_waits_no_longer(owner, client):
    worked_out(owner, 2)
    embedded.drain()

    answer = scraped(client)

    assert answer["samespool_jobs", ("state", "done")] == 2
    assert answer["samespool_oldest_unfinished_job_seconds",] == 0
    assert answer["samespool_stale_pools",] == answer["samespool_oldest_stale_mark_seconds",] == 0


def test_a_pool_marked_twice_is_one_stale_pool(owner, client):
    worked_out(owner)
    embedded.drain()
    pool = Pool.objects.get()
    stale_marks.mark([pool.pk], "one reason")
    stale_marks.mark([pool.pk], "another")

    assert scraped(client)["samespool_stale_pools",] == 1


def test_pools_that_no_one_draws_are_counted(client, owner):
    session = making.session(making.revision_of(owner))
    making.straight(session, line := making.line("thin"))
    making.joined(session, line, making.line("thick", label_N=180), [70, 75, 72, 78])
    queue.enqueue(session)
    embedded.drain()
    assert scraped(client)["samespool_undrawn_pools",] == 0

    PoolVersion.objects.update(forest_light="", forest_dark="")
    assert scraped(client)["samespool_undrawn_pools",] == 1


def test_releases_of_the_open_data_are_counted_by_state(db, client):
    for state in (Release.State.FAILED, Release.State.FAILED, Release.State.QUEUED):
        Release.objects.create(state=state)

    answer = scraped(client)

    assert answer["samespool_releases", ("state", "failed")] == 2
    assert answer["samespool_releases", ("state", "queued")] == 1


def test_marks_and_holds_are_counted_by_check_and_what_passed_is_not(owner, client):
    screening = Screening.objects.create(session=making.session(making.revision_of(owner)))
    for level in ("none", "mark", "mark", "hold"):
        CheckResult.objects.create(
            screening=screening, name="order", figure=1, threshold=1, level=level
        )

    answer = scraped(client)

    assert answer["samespool_checks", ("check", "order"), ("level", "mark")] == 2
    assert answer["samespool_checks", ("check", "order"), ("level", "hold")] == 1
    assert ("samespool_checks", ("check", "order"), ("level", "none")) not in answer


def test_requests_are_counted_by_view_and_status(client, db):
    name = "django_http_responses_total_by_status_view_method_total"
    key = (name, ("method", "GET"), ("status", "200"), ("view", "live"))
    before = scraped(client).get(key, 0)

    client.get("/healthz")

    assert scraped(client)[key] == before + 1


@pytest.mark.parametrize(
    "asked_from",
    [
        {"REMOTE_ADDR": "192.0.2.7"},
        {"REMOTE_ADDR": "127.0.0.1", "HTTP_X_FORWARDED_FOR": "192.0.2.7"},
        {"REMOTE_ADDR": ""},
        {"REMOTE_ADDR": "192.0.2.7", "HTTP_AUTHORIZATION": "Bearer "},
    ],
    ids=["another machine", "through a proxy here", "nowhere", "an empty token"],
)
def test_a_stranger_reads_no_metrics(asked_from, client, db):
    assert client.get("/metrics", **asked_from).status_code == 403


def test_the_token_opens_the_metrics_to_another_machine(client, db, settings):
    settings.SAMESPOOL_METRICS_TOKEN = "a token of the scraper's"
    elsewhere = {"REMOTE_ADDR": "192.0.2.7"}

    given = client.get(
        "/metrics", HTTP_AUTHORIZATION="Bearer a token of the scraper's", **elsewhere
    )
    wrong = client.get("/metrics", HTTP_AUTHORIZATION="Bearer another", **elsewhere)

    assert (given.status_code, wrong.status_code) == (200, 403)
