"""What is public is declared, a line a field: what is not declared is public to nobody."""

import re

from django.apps import apps
from django.conf import settings
from drf_spectacular.generators import SchemaGenerator
from rest_framework.serializers import Serializer

from api.serializers import Shown
from results.public.declared import DECLARED, rules_of
from results.public.rules import Rule

OURS = ("rigs", "results")


def fields_by_table() -> dict[str, set[str]]:
    """Every column of the service's own tables, by the table's label."""
    return {
        model._meta.label: {field.name for field in model._meta.concrete_fields}
        for app in OURS
        for model in apps.get_app_config(app).get_models(include_auto_created=True)
    }


def test_every_field_of_every_table_is_declared_and_nothing_else():
    declared = {table: set(answer.fields) for table, answer in DECLARED.items()}
    assert declared == fields_by_table()


def test_of_an_account_and_of_other_libraries_tables_nothing_is_public():
    theirs = [model for model in apps.get_models() if model._meta.app_label not in OURS]
    assert len(theirs) > 8
    assert {rule for model in theirs for rule in rules_of(model).values()} == {Rule.PRIVATE}


def all_below(kind: type) -> set[type]:
    """Every class that is one of a kind."""
    return {kind}.union(*(all_below(below) for below in kind.__subclasses__()))


def test_every_document_of_the_api_is_read_by_the_declaration():
    SchemaGenerator().get_schema(public=True)  # every module of the API is loaded by now
    ours = {one for one in all_below(Serializer) if one.__module__.startswith("api.")}
    assert len(ours) > 50
    assert {one for one in ours if not issubclass(one, Shown)} == set()


def test_every_page_is_made_by_the_one_render_that_shows_rows_by_the_declaration():
    pages = settings.BASE_DIR / "results" / "pages"
    others = [file for file in pages.rglob("*.py") if file.name != "showing.py"]
    assert len(others) > 30
    shortcut = re.compile(
        r"django\.shortcuts import .*\brender\b|shortcuts\.render|TemplateResponse\b"
    )
    assert [file.name for file in others if shortcut.search(file.read_text())] == []
