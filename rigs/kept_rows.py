"""Migrations by which PostgreSQL itself refuses to rewrite or delete history.

Each guard is a trigger that costs nothing where rows are inserted, and looks only at updates that
name a column to be kept. What a migration of the future has to rewrite, it does between
``ALTER TABLE ... DISABLE TRIGGER`` and ``ENABLE TRIGGER``. SQLite has none of this.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from django.db.migrations.operations.base import Operation

from rigs.patience import patiently

REFUSE = "samespool_refuse"
CREATE_REFUSE = f"""\
CREATE OR REPLACE FUNCTION {REFUSE}() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '%', TG_ARGV[0]
        USING ERRCODE = 'check_violation', TABLE = TG_TABLE_NAME, CONSTRAINT = TG_NAME;
END $$
"""
Steps = Mapping[str, Collection[str]]


class OnPostgreSQL(Operation):
    """An operation on one table that PostgreSQL alone knows."""

    reversible = True

    def __init__(self, model_name: str) -> None:
        self.model_name = model_name.lower()

    def state_forwards(self, app_label: str, state: Any) -> None:
        """Change nothing that Django knows of."""

    def database_forwards(
        self,
        app_label: str,
        schema_editor: Any,
        from_state: Any,  # noqa: ARG002
        to_state: Any,
    ) -> None:
        if schema_editor.connection.vendor == "postgresql":
            model = to_state.apps.get_model(app_label, self.model_name)
            for statement in self.forwards(model):
                patiently(schema_editor, statement)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: Any,
        from_state: Any,
        to_state: Any,  # noqa: ARG002
    ) -> None:
        if schema_editor.connection.vendor == "postgresql":
            model = from_state.apps.get_model(app_label, self.model_name)
            for statement in self.backwards(model):
                patiently(schema_editor, statement)

    def forwards(self, model: Any) -> list[str]:
        """The statements that do it."""
        raise NotImplementedError

    def backwards(self, model: Any) -> list[str]:
        """The statements that undo it."""
        raise NotImplementedError


class RefuseFunction(OnPostgreSQL):
    """The one function that all guards of kept rows call, with their sentence."""

    def forwards(self, model: Any) -> list[str]:  # noqa: ARG002
        return [CREATE_REFUSE]

    def backwards(self, model: Any) -> list[str]:  # noqa: ARG002
        return [f"DROP FUNCTION IF EXISTS {REFUSE}()"]

    def describe(self) -> str:
        return "Create the function that refuses to rewrite history"


class KeepRows(OnPostgreSQL):
    """Refuse to delete rows of a table, or to change them but for what is named here.

    ``may_change`` are columns that change freely. ``blanked`` are columns that erasing blanks, each
    with the condition that its new value meets then. ``steps`` are columns of words with those that
    may follow each. ``once`` is the condition on the old row, if it is kept from some moment on.
    """

    def __init__(
        self,
        model_name: str,
        *,
        may_change: Collection[str] = (),
        blanked: Mapping[str, str] | None = None,
        steps: Mapping[str, Steps] | None = None,
        once: str = "",
    ) -> None:
        super().__init__(model_name)
        self.may_change, self.blanked = frozenset(may_change), dict(blanked or {})
        self.steps, self.once = dict(steps or {}), once

    def forwards(self, model: Any) -> list[str]:
        table = model._meta.db_table
        columns = [
            field.column
            for field in model._meta.concrete_fields
            if field.column not in self.may_change
        ]
        changed = " OR ".join(self._changed(column) for column in columns)
        condition = f"({self.once}) AND ({changed})" if self.once else changed
        named = ", ".join(f'"{column}"' for column in columns)
        return [
            f"CREATE OR REPLACE TRIGGER {table}_is_kept BEFORE UPDATE OF {named} ON {table} "
            f"FOR EACH ROW WHEN ({condition}) "
            f"EXECUTE FUNCTION {REFUSE}('a row of {table} is kept as it was stored')",
            f"CREATE OR REPLACE TRIGGER {table}_is_not_deleted BEFORE DELETE ON {table} "
            f"FOR EACH ROW {f'WHEN ({self.once})' if self.once else ''} "
            f"EXECUTE FUNCTION {REFUSE}('a row of {table} is not deleted')",
        ]

    def _changed(self, column: str) -> str:
        changed = f'OLD."{column}" IS DISTINCT FROM NEW."{column}"'
        if column in self.blanked:
            return f'({changed} AND (NEW."{column}" {self.blanked[column]}) IS NOT TRUE)'
        if column in self.steps:
            allowed = " OR ".join(
                f'OLD."{column}" = \'{before}\' AND NEW."{column}" IN '
                f"({', '.join(repr(word) for word in sorted(after))})"
                for before, after in self.steps[column].items()
            )
            return f"({changed} AND ({allowed}) IS NOT TRUE)"
        return f"({changed})"

    def backwards(self, model: Any) -> list[str]:
        table = model._meta.db_table
        return [
            f"DROP TRIGGER IF EXISTS {table}_is_kept ON {table}",
            f"DROP TRIGGER IF EXISTS {table}_is_not_deleted ON {table}",
        ]

    def describe(self) -> str:
        return f"Keep rows of {self.model_name} as they were stored"


class KeepRowsWhere(KeepRows):
    """As ``KeepRows``, where a condition on other tables holds; no row is added then either.

    ``where`` is said of ``this``, the row as it was or as it would be. It is asked of each row that
    is written: only for tables of which little is written at once.
    """

    def __init__(
        self,
        model_name: str,
        *,
        where: str,
        may_change: Collection[str] = (),
        blanked: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(model_name, may_change=may_change, blanked=blanked)
        self.where = where

    def forwards(self, model: Any) -> list[str]:
        table = model._meta.db_table
        changed = " OR ".join(
            self._changed(field.column)
            for field in model._meta.concrete_fields
            if field.column not in self.may_change
        )
        refused = (
            f"RAISE EXCEPTION 'a row of {table} is kept as it was stored' "
            "USING ERRCODE = 'check_violation', TABLE = TG_TABLE_NAME, CONSTRAINT = TG_NAME;"
        )
        return [
            f"CREATE OR REPLACE FUNCTION {table}_is_kept() RETURNS trigger LANGUAGE plpgsql AS $$\n"
            f"DECLARE this {table};\nBEGIN\n"
            "    IF TG_OP <> 'INSERT' THEN\n"
            f"        IF TG_OP = 'UPDATE' AND NOT ({changed}) THEN RETURN NEW; END IF;\n"
            f"        this := OLD;\n        IF {self.where} THEN {refused} END IF;\n"
            "        IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;\n    END IF;\n"
            f"    this := NEW;\n    IF {self.where} THEN {refused} END IF;\n"
            "    RETURN NEW;\nEND $$",
            f"CREATE OR REPLACE TRIGGER {table}_is_kept BEFORE INSERT OR UPDATE OR DELETE "
            f"ON {table} FOR EACH ROW EXECUTE FUNCTION {table}_is_kept()",
        ]

    def backwards(self, model: Any) -> list[str]:
        table = model._meta.db_table
        return [
            f"DROP TRIGGER IF EXISTS {table}_is_kept ON {table}",
            f"DROP FUNCTION IF EXISTS {table}_is_kept()",
        ]


class KeepTable(OnPostgreSQL):
    """Refuse to empty a table at once: TRUNCATE asks no trigger of a row."""

    def forwards(self, model: Any) -> list[str]:
        table = model._meta.db_table
        return [
            f"CREATE OR REPLACE TRIGGER {table}_is_not_emptied BEFORE TRUNCATE ON {table} "
            f"FOR EACH STATEMENT EXECUTE FUNCTION {REFUSE}('{table} is not emptied')",
        ]

    def backwards(self, model: Any) -> list[str]:
        table = model._meta.db_table
        return [f"DROP TRIGGER IF EXISTS {table}_is_not_emptied ON {table}"]

    def describe(self) -> str:
        return f"Refuse to empty {self.model_name}"


class RefuseRows(OnPostgreSQL):
    """Refuse rows whose parents don't belong together; ``where`` is a condition on ``NEW``.

    Asked of each row that is inserted, and of those in which one of ``columns`` changes; where it
    is ``deferred``, once the transaction ends. Only for tables that an upload writes few rows of:
    pulls are checked by constraints.
    """

    def __init__(
        self,
        model_name: str,
        name: str,
        *,
        columns: Collection[str],
        where: str,
        deferred: bool = False,
    ) -> None:
        super().__init__(model_name)
        self.name, self.columns, self.where = name, tuple(columns), where
        self.deferred = deferred

    def forwards(self, model: Any) -> list[str]:
        table, named = model._meta.db_table, ", ".join(self.columns)
        rows = f"INSERT OR UPDATE OF {named} ON {table}"
        asked = [f"CREATE OR REPLACE TRIGGER {self.name} BEFORE {rows}"]
        if self.deferred:
            asked = [
                f"DROP TRIGGER IF EXISTS {self.name} ON {table}",
                f"CREATE CONSTRAINT TRIGGER {self.name} AFTER {rows} DEFERRABLE INITIALLY DEFERRED",
            ]
        return [
            f"CREATE OR REPLACE FUNCTION {self.name}() RETURNS trigger LANGUAGE plpgsql AS $$\n"
            f"BEGIN\n    IF {self.where} THEN\n"
            f"        RAISE EXCEPTION 'a row of {table} does not belong to its parents'\n"
            "            USING ERRCODE = 'check_violation', TABLE = TG_TABLE_NAME, "
            "CONSTRAINT = TG_NAME;\n    END IF;\n    RETURN NEW;\nEND $$",
            *asked[:-1],
            f"{asked[-1]} FOR EACH ROW EXECUTE FUNCTION {self.name}()",
        ]

    def backwards(self, model: Any) -> list[str]:
        return [
            f"DROP TRIGGER IF EXISTS {self.name} ON {model._meta.db_table}",
            f"DROP FUNCTION IF EXISTS {self.name}()",
        ]

    def describe(self) -> str:
        return f"Refuse rows of {self.model_name}: {self.name}"


class HoldNewRowsBySQL(OnPostgreSQL):
    """As ``HoldNewRows``, of a constraint that only PostgreSQL can say; ``HoldAllRows`` follows."""

    def __init__(self, model_name: str, name: str, constraint: str) -> None:
        super().__init__(model_name)
        self.name, self.constraint = name, constraint

    def forwards(self, model: Any) -> list[str]:
        table = model._meta.db_table
        return [
            f"ALTER TABLE {table} DROP CONSTRAINT IF EXISTS {self.name}",
            f"ALTER TABLE {table} ADD CONSTRAINT {self.name} {self.constraint} NOT VALID",
        ]

    def backwards(self, model: Any) -> list[str]:
        return [f"ALTER TABLE {model._meta.db_table} DROP CONSTRAINT IF EXISTS {self.name}"]

    def describe(self) -> str:
        return f"Hold new rows of {self.model_name} to {self.name}"


class UniqueTogether(OnPostgreSQL):
    """A composite key that foreign keys point at, built without locking the table."""

    def __init__(self, model_name: str, name: str, columns: Collection[str]) -> None:
        super().__init__(model_name)
        self.name, self.columns = name, tuple(columns)

    def forwards(self, model: Any) -> list[str]:
        table, named = model._meta.db_table, ", ".join(self.columns)
        return [
            *self.backwards(model),
            f"CREATE UNIQUE INDEX CONCURRENTLY {self.name} ON {table} ({named})",
        ]

    def backwards(self, model: Any) -> list[str]:  # noqa: ARG002
        return [f"DROP INDEX CONCURRENTLY IF EXISTS {self.name}"]

    def describe(self) -> str:
        return f"Make {', '.join(self.columns)} a key of {self.model_name}"
