"""Every page there is, by the URL table: no violation that axe-core finds, nothing over the edge, at four widths, light and dark.

A page without an entry here fails; so does an entry without a page.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any, Literal
from urllib.parse import urlsplit

import pytest
from django.urls import URLPattern, URLResolver, get_resolver
from playwright.sync_api import Browser, CDPSession, Page, expect

from catalogue.api.resources import RESOURCES
from catalogue.models import FenceSystem
from quotes.jobs.measure_services import save_draft
from quotes.jobs.models import StoredMeasure
from quotes.quoting.models import Revision
from quotes.quoting.services import start_quote
from shared.business.models import Member
from shared.members.invitations import address_of
from shared.models import Business
from tests.browser.looking import faults_of, new_page, photograph, sign_in, too_wide
from tests.conftest import Cast
from tests.matrix.world import World, world_of
from tests.quotes.quoting.cast import PARTIES, actor_of, entered, new_job

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Addresses = Callable[[World], list[str]]


def _one(address: str) -> Addresses:
    return lambda world: [re.sub(r"<([^>]+)>", lambda found: world.refs[found[1]], address)]


def _welcome(world: World) -> str:
    """Return the invitation link of a member without a password."""
    member = Member.objects.select_related("person").get(ref=world.refs["member"])
    member.person.set_unusable_password()
    member.person.save()
    return urlsplit(address_of(member)).path


PAGES: dict[str, Addresses] = {
    "sign-in": _one("/sign-in"),
    "welcome": lambda world: [_welcome(world), "/welcome/no-user/no-token"],
    "today": _one("/"),
    "search": lambda world: ["/search", "/search?q=reed", "/search?q=nothing+like+it"],
    "jobs": lambda world: ["/jobs", "/jobs?status=built"],
    "new-job": _one("/jobs/new"),
    "job": _one("/jobs/<job>"),
    "job-details": _one("/jobs/<job>/details"),
    "job-materials": lambda world: [f"/jobs/{world.refs[kind]}/materials" for kind in ("job", "unpriced")],
    "job-takeoff": _one("/jobs/<job>/take-off"),
    "job-measure": _one("/jobs/<job>/measure"),
    "measure": _one("/measures/<draft>"),
    "measure-options": _one("/measures/<measure>/options/0"),
    "measure-versions": lambda world: [f"/measures/{world.refs[kind]}/versions" for kind in ("measure", "draft")],
    "measure-version": _one("/measures/<measure>/versions/1"),
    "takeoff": _one("/measures/<measure>/take-off"),
    "job-price": lambda world: [f"/jobs/{world.refs['job']}/price", f"/jobs/{world.refs['unpriced']}/price"],
    "quotes": _one("/quotes"),
    "revision": lambda world: [f"/revisions/{world.refs[kind]}" for kind in ("revision", "unsent")],
    "enter-quote": lambda world: [f"/q/{world.token}", "/q/nothing-to-see"],
    "party-quote": lambda world: [],  # where enter-quote leads
    "job-build": _one("/jobs/<job>/build"),
    "orders": lambda world: ["/orders", "/orders?status=closed"],
    "order": _one("/orders/<order>"),
    "deliveries": _one("/deliveries"),
    "delivery": _one("/deliveries/<order>"),
    "job-orders": lambda world: [f"/jobs/{world.refs['job']}/orders", f"/jobs/{world.refs['unpriced']}/orders"],
    "stock": _one("/stock"),
    "stock-item": _one("/stock/<stock item>"),
    "accounting": _one("/accounting"),
    "prices": _one("/prices"),
    "import-file": _one("/prices/import"),
    "fence-system": _one("/prices/systems/<fence system>"),
    "new-fence-system": _one("/prices/systems/new?from=<fence system>"),
    "prices-list": lambda world: [f"/prices/{name}" for name in RESOURCES],
    "prices-new": lambda world: [f"/prices/{name}/new" for name in RESOURCES],
    "prices-row": _one("/prices/components/<component>"),
    "settings": _one("/settings"),
    "accounts": _one("/settings/accounts"),
    "members": _one("/settings/members"),
    "keys": _one("/settings/keys"),
    "webhooks": _one("/settings/webhooks"),
    "webhook": _one("/settings/webhooks/<hook>"),
    "supplier-keys": _one("/settings/supplier-keys"),
    "api-docs": _one("/api/docs/"),
    "api-problem": _one("/api/docs/problems/conflict"),
}
NO_PAGE = {
    "sign-out", "choose-business", "member", "key", "job-note", "job-move", "job-copy", "archive-customer", "party-link",
    "revise-quote", "answer-question", "reservation", "build-ticks", "build-record", "measure-height",
    "letter-again", "test-mail",  # answer a button and lead on
    "healthz", "readyz", "offline-worker", "prices-sheet", "preview-pdf", "kept-pdf", "party-pdf",
    "party-record", "screening-annex",  # files
    "measure-run-fields",  # a part of a page
}  # fmt: skip
PICTURED = {
    "welcome": "welcome", "search": "search", "job-details": "job-details", "job-materials": "materials",
    "measure-options": "options",
    "measure-versions": "measure-versions", "quotes": "quotes", "orders": "orders", "stock-item": "stock-item",
    "keys": "keys", "webhooks": "webhooks", "supplier-keys": "supplier-keys", "api-docs": "api-docs",
}  # fmt: skip
"""Pages that no other test pictures, by the name of the picture; the first address of each."""
PARTS = 3
"""The pages are divided, so that several workers share them."""
OTHERS = ["/nothing-here", "/jobs/nothing"]  # pages that do not exist


def _names(patterns: list[URLPattern | URLResolver], before: str = "") -> Iterator[tuple[str, str]]:
    for pattern in patterns:
        address = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _names(pattern.url_patterns, address)
        elif not address.startswith(("api/v1/", "admin")):
            yield str(pattern.name), address


def test_every_address_is_a_page_here_or_says_why_not() -> None:
    there = {name for name, _ in _names(get_resolver().url_patterns)}
    assert there == PAGES.keys() | NO_PAGE
    assert not PAGES.keys() & NO_PAGE


@pytest.fixture
def world(business: Business, cast: Cast) -> World:
    """One of everything, and beside it a quote that is not sent, a measure that is not finished and a job without a price."""
    made = world_of(business, cast.supplier)
    actor = actor_of(business)
    job, version = new_job(business)
    unsent: Revision = start_quote(job=job, version=version, actor=actor, setup=entered({"parties": PARTIES}))
    unpriced, another = new_job(business)
    draft: StoredMeasure = save_draft(
        measure=another.measure, text='{"schema": "measure-2", "runs": [{"id": "A", "length_mm": "x"}]}'
    )
    system = FenceSystem.objects.of(business).get(is_default=True)
    refs = {"unsent": unsent.ref, "unpriced": unpriced.ref, "draft": draft.ref, "fence system": system.ref}
    return World({**made.refs, **refs}, made.inner, made.token)


def _everywhere(world: World) -> list[tuple[str, str]]:
    """Every address, with the name its picture has, if any."""
    found: list[tuple[str, str]] = []
    for name, addresses in PAGES.items():
        found += [(address, PICTURED.get(name, "") if not at else "") for at, address in enumerate(addresses(world))]
    return found + [(address, "" if at else "not-found") for at, address in enumerate(OTHERS)]


@pytest.mark.parametrize("part", range(PARTS))
def test_every_page_is_accessible_and_keeps_to_its_sheet(
    browser: Browser, world: World, cast: Cast, signed_in: Any, live_server: Any, part: int
) -> None:
    """Each page is opened once, and looked at on a phone in light and on a laptop in dark colours."""
    found: list[str] = []
    with new_page(browser) as page:
        sign_in(page, signed_in(cast.owner), live_server.url)
        device = page.context.new_cdp_session(page)
        for address, name in _everywhere(world)[part::PARTS]:
            _resize(page, device, 320, "light")
            page.goto(live_server.url + address)
            found += [f"{address} at 320 px: {fault}" for fault in faults_of(page)]
            _resize(page, device, 360, "light")
            found += [f"{address} at 360 px: {fault}" for fault in too_wide(page)]
            _picture(page, name)
            _resize(page, device, 768, "dark")
            found += [f"{address} at 768 px: {fault}" for fault in too_wide(page)]
            _resize(page, device, 1280, "dark")
            found += [f"{address} at 1280 px: {fault}" for fault in faults_of(page)]
            _resize(page, device, 1280, "light")
            _picture(page, name)
    assert not found, "\n".join(found)


def _resize(page: Page, device: CDPSession, width: int, scheme: Literal["light", "dark"]) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme=scheme)
    device.send("Emulation.setTouchEmulationEnabled", {"enabled": width < 500})  # a phone's links are larger


def _picture(page: Page, name: str) -> None:
    if name:
        photograph(page, name)


@pytest.mark.parametrize("width", [1280, 360])
def test_the_door_is_accessible_before_and_after_a_wrong_password(
    browser: Browser, cast: Cast, live_server: Any, width: int
) -> None:
    with new_page(browser, width) as page:
        page.goto(f"{live_server.url}/sign-in")
        assert faults_of(page) == []
        photograph(page, "sign-in")
        page.get_by_label("E-mail").fill("unknown@nowhere.example")
        page.get_by_label("Password").fill("not the password of anybody")
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_role("alert")).to_contain_text("Not signed in")
        assert faults_of(page) == []


def test_an_empty_business_has_accessible_pages_too(
    browser: Browser, cast: Cast, signed_in: Any, live_server: Any
) -> None:
    found: list[str] = []
    empty = ("/", "/jobs", "/quotes", "/orders", "/stock", "/accounting", "/prices", "/prices/supplier-prices",
             "/settings/webhooks", "/settings/keys", "/settings/supplier-keys")  # fmt: skip
    with new_page(browser, 360) as page:
        sign_in(page, signed_in(cast.stranger), live_server.url)
        for address in empty:
            page.goto(live_server.url + address)
            found += [f"{address}: {fault}" for fault in faults_of(page)]
    assert not found, "\n".join(found)
