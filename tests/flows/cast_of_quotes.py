"""Fixtures of the quote flows: a business with a catalogue, and calls by HTTP."""

from __future__ import annotations

import re
from typing import Any
from uuid import uuid4

import pytest
from django.core import mail
from django.test import Client

from tests.conftest import Cast
from tests.quotes.quoting.cast import stock_up

FINISHES = dict.fromkeys(("post", "rail", "sheet"), "saltmarl")
LINK = re.compile(r"/q/([A-Za-z0-9_-]{43})")


def measure(*lengths: int, **changes: Any) -> dict[str, Any]:
    """Return a measure of level runs; the first is shared by two parties."""
    runs: list[dict[str, Any]] = [
        {"id": "ABCD"[place], "length_mm": length, "basis": "centres"} for place, length in enumerate(lengths)
    ]
    runs[0]["shares"] = {"owner": "1/2", "neighbour": "1/2"}
    defaults = {"height_mm": 1800, "form": "level", "layout": "even", "soil": "clay", "finishes": FINISHES, **changes}
    return {
        "schema": "measure-2",
        "label": "Back boundary",
        "system": "corrugated-50",
        "defaults": defaults,
        "runs": runs,
    }


PARTIES: list[dict[str, Any]] = [
    {"key": "owner", "name": "Ada Quill", "email": "ada@example.test", "chooses_options": True},
    {"key": "neighbour", "name": "Ben Thorn", "email": "ben@example.test"},
]


class Caller:
    """Somebody with a client who speaks JSON."""

    def __init__(self, client: Client) -> None:
        self.client = client

    def get(self, path: str, status: int = 200, **headers: str) -> Any:
        return self._checked(self.client.get(f"/api/v1/{path}", headers=headers), status)

    def post(self, path: str, body: Any = None, status: int = 201, **headers: str) -> Any:
        headers.setdefault("Idempotency-Key", str(uuid4()))
        headers.setdefault("If-Match", "*")
        return self._send("post", path, body, status, headers)

    def put(self, path: str, body: Any, status: int = 200) -> Any:
        return self._send("put", path, body, status, {"If-Match": self.etag(path)})

    def patch(self, path: str, body: Any, status: int = 200) -> Any:
        return self._send("patch", path, body, status, {"If-Match": self.etag(path)})

    def etag(self, path: str) -> str:
        return str(self.client.get(f"/api/v1/{path.removesuffix('/draft')}").headers["ETag"])

    def _send(self, method: str, path: str, body: Any, status: int, headers: dict[str, str]) -> Any:
        call = getattr(self.client, method)
        return self._checked(
            call(f"/api/v1/{path}", body or {}, content_type="application/json", headers=headers), status
        )

    def _checked(self, response: Any, status: int) -> Any:
        assert response.status_code == status, (response.status_code, response.content[:2000])
        return response.json() if response.content else None


@pytest.fixture
def estimator(cast: Cast, signed_in: Any) -> Caller:
    """Return the estimator of a business with a catalogue."""
    stock_up(cast.business)
    return Caller(signed_in(cast.estimator))


@pytest.fixture
def stranger() -> Caller:
    """Somebody who is not signed in."""
    return Caller(Client())


def open_job(caller: Caller, document: dict[str, Any] | None = None) -> tuple[str, str]:
    """Create a job with a measure. Return their refs."""
    customer = caller.post("customers", {"name": "Ada Quill", "email": "ada@example.test"})
    body = {"customer": customer["ref"], "new_site_address": {"address": "4 Reed Lane"}, "label": "Back fence"}
    job = caller.post("jobs", body)
    kept = caller.post(f"jobs/{job['ref']}/measures", {"document": document or measure(12000, 7200)})
    return job["ref"], kept["ref"]


def draft_quote(
    caller: Caller, setup: dict[str, Any] | None = None, document: Any = None
) -> tuple[str, dict[str, Any]]:
    """Draft a quote. Return the job's ref and the revision."""
    job, kept = open_job(caller, document)
    body = {"job": job, "measure": kept, "setup": {"parties": PARTIES, **(setup or {})}}
    return job, caller.post("quotes", body)


def send_quote(caller: Caller, revision: dict[str, Any], run_jobs: Any, **body: Any) -> dict[str, str]:
    """Send a quote and run the tasks that follow. Return the tokens in the mails by recipient."""
    mail.outbox.clear()
    with run_jobs(execute=True):
        caller.post(f"revisions/{revision['ref']}/send", body, status=200)
    return tokens()


def tokens() -> dict[str, str]:
    """Tokens in the mails that were sent, by the reader's first name in small letters."""
    found = {}
    for letter in mail.outbox:
        match = LINK.search(str(letter.body))
        if match:
            found[letter.to[0].split("@")[0].split("<")[-1]] = match.group(1)
    return found
