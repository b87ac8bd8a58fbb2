"""Measuring in Chromium: typed as a tape is read, drawn at once, kept through a lost connection, by thumb and by keyboard."""

from __future__ import annotations

import gzip
import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Response, expect

from quotes.jobs.measuring import save_draft, start_measure
from quotes.jobs.models import MeasureVersion, StoredMeasure
from shared.models import Business
from tests.browser.dead_spot import tunnel
from tests.browser.looking import check_page, new_page, photograph, sign_in
from tests.conftest import Cast
from tests.quotes.offers.cast import actor_of, measure, new_job, stock_up

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WEIGHT = 150_000
LENGTH = "#f-runs-0-length_mm"


@pytest.fixture
def empty(business: Business) -> StoredMeasure:
    """A measure somebody has just begun, of a business that measured once before."""
    stock_up(business)
    job, _ = new_job(business, measure(9000))
    return start_measure(job=job, actor=actor_of(business), label="New boundary")


@pytest.fixture(params=[1280, 360])
def page(browser: Browser, request: Any, cast: Cast, signed_in: Any, live_server: Any) -> Iterator[Page]:
    with new_page(browser, request.param) as page:
        sign_in(page, signed_in(cast.estimator), live_server.url)
        yield page


@pytest.fixture
def wide(browser: Browser, cast: Cast, signed_in: Any, live_server: Any) -> Iterator[Page]:
    with new_page(browser, 1280) as page:
        sign_in(page, signed_in(cast.estimator), live_server.url)
        yield page


def _open(page: Page, live_server: Any, measure: StoredMeasure) -> None:
    page.goto(f"{live_server.url}/measures/{measure.ref}")


def _kept(page: Page) -> None:
    expect(page.locator("#keeping")).to_have_text("kept")
    assert page.evaluate("Object.keys(localStorage).length") == 0


def _looked_after(page: Page) -> None:
    """The service worker has taken the page on, and has a copy of it."""
    for _ in range(100):
        if page.evaluate("!!(navigator.serviceWorker && navigator.serviceWorker.controller)"):
            break
        page.wait_for_timeout(50)
    page.reload()
    expect(page.locator("#drawing")).to_be_visible()


def _draft(measure: StoredMeasure) -> dict[str, Any]:
    measure.refresh_from_db()
    draft: dict[str, Any] = json.loads(measure.draft)
    return draft


@pytest.mark.parametrize("typed", ["18.24", "18,24 m", "18240"])
def test_a_length_is_understood_as_it_is_typed_and_said_back(
    wide: Page, live_server: Any, empty: StoredMeasure, typed: str
) -> None:
    _open(wide, live_server, empty)
    wide.fill(LENGTH, typed)
    expect(wide.locator(f"{LENGTH}-said")).to_have_text("18.240 m")
    expect(wide.locator("#drawing svg").first).to_be_visible()
    _kept(wide)
    assert _draft(empty)["runs"] == [{"end": "free", "id": "A", "length_mm": 18240, "start": "free"}]


def test_a_stepped_corner_with_a_gate_is_measured_drawn_and_kept(
    page: Page, live_server: Any, empty: StoredMeasure
) -> None:
    _open(page, live_server, empty)
    check_page(page)
    page.fill(LENGTH, "18.24")
    page.select_option("#f-runs-0-ground", "fall")
    page.fill("#f-runs-0-levels-1-1", "-0,9")
    expect(page.locator("#f-runs-0-levels-1-1-said")).to_have_text("-0.900 m")
    page.get_by_role("button", name="Round the corner: next run").click()
    expect(page.locator("#f-runs-1-length_mm")).to_be_focused()
    page.keyboard.type("11.76")
    expect(page.locator("#f-runs-1-length_mm-said")).to_have_text("11.760 m")
    before = page.locator("#answer").inner_text()
    page.locator("#drawing svg").last.locator("[data-bay='A-3']").first.dispatch_event("click")
    expect(page.locator("#f-runs-0-gates-0-opening_mm")).to_be_focused()
    assert page.locator("#answer").inner_text() != before
    check_page(page)
    photograph(page, "measure")
    page.get_by_role("button", name="Keep and take off").click()
    expect(page.get_by_role("heading", name="Quantities")).to_be_visible()
    check_page(page)
    photograph(page, "take-off")
    document = json.loads(MeasureVersion.objects.of(empty.business).get(measure=empty).document)
    assert [run["length_mm"] for run in document["runs"]] == [18240, 11760]
    assert document["runs"][1]["turn_deg"] == 90
    assert len(document["runs"][0]["gates"]) == 1


