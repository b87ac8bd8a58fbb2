"""A client that a general-purpose generator made from the document takes a measure to an accepted quote, by HTTP."""

from __future__ import annotations

import importlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.core import mail

from shared.business.actors import SYSTEM
from shared.business.roles import Scope
from shared.members import services
from tests.conftest import Cast
from tests.flows.cast_of_quotes import PARTIES, measure, tokens
from tests.quotes.quoting.cast import stock_up

ROOT = Path(__file__).resolve().parents[2]
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
