"""A business is set up from nothing, and a second run changes nothing."""

from __future__ import annotations

import io
import re
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.core.management import CommandError, call_command
from django.test import Client

from catalogue import queries, services
from catalogue.engine import engine_input
from catalogue.engine.completeness import missing_items
from catalogue.models import Component, FenceSystemVersion, PriceRule, Supplier, SupplierPrice
from fencing.model.faults import Severity
from fencing.model.measure import (
    Finishes,
    Form,
    Gate,
    GateKind,
    Layout,
    Measure,
    Retrofit,
    Run,
    Station,
    Taper,
    Terminal,
)
from fencing.quantities.comparison_prices import EstimateWork, estimate_cost
from fencing.quantities.take_off import take_off
from shared.business.actors import SYSTEM
from shared.business.business_owned import BusinessOwned
from shared.business.models import Business, Person
from shared.database.audit_log import AuditEntry
from shared.members.invitations import accept
from shared.members.services import demo_sign_in
from tests.conftest import PASSWORD, Cast, accept_by_link

pytestmark = pytest.mark.django_db
ASKED = {
    "name": "Skerry Fencing",
    "city": "Skerry Point",
    "country": "NZ",
    "time_zone": "Pacific/Auckland",
    "currency": "NZD",
    "tax_name": "GST",
    "tax_rate": "15",
    "owner": "Me@Skerry.example",
}
FINISHES = ["emberloam", "fogthistle", "saltmarl"]


def run(**changes: str | bool) -> str:
    out = io.StringIO()
    call_command("start_business", stdout=out, **{**ASKED, **changes})
    return out.getvalue()


def counts(business: Business) -> list[int]:
    kinds: list[type[BusinessOwned]] = [Component, SupplierPrice, PriceRule, Supplier, FenceSystemVersion]
    return [kind.objects.of(business).count() for kind in kinds]


def test_a_business_is_started_with_everything_it_needs_to_quote() -> None:
    data = run()
    business = Business.objects.get()
    assert "corrugated-50" in data
    assert "still missing" not in data
    assert (business.name, business.currency, business.tax_name) == ("Skerry Fencing", "NZD", "GST")
    assert queries.price_rules_on(business).tax().rate == 15
    assert Supplier.objects.of(business).count() >= 2


def test_a_second_run_changes_nothing_not_even_what_the_owner_has_edited() -> None:
    run()
    business = Business.objects.get()
    rule = PriceRule.objects.of(business).get(kind="labour", applies_to="dig")
    rule.value = Decimal(99)
    rule.save()
    before = (counts(business), AuditEntry.objects.count(), Person.objects.count())
    assert "there already" in run()
    assert (counts(business), AuditEntry.objects.count(), Person.objects.count()) == before
    rule.refresh_from_db()
    assert rule.value == 99


def test_a_business_without_tax_is_started_with_a_rate_of_nothing() -> None:
    run(tax_rate="0")
    tax = queries.price_rules_on(Business.objects.get()).tax()
    assert (tax.category, tax.rate) == ("Z", Decimal(0))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"currency": "EURO"}, "ISO 4217"),
        ({"country": "New Zealand"}, "country"),
        ({"tax_rate": "fifteen"}, "number"),
        ({"tax_rate": "150"}, "below 100"),
    ],
)
def test_what_can_not_be_is_refused_in_words_and_nothing_is_left_behind(change: dict[str, str], message: str) -> None:
    with pytest.raises(CommandError, match=message):
        run(**change)
    assert not Business.objects.exists()
    assert not Person.objects.exists()


def run_typed(monkeypatch: pytest.MonkeyPatch, answers: list[str], passwords: list[str]) -> str:
    """Return the output of the command at a terminal."""
    given, secret, out = iter(answers), iter(passwords), io.StringIO()
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _: next(given))
    monkeypatch.setattr("getpass.getpass", lambda _: next(secret))
    call_command("start_business", stdout=out)
    assert [*given, *secret] == []
    return out.getvalue()


def test_an_answer_that_can_not_be_is_asked_for_again_and_the_others_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    answers = [
        "", "Skerry Fencing", "Skerry Point", "New Zealand", "nz", "", "Auckland", "Pacific/Auckland", "dollars",
        "nzd", "GST", "fifteen", "150", "15 %",
        "me", "me@skerry.example",
    ]  # fmt: skip
    good = "nine terns on the skerry"
    data = run_typed(monkeypatch, answers, ["short", good, "nine terns", good, good])
    business = Business.objects.get()
    assert (business.country, business.currency) == ("NZ", "NZD")
    assert queries.price_rules_on(business).tax().rate == 15
    assert Person.objects.get().check_password(good)
    for words in (
        "ISO 3166-1",
        "ISO 4217",
        "a number, such as",
        "below 100",
        "email: Enter",
        "12 characters",
        "differ",
    ):
        assert words in data, words


def test_a_password_nobody_could_set_on_the_pages_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("secret\n"))
    with pytest.raises(CommandError, match="too short"):
        call_command("start_business", password_stdin=True, **ASKED)
    assert not Business.objects.exists()


