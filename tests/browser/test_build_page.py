"""The crew's page in Chromium on a phone: ticks without a connection, a reload in the dead spot, sent afterwards."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from quotes.jobs.models import AsBuilt, ChecklistEntry, Job
from quotes.quoting.customer_responses import accept
from shared.models import Business
from tests.browser.dead_spot import tunnel
from tests.browser.looking import check_page, new_page, photograph, sign_in
from tests.conftest import Cast
from tests.quotes.quoting.cast import PARTIES, measure, sent, stock_up, token

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def job(business: Business) -> Job:
    stock_up(business)
    revision = sent(business, {"parties": PARTIES[:1]}, measure(7200))
    accept(token=token(revision, "owner"), name="Ada Quill", content_sha256=revision.content_sha256)
    return Job.objects.of(business).get()


@pytest.mark.parametrize("width", [360, 1280])
def test_the_sheet_is_readable_and_ticks_reach_the_office(
    browser: Browser, cast: Cast, signed_in: Any, job: Job, live_server: Any, width: int
) -> None:
    with new_page(browser, width) as page:
        sign_in(page, signed_in(cast.crew), live_server.url)
        page.goto(f"{live_server.url}/jobs/{job.ref}/build")
        check_page(page)
        page.get_by_label("Hole A-P1 dug").check()
        expect(page.locator("#progress")).to_have_text("All changes sent.")
        # five holes and four bays
        expect(page.locator("#count")).to_have_text("1 of 9")
        photograph(page, "build")
    assert ChecklistEntry.objects.of(job.business).get().done


def test_ticks_made_without_a_connection_survive_a_reload_and_are_sent_later(
    browser: Browser, cast: Cast, signed_in: Any, job: Job, live_server: Any
) -> None:
    with tunnel(live_server.url) as way, new_page(browser, 360) as page:
        sign_in(page, signed_in(cast.crew), way.url)
        page.goto(f"{way.url}/jobs/{job.ref}/build")
        page.wait_for_selector("html[data-saved-offline=yes]")
        way.cut(page.context)
        page.get_by_label("Hole A-P2 dug").check()
        expect(page.locator("#progress")).to_contain_text("1 not sent, saved")
        page.reload()
        expect(page.get_by_label("Hole A-P2 dug")).to_be_checked()
        assert not ChecklistEntry.objects.of(job.business).exists()
        way.restore(page.context)
        expect(page.locator("#progress")).to_have_text("All changes sent.")
    assert ChecklistEntry.objects.of(job.business).get().place == "A-P2"


def test_what_is_recorded_without_a_connection_is_shown_survives_a_reload_and_is_sent_once(
    browser: Browser, cast: Cast, signed_in: Any, job: Job, live_server: Any
) -> None:
    with tunnel(live_server.url) as way, new_page(browser, 360) as page:
        sign_in(page, signed_in(cast.crew), way.url)
        page.goto(f"{way.url}/jobs/{job.ref}/build")
        page.wait_for_selector("html[data-saved-offline=yes]")
        way.cut(page.context)
        page.get_by_label("Hole A-P2 dug").check()
        page.get_by_label("Type", exact=True).select_option("used")
        page.get_by_label("Part", exact=True).select_option("rail")
        page.get_by_label("Quantity").fill("3")
        page.get_by_role("button", name="Record").click()
        expect(page.locator("#unsent li")).to_contain_text("3 rail")
        expect(page.locator("#progress")).to_contain_text("2 not sent, saved")
        check_page(page)
        photograph(page, "build-not-sent")
        page.reload()
        expect(page.locator("#unsent li")).to_contain_text("3 rail")
        assert not AsBuilt.objects.of(job.business).exists()
        way.restore(page.context)
        expect(page.locator("#progress")).to_have_text("All changes sent.")
        expect(page.locator("#unsent")).to_be_hidden()
        expect(page.locator("#built")).to_contain_text("rail")
        way.cut(page.context)
        page.get_by_role("button", name="Undo entry").click()
        expect(page.locator("#unsent li")).to_contain_text("Undo entry")
        way.restore(page.context)
        expect(page.locator("#progress")).to_have_text("All changes sent.")
    assert sorted(row.quantity for row in AsBuilt.objects.of(job.business)) == [-3, 3]
    assert ChecklistEntry.objects.of(job.business).get().place == "A-P2"


def test_an_entry_that_says_too_little_is_not_kept_and_one_that_waits_can_be_changed(
    browser: Browser, cast: Cast, signed_in: Any, job: Job, live_server: Any
) -> None:
    with tunnel(live_server.url) as way, new_page(browser, 360) as page:
        sign_in(page, signed_in(cast.crew), way.url)
        page.goto(f"{way.url}/jobs/{job.ref}/build")
        way.cut(page.context)
        page.get_by_label("Type", exact=True).select_option("changed")
        page.get_by_role("button", name="Record").click()
        expect(page.locator("#unsent")).to_be_hidden()
        page.get_by_label("Notes").fill("Gate hung on the other post")
        page.get_by_role("button", name="Record").click()
        expect(page.locator("#unsent li")).to_contain_text("Gate hung on the other post")
        page.get_by_role("button", name="Change").click()
        expect(page.locator("#unsent")).to_be_hidden()
        expect(page.get_by_label("Notes")).to_have_value("Gate hung on the other post")


def test_after_a_deploy_the_next_load_runs_the_new_script_and_keeps_what_was_entered_offline(
    browser: Browser, cast: Cast, signed_in: Any, job: Job, live_server: Any, settings: Any, tmp_path: Path
) -> None:
    scripts = "[...document.scripts].map((script) => script.src).filter((src) => src.includes('documents/build.'))"
    cached = "caches.open('offline-pages').then((cache) => cache.keys()).then((all) => all.map(({ url }) => url))"
    with tunnel(live_server.url) as way, new_page(browser, 360) as page:
        sign_in(page, signed_in(cast.crew), way.url)
        page.goto(f"{way.url}/jobs/{job.ref}/build")
        page.wait_for_selector("html[data-saved-offline=yes]")
        (old,) = page.evaluate(scripts)
        assert old in page.evaluate(cached)
        way.cut(page.context)
        page.get_by_label("Hole A-P2 dug").check()
        expect(page.locator("#progress")).to_contain_text("1 not sent, saved")
        _deploy_new_script(settings, tmp_path)
        page.reload()  # still without a connection: the old version, with the entry
        assert page.evaluate(scripts) == [old]
        expect(page.get_by_label("Hole A-P2 dug")).to_be_checked()
        way.restore(page.context)
        # a page that does not exist is answered through the worker, once it is connected too
        page.wait_for_function("fetch('/jobs/none/build').then((response) => response.status === 404, () => false)")
        page.reload()
        expect(page.locator("html")).to_have_attribute("data-version", "new")
        expect(page.locator("#progress")).to_have_text("All changes sent.")
        page.wait_for_function(f"{cached}.then((all) => !all.includes('{old}'))")
        saved = "caches.match(location.href).then((response) => response.text())"
        page.wait_for_function(f"{saved}.then((text) => /value=.A-P2.\\s+checked/.test(text))")
        way.cut(page.context)
        page.reload()
        expect(page.locator("html")).to_have_attribute("data-version", "new")
        expect(page.get_by_label("Hole A-P2 dug")).to_be_checked()
    assert ChecklistEntry.objects.of(job.business).get().place == "A-P2"


def _deploy_new_script(settings: Any, folder: Path) -> None:
    script = settings.ROOT / "quotes/documents/static/documents/build.js"
    (folder / "documents").mkdir()
    changed = "document.documentElement.dataset.version = 'new';" + script.read_text()
    (folder / "documents" / "build.js").write_text(changed)
    settings.STATICFILES_DIRS = [folder, *settings.STATICFILES_DIRS]
