"""The setup of a draft: how its form is read, soils and old fences by known words, and jobs of any size."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from django.http import QueryDict
from django.utils import timezone

from fencing.model.faults import InvalidDocument
from quotes.jobs.document_text import parsed
from quotes.quoting.content import read_content
from quotes.quoting.content_document import assemble
from quotes.quoting.customer_responses import accept
from quotes.quoting.draft_form import DraftForm
from quotes.quoting.draft_setup import DraftSetup, read_setup
from quotes.quoting.json_values import JsonObject
from quotes.quoting.models import Revision
from quotes.quoting.services import change_draft, revise, send
from quotes.quoting.totals import sums
from shared.business.models import Business
from tests.quotes.quoting.cast import PARTIES, actor_of, drafted, measure, sent, stock_up, token

NOTHING_STORED: JsonObject = {}
STORED = {"extra_items": [{"label": "Tap", "net": "95", "quantity": "2"}], "hire": {"auger": "1"}}


def _form(stored: JsonObject = NOTHING_STORED, /, **fields: str) -> DraftForm:
    posted = QueryDict(mutable=True)
    posted.update({name.replace("__", "-"): text for name, text in fields.items()})
    return DraftForm(stored, posted)


def _setup_from(stored: JsonObject = NOTHING_STORED, /, **fields: str) -> DraftSetup:
    form = _form(stored, **fields)
    assert form.is_valid()
    return form.setup


TWO_PARTIES = {
    "parties__0__name": "Ada", "parties__0__must_accept": "1",
    "parties__1__name": "Ben", "parties__1__must_accept": "1", "chooses_options": "ada",
}  # fmt: skip


@pytest.mark.parametrize("height", ["1.5", "1,5", "1500", "1500 mm", "1.5 m", "4' 11 1/16\""])
def test_the_height_of_an_alternative(height: str) -> None:
    setup = _setup_from(alternatives__0__label="Lower", alternatives__0__height_mm=height)
    assert setup.alternatives[0].height_mm == 1_500


def test_percent_signs_are_read() -> None:
    setup = _setup_from(
        discount__percent="5%", payments__0__label="First", payments__0__percent="40 %", payments__0__milestone="acceptance",
        payments__1__label="Rest", payments__1__percent="60", payments__1__milestone="completion", height_limit_mm="1.8",
    )  # fmt: skip
    assert setup.discount is not None
    assert setup.site_conditions is not None
    assert (setup.discount.label, setup.discount.percent) == ("Discount", Decimal(5))
    assert [row.percent for row in setup.payments] == [Decimal(40), Decimal(60)]
    assert setup.site_conditions.height_limit_mm == 1_800


@pytest.mark.parametrize(
    ("first", "second", "shares"),
    [
        ("60%", "40%", {"ada": "3/5", "ben": "2/5"}), ("60/40", "", {"ada": "3/5", "ben": "2/5"}),
        ("half each", "", {"ada": "1/2", "ben": "1/2"}), ("1/3", "2/3", {"ada": "1/3", "ben": "2/3"}),
        ("0,5", "half", {"ada": "1/2", "ben": "1/2"}),
    ],
)  # fmt: skip
def test_shares_of_the_parties(first: str, second: str, shares: dict[str, str]) -> None:
    setup = _setup_from(**TWO_PARTIES, parties__0__share=first, parties__1__share=second)
    assert setup.default_shares == {key: Fraction(share) for key, share in shares.items()}
    assert [party.chooses_options for party in setup.parties] == [True, False]


def test_the_page_changes_nothing_that_it_has_no_field_for() -> None:
    setup = _setup_from(STORED, extra_items__0__label="Tap", extra_items__0__net="100")
    assert [(row.net, row.quantity) for row in setup.extra_items] == [(Decimal(100), Decimal(2))]
    assert setup.hire == {"auger": Decimal(1)}


def test_an_empty_row_is_no_row_and_errors_stay_with_the_row_that_was_typed() -> None:
    form = _form(
        STORED, extra_items__0__net="", extra_items__1__label="Gate lock", extra_items__1__net="a lot",
        validity_days="many",
    )  # fmt: skip
    assert not form.is_valid()
    extras = form.sections["extra_items"]
    assert [row["net"].fault for row in extras] == [
        "",
        "Enter a number such as 1200.50, without a separator for thousands.",
        "",
    ]
    assert [row["net"].value() for row in extras] == ["", "a lot", ""]
    assert form.terms.errors == {"validity_days": ["A valid integer is required."]}


def test_payments_that_do_not_add_up_leave_a_row_for_the_next_payment() -> None:
    form = _form(payments__0__label="Deposit", payments__0__percent="40", payments__0__milestone="start")
    assert not form.is_valid()
    payments = form.sections["payments"]
    assert [*payments.non_form_errors()] == ["The payments add up to 40 %, not to 100 %."]
    assert [row["label"].value() for row in payments] == ["Deposit", ""]


def test_errors_of_other_places_are_returned() -> None:
    form = _form(**TWO_PARTIES, parties__0__share="1/3")
    assert not form.is_valid()
    assert [*form.sections["parties"].non_form_errors()] == ["Shares are not negative and add up to exactly 1."]
    faults = {
        "/setup/alternatives": "No alternatives.",
        "/discount/rule": "Unknown rule.",
        "/runs/0/soil": "Unknown soil.",
    }
    assert form.show_faults(faults) == ["Unknown soil."]
    assert [*form.sections["alternatives"].non_form_errors()] == ["No alternatives."]
    assert form.discount.errors == {"rule": ["Unknown rule."]}


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
        revision=draft,
        actor=actor_of(business),
        setup=read_setup({**OWNER, "extra_items": [{"label": "Tap", "net": "95"}]}),
    )
    assert parsed(send(revision=draft, actor=actor_of(business)).content)["override"] is None


@pytest.mark.django_db
def test_the_form_of_an_extra_offers_the_hazardous_kinds_and_no_others() -> None:
    def choices(setup: dict[str, Any], hazardous: tuple[str, ...]) -> list[tuple[str, str]]:
        row = DraftForm(setup, hazardous=hazardous).sections["extra_items"][0]
        return [choice for field in row if field.name == "licensed_removal" for choice in field.choices]

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
