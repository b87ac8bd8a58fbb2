"""Tests of the order of locks: the job, then the quote, then the revision, so that two changes never wait for each other."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from quotes.quoting.services import revise
from shared.business.models import Business
from tests.quotes.quoting.cast import actor_of, drafted, sent, stock_up

pytestmark = [pytest.mark.postgres, pytest.mark.django_db]
ORDER = ["jobs_job", "quoting_quote", "quoting_revision"]


def locked_tables(statements: CaptureQueriesContext) -> list[str]:
    """Return the tables whose rows were locked, each once, in the order of the first lock."""
    locks = [query["sql"] for query in statements.captured_queries if "FOR NO KEY UPDATE" in query["sql"]]
    tables = [match[1] for sql in locks if (match := re.search(r'FROM "(\w+)"', sql))]
    return [table for table in dict.fromkeys(tables) if table in ORDER]


def test_deleting_a_draft_locks_in_the_common_order(business: Business, owner_client: Client) -> None:
    stock_up(business)
    draft = revise(quote=sent(business).quote, actor=actor_of(business))
    with CaptureQueriesContext(connection) as statements:
        answer = owner_client.delete(f"/api/v1/revisions/{draft.ref}", headers={"If-Match": "*"})
    assert answer.status_code == 204
    assert locked_tables(statements) == ORDER


def test_sending_a_draft_locks_in_the_common_order(business: Business, owner_client: Client) -> None:
    stock_up(business)
    draft = drafted(business)
    headers = {"If-Match": "*", "Idempotency-Key": "send-once"}
    with CaptureQueriesContext(connection) as statements:
        answer = owner_client.post(
            f"/api/v1/revisions/{draft.ref}/send", {}, content_type="application/json", headers=headers
        )
    assert answer.status_code == 200
    assert locked_tables(statements) == ORDER
