"""The content document against its schema, and what keeps a draft from being sent."""

from __future__ import annotations

import json
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from jsonschema import Draft202012Validator
from msgspec import ValidationError

from catalogue.models import Finish
from fencing.model.faults import InvalidDocument
from quotes.documents.scope_text import scope
from quotes.jobs.document_text import parsed
from quotes.quoting.content import CONTENT_SCHEMA, TITLE, Content, read_content, write_content
from quotes.quoting.content_document import assemble
from quotes.quoting.customer_responses import accept
from quotes.quoting.draft_setup import read_setup
from quotes.quoting.json_values import json_schema
from quotes.quoting.models import Revision
from quotes.quoting.party_documents import party_document
from quotes.quoting.queries import agreed, agreed_build, content_and_choices
from quotes.quoting.services import revise, send, start_quote
from quotes.quoting.variation_changes import standing_lines
from shared.business.models import Business
from tests.quotes.quoting.cast import PARTIES, actor_of, drafted, measure, new_job, sent, stock_up, token

pytestmark = pytest.mark.django_db
SCHEMA = Path(__file__).parents[3] / "quotes/quoting/schema/quote-content-2.json"
SETUP: dict[str, Any] = {
    "parties": PARTIES[:1],
    "options": [{"key": "mow", "label": "Mowing strip", "net": "200.00"}],
    "alternatives": [{"key": "low", "label": "Lower", "height_mm": 1500}],
    "extra_items": [{"label": "Permit", "net": "80.00"}],
    "discount": {"label": "Returning customer", "percent": "3"},
}


def _faults(text: str) -> list[str]:
    validator = Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8")))
    return [f"{list(fault.path)}: {fault.message[:200]}" for fault in validator.iter_errors(json.loads(text))]


@pytest.fixture
def alone(business: Business) -> Revision:
    """A quote with options, an alternative, an extra and a discount, sent to one party."""
    stock_up(business)
    return sent(business, SETUP, measure(12000, 7200))


def test_an_offer_is_what_its_schema_says(alone: Revision) -> None:
    assert _faults(alone.content) == []


def test_the_schema_is_generated_from_the_classes() -> None:
    assert json.loads(SCHEMA.read_text(encoding="utf-8")) == json_schema(Content, CONTENT_SCHEMA, TITLE)  # make schemas


@pytest.mark.parametrize(
    ("member", "value"),
    [("job", {"number": "J1", "label": "", "more": 1}), ("currency", "eur"), ("terms", None), ("builds", [])],
)
def test_a_content_with_a_wrong_member_is_not_read(alone: Revision, member: str, value: object) -> None:
    wrong = json.dumps({**json.loads(alone.content), member: value})
    assert _faults(wrong)
    with pytest.raises(ValidationError):
        read_content(wrong)


def test_a_content_is_written_as_it_was_read(alone: Revision) -> None:
    assert write_content(read_content(alone.content)) == alone.content


def test_a_variation_is_what_its_schema_says_and_stands_for_the_whole_fence(alone: Revision) -> None:
    accept(token=token(alone, "owner"), name="Ada", content_sha256=alone.content_sha256, choices={"options": ["mow"]})
    draft = revise(quote=alone.quote, actor=actor_of(alone.business))
    draft.setup = {**draft.setup, "extra_items": [{"label": "Second tap", "net": "95.00"}]}
    draft.save()
    varied = send(revision=draft, actor=actor_of(alone.business))
    assert _faults(varied.content) == []
    assert write_content(read_content(varied.content)) == varied.content
    difference = parsed(varied.content)["difference"]["lines"]
    assert [(line["change"], line["text"], line["net"]) for line in difference] == [("added", "Second tap", "95.00")]
    accept(token=token(varied, "owner"), name="Ada", content_sha256=varied.content_sha256)
    job = alone.quote.job
    varied.refresh_from_db()
    assert agreed(job) == varied
    build, lines = agreed_build(job), standing_lines(*content_and_choices(varied))
    assert build is not None
    assert build.measure["runs"][1]["id"] == "B"
    # everything agreed: both runs, what is for the job, the permit, the option that was chosen and the tap
    assert {"Permit", "Mowing strip", "Second tap"} <= {line.text for line in lines}


def test_a_finish_has_the_name_it_was_sent_with_whatever_it_is_called_later(alone: Revision) -> None:
    Finish.objects.of(alone.business).filter(code="saltmarl").update(name="Pale marl")
    shown = party_document(read_content(alone.content), "owner").build
    assert shown.finishes == {"saltmarl": "Saltmarl"}  # the only finish of this fence
    assert "Finish: post, rail and sheet Saltmarl." in scope(shown)[0].sentences


def test_lines_of_a_build_add_up_to_its_priced_costs_and_extras(alone: Revision) -> None:
    for build in parsed(alone.content)["builds"]:
        priced = sum(Decimal(line["net"]) for line in build["costing"])
        assert sum(Decimal(line["net"]) for line in build["lines"]) == priced + Decimal("80.00")
        # and each line is the sum of what its costs say is in it
        for line in build["lines"]:
            parts = [Decimal(row["allocated_to"].get(line["key"], 0)) for row in build["costing"]]
            assert sum(parts) == Decimal(line["net"]) or line["group"] == "extra"
        assert all(sum(map(Decimal, row["allocated_to"].values())) == Decimal(row["net"]) for row in build["costing"])
        cost = sum(Decimal(line["cost"]) for line in build["costing"])
        assert sum(Decimal(line["cost"]) for line in build["lines"]) == cost


