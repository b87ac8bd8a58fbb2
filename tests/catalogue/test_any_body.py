"""Whatever is sent to the catalogue is taken or refused in words: never a fault of ours."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from catalogue.api.resources import RESOURCES
from catalogue.models import FenceSystemVersion
from shared.business.models import Business

pytestmark = pytest.mark.django_db
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


@given(data=st.data())
@QUIET
def test_any_fence_system_is_taken_or_refused(owner_client: Client, stocked: Business, data: st.DataObject) -> None:
    document = dict(FenceSystemVersion.objects.of(stocked).filter(number=1)[0].document)
    key = data.draw(st.sampled_from(sorted(document)))
    document[key] = data.draw(odd)
    answer = owner_client.post(f"{API}/fence-systems", json.dumps(document), content_type="application/json")
    assert answer.status_code in {201, 400, 422}, (document, answer.content)


@given(text=files, kind=st.sampled_from(list(HEADS)))
@QUIET
def test_any_file_is_taken_or_refused(owner_client: Client, stocked: Business, text: bytes, kind: str) -> None:
    for content in (text, HEADS[kind] + b"\n" + text):
        answer = owner_client.post(f"{API}/imports?kind={kind}&dry_run=true", content, content_type="text/csv")
        assert answer.status_code in {200, 422}, (content, answer.content)


@given(query=st.dictionaries(st.sampled_from(ASKED), st.text(max_size=20), max_size=3))
@example(query={"q": "a\x00b"})
@example(query={"sku": "\x00"})
@QUIET
def test_any_question_is_answered_or_refused(owner_client: Client, stocked: Business, query: dict[str, str]) -> None:
    assert owner_client.get(f"{API}/components", query).status_code in {200, 400}
