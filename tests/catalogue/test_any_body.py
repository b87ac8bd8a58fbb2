"""Whatever is typed or sent is taken or refused in words, in the figures of the business."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.http import QueryDict
from django.test import Client
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from catalogue.api.resources import RESOURCES
from catalogue.models import FenceSystemVersion
from catalogue.views.record_form import RecordForm
from catalogue.views.system_form import FenceSystemForm
from shared.business.models import Business
from shared.common.figures import use_decimal_sign
from shared.common.typed_numbers import typed_number
from tests.forms import system_entries

API = "/api/v1"
QUIET = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

words = ["", "0", "-1", "1e9", "NaN", "2026-02-30", "9999-12-31", "0001-01-01", "rail", "ostrel", "HG-1", "S", "12.5"]
odd = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=8),
    st.sampled_from([*words, "\u202e", "é" * 70]),
    st.lists(st.text(max_size=3), max_size=3),
    st.lists(st.lists(st.sampled_from(["0", "1", "x", "9" * 30]), max_size=3), max_size=3),
    st.dictionaries(st.text(max_size=3), st.integers(), max_size=2),
)
HEADS = {
    "components": b"sku,name,role",
    "supplier_prices": b"supplier,sku,price,valid_from",
    "price_rules": b"kind,applies_to,valid_from",
}
files = st.one_of(st.binary(max_size=200), st.text(max_size=200).map(str.encode))
ASKED = ["as_of", "cursor", "page_size", "q", "role", "finish", "sku", "ordering"]
near = {
    "sku": "S", "role": "latch", "code": "c", "name": "N", "kind": "labour", "applies_to": "dig", "value": "3",
    "component": "HG-1", "supplier": "ostrel", "price": "1", "valid_from": "2099-01-01",
}  # fmt: skip


@pytest.mark.django_db
@given(data=st.data())
@QUIET
@pytest.mark.parametrize("name", RESOURCES)
def test_any_body_is_taken_or_refused_with_a_pointer(
    owner_client: Client, stocked: Business, name: str, data: st.DataObject
) -> None:
    fields = list(RESOURCES[name].body().fields)
    body: Any = {field: near[field] for field in fields if field in near}
    body |= data.draw(st.dictionaries(st.sampled_from([*fields, "business", "id"]), odd, max_size=4))
    answer = owner_client.post(f"{API}/{name}", json.dumps(body), content_type="application/json")
    assert answer.status_code in {201, 400, 422}, (body, answer.content)
    if answer.status_code == 422:
        assert all(error["pointer"].startswith("#") for error in answer.json()["errors"])


@pytest.mark.django_db
@given(data=st.data())
@QUIET
def test_any_fence_system_is_taken_or_refused(owner_client: Client, stocked: Business, data: st.DataObject) -> None:
    document = dict(FenceSystemVersion.objects.of(stocked).filter(number=1)[0].document)
    key = data.draw(st.sampled_from(sorted(document)))
    document[key] = data.draw(odd)
    answer = owner_client.post(f"{API}/fence-systems", json.dumps(document), content_type="application/json")
    assert answer.status_code in {201, 400, 422}, (document, answer.content)


@pytest.mark.django_db
@given(text=files, kind=st.sampled_from(list(HEADS)))
@QUIET
def test_any_file_is_taken_or_refused(owner_client: Client, stocked: Business, text: bytes, kind: str) -> None:
    for content in (text, HEADS[kind] + b"\n" + text):
        answer = owner_client.post(f"{API}/imports?kind={kind}&dry_run=true", content, content_type="text/csv")
        assert answer.status_code in {200, 422}, (content, answer.content)


@pytest.mark.django_db
@given(query=st.dictionaries(st.sampled_from(ASKED), st.text(max_size=20), max_size=3))
@example(query={"q": "a\x00b"})
@example(query={"sku": "\x00"})
@QUIET
def test_any_question_is_answered_or_refused(owner_client: Client, stocked: Business, query: dict[str, str]) -> None:
    assert owner_client.get(f"{API}/components", query).status_code in {200, 400}


OFFERS = RESOURCES["supplier-prices"]
STORED = {
    "component": "CH-1", "supplier": "YARD", "price": "1.7800", "pack_size": "5.000", "minimum_quantity": "0.000",
    "price_breaks": [["10", "4.50"]], "valid_from": "2026-01-01",
}  # fmt: skip
STARTER: dict[str, Any] = json.loads(Path("demo/catalogue/corrugated-50.json").read_text())


def _errors(business: Business, sign: str, posted: str) -> dict[str, Any]:
    with use_decimal_sign(sign):
        return {**RecordForm(OFFERS, business, data=QueryDict(posted)).errors}


def _document(before: dict[str, Any], texts: dict[str, str]) -> dict[str, Any]:
    form = FenceSystemForm(before, data=texts)
    form.full_clean()
    return form.document


@pytest.mark.django_db
@pytest.mark.parametrize(("sign", "price", "price_breaks"), [(".", "1.78", "10 4.50"), (",", "1,78", "10 4,50")])
def test_a_stored_row_is_shown_as_somebody_would_type_it_and_read_as_it_was(
    business: Business, sign: str, price: str, price_breaks: str
) -> None:
    data = {"price": price, "pack_size": "5", "minimum_quantity": "0", "price_breaks": price_breaks}
    with use_decimal_sign(sign):
        form = RecordForm(OFFERS, business, initial=STORED)
        assert {name: form[name].value() for name in data} == data
        values = {name: form.fields[name].clean(text) for name, text in data.items()}
    assert values == {"price": "1.78", "pack_size": "5", "minimum_quantity": "0", "price_breaks": [["10", "4.50"]]}


@pytest.mark.django_db
@pytest.mark.parametrize(("sign", "text"), [(".", "1,200"), (",", "1.200")])
def test_what_may_be_thousands_or_decimals_is_refused_in_words(business: Business, sign: str, text: str) -> None:
    data = _errors(business, sign, f"component=CH-1&supplier=YARD&price={text}&valid_from=2026-01-01")
    with use_decimal_sign(sign):
        assert typed_number(f"1{sign}200") == "1.200"  # its own sign is clear
    assert data == {"price": [f"Enter a number such as 1200{sign}50, without a separator for thousands."]}


@pytest.mark.django_db
def test_pairs_that_cannot_be_read_are_stated_in_the_words_of_the_form(business: Business) -> None:
    data = _errors(business, ".", "component=C&supplier=Y&price=1&price_breaks=ten 4&valid_from=2026-01-01")
    assert data == {"price_breaks": ["Write pairs as in the line below, semicolons between them: at most 20."]}


def test_a_fence_system_is_shown_and_kept_unchanged_with_a_comma() -> None:
    model = {**STARTER, "rake_max_deg": "10.5", "stock_lengths_mm": [2400, 3000]}
    with use_decimal_sign(","):
        texts = system_entries(model)
        assert texts["rake_max_deg"] == "10,5"
        assert json.dumps(_document(model, texts)) == json.dumps(model)
        assert _document(model, {**texts, "rake_max_deg": "11,5"})["rake_max_deg"] == "11.5"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("length", "meant"), [("2.4", 2_400), ("2400", 2_400), ("8'", 2_438), ("7' 10 1/2\"", 2_400), ("8'12", "8'12")]
)
def test_a_length_is_read_as_everywhere_else(business: Business, length: str, meant: object) -> None:
    assert RecordForm(RESOURCES["components"], business).fields["length_mm"].clean(length) == meant


@pytest.mark.django_db
@pytest.mark.parametrize(("kind", "meant"), [("markup", "5"), ("tax", "5"), ("labour", "5%")])
def test_a_percent_sign_is_read_where_the_amount_is_a_percentage(business: Business, kind: str, meant: str) -> None:
    form = RecordForm(RESOURCES["price-rules"], business, data={"kind": kind})
    assert form.fields["value"].clean("5%") == meant


def test_a_system_form_reads_feet_and_inches() -> None:
    assert _document(STARTER, {**system_entries(STARTER), "pitch_mm": "7' 10\""})["pitch_mm"] == 2_388
