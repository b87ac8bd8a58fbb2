"""The setup of a draft: how its form is read, soils and old fences by known words, and jobs of any size."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.http import QueryDict
from django.utils import timezone

from fencing.model.faults import InvalidDocument
from quotes.jobs.document_text import parsed
from quotes.quoting.content import read_content
from quotes.quoting.content_document import assemble
from quotes.quoting.customer_responses import accept
from quotes.quoting.draft_form import read_draft, sections
from quotes.quoting.draft_setup import read_setup
from quotes.quoting.models import Revision
from quotes.quoting.services import change_draft, revise, send
from quotes.quoting.totals import sums
from shared.business.models import Business
from tests.quotes.quoting.cast import PARTIES, actor_of, drafted, measure, sent, stock_up, token


def _setup_from(**fields: str) -> dict[str, Any]:
    posted = QueryDict(mutable=True)
    posted.update({name.replace("__", "-"): text for name, text in fields.items()})
    return read_setup(read_draft(posted, {}))


TWO_PARTIES = {
    "parties__0__name": "Ada", "parties__0__must_accept": "1",
    "parties__1__name": "Ben", "parties__1__must_accept": "1", "chooses_options": "ada",
}  # fmt: skip


@pytest.mark.parametrize("height", ["1.5", "1,5", "1500", "1500 mm", "1.5 m", "4' 11 1/16\""])
def test_the_height_of_an_alternative(height: str) -> None:
    setup = _setup_from(alternatives__0__label="Lower", alternatives__0__height_mm=height)
    assert setup["alternatives"][0]["height_mm"] == 1_500


def test_percent_signs_are_read() -> None:
    setup = _setup_from(
        discount__percent="5%", payments__0__label="First", payments__0__percent="40 %", payments__0__milestone="acceptance",
        payments__1__label="Rest", payments__1__percent="60", payments__1__milestone="completion", height_limit_mm="1.8",
    )  # fmt: skip
    assert setup["discount"]["percent"] == "5"
    assert [row["percent"] for row in setup["payments"]] == ["40", "60"]
    assert setup["site_conditions"]["height_limit_mm"] == 1_800


@pytest.mark.parametrize(
    ("first", "second", "shares"),
    [
        ("60%", "40%", {"ada": "3/5", "ben": "2/5"}), ("60/40", "", {"ada": "3/5", "ben": "2/5"}),
        ("half each", "", {"ada": "1/2", "ben": "1/2"}), ("1/3", "2/3", {"ada": "1/3", "ben": "2/3"}),
        ("0,5", "half", {"ada": "1/2", "ben": "1/2"}),
    ],
)  # fmt: skip
def test_shares_of_the_parties(first: str, second: str, shares: dict[str, str]) -> None:
    assert _setup_from(**TWO_PARTIES, share__ada=first, share__ben=second)["default_shares"] == shares


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


@pytest.mark.django_db
def test_a_soil_costs_the_same_however_it_is_spelled(business: Business) -> None:
    rock = total(business, soil="rock")
    assert total(business, soil="Rock") == total(business, soil=" ROCK ") == rock
    assert rock > total(business, soil="clay")


@pytest.mark.django_db
@pytest.mark.parametrize("soil", ["hard rock", "reef"])
def test_an_unknown_soil_is_refused_with_the_soils_that_are_known(business: Business, soil: str) -> None:
    with pytest.raises(InvalidDocument, match="clay, gravel, loam, rock, sand, shale") as refused:
        drafted(business, OWNER, measure(9000, soil=soil))
    assert [fault.pointer for fault in refused.value.faults] == ["/runs/0/soil"]


@pytest.mark.django_db
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


@pytest.mark.django_db
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


@pytest.mark.django_db
def test_a_hazardous_old_fence_may_be_overridden_with_a_reason(business: Business) -> None:
    reason = "The customer has it taken down before we come."
    content = parsed(
        send(revision=old_fence(business, "asbestos"), actor=actor_of(business), override_reason=reason).content
    )
    assert content["override"]["reason"] == reason
    assert "asbestos" in content["override"]["stops"][0]


@pytest.mark.django_db
def test_a_variation_keeps_the_contractor_that_was_agreed(business: Business) -> None:
    offer = send(revision=old_fence(business, "asbestos", extra_items=[PAID]), actor=actor_of(business))
    accept(token=token(offer, "owner"), name="Ada Quill", content_sha256=offer.content_sha256)
    draft = revise(quote=offer.quote, actor=actor_of(business))
    change_draft(
        revision=draft, actor=actor_of(business), setup={**OWNER, "extra_items": [{"label": "Tap", "net": "95"}]}
    )
    assert parsed(send(revision=draft, actor=actor_of(business)).content)["override"] is None


@pytest.mark.django_db
def test_the_form_of_an_extra_offers_the_hazardous_kinds_and_no_others() -> None:
    def choices(setup: dict[str, Any], hazardous: tuple[str, ...]) -> list[tuple[str, str]]:
        [extras] = [section for section in sections(setup, {}, hazardous) if section.name == "extra_items"]
        return [choice for box in extras.rows[0] if box.name.endswith("licensed_removal") for choice in box.choices]

    assert choices({}, ("asbestos",)) == [("", ""), ("asbestos", "asbestos")]
    assert choices({}, ()) == []
    assert choices({"extra_items": [PAID]}, ()) == [("", ""), ("Asbestos", "Asbestos")]


@pytest.mark.django_db
def test_sixty_scattered_runs_are_quoted_although_no_page_holds_their_plan(business: Business) -> None:
    document = measure(1000)
    document["runs"] = [
        {"id": f"R{place}", "length_mm": 4000 + 431 * place, "basis": "centres", "form": "stepped",
         "layout": ("even", "from_start", "full_rails")[place % 3], "levels": [[0, 0], [4000, -3 * place]]}
        for place in range(60)
    ]  # fmt: skip
    content = assemble(drafted(business, {"parties": PARTIES[:1]}, document), now=timezone.now())
    build = content.builds[0]
    assert len([line for line in build.lines if line.group == "fence"]) == 60
    assert build.drawings.elevation
    assert sums(content).total > 0


@pytest.mark.django_db
def test_a_job_of_one_short_bay_is_quoted_at_no_less_than_the_least_charge(business: Business) -> None:
    content = assemble(drafted(business, {"parties": PARTIES[:1]}, measure(600)), now=timezone.now())
    assert sums(content).net == 680  # the starter's least job charge
