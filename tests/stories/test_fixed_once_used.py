"""What results rest on can't be changed under them in the admin; what can has a consequence.

Every field that the admin lets somebody change of a row which something measured rests on is
listed here, with what follows from a change. A field that is not listed fails.
"""

from __future__ import annotations

import pytest
from django.contrib import admin
from django.contrib.auth.models import User
from django.test import RequestFactory

from results.models import Connection, ConnectionAlias, Pool, TieParameter
from rigs.models import Club, Contributor, Material
from tests import making
from tests.api.leagues import league_of
from tests.pages.conftest import pool_of
from tests.pages.reading import Page

SHOWN = "shown text; what it names is known by its id, so pages show the new one at once"
LATER = "read when an upload is checked: what is stored stays, later uploads go by the new one"
CHOSEN = "what the contributor's own page lists, read at each look"
PUBLIC = "whether it is public is read at each look"
CONSEQUENCES = {
    "rigs.Club": {"name": SHOWN},
    "rigs.Contributor": {
        "club": CHOSEN,
        "shows_club": CHOSEN,
        "shows_rigs": CHOSEN,
        "shows_sets": CHOSEN,
    },
    "rigs.Line": {"name": SHOWN, "accepted": PUBLIC},
    "results.Connection": {
        "name": SHOWN,
        "description": SHOWN,
        "tools": "filters of the list, read at each look",
        "slim": "filters of the list, read at each look",
        "quick": "filters of the list, read at each look",
        "accepted": "its pools are marked as stale",
    },
    "results.ConnectionAlias": {"name": LATER, "connection": LATER},
    "results.TieParameter": {"lowest": LATER, "highest": LATER, "choices": LATER},
}
# Adding and saving there suspends, lifts and closes by verbs, which keep what they did.
BY_VERBS = {"rigs.Suspension", "results.Report", "results.ReviewCase"}
OURS = ("rigs", "results")


@pytest.fixture
def used(db) -> dict[str, object]:
    """A row of each table that is edited, with something measured resting on it."""
    [pull_set, *_] = league_of({"Blood": 86.0}, testers=3)
    connection = pull_set.connection
    TieParameter.objects.create(connection=connection, name="turns", type="integer")
    ConnectionAlias.objects.create(connection=connection, name="blood join")
    club = Club.objects.create(name="Lannet Anglers")
    tester = pull_set.session.contributor
    Contributor.objects.filter(pk=tester.pk).update(club=club)
    return {
        "rigs.Club": club,
        "rigs.Contributor": tester,
        "rigs.Line": pull_set.main_line,
        "results.Connection": connection,
        "results.ConnectionAlias": connection.aliases.get(),
        "results.TieParameter": connection.parameters.get(),
    }


def edited_in_the_admin(request) -> list[str]:
    """Tables of ours with rows that an administrator may change there."""
    return sorted(
        model._meta.label
        for model, found in admin.site._registry.items()
        if model._meta.app_label in OURS and found.has_change_permission(request)
    )


@pytest.fixture
def asked(admin_user):
    request = RequestFactory().get("/admin/")
    request.user = admin_user
    return request


def test_every_table_that_is_edited_is_listed_here(asked):
    assert set(edited_in_the_admin(asked)) - BY_VERBS == set(CONSEQUENCES)


@pytest.mark.parametrize("label", CONSEQUENCES)
def test_every_field_that_can_be_changed_under_results_has_a_consequence(label, used, asked):
    row = used[label]
    found = admin.site._registry[type(row)]
    open_fields = set(found.get_form(asked, row, change=True).base_fields)
    assert open_fields == set(CONSEQUENCES[label])


