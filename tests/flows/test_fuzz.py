"""The whole API against its own document: made-up calls find no 5xx, no status and no content type that it doesn't tell.

``make fuzz`` makes the long run of it: ``FUZZ_EXAMPLES`` calls an operation and, with ``FUZZ_CHECKS=all``, every check that can
judge this API.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import (
    content_type_conformance,
    negative_data_rejection,
    not_a_server_error,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)
from schemathesis.core.failures import FailureGroup

from shared.business.actors import SYSTEM
from shared.business.roles import BUSINESS_SCOPES
from shared.members import services
from tests.conftest import Cast
from tests.matrix.addresses import HOLDERS
from tests.matrix.world import World, world_of

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
WITH_ALL = [*CHECKS, negative_data_rejection, response_headers_conformance, unsupported_method]
"""Left out: those about keys, which every call here has, about bodies a schema alone can't judge, and about state."""
EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "4"))
BOUNDED = settings(
    max_examples=EXAMPLES,
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


@pytest.fixture
def open_connection() -> Iterator[None]:
    """Keep the test's connection open, which a request would close on PostgreSQL."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.mark.slow
@pytest.mark.django_db
@pytest.mark.usefixtures("open_connection")
def test_made_up_calls_get_nothing_but_documented_answers(cast: Cast, key_client: Any, settings: Any) -> None:
    settings.RATE_QUOTA = 1_000_000
    world = world_of(cast.business, cast.supplier)
    _, key = services.issue_key(name="fuzz", scopes=BUSINESS_SCOPES, business=cast.business, actor=SYSTEM)
    supplier = key_client(supplier=cast.supplier).defaults["HTTP_AUTHORIZATION"]
    wrong: dict[str, str] = {}
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", get_wsgi_application())
    for found in schema.get_all_operations():
        operation: Any = found.ok()  # type: ignore[union-attr]  # the document was validated: none is invalid
        bearer = supplier if operation.path.startswith("/api/v1/supply/") else f"Bearer {key}"
        fault = _fuzzed(operation, world, bearer)
        if fault:
            wrong[operation.label] = fault
    assert not wrong, "\n\n".join(f"{label}: {fault}" for label, fault in wrong.items())


def _checks(status: int) -> list[Any]:
    """Return the checks of a status. A failed condition (412) and a revoked link (410) are answered before the body is read."""
    if os.environ.get("FUZZ_CHECKS") != "all":
        return CHECKS
    return [item for item in WITH_ALL if status < 300 or item is not negative_data_rejection]


def _fuzzed(operation: Any, world: World, bearer: str) -> str:
    """Return the differences between the first call and the document; empty if there are none."""
    modes = [operation.as_strategy(mode) for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)]

    @BOUNDED
    @given(st.one_of(*modes), st.booleans())
    def one(case: Any, exists: bool) -> None:
        if exists:
            case.path_parameters = {**(case.path_parameters or {}), **_there(operation.path, world)}
        headers = {"Authorization": bearer, "Idempotency-Key": str(uuid4())}
        with transaction.atomic():
            answer = case.call(headers=headers)
            transaction.set_rollback(True)
        case.validate_response(answer, checks=_checks(answer.status_code))

    try:
        one()
    except FailureGroup as fault:
        return "\n".join(str(part) for part in fault.exceptions)[:1500]
    return ""


def _there(path: str, world: World) -> dict[str, str]:
    """Path parameters that name what exists."""
    stem = path.removeprefix("/api/v1/").split("{")[0]
    names = {"token": world.token, **world.inner}
    if stem in HOLDERS:
        names["ref"] = world.refs[HOLDERS[stem]]
    return {name: value for name, value in names.items() if f"{{{name}}}" in path}
