"""Living and being ready, in the test's own process; tests/deploy asks real processes."""

from django.db import connection
from django.db.migrations.recorder import MigrationRecorder


def test_a_process_tells_that_it_lives_without_asking_the_database(
    client, django_assert_num_queries, db
):
    with django_assert_num_queries(0):
        answer = client.get("/healthz")

    assert answer.status_code == 200


def test_every_part_is_ok_where_all_is_there(client, db):
    answer = client.get("/readyz")

    assert answer.status_code == 200
    assert answer.json() == {
        "ready": True,
        "parts": {
            "database": "ok",
            "migrations": "ok",
            "writing": "ok",
            "queue": "ok",
            "files": "ok",
        },
    }


def test_a_migration_that_was_not_applied_is_named(client, db):
    latest = MigrationRecorder(connection).migration_qs.filter(app="results").latest("id")
    latest.delete()

    answer = client.get("/readyz")

    assert answer.status_code == 503
    assert f"results.{latest.name}" in answer.json()["parts"]["migrations"]


def test_files_that_cannot_be_written_are_reported(client, db, settings, tmp_path):
    settings.VAR_DIR = tmp_path / "gone"

    answer = client.get("/readyz")

    assert answer.status_code == 503
    assert answer.json()["parts"]["files"] == "does not answer (FileNotFoundError)"
