"""What is public is declared, a line a field: what is not declared is public to nobody."""

from django.apps import apps

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
    declared = {table: set(told.fields) for table, told in DECLARED.items()}
    assert declared == fields_by_table()


def test_of_an_account_and_of_other_libraries_tables_nothing_is_public():
    theirs = [model for model in apps.get_models() if model._meta.app_label not in OURS]
    assert len(theirs) > 8
    assert {rule for model in theirs for rule in rules_of(model).values()} == {Rule.PRIVATE}
