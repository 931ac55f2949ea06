"""Migrations of check constraints: for new rows at once, for existing rows once validated.

PostgreSQL adds a check without reading the table where it is NOT VALID, and validates it later
under a lock that lets rows be written. SQLite knows neither; there the table is written again.
"""

from __future__ import annotations

from typing import Any

from django.contrib.postgres.operations import ValidateConstraint
from django.db.migrations.operations import AddConstraint

from rigs.patience import patiently


class HoldNewRows(AddConstraint):
    """Add a check that rows written from now on have to pass."""

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        if schema_editor.connection.vendor != "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)
            return
        model = to_state.apps.get_model(app_label, self.model_name)
        if self.allow_migrate_model(schema_editor.connection.alias, model):
            check = self.constraint.create_sql(model, schema_editor)
            patiently(schema_editor, f"{check} NOT VALID")


class HoldAllRows(ValidateConstraint):
    """Have the rows that were there before pass the check as well."""

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        if schema_editor.connection.vendor == "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)


class AddUniqueConcurrently(AddConstraint):
    """Add a conditional unique constraint while rows are written, outside a transaction."""

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        if schema_editor.connection.vendor != "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)
            return
        model = to_state.apps.get_model(app_label, self.model_name)
        if self.allow_migrate_model(schema_editor.connection.alias, model):
            name = schema_editor.quote_name(self.constraint.name)
            schema_editor.execute(f"DROP INDEX CONCURRENTLY IF EXISTS {name}", params=None)
            created = str(self.constraint.create_sql(model, schema_editor))
            concurrently = created.replace("UNIQUE INDEX", "UNIQUE INDEX CONCURRENTLY", 1)
            schema_editor.execute(concurrently, params=None)
