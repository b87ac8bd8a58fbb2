"""One Chromium for all page tests of a worker, and an end of every answer before the next test."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect, sync_playwright

MAX_WAIT_MS = 120_000
"""Longest wait for a page. It only ends a hang: no test depends on how fast the machine is."""


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[Browser]:
    # Playwright keeps an event loop in this thread, which Django would take for an asynchronous view
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    expect.set_options(timeout=MAX_WAIT_MS)
    flags = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium, args=flags)
        yield started
        started.close()


@pytest.fixture(autouse=True)
def _answers_end() -> Iterator[None]:
    """Let the live server finish: an answer that outlives its test would meet the rows of the next one."""
    yield
    for thread in threading.enumerate():
        if "process_request_thread" in thread.name:
            thread.join(MAX_WAIT_MS / 1000)
