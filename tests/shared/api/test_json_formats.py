"""Bodies as they come in: whole, or not at all."""

from __future__ import annotations

import io

import pytest
from django.test import Client, RequestFactory
from rest_framework.parsers import BaseParser

from catalogue.api.imports import CsvParser
from fencing.model.faults import InvalidDocument
from quotes.integrations.renderers import UblParser
from shared.api.json_formats import StrictJsonParser, read_json
from shared.api.serializers import StrictSerializer, TextField, validated_data
from shared.common.problems import MAX_ERRORS, Problem

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


def test_a_body_without_a_length_is_read_to_its_end() -> None:
    request = RequestFactory().post("/api/v1/customers", BODY, "application/json")
    del request.META["CONTENT_LENGTH"]
    assert StrictJsonParser().parse(io.BytesIO(BODY), None, {"request": request}) == {"name": "Ada"}


def test_a_body_in_chunks_is_refused_and_not_taken_for_an_empty_one(owner_client: Client) -> None:
    sent = owner_client.post(
        "/api/v1/customers", {"name": "Ada"}, "application/json", headers={"Transfer-Encoding": "chunked"}
    )
    assert (sent.status_code, sent.json()["code"]) == (400, "malformed")
    assert "Content-Length" in sent.json()["detail"]


def test_more_values_than_anything_takes_are_refused_before_they_are_read() -> None:
    assert len(read_json(b"[" + b",".join([b"0"] * 200_000) + b"]")) == 200_000
    assert read_json(b'["' + b"," * 300_000 + b'"]') == ["," * 300_000], "a comma in a text parts no values"
    with pytest.raises(Problem) as refused:
        read_json(b"[" + b",".join([b"0"] * 200_001) + b"]")
    assert refused.value.status == 413


class Named(StrictSerializer):
    name = TextField(max_length=10)


def test_an_object_of_countless_members_is_one_fault() -> None:
    with pytest.raises(InvalidDocument) as refused:
        validated_data(Named, {f"m{number}": 0 for number in range(1_001)})
    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [("", "members")]


def test_an_answer_names_a_thousand_places_and_says_how_many_there_are() -> None:
    data = Problem("invalid", errors=[{"pointer": f"#/{number}"} for number in range(MAX_ERRORS + 1)]).document()
    assert (len(data["errors"]), data["detail"].endswith("The first 1000 of 1001 are listed.")) == (MAX_ERRORS, True)
