"""One Chromium for all page tests."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[Browser]:
    # Playwright keeps an event loop in this thread, which Django would take for an asynchronous view
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    flags = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium, args=flags)
        yield started
        started.close()
