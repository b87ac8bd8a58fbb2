"""Schemas of documents, served to anybody."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.test import Client
from jsonschema import Draft202012Validator

ROOT = Path(__file__).resolve().parents[3]
FILES = {
    path.stem: path for folder in ("fencing", "quotes/quoting") for path in (ROOT / folder / "schema").glob("*.json")
}
NAMES = sorted(FILES)

pytestmark = pytest.mark.django_db


def test_the_list_leads_to_every_schema() -> None:
    listed = Client().get("/api/v1/schemas").json()["items"]
    assert [row["name"] for row in listed] == NAMES
    for row in listed:
        assert Client().get(row["href"]).json()["title"] == row["title"]


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_is_served_without_a_key_as_it_is_in_the_repository(name: str) -> None:
    answer = Client().get(f"/api/v1/schemas/{name}.json")
    assert answer.status_code == 200
    assert answer["Content-Type"].startswith("application/schema+json")
    assert answer.json() == json.loads(FILES[name].read_text())
    Draft202012Validator.check_schema(answer.json())


@pytest.mark.parametrize("name", ["measure-1", "..", "measure-2.json.json", "%2e%2e%2fmeasure-1"])
def test_what_is_no_schema_is_not_found(name: str) -> None:
    answer = Client().get(f"/api/v1/schemas/{name}")
    assert answer.status_code == 404
