"""The accounting page: each of its buttons leads to a file or page that is there."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from shared.business.models import Person
from tests.conftest import Cast
from tests.quotes.quoting.cast import stock_up

pytestmark = pytest.mark.django_db


def test_every_button_of_the_accounting_page_gives_its_file(cast: Cast, signed_in: Callable[[Person], Client]) -> None:
    stock_up(cast.business)
    client = signed_in(cast.bookkeeper)
    page = client.get("/accounting").content.decode()
    buttons = re.findall(r'<button [^>]*?(?:name="group_by" value="(\w+)" )?formaction="([^"]+)"', page)
    assert len(buttons) >= 12
    for group, address in buttons:
        days = {"from": "2026-01-01", "to": "2026-12-31", **({"group_by": group} if group else {})}
        answer: Any = client.get(address, days)
        assert answer.status_code == 200, address
        assert b"".join(answer.streaming_content if answer.streaming else [answer.content])
