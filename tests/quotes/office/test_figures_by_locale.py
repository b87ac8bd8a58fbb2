"""Figures of a business: one price on every page, with its own decimal sign, of which what is stored has none."""

from __future__ import annotations

import copy
import html
import re
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from quotes.jobs.models import StoredMeasure
from quotes.office.measure_fields import sheet_fields
from quotes.office.measure_form import read_fields
from quotes.office.measure_preview import draw
from quotes.office.run_fields import FormChoices
from shared.common.figures import use_decimal_sign
from shared.common.money import TaxRoundingLevel, shown
from shared.models import Business
from tests.quotes.quoting.cast import drafted, measure, new_job, stock_up
from tests.quotes.quoting.cast import sent as send_quote

POINTED = re.compile(r"\d\.\d+ ?(?:m|m³|kPa|%|°)(?!\w)|[+−±]\d+\.\d{3}|(?<![\d.])\d+\.\d{3}(?![\d.,])")
"""A measured figure with a point before its decimals."""


def sloped() -> dict[str, Any]:
    """Return a raked run of 14.400 m with a fall of 0.900 m and a gate, another after a turn of 12.5°, and a screening."""
    document = measure(14400, 6000)
    gate = {"id": "G", "from_mm": 3000, "opening_mm": 1000}
    document["runs"][0] |= {"levels": [[0, 0], [14400, -900]], "form": "raked", "gates": [gate]}
    document["runs"][1]["turn_deg"] = Decimal("12.5")
    document["strength"] = {"method": "given_pressure", "pressure_kpa": "0.30", "soil_class": "clay"}
    return document


@pytest.fixture
def german(business: Business) -> StoredMeasure:
    business.locale = "de_DE"
    business.save()
    stock_up(business)
    _, version = new_job(business, sloped())
    return version.measure


def words(page: bytes) -> str:
    """Return the readable text of a page: text, titles and field values, without coordinates of drawings."""
    text = page.decode()
    shown = [*re.findall(r">([^<>]+)<", text), *re.findall(r'(?:value|aria-label)="([^"]*)"', text)]
    return html.unescape("\n".join(shown))


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["/measures/{}", "/measures/{}/take-off", "/measures/{}/versions/1"])
def test_no_page_of_a_german_business_has_a_point_before_decimals(
    german: StoredMeasure, owner_client: Client, address: str
) -> None:
    text = words(owner_client.get(address.format(german.ref)).content)
    assert "14,400" in text
    assert [line for line in text.splitlines() if POINTED.search(line)] == []


@pytest.mark.django_db
def test_an_english_business_has_a_point_there_and_the_api_has_it_everywhere(
    german: StoredMeasure, business: Business, owner_client: Client
) -> None:
    data = owner_client.get(f"/api/v1/measures/{german.ref}/take-off").json()
    assert data["strength"]["inputs"]["pressure_kpa"] == "0.30"
    business.locale = "en_NZ"
    business.save()
    assert "14.400" in words(owner_client.get(f"/measures/{german.ref}/take-off").content)


def test_what_stands_in_the_fields_is_read_back_as_the_same_document() -> None:
    document = copy.deepcopy(sloped())
    document["retrofits"] = [{"id": "R", "bays_mm": [2200, 2310], "lattice_mm": 340}]
    offered = FormChoices([("corrugated-50", "Corrugated")], [("saltmarl", "Saltmarl")], [340])
    read = []
    for sign in ".,":
        with use_decimal_sign(sign):
            shown = {field.name: field.value for field in sheet_fields(document, offered).all()}
        assert shown["runs/0/length_mm"] == f"14{sign}400"
        assert shown["strength/pressure_kpa"] == f"0{sign}30"
        assert shown["runs/1/turn_deg"] == f"12{sign}5"
        assert shown["retrofits/0/bays_mm"] == f"2{sign}200 2{sign}310"
        read.append(read_fields(shown, document))
    assert read[0] == read[1]
    assert [run["length_mm"] for run in read[1]["runs"]] == [14400, 6000]
    assert read[1]["runs"][1]["turn_deg"] == Decimal("12.5")
    assert read[1]["strength"]["pressure_kpa"] == "0.30"


THIRDS = {"owner": "1/3", "left": "1/3", "right": "1/3"}
FENCES: dict[str, dict[str, Any]] = {
    "one run": measure(9_000),
    "three runs": measure(12_000, 7_200, 4_150),
    "shared by two": measure(12_000, 7_200, shares={"owner": "1/2", "neighbour": "1/2"}),
    "shared by three": measure(8_400, 5_300, 6_700, shares=THIRDS),
    "named late in the alphabet first": measure(9_100, 3_300, shares={"west": "1/3", "east": "2/3"}),
    "stepped": measure(11_000, 6_300, form="stepped", height_mm=1500),
}


@pytest.mark.parametrize("at", list(TaxRoundingLevel))
@pytest.mark.parametrize("fence", FENCES)
def test_the_measure_page_states_the_total_of_the_quote(business: Business, fence: str, at: TaxRoundingLevel) -> None:
    stock_up(business, "15.5")
    business.tax_rounding = at.value
    business.save()
    revision = send_quote(business, {"introduction": "Hello"}, FENCES[fence])
    assert revision.total is not None
    page = draw(business, FENCES[fence])
    assert page.total == shown(revision.total, business.currency, business.locale)


def test_parties_are_the_same_in_whatever_order_shares_were_typed(business: Business) -> None:
    stock_up(business)
    keys = [
        [
            party.key
            for party in drafted(business, {"introduction": "Hello"}, measure(9_000, shares=shares)).parties.all()
        ]
        for shares in ({"west": "1/3", "east": "2/3"}, {"east": "2/3", "west": "1/3"})
    ]
    assert keys == [["east", "west"]] * 2
