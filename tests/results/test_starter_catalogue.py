"""The starter catalogue: what is in it, that it can be laid twice, and that the demo uses it."""

import re
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from deploy.demo.documents import connection_documents
from results.catalogue import starter
from results.models import Connection, ConnectionAlias, TieParameter
from results.pools.descriptives import OF_EVERY_SET
from rigs.models import Line, Material
from tests import making

JOINS = starter.joins()


def load() -> str:
    out = StringIO()
    call_command("load_starter_catalogue", stdout=out)
    return out.getvalue()


def test_some_forty_joins_of_every_kind_are_in_it():
    assert len(JOINS) >= 40
    assert {one["kind"] for one in JOINS.values()} == set(Connection.Kind.values)


def test_no_name_means_two_joins():
    names = [name.casefold() for one in JOINS.values() for name in (one["name"], *one["aliases"])]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("name", JOINS)
def test_each_is_tied_in_five_to_eight_steps_that_name_what_is_recorded(name):
    steps = JOINS[name]["description"].splitlines()
    said = " ".join(steps).casefold()

    assert 5 <= len(steps) <= 8
    assert all(re.fullmatch(r"[A-Z].{9,}\.", step) for step in steps)
    for parameter in JOINS[name]["parameters"]:
        assert parameter["name"] not in OF_EVERY_SET
        assert parameter["name"].split("_")[0][:4] in said, parameter
        assert "recorded" in said or "count" in said
        assert parameter["lowest"] < parameter["highest"]


def test_what_is_laid_is_accepted_and_a_second_time_changes_nothing(db, as_stranger):
    assert load() == f"New in the catalogue: {len(JOINS)} joins and {len(starter.lines())} lines.\n"
    assert load() == "New in the catalogue: 0 joins and 0 lines.\n"

    assert Connection.objects.filter(accepted=True, proposed_by=None).count() == len(JOINS)
    assert {line.material for line in Line.objects.all()} == set(Material.values)
    palomar = Connection.objects.get(name="Palomar")
    page = as_stranger.get(reverse("pages:connection", args=[palomar.pk])).content.decode()
    assert page.count("<li>") >= 5
    assert "Common practice; no source." in page


def test_what_testers_named_before_is_left_as_it_is(db):
    own = making.connection("double UNI")
    ConnectionAlias.objects.create(connection=own, name="barrel")
    line = making.line("nylon monofilament, 0.35 mm")

    load()

    own.refresh_from_db()
    assert (own.name, own.description) == ("double UNI", "")
    assert not TieParameter.objects.filter(connection=own).exists()
    assert Connection.objects.filter(name__iexact="double uni").count() == 1
    blood = Connection.objects.get(name="Blood")
    assert not blood.aliases.filter(name="Barrel").exists()
    assert Line.objects.filter(name__iexact=line.name).count() == 1


def test_the_demo_has_its_joins_from_here():
    documents = connection_documents()
    assert len(documents) == 10
    assert all(JOINS[one["name"]] is one for one in documents)