def test_an_owner_without_a_password_joins_by_a_link_that_is_mailed_and_printed(
    mailoutbox: list[EmailMessage], django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        output = run()
    member = Business.objects.get().members.get()
    assert member.accepted_at is None
    link = re.search(r"http://localhost:8000/welcome/\S+", output)
    assert link
    assert [letter.to for letter in mailoutbox] == [["me@skerry.example"]]
    assert "/welcome/" in str(mailoutbox[0].body)
    owner = accept_by_link(member)
    assert owner.get("/api/v1/business").json()["name"] == "Skerry Fencing"


def test_an_owner_who_has_an_account_keeps_its_password_and_has_to_accept(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("a password typed by another person\n"))
    run(owner=cast.stranger.email, password_stdin=True)
    cast.stranger.refresh_from_db()
    assert cast.stranger.check_password(PASSWORD)
    assert Business.objects.get(name="Skerry Fencing").members.get().accepted_at is None


def test_the_demonstration_never_replaces_an_owners_own_password(cast: Cast) -> None:
    assert demo_sign_in(business=cast.business, password="known to all here") is None
    cast.owner.refresh_from_db()
    assert cast.owner.check_password(PASSWORD)
    assert not cast.owner.is_superuser
    Person.objects.filter(pk=cast.owner.pk).update(password="!")
    for _ in range(2):
        person = demo_sign_in(business=cast.business, password="known to all here")
        assert person is not None
        assert person.check_password("known to all here")


def everything(finish: str) -> Measure:
    """A job that takes every role: level, stepped, raked, tapered, lattice, each kind of gate, retrofit."""
    finishes = Finishes(post=finish, rail=finish, sheet=finish)
    fall = (Station(0, 0), Station(9000, -500))
    all_hardware = ("hinges", "latch")
    runs = (
        Run("A", 12000, 1800, end=Terminal.CORNER, form=Form.LEVEL, layout=Layout.EVEN, finishes=finishes,
            gates=(Gate("A-G1", 3000, 1000, GateKind.SINGLE, 1800, hardware=all_hardware),)),
        Run("B", 9000, 1800, start=Terminal.CORNER, levels=fall, form=Form.STEPPED, finishes=finishes),
        Run("C", 9000, 1500, levels=fall, form=Form.RAKED, finishes=finishes, taper=Taper("end", 2, 900)),
        Run("D", 15000, 1840, lattice=340, form=Form.LEVEL, finishes=finishes,
            gates=(Gate("D-G1", 3000, 3000, GateKind.DOUBLE, 1840, 340), Gate("D-G2", 9000, 1600, GateKind.WIDE, 1500))),
    )  # fmt: skip
    return Measure("everything", "corrugated-50", runs, (Retrofit("R1", (2200, 2200, 1900), 340, finishes),))


@pytest.mark.parametrize("finish", FINISHES)
def test_every_role_of_a_job_can_be_priced_in_every_finish(stocked: Business, finish: str) -> None:
    system = engine_input.fence_system(stocked)
    prices = engine_input.price_list(stocked, system)
    job = take_off(everything(finish), system, prices)
    assert [notice for notice in job.notices if notice.severity is Severity.STOP] == []
    unpriced = {piece.role for piece in job.pieces if prices.piece(piece.role, piece.finish, piece.length) is None}
    assert unpriced == set()
    assert estimate_cost(prices, job.pieces, job.quantities, EstimateWork(holes=1)) is not None
    assert {"gate.stile", "gate.rail", "drop_bolt", "lattice_clip", "post.extension", "concrete.bag"} <= {
        row.role for row in job.quantities
    }
    assert job.concrete.bags


def test_the_starter_catalogue_lacks_nothing(stocked: Business) -> None:
    assert missing_items(stocked) == []


def test_two_suppliers_are_each_cheaper_in_something_so_that_a_split_pays(stocked: Business) -> None:
    market = engine_input.market(stocked)
    cheaper = set()
    for article in market.articles:
        offers = [
            (price.price, supplier.code)
            for supplier in market.suppliers
            if (price := market.price(article.sku, supplier.code))
        ]
        if len({price for price, _ in offers}) > 1:
            cheaper.add(min(offers)[1])
    assert cheaper == {"ostrel", "merrow"}
    assert {supplier.code: supplier.fee(Decimal(100)) for supplier in market.suppliers} == {"merrow": 42, "ostrel": 95}


def test_an_empty_business_is_led_to_the_starter_set_and_can_quote_by_it(client: Client) -> None:
    run(empty=True)
    business = Business.objects.get()
    client.force_login(accept(member=business.members.get()).person)
    assert 'href="/prices">Fence systems and prices</a>' in client.get("/").content.decode()
    assert "Load sample catalogue" in client.get("/prices").content.decode()
    page = client.post("/prices", follow=True).content.decode()
    assert "The sample catalogue is loaded" in page
    assert missing_items(business) == []
    assert queries.price_rules_on(business).tax().rate == 15  # the tax it was started with, and no second one
    before = counts(business)
    assert "something stored already" in client.post("/prices", follow=True).content.decode()
    assert counts(business) == before
    assert "Measure a new fence" in client.get("/").content.decode()


def test_the_starter_set_prices_soils_by_depth_and_old_fences_with_tipping() -> None:
    run()
    rules = queries.price_rules_on(Business.objects.get())
    words = rules.words
    rates = [rules.dig_rate(soil) for soil in words.soils]
    assert all(rate is not None and rate.included and rate.deeper for rate in rates)
    assert {"asbestos", "brick", "fibre cement", "sheet metal", "timber paling"} <= set(words.old_fences)
    assert words.hazardous == {"asbestos"}
    assert all(rules.disposal[kind] > 0 for kind in set(words.old_fences) - words.hazardous)
    assert rules.factors.loose("rock") > rules.factors.loose("sand") > 1


def test_rates_that_do_not_reach_the_holes_of_the_system_are_missing(stocked: Business) -> None:
    values = {"value": Decimal(150), "option": "400", "valid_from": date(2025, 1, 1)}
    services.add_dated(
        PriceRule(business=stocked, kind="labour", applies_to="dig.Basalt"), actor=SYSTEM, values=values, past=True
    )
    assert [(item.code, item.key) for item in missing_items(stocked)] == [("labour.missing", "dig_deeper.basalt")]
    assert PriceRule.objects.of(stocked).filter(applies_to="dig.basalt").exists()
