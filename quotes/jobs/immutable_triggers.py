"""Database triggers for rows that are written once: what the models refuse, the database refuses too."""

from __future__ import annotations

from typing import Any

from django.db.migrations.operations import RunPython

_FUNCTION = """
CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'rows of % are written once', TG_TABLE_NAME USING ERRCODE = 'restrict_violation'; END $$
"""


def _statements(vendor: str, table: str, verb: str, condition: str, name: str) -> list[str]:
    when = f"WHEN ({condition})" if condition else ""
    if vendor == "postgresql":
        return [
            _FUNCTION,
            f"DROP TRIGGER IF EXISTS {name} ON {table}",
            f"CREATE TRIGGER {name} BEFORE {verb} ON {table} FOR EACH ROW {when} EXECUTE FUNCTION refuse_change()",
        ]
    if verb == "DELETE":
        return []  # SQLite empties a table row by row when a test database is reset; there the models refuse alone
    text = f"rows of {table} are written once"
    return [
        f"DROP TRIGGER IF EXISTS {name}",
        f"CREATE TRIGGER {name} BEFORE {verb} ON {table} FOR EACH ROW {when} BEGIN SELECT RAISE(ABORT, '{text}'); END",
    ]


def refuse(table: str, verb: str, condition: str = "", name: str = "") -> RunPython:
    """Return a migration step. ``verb`` (UPDATE, DELETE) on ``table`` fails if ``condition`` on OLD and NEW is true."""

    trigger = name or f"{table}_no_{verb.lower()}"

    def lay(apps: Any, schema_editor: Any) -> None:
        for statement in _statements(schema_editor.connection.vendor, table, verb, condition, trigger):
            schema_editor.execute(statement, params=None)  # a per cent sign in it is not a placeholder

    def lift(apps: Any, schema_editor: Any) -> None:
        on = f" ON {table}" if schema_editor.connection.vendor == "postgresql" else ""
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {trigger}{on}")

    return RunPython(lay, lift)


def written_once(*tables: str) -> list[RunPython]:
    """Return migration steps after which the rows of these tables cannot be changed or deleted."""
    return [refuse(table, verb) for table in tables for verb in ("UPDATE", "DELETE")]