def test_what_a_rule_takes_off_counts_all_lines_above_it(alone: Revision) -> None:
    for build in parsed(alone.content)["builds"]:
        lines = [(line["group"], Decimal(line["net"])) for line in build["lines"]]
        above = [net for group, net in lines if group not in {"discount", "rounding"}]
        [off], [rounding] = ([net for group, net in lines if group == name] for name in ("discount", "rounding"))
        assert [group for group, _ in lines][-3:] == ["extra", "discount", "rounding"]
        assert off == -(sum(above) * Decimal("0.03")).quantize(Decimal("0.01"), ROUND_HALF_UP)
        total = sum(above) + off + rounding
        assert (total % 1, abs(rounding) <= Decimal("0.50")) == (Decimal(0), True)  # the starter rounds to whole units


def test_a_build_tells_who_its_materials_are_priced_from(alone: Revision) -> None:
    for build in parsed(alone.content)["builds"]:
        orders, costing = build["buying"]["orders"], build["costing"]
        for category, name in (("materials", "goods"), ("delivery", "delivery")):
            cost = sum(Decimal(row["cost"]) for row in costing if row["category"] == category)
            assert sum(Decimal(order[name]) for order in orders) == cost
        assert all(row["reason"] for row in costing if row["category"] == "materials")
        total = sum(Decimal(order["total"]) for order in orders)
        assert all(
            total <= Decimal(item["total"]) for item in build["buying"]["single_supplier_options"] if item["total"]
        )


def test_a_measure_shared_with_somebody_unknown_is_not_sent(business: Business) -> None:
    stock_up(business)
    draft = drafted(business, {"parties": PARTIES[:1]})
    with pytest.raises(InvalidDocument) as refused:
        send(revision=draft, actor=actor_of(business))
    assert [fault.code for fault in refused.value.faults] == ["party.unknown"]


def test_a_finish_nobody_sells_is_refused_by_role(business: Business) -> None:
    stock_up(business)
    document = measure(7200)
    document["defaults"]["finishes"] = {"post": "saltmarl", "rail": "saltmarl", "sheet": "midnight"}
    draft = drafted(business, {"parties": PARTIES[:1]}, document)
    with pytest.raises(InvalidDocument) as refused:
        assemble(draft, now=timezone.now())
    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [("/catalogue/sheet", "price.missing")]


def test_parties_are_those_the_measure_names_the_customer_first(business: Business) -> None:
    stock_up(business)
    draft = drafted(business, {"site_visits": "1"})
    found = [(party.key, party.name, party.chooses_options) for party in draft.parties.order_by("position")]
    assert found == [("owner", "Ada Quill", True), ("neighbour", "Neighbour", False)]


def test_a_measure_of_another_job_is_refused(business: Business) -> None:
    stock_up(business)
    (job, _), (_, other) = new_job(business), new_job(business)
    with pytest.raises(InvalidDocument) as refused:
        start_quote(job=job, version=other, actor=actor_of(business))
    assert [fault.code for fault in refused.value.faults] == ["measure.of_another"]


TWICE = [{"key": "a", "label": "A", "net": "1"}, {"key": "a", "label": "B", "net": "1"}]
BAD_SETUPS = [
    ({"payments": [{"key": "a", "label": "All", "percent": "90", "milestone": "start"}]}, "/payments", "payments.sum"),
    ({"options": TWICE}, "/options/1/key", "key.twice"),
    ({"options": [{"key": "a", "label": "A", "net": 1.5}]}, "/options/0/net", "decimal"),
    ({"parties": [{"key": "a", "name": "A", "must_accept": False}]}, "/parties", "must_accept.none"),
    ({"parties": PARTIES, "default_shares": {"moon": "1"}}, "/default_shares/moon", "party.unknown"),
    ({"default_shares": {"owner": "2/3"}}, "/default_shares", "shares.sum"),
    # each of these would take minutes or overflow before it is rejected as a share
    ({"default_shares": {"owner": "1e99999999"}}, "/default_shares", "share"),
    ({"default_shares": {"owner": float("inf")}}, "/default_shares", "share"),
    ({"alternatives": [{"key": "base", "label": "X", "form": "raked"}]}, "/alternatives/0/key", "invalid"),
    ({"discout": {}}, "/discout", "unknown"),
]  # fmt: skip


@pytest.mark.parametrize(("setup", "pointer", "code"), BAD_SETUPS)
def test_a_setup_is_refused_with_the_place_of_its_fault(setup: dict[str, Any], pointer: str, code: str) -> None:
    with pytest.raises(InvalidDocument) as refused:
        read_setup(setup)
    assert (pointer, code) in [(fault.pointer, fault.code) for fault in refused.value.faults]
