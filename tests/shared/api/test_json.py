"""JSON as it comes in, whole or not at all, and as it goes out, the same as by Django's own conversion."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.db.models import Q, QuerySet
from django.test import Client, RequestFactory
from django.test.utils import CaptureQueriesContext
from rest_framework.parsers import BaseParser

from catalogue.api.api_fields import IMPORT, columns, serialize_row
from catalogue.api.api_fields import row_serializer as as_stored
from catalogue.api.imports import CsvParser
from catalogue.api.resources import RESOURCES
from catalogue.models import Component, SupplierPrice
from catalogue.rules.price_rule_lines import is_money
from fencing.model.faults import InvalidDocument
from quotes.integrations.order_files import UblParser
from shared.api.json_formats import StrictJsonParser, read_json
from shared.api.row_serializer import RowSerializer, SharedQuery
from shared.api.serializers import StrictSerializer, TextField, validated_data
from shared.business.models import Business
from shared.business.roles import Scope
from shared.common.json_encoder import write_json
from shared.common.money import stated
from shared.common.problems import MAX_ERRORS, Problem
from tests.conftest import Cast
from tests.quotes.quoting.cast import stock_up

SKUS = RowSerializer({"code": "sku"})


def _odd_rows(business: Business) -> None:
    stock_up(business)
    first = SupplierPrice.objects.of(business).order_by("id")[0]
    for day, price, breaks in ((1, "0.0001", []), (2, "123456789.1250", [["10", "9.5"], ["25", "9"]]), (3, "7", [])):
        SupplierPrice.objects.of(business).create(
            component=first.component,
            supplier=first.supplier,
            supplier_sku='"ü\\',
            price=Decimal(price),
            price_breaks=breaks,
            valid_from=date(2031, 1, day),
        )


def _as_money(row: dict[str, Any]) -> dict[str, Any]:
    """Money in New Zealand dollars, percentages as they are: 21.5000 is 21.50, 2.000000 percent are 2."""
    plain = {"value"} if "kind" in row and not is_money(row["kind"], row["applies_to"]) else set[str]()
    for name in {"price", "minimum_order", "value"} & row.keys():
        if row[name] is not None:
            row[name] = f"{row[name].normalize():f}" if name in plain else stated(row[name], "NZD")
    return row


@pytest.mark.parametrize("name", RESOURCES)
def test_every_list_of_the_catalogue_tells_what_its_details_tell(business: Business, name: str) -> None:
    _odd_rows(business)
    resource = RESOURCES[name]
    rows = resource.rows(business).order_by("id")
    answers, marks = as_stored(resource.members).read(rows, "id")
    by_django = [_as_money(serialize_row(resource.members, row)) for row in rows.values(*columns(resource.members))]
    assert len(answers) > 1
    assert json.loads(write_json(answers)) == json.loads(write_json(by_django))
    assert [mark for (mark,) in marks] == list(rows.values_list("pk", flat=True))


def test_times_are_in_utc(cast: Cast, owner_client: Client) -> None:
    sheet = b"sku,name,role\nA1,Cap,cap\n"
    taken = owner_client.post("/api/v1/imports?kind=components", sheet, content_type="text/csv")
    assert taken.status_code == 202, taken.content
    listed = owner_client.get("/api/v1/imports").json()["items"][0]
    assert listed == {name: taken.json()[name] for name in IMPORT} | {
        name: listed[name] for name in ("status", "rows_total", "rows_done", "finished_at")
    }
    assert listed["created_at"].endswith("Z")


def test_no_rows_are_no_answers(business: Business) -> None:
    rows: QuerySet[Any] = Component.objects.of(business)
    assert SKUS.read(rows, "id") == ([], [])
    assert SKUS.read(rows.none(), "id") == ([], [])


def test_kept_statements_serve_each_business_its_own_rows(cast: Cast, key_client: Callable[..., Client]) -> None:
    ours, theirs = cast.business, cast.strangers_business
    for whose in (ours, theirs):
        Component.objects.of(whose).bulk_create(
            [Component(business=whose, sku=f"{whose.pk}-{number}", name="Cap", role="cap") for number in range(5)]
        )
    for whose in (ours, theirs, ours):
        client = key_client(Scope.CATALOGUE_READ, business=whose)
        seen, address = [], "/api/v1/components?page_size=2"
        while address:
            page = client.get(address).json()
            seen += [item["sku"] for item in page["items"]]
            address = page["next"]
        assert seen == [f"{whose.pk}-{number}" for number in (4, 3, 2, 1, 0)]
        narrowed = client.get(f"/api/v1/components?page_size=2&sku={whose.pk}-3").json()["items"]
        assert [item["sku"] for item in narrowed] == [f"{whose.pk}-3"]


def test_queries_that_differ_are_not_shared(business: Business) -> None:
    """A query that is wrongly declared as shared gets its own rows and does not change the result of others."""
    Component.objects.of(business).bulk_create(
        [Component(business=business, sku=sku, name="Cap", role="cap") for sku in ("A", "B")]
    )
    rows, shared, skus = (
        Component.objects.of(business),
        SharedQuery("all", (business.pk,)),
        RowSerializer({"code": "sku"}),
    )
    narrower: QuerySet[Any] = rows.filter(Q(sku="A"))
    assert skus.read(narrower, "id", shared=shared)[0] == [{"code": "A"}]
    with CaptureQueriesContext(connection) as asked:
        assert len(skus.read(rows, "id", shared=shared)[0]) == 2
        assert len(skus.read(rows, "id", shared=shared)[0]) == 2
    assert len(asked) == 2


def test_rows_whose_statement_is_kept_are_not_made_again(business: Business) -> None:
    """Making a query costs more than many a database's answer to it."""
    Component.objects.of(business).create(sku="A", name="Cap", role="cap")
    skus, made = RowSerializer({"code": "sku"}), []

    def rows() -> QuerySet[Any]:
        made.append(1)
        return Component.objects.of(business)

    for _ in range(3):
        assert skus.read(rows, shared=SharedQuery("all", (business.pk,)))[0] == [{"code": "A"}]
    assert len(made) == 1


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
