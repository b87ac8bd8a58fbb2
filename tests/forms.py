"""Page forms as a browser sends them: with the hidden fields that say which version the page shows."""

from __future__ import annotations

import re
from collections.abc import Mapping
from html import unescape
from typing import Any

from django.test import Client

_HIDDEN = re.compile(r'<input type="hidden" name="(version|seen)" value="([^"]*)">')


def hidden_in(page: str) -> dict[str, str]:
    """Return the hidden fields of a page's forms about its row."""
    return {name: unescape(value) for name, value in _HIDDEN.findall(page)}


def seen_on(client: Client, page: str) -> dict[str, str]:
    """Open a page and return the version it shows."""
    return hidden_in(client.get(page).content.decode())


def press(client: Client, page: str, typed: Mapping[str, Any], at: str = "", **options: Any) -> Any:
    """Open a page, fill in a form of it and send it, to ``at`` if that is another address."""
    return client.post(at or page, {**seen_on(client, page), **typed}, **options)
