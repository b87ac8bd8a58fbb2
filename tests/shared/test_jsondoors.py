"""Bodies as they come in: whole, or not at all."""

from __future__ import annotations

import io

import pytest
from django.test import Client, RequestFactory
from rest_framework.parsers import BaseParser

from catalogue.sheet_api import CsvParser
from quotes.exchange.forms import UblParser
from shared.jsondoors import StrictJsonParser
from shared.problems import Problem

BODY = b'{"name": "Ada"}'


@pytest.mark.parametrize("parser", [StrictJsonParser(), UblParser(), CsvParser()])
def test_a_body_that_was_cut_off_on_its_way_is_refused_though_it_reads_well(parser: BaseParser) -> None:
    request = RequestFactory().post("/api/v1/customers", BODY, "application/json")
    assert parser.parse(io.BytesIO(BODY), None, {"request": request})
    request.META["CONTENT_LENGTH"] = str(len(BODY) + 1)
    with pytest.raises(Problem) as refused:
        parser.parse(io.BytesIO(BODY), None, {"request": request})
    assert (refused.value.code, refused.value.detail) == (
        "malformed",
        f"The body ends after {len(BODY)} of {len(BODY) + 1} bytes.",
    )


def test_a_body_whose_length_nobody_told_is_read_to_its_end() -> None:
    request = RequestFactory().post("/api/v1/customers", BODY, "application/json")
    del request.META["CONTENT_LENGTH"]
    assert StrictJsonParser().parse(io.BytesIO(BODY), None, {"request": request}) == {"name": "Ada"}


def test_a_body_in_chunks_is_refused_and_not_taken_for_an_empty_one(owner_client: Client) -> None:
    sent = owner_client.post(
        "/api/v1/customers", {"name": "Ada"}, "application/json", headers={"Transfer-Encoding": "chunked"}
    )
    assert (sent.status_code, sent.json()["code"]) == (400, "malformed")
    assert "Content-Length" in sent.json()["detail"]
