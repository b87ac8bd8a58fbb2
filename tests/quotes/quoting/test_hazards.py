"""Soils and old fences as a quote prices them: known words only, and nothing hazardous without its price or a reason."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from fencing.model.faults import InvalidDocument
from quotes.jobs.document_text import parsed
from quotes.quoting.content import read_content
from quotes.quoting.customer_responses import accept
from quotes.quoting.draft_form import sections
from quotes.quoting.draft_setup import read_setup
from quotes.quoting.models import Revision
from quotes.quoting.services import change_draft, revise, send
from quotes.quoting.totals import sums
from shared.models import Business
from tests.quotes.quoting.cast import actor_of, drafted, measure, sent, stock_up, token

pytestmark = pytest.mark.django_db
OWNER: dict[str, Any] = {"parties": [{"key": "owner", "name": "Ada Quill", "chooses_options": True}]}
PAID = {"label": "Asbestos removal by a licensed contractor", "net": "1900", "licensed_removal": "Asbestos"}


@pytest.fixture
def business(business: Business) -> Business:
    stock_up(business)
    return business


def total(business: Business, **run: Any) -> Decimal:
    return sums(read_content(sent(business, OWNER, measure(9000, **run)).content)).total


def old_fence(business: Business, kind: str, **setup: Any) -> Revision:
    return drafted(business, {**OWNER, **setup}, measure(9000, existing_fence={"kind": kind}))


def test_a_soil_costs_the_same_however_it_is_spelled(business: Business) -> None:
    rock = total(business, soil="rock")
    assert total(business, soil="Rock") == total(business, soil=" ROCK ") == rock
    assert rock > total(business, soil="clay")


@pytest.mark.parametrize("soil", ["hard rock", "reef"])
def test_an_unknown_soil_is_refused_with_the_soils_that_are_known(business: Business, soil: str) -> None:
    with pytest.raises(InvalidDocument, match="clay, gravel, loam, rock, sand, shale") as refused:
        drafted(business, OWNER, measure(9000, soil=soil))
    assert [fault.pointer for fault in refused.value.faults] == ["/runs/0/soil"]


def test_an_old_fence_keeps_its_tipping_charge_however_it_is_spelled(business: Business) -> None:
    def built(kind: str) -> dict[str, Any]:
        build: dict[str, Any] = parsed(sent(business, OWNER, measure(9000, existing_fence={"kind": kind})).content)[
            "builds"
        ][0]
        return build

    plain, capital = (built(kind)["lines"] for kind in ("timber paling", "Timber paling"))
    assert [line["net"] for line in plain] == [line["net"] for line in capital]
    keys = {row["key"] for row in built("BRICK")["costing"]}
    assert {"labour.remove.brick", "disposal.brick"} <= keys


def test_a_hazardous_old_fence_stops_the_quote_until_a_contractor_is_priced(business: Business) -> None:
    draft = old_fence(business, "Asbestos")
    with pytest.raises(InvalidDocument, match="licensed contractor") as refused:
        send(revision=draft, actor=actor_of(business))
    assert [fault.pointer for fault in refused.value.faults] == ["/override_reason"]
    for unpaid in ({**PAID, "net": "0"}, {**PAID, "licensed_removal": "brick"}):
        change_draft(revision=draft, actor=actor_of(business), setup=read_setup({**OWNER, "extra_items": [unpaid]}))
        with pytest.raises(InvalidDocument, match="licensed contractor"):
            send(revision=draft, actor=actor_of(business))
    change_draft(revision=draft, actor=actor_of(business), setup=read_setup({**OWNER, "extra_items": [PAID]}))
    content = parsed(send(revision=draft, actor=actor_of(business)).content)
    assert content["override"] is None
    keys = {row["key"] for row in content["builds"][0]["costing"]}
    assert not {key for key in keys if "remove" in key or "asbestos" in key}


def test_a_hazardous_old_fence_may_be_overridden_with_a_reason(business: Business) -> None:
    reason = "The customer has it taken down before we come."
    content = parsed(
        send(revision=old_fence(business, "asbestos"), actor=actor_of(business), override_reason=reason).content
    )
    assert content["override"]["reason"] == reason
    assert "asbestos" in content["override"]["stops"][0]


def test_a_variation_keeps_the_contractor_that_was_agreed(business: Business) -> None:
    offer = send(revision=old_fence(business, "asbestos", extra_items=[PAID]), actor=actor_of(business))
    accept(token=token(offer, "owner"), name="Ada Quill", content_sha256=offer.content_sha256)
    draft = revise(quote=offer.quote, actor=actor_of(business))
    change_draft(
        revision=draft, actor=actor_of(business), setup={**OWNER, "extra_items": [{"label": "Tap", "net": "95"}]}
    )
    assert parsed(send(revision=draft, actor=actor_of(business)).content)["override"] is None


def test_the_form_of_an_extra_offers_the_hazardous_kinds_and_no_others() -> None:
    def choices(setup: dict[str, Any], hazardous: tuple[str, ...]) -> list[tuple[str, str]]:
        [extras] = [section for section in sections(setup, {}, hazardous) if section.name == "extra_items"]
        return [choice for box in extras.rows[0] if box.name.endswith("licensed_removal") for choice in box.choices]

    assert choices({}, ("asbestos",)) == [("", ""), ("asbestos", "asbestos")]
    assert choices({}, ()) == []
    assert choices({"extra_items": [PAID]}, ()) == [("", ""), ("Asbestos", "Asbestos")]