def test_no_field_of_a_pools_key_can_be_changed_under_it(used, asked):
    """The key is connection, materials, terminal and conditions; all but materials are a set's."""
    key = {field.name for field in Pool._meta.get_fields() if "material" in field.name}
    assert key == {"main_material", "leader_material"}
    assert "material" not in CONSEQUENCES["rigs.Line"]
    for model in ("Session", "PullSet", "Baseline", "Pull", "Pool", "NormalisedSet"):
        assert f"results.{model}" not in edited_in_the_admin(asked)
    for model in ("Rig", "RigRevision", "Calibration", "CalibrationReading"):
        assert f"rigs.{model}" not in edited_in_the_admin(asked)


def sent_from(page: Page) -> dict[str, str]:
    """The fields of the admin's form as they stand, its inlines empty."""
    names = [found["name"] for found in page.all("input") if "name" in found]
    inlines = {name.partition("-")[0] for name in names if name.endswith("-TOTAL_FORMS")}
    return {f"{each}-{part}_FORMS": "0" for each in inlines for part in ("TOTAL", "INITIAL")}


def test_a_material_that_pulls_rest_on_stays_and_the_page_shows_it_as_text(used, admin_client):
    line = used["rigs.Line"]
    before = pool_of("Blood").current.pk
    address = f"/admin/rigs/line/{line.pk}/change/"
    page = Page(admin_client.get(address))
    assert page.all("select", name="material") == []
    answer = {
        **sent_from(page),
        "name": "thin, new label",
        "material": Material.WIRE,
        "accepted": "on",
    }
    assert admin_client.post(address, answer).status_code == 302
    line.refresh_from_db()
    assert (line.name, line.material) == ("thin, new label", Material.NYLON)
    assert pool_of("Blood").current.pk == before


def test_a_line_that_nothing_rests_on_is_put_right(admin_client):
    line = making.line("new")
    address = f"/admin/rigs/line/{line.pk}/change/"
    answer = {"name": "new", "material": Material.WIRE, "label_basis": "unknown", "accepted": "on"}
    assert admin_client.post(address, answer).status_code == 302
    line.refresh_from_db()
    assert line.material == Material.WIRE


def test_what_stored_values_mean_is_not_deleted(used, admin_client):
    parameter = used["results.TieParameter"]
    answer = admin_client.post(
        f"/admin/results/tieparameter/{parameter.pk}/delete/", {"post": "yes"}
    )
    assert answer.status_code == 403
    admin_client.post(
        "/admin/results/tieparameter/",
        {"action": "delete_selected", "_selected_action": parameter.pk, "post": "yes"},
    )
    assert TieParameter.objects.filter(pk=parameter.pk).exists()


def test_a_contributors_account_and_handle_are_not_handed_to_another(used, admin_client):
    tester = used["rigs.Contributor"]
    address = f"/admin/rigs/contributor/{tester.pk}/change/"
    other = User.objects.create_user("another")
    answer = {"user": other.pk, "handle": "another", "shows_sets": "on"}
    assert admin_client.post(address, answer).status_code == 302
    kept = Contributor.objects.get(pk=tester.pk)
    assert (kept.user_id, kept.handle) == (tester.user_id, tester.handle)


def test_the_kind_of_a_connection_stays_once_it_was_pulled(used, admin_client):
    connection = used["results.Connection"]
    page = Page(admin_client.get(f"/admin/results/connection/{connection.pk}/change/"))
    assert page.all("select", name="kind") == []
    assert Connection.objects.get(pk=connection.pk).kind == "line to line"


def test_a_join_accepted_or_taken_back_in_the_admin_marks_its_pools(used, admin_client):
    connection, pool = used["results.Connection"], pool_of("Blood")
    address = f"/admin/results/connection/{connection.pk}/change/"
    answer = {**sent_from(Page(admin_client.get(address))), "name": connection.name}
    for accepted in (False, True):
        pool.stale_marks.all().delete()
        ticked = {"accepted": "on"} if accepted else {}
        assert admin_client.post(address, {**answer, **ticked}).status_code == 302
        connection.refresh_from_db()
        assert connection.accepted is accepted
        assert pool.stale_marks.exists()
