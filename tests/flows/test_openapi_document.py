"""The OpenAPI document: valid, complete, with examples that hold, and the same as the copy under docs/."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from drf_spectacular.drainage import GENERATOR_STATS
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from shared.api.docs_views import document
from shared.api.openapi import document_text
from tests.matrix.addresses import cases

ROOT = Path(__file__).resolve().parents[2]
Operation = tuple[str, str, dict[str, Any]]


@pytest.fixture(scope="module")
def made() -> dict[str, Any]:
    return json.loads(document_text(document()))  # type: ignore[no-any-return]  # a document is an object


def operations(made: dict[str, Any]) -> Iterator[Operation]:
    for address, methods in made["paths"].items():
        for method, operation in methods.items():
            yield method, address, operation


def test_the_document_is_valid_openapi_3_1(made: dict[str, Any]) -> None:
    assert made["openapi"].startswith("3.1")
    assert [fault.message for fault in OpenAPIV31SpecValidator(made).iter_errors()] == []


def test_making_it_warns_of_nothing(made: dict[str, Any]) -> None:
    GENERATOR_STATS.reset()
    document()
    data = [*GENERATOR_STATS._warn_cache, *GENERATOR_STATS._error_cache]
    assert data == []


def test_the_committed_copy_is_the_document(made: dict[str, Any]) -> None:
    # `make openapi` writes it again; a change of the API is then visible in the review
    assert (ROOT / "docs/openapi.json").read_text() == document_text(document())


def test_every_method_of_every_address_is_described(made: dict[str, Any]) -> None:
    described = sum(len(methods) for methods in made["paths"].values())
    assert described == len([case for case in cases() if case.endpoint.schema is not None])


def test_a_body_that_may_hold_no_other_member_says_so(made: dict[str, Any]) -> None:
    schemas = made["components"]["schemas"]
    assert schemas["NewKey"]["additionalProperties"] is False
    assert schemas["NewKey"]["properties"]["scopes"]["minItems"] == 1


def bodies(operation: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for place, body in [("request", operation.get("requestBody", {})), *operation["responses"].items()]:
        for kind, media in body.get("content", {}).items():
            if "json" in kind:
                yield place, media


def test_every_body_has_an_example_that_its_schema_allows(made: dict[str, Any]) -> None:
    wrong = []
    for method, address, operation in operations(made):
        for place, media in bodies(operation):
            schema = {**media["schema"], "components": made["components"]}
            faults = [
                f"{list(f.path)}: {f.message}" for f in Draft202012Validator(schema).iter_errors(media["example"])
            ]
            wrong += [(method, address, place, fault[:160]) for fault in faults]
    assert not wrong, "\n".join(map(str, wrong))


def test_every_operation_tells_its_refusals_and_what_it_needs(made: dict[str, Any]) -> None:
    for method, address, operation in operations(made):
        expected = {"400", "401", "403", "404", "405", "406", "429"}
        expected |= {"415", "422", "413"} if "requestBody" in operation else set()
        assert expected <= set(operation["responses"]), (method, address)
        assert operation["security"] == [] or "x-scope" in operation, (method, address)
        assert operation.get("summary"), (method, address)


def test_operation_ids_are_each_used_once(made: dict[str, Any]) -> None:
    ids = [operation["operationId"] for _, _, operation in operations(made)]
    assert len(ids) == len(set(ids))


def test_an_answer_that_holds_a_new_key_declares_it(made: dict[str, Any]) -> None:
    for address in ("/api/v1/keys", "/api/v1/supply/keys", "/api/v1/suppliers/{ref}/keys"):
        answer = made["paths"][address]["post"]["responses"]["201"]["content"]["application/json"]
        assert "secret" in answer["schema"]["properties"], address
        assert "secret" in answer["example"], address
