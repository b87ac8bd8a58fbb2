"""Looking at pages: a browser at a width, the accessibility check, what may not go over the edge, pictures for the docs."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import axe_playwright_python
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, Page

from tests.browser.conftest import MAX_WAIT_MS

PICTURES = os.environ.get("BAYWRIGHT_PICTURES", "")
_AXE = Path(axe_playwright_python.__file__).with_name("axe.min.js")
_RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],
}

_VIOLATIONS = """async (options) => (await axe.run(document, options)).violations.flatMap(({ id, nodes }) =>
  nodes.map((node) => `${id}: ${node.html.slice(0, 160)} ${(node.failureSummary ?? "").slice(0, 300)}`))"""


@contextmanager
def new_page(browser: Browser, width: int = 1280, *, script: bool = True, height: int = 800) -> Iterator[Page]:
    """Open a page in a context of its own. An error on the console fails the test."""
    context = browser.new_context(
        viewport={"width": width, "height": height}, java_script_enabled=script, has_touch=width < 500, locale="en-NZ"
    )
    context.set_default_timeout(MAX_WAIT_MS)
    page = context.new_page()
    problems: list[str] = []
    page.on(
        "console", lambda message: problems.append(message.text) if "Content Security Policy" in message.text else None
    )
    page.on("pageerror", lambda error: problems.append(str(error)))
    foreign: list[str] = []
    page.on("request", lambda request: foreign.append(request.url) if _is_foreign(request.url) else None)
    try:
        yield page
    finally:
        context.close()  # an open connection would keep the server's own to the database
    assert problems == []
    assert foreign == []


def sign_in(page: Page, client: Client, address: str) -> None:
    """Give the session of a signed-in client to the page's browser."""
    name = settings.SESSION_COOKIE_NAME
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": address}])


def _is_foreign(url: str) -> bool:
    return not url.startswith(("http://localhost", "http://127.0.0.1", "data:", "blob:", "about:"))


def check_page(page: Page) -> None:
    """No violation of WCAG 2.2 AA that axe-core can find, and nothing goes over the edge of the sheet."""
    faults = faults_of(page)
    assert faults == [], faults


def faults_of(page: Page) -> list[str]:
    """Return the WCAG 2.2 AA errors that axe-core finds, and the elements that are wider than the page."""
    with _scripted(page) as seen:
        if not seen.evaluate("!!window.axe"):
            seen.evaluate(_AXE.read_text(encoding="utf-8"))
        found: list[str] = seen.evaluate(_VIOLATIONS, _RULES)
        return [*found, *too_wide(seen)]


def too_wide(page: Page) -> list[str]:
    """Return how far the document goes over the edge of the page, if it does."""
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return [f"{wide} px over the edge"] if wide else []


@contextmanager
def _scripted(page: Page) -> Iterator[Page]:
    """Open the same document at the same address with script, because axe-core waits for timers."""
    browser = page.context.browser
    if browser is None or page.evaluate("matchMedia('(scripting: enabled)').matches"):
        yield page
        return
    body = page.content()
    context = browser.new_context(viewport=page.viewport_size)
    try:
        copy = context.new_page()
        copy.route(page.url, lambda route: route.fulfill(body=body, content_type="text/html"))
        copy.goto(page.url)
        yield copy
    finally:
        context.close()


def photograph(page: Page, name: str) -> None:
    """Save a picture of the whole page in the folder BAYWRIGHT_PICTURES."""
    if PICTURES:
        size = page.viewport_size or {"width": 0}
        page.evaluate("scrollTo(0, 0)")  # else what sticks to the top stands in the middle of the picture
        page.screenshot(path=Path(PICTURES) / f"{name}-{size['width']}.png", full_page=True, caret="initial")
