"""Discounts of the price rules on a quote: given by themselves, picked, or left out."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from catalogue.rules.price_rule_lines import rule_faults
from quotes.jobs import measure_services, services
from quotes.jobs.models import JobState
from quotes.office.management.commands.quote import explained
from quotes.office.measure_preview import draw
from quotes.quoting.draft_setup import read_setup
from quotes.quoting.queries import content_of
from quotes.quoting.services import send, start_quote
from shared.business.models import Person
from shared.common.money import rounded, shown
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press
from tests.quotes.quoting.cast import BOTH, PARTIES, actor_of, drafted, measure, new_job, sent, stock_up

SignIn = Callable[[Person], Client]


def discount(content: Any) -> list[tuple[str, Decimal]]:
    lines = content.builds[0].lines
    return [(line.text, line.net) for line in lines if line.group == "discount"]


def test_a_shared_fence_gets_the_discount_for_neighbours_and_explain_says_why(business: Business) -> None:
    stock_up(business)
    content = content_of(sent(business, {"parties": PARTIES}, measure(12000, shares=BOTH)))
    above = [line.net for line in content.builds[0].lines if line.group not in ("discount", "rounding")]
    assert discount(content) == [("Cost shared with neighbours", -rounded(sum(above, Decimal(0)) * 2 / 100, 2))]
    (data,) = [text for text in explained(content) if text.startswith("Cost shared")]
    assert data.endswith("Price rule neighbours: 2 parties share the cost")


def test_a_customer_who_accepted_a_job_before_gets_the_discount_on_page_and_quote(business: Business) -> None:
    stock_up(business)
    job, version = new_job(business, measure(9000))
    first = send(revision=start_quote(job=job, version=version, actor=actor_of(business)), actor=actor_of(business))
    assert discount(content_of(first)) == []
    services.move_job(job=job, to=JobState.ACCEPTED, actor=actor_of(business))
    again = services.open_job(customer=job.customer, site=job.site, label="Front", actor=actor_of(business))
    kept = measure_services.start_measure(job=again, document=measure(9000), actor=actor_of(business))
    newest = measure_services.newest(kept)
    assert newest is not None
    second = send(revision=start_quote(job=again, version=newest, actor=actor_of(business)), actor=actor_of(business))
    assert [label for label, _ in discount(content_of(second))] == ["For returning customers"]
    assert second.total is not None
    page = draw(business, measure(9000), returning=True)
    assert page.total == shown(second.total, business.currency, business.locale)


def test_the_estimator_picks_a_discount_or_none_on_the_draft(business: Business, signed_in: SignIn, cast: Cast) -> None:
    stock_up(business)
    draft, client = drafted(business, None, measure(12000, shares=BOTH)), signed_in(cast.owner)
    page = client.get(f"/revisions/{draft.ref}").content.decode()
    for text in (
        "Automatic: the largest",
        "Cost shared with neighbours, 2 %",
        "For returning customers, 3 %",
        "No discount",
    ):
        assert text in page
    for rule, label in (("prompt", "Paid in full on acceptance"), ("none", None)):
        press(client, f"/revisions/{draft.ref}", {"do": "save", "discount-rule": rule})
        draft.refresh_from_db()
        assert draft.setup["discount"] == {"rule": rule}
        data = client.get(f"/revisions/{draft.ref}").content.decode()
        assert f'value="{rule}" selected' in data
        lines = data.split("Costs and prices", 1)[-1]
        assert ("Price rule prompt, picked on the quote" in lines) is (label is not None)
        assert "2 parties share the cost" not in lines


@pytest.mark.parametrize("key", ["none", "gold"])
def test_a_rule_and_an_entry_of_its_own_are_not_both_a_discount(key: str) -> None:
    with pytest.raises(Exception, match="not both"):
        read_setup({"discount": {"rule": key, "percent": "3"}})


def test_who_gets_a_discount_is_one_of_three_and_none_is_no_name() -> None:
    assert rule_faults("discount", "regular", Decimal(3), "returning") == []
    assert rule_faults("discount", "regular", Decimal(3), "") == []
    assert [field for field, _ in rule_faults("discount", "regular", Decimal(3), "gold")] == ["option"]
    assert [field for field, _ in rule_faults("discount", "none", Decimal(3), "")] == ["applies_to"]
