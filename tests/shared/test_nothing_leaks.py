"""Tests that no page or address shows records of another business."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction
from django.test import Client

from shared.business.business_owned import OwnedQuerySet, owned_models
from shared.models import Business
from tests.conftest import Cast
from tests.matrix.addresses import NOBODYS, cases
from tests.matrix.world import World, world_of

pytestmark = pytest.mark.django_db
REF = re.compile(r"\b[0-9A-Za-z]{22}\b")
LINK = re.compile(r'href="(/[^"#]*)"')
ELSEWHERE = re.compile(r"/(admin|static|api|sign-out|q)/|\.pdf|/sign-out")
ALIKE = 2  # pages of one kind that are looked at: two components stand for all of them
TOLD = ("text/html", "application/json", "text/csv", "application/xml")


def refs_of(business: Business) -> dict[str, str]:
    """Every row of a business: its ref, which no other row has, and what it is."""
    return {
        ref: model._meta.label
        for model in owned_models()
        for ref in model.objects.of(business).values_list("ref", flat=True)
    } | {business.ref: "shared.Business"}


def text_of(client: Client, path: str) -> str:
    """Return a response as text. Changes made by reading are rolled back."""
    with transaction.atomic():
        answer: Any = client.get(path)
        content = b"".join(answer.streaming_content) if answer.streaming else answer.content
        transaction.set_rollback(True)
    return content.decode(errors="replace") if answer["Content-Type"].startswith(TOLD) else ""


def pages(client: Client) -> Iterator[tuple[str, str]]:
    """Every page that can be reached from the first by following links."""
    waiting, seen, kinds = ["/"], {"/"}, Counter[str]()
    while waiting:
        path = waiting.pop(0)
        page = text_of(client, path)
        yield path, page
        for link in LINK.findall(page):
            kind = REF.sub("*", link.partition("?")[0])
            if link not in seen and not ELSEWHERE.search(link) and kinds[kind] < ALIKE:
                seen.add(link)
                kinds[kind] += 1
                waiting.append(link.replace("&amp;", "&"))


def answers(client: Client, world: World, *, supply: bool) -> Iterator[tuple[str, str]]:
    """Every address of the API that reads, with the world's own rows."""
    for case in cases():
        if case.method == "GET" and case.address.startswith("supply/") == supply and case.stem not in NOBODYS:
            path = case.path(world.refs.get(case.holder, ""), world.inner)
            yield path, text_of(client, path)


def leaks(responses: Iterator[tuple[str, str]], others: dict[str, str]) -> list[str]:
    """Return the addresses that showed records of others, with those records."""
    found = [(path, {others[ref] for ref in REF.findall(text) if ref in others}) for path, text in responses]
    return [f"{path}: {', '.join(sorted(labels))}" for path, labels in found if labels]


def test_nobody_is_shown_a_row_of_another_business_and_it_would_be_seen(
    cast: Cast, owner_client: Client, key_client: Any, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.RATE_QUOTA = 1_000_000
    own = world_of(cast.business, cast.supplier)
    world_of(cast.strangers_business, cast.other_supplier)
    others = refs_of(cast.strangers_business)
    assert len(set(others.values())) > 25
    supplier = key_client(supplier=cast.supplier)

    shown = [*pages(owner_client), *answers(owner_client, own, supply=False)]
    assert len(shown) > 100
    assert sum(bool(text) for _, text in shown) > 90
    assert leaks(iter(shown), others) == []
    assert leaks(answers(supplier, own, supply=True), others) == []

    # the same with the scope switched off: what this looks for is found. Lists that PostgreSQL writes out by itself were
    # made with their business in them and keep it, so on it fewer addresses tell
    monkeypatch.setattr(OwnedQuerySet, "owned_by", lambda rows, business: rows.all())
    owner_client.raise_request_exception = False
    assert len(leaks(answers(owner_client, own, supply=False), others)) > 1
    assert len(leaks(pages(owner_client), others)) > 9
