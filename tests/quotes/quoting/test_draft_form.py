"""Form of a draft: heights, percentages and shares are read like on every other page."""

from __future__ import annotations

from typing import Any

import pytest
from django.http import QueryDict

from quotes.quoting.draft_form import read_draft
from quotes.quoting.draft_setup import read_setup


def _setup_from(**fields: str) -> dict[str, Any]:
    posted = QueryDict(mutable=True)
    posted.update({name.replace("__", "-"): text for name, text in fields.items()})
    return read_setup(read_draft(posted, {}))


PARTIES = {
    "parties__0__name": "Ada", "parties__0__must_accept": "1",
    "parties__1__name": "Ben", "parties__1__must_accept": "1", "chooses_options": "ada",
}  # fmt: skip


@pytest.mark.parametrize("height", ["1.5", "1,5", "1500", "1500 mm", "1.5 m", "4' 11 1/16\""])
def test_the_height_of_an_alternative(height: str) -> None:
    setup = _setup_from(alternatives__0__label="Lower", alternatives__0__height_mm=height)
    assert setup["alternatives"][0]["height_mm"] == 1_500


def test_percent_signs_are_read() -> None:
    setup = _setup_from(
        discount__percent="5%", payments__0__label="First", payments__0__percent="40 %", payments__0__milestone="acceptance",
        payments__1__label="Rest", payments__1__percent="60", payments__1__milestone="completion", height_limit_mm="1.8",
    )  # fmt: skip
    assert setup["discount"]["percent"] == "5"
    assert [row["percent"] for row in setup["payments"]] == ["40", "60"]
    assert setup["site_conditions"]["height_limit_mm"] == 1_800


@pytest.mark.parametrize(
    ("first", "second", "shares"),
    [
        ("60%", "40%", {"ada": "3/5", "ben": "2/5"}), ("60/40", "", {"ada": "3/5", "ben": "2/5"}),
        ("half each", "", {"ada": "1/2", "ben": "1/2"}), ("1/3", "2/3", {"ada": "1/3", "ben": "2/3"}),
        ("0,5", "half", {"ada": "1/2", "ben": "1/2"}),
    ],
)  # fmt: skip
def test_shares_of_the_parties(first: str, second: str, shares: dict[str, str]) -> None:
    assert _setup_from(**PARTIES, share__ada=first, share__ben=second)["default_shares"] == shares