def test_a_fault_stands_at_its_field_and_in_a_summary_that_takes_the_focus(
    page: Page, live_server: Any, empty: StoredMeasure
) -> None:
    _open(page, live_server, empty)
    page.fill(LENGTH, "eighteen")
    expect(page.locator(LENGTH)).to_have_attribute("aria-invalid", "true")
    expect(page.locator(f"{LENGTH}-said")).to_contain_text("'eighteen' won't do here; write a length, such as 18.24")
    page.get_by_role("button", name="Keep and take off").click()
    expect(page.locator("#summary")).to_be_focused()
    check_page(page)
    photograph(page, "measure-fault")
    page.reload()
    expect(page.locator(LENGTH)).to_have_value("eighteen")


def test_enter_moves_on_and_never_sends(wide: Page, live_server: Any, empty: StoredMeasure) -> None:
    _open(wide, live_server, empty)
    wide.focus(LENGTH)
    wide.keyboard.type("6")
    wide.keyboard.press("Enter")
    expect(wide.locator("#f-runs-0-start")).to_be_focused()


def test_the_keyboard_alone_measures_and_keeps(wide: Page, live_server: Any, empty: StoredMeasure) -> None:
    _open(wide, live_server, empty)
    wide.focus(LENGTH)
    wide.keyboard.type("6 m")
    expect(wide.locator(f"{LENGTH}-said")).to_have_text("6.000 m")
    _tab_to(wide, "Keep and take off")
    wide.keyboard.press("Enter")
    expect(wide.get_by_role("heading", name="Quantities")).to_be_visible()


def _tab_to(page: Page, words: str) -> None:
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent.trim()") == words:
            return
    raise AssertionError(f"{words} can't be reached by Tab")


def test_every_way_to_build_a_run_has_its_price_and_is_one_tap_away(
    page: Page, live_server: Any, empty: StoredMeasure
) -> None:
    _open(page, live_server, empty)
    page.fill(LENGTH, "18.24")
    _kept(page)
    page.get_by_role("link", name="Ways to build it, with prices").click()
    rows = page.locator("#ways-0 table").first.locator("tbody tr")
    expect(rows).to_have_count(3)
    check_page(page)
    page.get_by_role("button", name="Build it so: raked").first.click()
    expect(page.locator("#f-runs-0-form")).to_have_value("raked")
    _kept(page)
    assert _draft(empty)["runs"][0]["form"] == "raked"


def test_what_was_typed_without_a_connection_survives_a_closed_tab_and_is_sent_once(
    wide: Page, live_server: Any, empty: StoredMeasure
) -> None:
    with tunnel(live_server.url) as way:
        _open(wide, way, empty)
        _looked_after(wide)
        context = wide.context
        way.cut(context)
        wide.fill(LENGTH, "18.24")
        expect(wide.locator("#keeping")).to_have_text("kept here, not sent yet")
        wide.get_by_role("button", name="Round the corner: next run").click()
        expect(wide.locator("#f-runs-1-length_mm")).to_be_focused()
        wide.keyboard.type("7.5")
        wide.close()
        again = context.new_page()
        again.goto(f"{way.url}/measures/{empty.ref}")
        expect(again.locator(LENGTH)).to_have_value("18.24")
        expect(again.locator("#f-runs-1-length_mm")).to_have_value("7.5")
        before = empty.version
        way.mend(context)
        _kept(again)
        assert [run["length_mm"] for run in _draft(empty)["runs"]] == [18240, 7500]
        assert empty.version == before + 1


