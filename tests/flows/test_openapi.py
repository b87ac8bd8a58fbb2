"""The OpenAPI document is valid and complete, and a client generated from it takes a measure to an accepted quote."""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.core import mail
from drf_spectacular.drainage import GENERATOR_STATS
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from shared.api.docs_views import document
from shared.api.openapi import document_text
from shared.business.actors import SYSTEM
from shared.business.roles import Scope
from shared.members import services
from tests.conftest import Cast
from tests.flows.cast_of_quotes import PARTIES, measure, tokens
from tests.matrix.addresses import cases
from tests.quotes.quoting.cast import stock_up

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


PACKAGE = "generated_client"
SCOPES = {Scope.JOBS_WRITE, Scope.JOBS_READ, Scope.MEASURES_WRITE, Scope.MEASURES_READ}
BARS = {
    "schema": "cut-demand-2",
    "kerf_mm": 3,
    "pieces": [[2238, 8]],
    "stock": [{"length_mm": 6000, "price": "31.20", "quantity_available": None}],
}
SCOPES |= {Scope.QUOTES_WRITE, Scope.QUOTES_READ}


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Generate the client from the committed document."""
    place = tmp_path_factory.mktemp("client")
    made = subprocess.run(
        [
            *(sys.executable, "-m", "openapi_python_client", "generate", "--meta", "none", "--overwrite"),
            *("--path", str(ROOT / "docs/openapi.json"), "--output-path", str(place / PACKAGE)),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (place / PACKAGE / "client.py").exists(), made.stdout + made.stderr
    sys.path.insert(0, str(place))
    yield
    sys.path.remove(str(place))
    for name in [name for name in sys.modules if name.split(".")[0] == PACKAGE]:
        del sys.modules[name]


class Driver:
    """Calls operations of the generated client by their ids."""

    def __init__(self, client: Any) -> None:
        self.client = client

    def call(self, operation: str, *path: str, body: Any = None, model: str = "", **more: str) -> Any:
        """Call an operation and return its answer as plain values."""
        [found] = Path(importlib.import_module(f"{PACKAGE}.api").__path__[0]).glob(f"*/{operation}.py")
        module = importlib.import_module(f"{PACKAGE}.api.{found.parent.name}.{operation}")
        if model:
            more["body"] = getattr(importlib.import_module(f"{PACKAGE}.models"), model).from_dict(body)
        answer = module.sync_detailed(*path, client=self.client, **more)
        assert answer.status_code in {200, 201}, (operation, answer.status_code, answer.content[:500])
        return answer.parsed.to_dict()


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_a_generated_client_takes_a_measure_to_an_accepted_quote(generated: None, cast: Cast, live_server: Any) -> None:
    stock_up(cast.business)
    _, key = services.issue_key(name="integrator", scopes=SCOPES, business=cast.business, actor=SYSTEM)
    kinds = importlib.import_module(f"{PACKAGE}.client")
    with (
        kinds.AuthenticatedClient(base_url=live_server.url, token=key) as ours,
        kinds.Client(base_url=live_server.url) as theirs,
    ):
        _from_measure_to_acceptance(Driver(ours), Driver(theirs))
        plan = Driver(ours).call("post_cutting_plans", body=BARS, model="PostCuttingPlansBody")
        assert (plan["schema"], plan["cost"], plan["bars"][0]["cuts"]) == ("cutplan-2", "124.80", [[2238, 2]])


def _from_measure_to_acceptance(ours: Driver, theirs: Driver) -> None:
    customer = ours.call("post_customers", body={"name": "Ada Quill"}, model="CustomerIn")
    job = ours.call(
        "post_jobs",
        body={"customer": customer["ref"], "new_site_address": {"address": "4 Reed Lane"}, "label": "Back fence"},
        model="JobIn",
    )
    kept = ours.call("post_jobs_ref_measures", job["ref"], body={"document": measure(12000, 7200)}, model="MeasureIn")
    asked = {"job": job["ref"], "measure": kept["ref"], "setup": {"parties": PARTIES}}
    draft = ours.call("post_quotes", body=asked, model="QuoteIn", idempotency_key=str(uuid4()))
    sent = ours.call(
        "post_revisions_ref_send", draft["ref"], body={}, model="SendIn", idempotency_key=str(uuid4()), if_match="*"
    )
    assert sent["status"] == "sent"

    assert len(mail.outbox) == len(PARTIES)
    for name, token in sorted(tokens().items()):
        seen = theirs.call("get_quote_links_token", token)
        agreed = {"name": name.capitalize(), "content_sha256": seen["content_sha256"]}
        receipt = theirs.call("post_quote_links_token_accept", token, body=agreed, model="AcceptIn")
        assert receipt["response"] == "accepted"

    assert ours.call("get_revisions_ref", draft["ref"])["status"] == "accepted"
    assert ours.call("get_jobs_ref", job["ref"])["status"] == "accepted"
