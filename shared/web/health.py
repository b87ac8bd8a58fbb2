"""Health checks: the process runs, and it can work."""

from __future__ import annotations

from http import HTTPStatus

import redis
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse

from shared.common.json_encoder import write_json
from shared.database.errors import RETRY_AFTER_S


def healthz(_: HttpRequest) -> HttpResponse:
    """Return 200 if the process runs."""
    return _answer({"status": "ok"}, 200)


def readyz(_: HttpRequest) -> HttpResponse:
    """Return 200 if the database responds and is migrated. Redis is reported, but is not required: tasks wait in the database."""
    checks = {"database": _database(), "tasks": _tasks()}
    ready = checks["database"] == "ok"
    return _answer({"status": "ok" if ready else "not ready", "checks": checks}, 200 if ready else 503)


def _database() -> str:
    try:
        executor = MigrationExecutor(connection)
        return "not migrated" if executor.migration_plan(executor.loader.graph.leaf_nodes()) else "ok"
    except DatabaseError:
        return "no answer"


def _tasks() -> str:
    if not settings.REDIS_URL:
        return "in-process"
    try:
        redis.Redis.from_url(settings.REDIS_URL, socket_connect_timeout=0.5, socket_timeout=0.5).ping()
    except redis.RedisError:
        return "no answer, tasks wait"
    return "ok"


def _answer(values: dict[str, object], status: int) -> HttpResponse:
    response = HttpResponse(write_json(values), status=status, content_type="application/json")
    response["Cache-Control"] = "no-store"
    if status == HTTPStatus.SERVICE_UNAVAILABLE:
        response["Retry-After"] = str(RETRY_AFTER_S)
    return response
