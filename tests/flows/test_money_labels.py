"""Every amount on a page, on a paper and in an e-mail states whether it is before tax or including tax."""

from __future__ import annotations

from typing import Any

import pytest
from django.template.loader import render_to_string
from django.test import Client

from quotes.documents import pdf
from quotes.documents.kinds import KINDS
from quotes.documents.kinds.acceptance import receipt_letter
from quotes.quoting.emails import quote_letter
from quotes.quoting.models import PartyResponse, SignedLink
from tests.browser.test_every_page import PAGES, world
from tests.matrix.world import World
from tests.money_labels import LABEL, MONEY, unlabelled_amounts
from tests.quotes.documents.test_layout import agreed, business_with, every_paper, fence, quoted

__all__ = ["world"]


@pytest.mark.django_db
def test_every_amount_on_a_page_has_its_label(world: World, owner_client: Client) -> None:
    errors: list[str] = []
    for addresses in PAGES.values():
        for address in addresses(world):
            response = owner_client.get(address, follow=True)
            if response["Content-Type"].startswith("text/html"):
                errors += [f"{address}: {error}" for error in unlabelled_amounts(response.content.decode())]
    assert not errors, "\n".join(errors)


@pytest.mark.slow
@pytest.mark.django_db
def test_every_amount_on_a_paper_has_its_label(monkeypatch: pytest.MonkeyPatch) -> None:
    papers: list[str] = []

    def record(template: str, values: dict[str, Any]) -> str:
        papers.append(render_to_string(template, values))
        return papers[-1]

    monkeypatch.setattr(pdf, "render_to_string", record)
    kinds = {kind for kind, _ in every_paper(agreed(quoted(business_with(), fence(1))))}
    assert kinds == set(KINDS)
    errors = [error for paper in papers for error in unlabelled_amounts(paper)]
    assert not errors, "\n".join(errors)
    assert sum("including tax" in paper for paper in papers) >= 3  # quote, acceptance record, order list


@pytest.mark.slow
@pytest.mark.django_db
def test_every_amount_in_a_mail_to_a_party_has_its_label() -> None:
    revision = agreed(quoted(business_with(), fence(1)))
    letters = [receipt_letter(answer, b"").body for answer in PartyResponse.objects.of(revision.business)]
    letters += [quote_letter(link).body for link in SignedLink.objects.of(revision.business)]
    amounts = [part for body in letters for part in body.split("\n\n") if MONEY.search(part)]
    assert amounts
    assert [part for part in amounts if not LABEL.search(part)] == []


@pytest.mark.parametrize(
    ("page", "count"),
    [
        ("<table><thead><tr><th>Item<th>NZD</thead><tbody><tr><td>Fence<td>4,135.00</table>", 1),
        ("<table><thead><tr><th>Item<th>NZD, before tax</thead><tbody><tr><td>Fence<td>4,135.00</table>", 0),
        ("<table><tbody><tr><th>Total including tax<td>$4,135.00</table>", 0),
        ("<table><tbody><tr><th>Total<td>$4,135.00</table>", 1),
        ("<dl><dt>Total<dd><b>$4,135.00</b></dl><p>Total including tax: $4,135.00</p>", 1),
    ],
)  # fmt: skip
def test_an_amount_without_a_label_is_found(page: str, count: int) -> None:
    assert len(unlabelled_amounts(f"<html><body>{page}</body></html>")) == count
