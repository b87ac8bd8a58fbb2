"""Lint of migrations: they may add, but not remove, rename or rewrite while the service runs, and they wait briefly for locks."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.apps import apps
from django.contrib.postgres.operations import AddConstraintNotValid, AddIndexConcurrently
from django.db import connection, migrations, models
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState

from shared.apps import fail_early_on_locks, install_database_rules

OURS = frozenset({"shared", "catalogue", "jobs", "quoting", "documents", "purchasing", "integrations", "accounting"})


def faults(operation: Operation, app: str, before: ProjectState, new: set[str]) -> Iterator[str]:
    """Yield the reasons why an operation may not run while the service runs the earlier code."""
    model = getattr(operation, "model_name", getattr(operation, "name", "")).lower()
    if model in new:
        return
    match operation:
        case migrations.RenameField() | migrations.RenameModel() | migrations.RemoveField() | migrations.DeleteModel():
            yield f"{type(operation).__name__} of {model}: the code that runs still reads it"
        case migrations.AddField(field=field):
            if not (field.null or field.many_to_many or field.has_db_default()):
                yield f"{model}.{operation.name} is added NOT NULL: the code that runs writes rows without it"
        case migrations.AlterField(field=field):
            old = before.models[app, model].fields[operation.name]
            if _column(old) != _column(field):
                yield f"{model}.{operation.name} changes its type: every row is rewritten under a lock"
            if old.null and not field.null:
                yield f"{model}.{operation.name} becomes NOT NULL: the code that runs writes rows without it"
        case _:
            yield from _faults_of_locks(operation, model)


def _faults_of_locks(operation: Operation, model: str) -> Iterator[str]:
    match operation:
        case AddIndexConcurrently() | AddConstraintNotValid():
            return
        case migrations.AddConstraint(constraint=models.UniqueConstraint()):
            yield f"a unique constraint of {model} builds its index under a lock: build it concurrently before"
        case migrations.AddConstraint():
            yield f"a constraint of {model} is checked under a lock: say AddConstraintNotValid, then ValidateConstraint"
        case migrations.AddIndex():
            yield f"an index of {model} is built under a lock: say AddIndexConcurrently"


def _column(field: models.Field[object, object]) -> str:
    """Return a column's type on PostgreSQL; a longer text has the same type."""
    if isinstance(field, models.ForeignKey):
        return "key"
    kind = {"CharField": "text", "TextField": "text"}.get(field.get_internal_type(), field.get_internal_type())
    return f"{kind} {getattr(field, 'max_digits', '')} {getattr(field, 'decimal_places', '')}"


def linted() -> Iterator[tuple[tuple[str, str], str]]:
    """Every fault of every migration of ours, with the migration's name."""
    loader = MigrationLoader(None)
    for (app, name), migration in sorted(loader.disk_migrations.items()):
        if app not in OURS:
            continue
        state = loader.project_state((app, name), at_end=False)
        new: set[str] = set()
        for operation in migration.operations:
            if isinstance(operation, migrations.CreateModel):
                new.add(operation.name.lower())
            yield from (((app, name), fault) for fault in faults(operation, app, state, new))
            operation.state_forwards(app, state)


def test_every_app_with_rows_of_its_own_is_looked_at() -> None:
    ours = {
        config.label
        for config in apps.get_app_configs()
        if config.name.split(".")[0] in {"shared", "catalogue", "quotes"}
    }
    assert {app for app in ours if list(apps.get_app_config(app).get_models())} == OURS


def test_no_migration_stops_a_service_that_runs() -> None:
    assert list(linted()) == []


CHECK = models.CheckConstraint(condition=models.Q(name__gt=""), name="named")


@pytest.mark.parametrize(
    ("operation", "reason"),
    [
        (migrations.RenameField("outgoingmail", "name", "title"), "still reads it"),
        (migrations.RemoveField("outgoingmail", "name"), "still reads it"),
        (migrations.DeleteModel("OutgoingMail"), "still reads it"),
        (migrations.AddField("outgoingmail", "weight", models.IntegerField(default=0)), "NOT NULL"),
        (migrations.AddField("outgoingmail", "weight", models.IntegerField(db_default=0)), None),
        (migrations.AddField("outgoingmail", "weight", models.IntegerField(null=True)), None),
        (migrations.AlterField("outgoingmail", "name", models.IntegerField()), "type"),
        (migrations.AlterField("outgoingmail", "name", models.CharField(max_length=80)), None),
        (migrations.AlterField("outgoingmail", "sent_at", models.DateTimeField()), "NOT NULL"),
        (
            migrations.AddConstraint("outgoingmail", models.UniqueConstraint(fields=["name"], name="one")),
            "builds its index",
        ),
        (migrations.AddConstraint("outgoingmail", CHECK), "checked under a lock"),
        (AddConstraintNotValid("outgoingmail", CHECK), None),
        (migrations.AddIndex("outgoingmail", models.Index(fields=["state"], name="by_state")), "under a lock"),
        (AddIndexConcurrently("outgoingmail", models.Index(fields=["state"], name="by_state")), None),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Operation) else str(value),
)
def test_the_lint_finds_what_stops_a_service(operation: Operation, reason: str | None) -> None:
    loader = MigrationLoader(None)
    state = loader.project_state(("shared", "0001_initial"))
    found = list(faults(operation, "shared", state, set()))
    assert [reason in fault for fault in found if reason] == ([True] if reason else [])
    assert bool(found) == (reason is not None)


@pytest.mark.postgres
def test_a_migration_waits_two_seconds_for_a_lock_and_the_service_that_follows_as_long_as_it_likes(db: None) -> None:
    def limit() -> str:
        with connection.cursor() as cursor:
            cursor.execute("SHOW lock_timeout")
            return str(cursor.fetchone()[0])

    fail_early_on_locks(using="default")
    assert limit() == "2s"
    last = [config for config in apps.get_app_configs() if config.models_module is not None][-1]
    install_database_rules(last, using="default")
    assert limit() == "0"