def test_two_devices_are_put_side_by_side_and_nothing_is_written_over(
    wide: Page, live_server: Any, empty: StoredMeasure, browser: Browser, cast: Cast, signed_in: Any
) -> None:
    _open(wide, live_server, empty)
    with new_page(browser, 360) as phone:
        sign_in(phone, signed_in(cast.owner), live_server.url)
        _open(phone, live_server, empty)
        phone.fill(LENGTH, "7")
        _kept(phone)
    wide.fill(LENGTH, "9")
    expect(wide.get_by_role("alertdialog")).to_contain_text("Typed in two places")
    check_page(wide)
    photograph(wide, "measure-conflict")
    assert _draft(empty)["runs"][0]["length_mm"] == 7000
    wide.get_by_role("button", name="Keep mine, drop the other").click()
    _kept(wide)
    assert _draft(empty)["runs"][0]["length_mm"] == 9000


def test_signing_out_leaves_no_cache_and_no_draft(wide: Page, live_server: Any, empty: StoredMeasure) -> None:
    _open(wide, live_server, empty)
    _looked_after(wide)
    wide.evaluate("localStorage.setItem('draft:x', '1')")
    wide.on("dialog", lambda dialog: dialog.accept())
    wide.locator("details.who summary").click()
    wide.get_by_role("button", name="Sign out").click()
    expect(wide.get_by_role("heading", name="Sign in")).to_be_visible()
    assert wide.evaluate("caches.keys().then((names) => names.length + localStorage.length)") == 0


def test_the_sheet_works_without_script(
    browser: Browser, live_server: Any, empty: StoredMeasure, cast: Cast, signed_in: Any
) -> None:
    with new_page(browser, 360, script=False) as plain:
        sign_in(plain, signed_in(cast.estimator), live_server.url)
        _open(plain, live_server, empty)
        plain.fill(LENGTH, "18.24")
        plain.get_by_role("button", name="Draw").last.click()
        expect(plain.locator("#drawing svg").first).to_be_visible()
        plain.get_by_role("button", name="Add a gate").click()
        plain.fill("#f-runs-0-gates-0-from_mm", "4.5")
        plain.get_by_role("button", name="Keep and take off").click()
        expect(plain.get_by_role("heading", name="Quantities")).to_be_visible()


@pytest.mark.parametrize("runs", [0, 60])
def test_no_run_and_sixty_runs_fit_the_sheet(page: Page, live_server: Any, business: Business, runs: int) -> None:
    stock_up(business)
    job, _ = new_job(business, measure(9000))
    document = measure(9000) | {"label": "A boundary with an uncommonly long name " * 4}
    document["runs"] = [{"id": f"R{number}", "length_mm": 4000 + number} for number in range(runs)]
    kept = save_draft(measure=start_measure(job=job, actor=actor_of(business)), text=json.dumps(document))
    _open(page, live_server, kept)
    expect(page.locator("fieldset[data-run]")).to_have_count(runs)
    check_page(page)
    if not runs:  # sixty runs are more than a picture holds
        photograph(page, "measure-no-run")


def test_the_sheet_weighs_less_than_150_kb_and_paints_soon(wide: Page, live_server: Any, business: Business) -> None:
    stock_up(business)
    job, version = new_job(business, measure(30000, 30000))
    answers: list[Response] = []
    wide.on("response", lambda answer: answers.append(answer))
    _open(wide, live_server, version.measure)
    wide.wait_for_load_state("networkidle")
    weights = {one.url: len(gzip.compress(one.body())) for one in answers if one.ok and "worker" not in one.url}
    assert sum(weights.values()) < WEIGHT, weights
    paint = wide.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    assert paint < 2_000
    assert job.ref
    assert not re.search(r'\sstyle="|<style', wide.content())
