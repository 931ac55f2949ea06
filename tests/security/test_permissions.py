"""API1 and API5 of 2023: what an object's rule says holds for everybody, superusers included."""

import ast

import pytest
from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from rules.permissions import permissions

from rigs.models import Contributor, RigRevision
from rigs.permissions import may
from tests import making
from tests.api.test_routes import METHODS, ROUTES, answered, world
from tests.people import client_of, contributor
from tests.security.test_object_level import addressed

__all__ = ["world"]
PRODUCT = ("api", "deploy", "results", "rigs")


@pytest.fixture
def keeper(db) -> Contributor:
    """An administrator who measures as well and is no moderator."""
    person = contributor("keeper")
    person.user.is_staff = person.user.is_superuser = True
    person.user.save()
    return person


def thing_of(permission: str, revision: RigRevision) -> object:
    """What a permission is asked of: its name ends in the model's."""
    if permission.startswith("rigs."):
        return revision.rig
    return making.session(revision)


@pytest.mark.parametrize("permission", sorted(permissions))
def test_no_rule_opens_anything_to_an_administrator_that_another_tester_may_not(
    permission, owner, other, moderator, keeper
):
    """Asked of what is the owner's; the owner may, or a moderator, or it would mean nothing."""
    of = thing_of(permission, making.revision_of(owner))
    strangers = (other.user, keeper.user, AnonymousUser())
    assert [may(user, permission, of) for user in strangers] == [False, False, False]
    assert may(owner.user, permission, of) or may(moderator.user, permission, of)


@pytest.mark.parametrize("route", sorted(ROUTES))
def test_an_administrator_may_do_over_the_api_what_another_tester_may(
    route, world, as_other, keeper
):
    as_keeper = client_of(keeper)
    address = addressed(route, world) if "<" in route else f"/api/v1/{route}"
    for method in METHODS:
        document = ROUTES[route].get(method, (None,))[0]
        found = [answered(person, method, address, document) for person in (as_other, as_keeper)]
        assert found[0] == found[1], method


def test_an_administrator_does_not_change_the_rig_of_another_and_its_page_offers_no_form(
    owner, keeper
):
    rig = making.revision_of(owner).rig
    shown = {"made_on": "2026-01-01", "what_changed": "tape", "why": "it slid"}
    answer = client_of(keeper).post(f"/api/v1/rigs/{rig.pk}/revisions", shown, format="json")
    assert answer.status_code == 403
    assert rig.revisions.count() == 1


def test_no_file_asks_django_itself_whether_a_user_may():
    """It says yes to every superuser before any rule is read: `rigs.permissions.may` asks rules."""
    asking = [
        str(path.relative_to(settings.BASE_DIR))
        for part in PRODUCT
        for path in (settings.BASE_DIR / part).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Attribute)
        and node.attr in ("has_perm", "has_perms")
        and not (isinstance(node.value, ast.Name) and node.value.id == "rules")
    ]
    assert asking == []
    assert not any("{% if perms." in path.read_text() for path in _templates())


def _templates():
    for part in PRODUCT:
        yield from (settings.BASE_DIR / part).rglob("*.html")
