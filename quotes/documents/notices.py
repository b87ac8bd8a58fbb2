"""Notices of a take-off: merged where they differ only in figures, and listed as the key to the numbers in the drawings."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, TypeVar

from quotes.documents.number_format import ranges, worded

FIGURE = re.compile(r"(?<![\w.-])\d+(?:\.\d+)?(?!\w)")
"""Matches a figure of a sentence, not the number in an id such as A-P3."""
NAMED = 12
"""Maximum number of locations that are listed one by one; more are shown as ranges."""

T = TypeVar("T")
Document = Mapping[str, Any]


def skeleton(text: str) -> str:
    """Return a sentence without its figures.

    >>> skeleton("ground gap up to 240 mm at A-3, at most 235 mm")
    'ground gap up to # mm at A-3, at most # mm'
    """
    return FIGURE.sub("#", text)


def in_one(texts: Sequence[str]) -> str:
    """Return sentences with one skeleton as one sentence; a figure that differs becomes its range.

    >>> in_one(["gap of 310 mm, at most 235 mm", "gap of 240 mm, at most 235 mm", "gap of 280 mm, at most 235 mm"])
    'gap of 240 to 310 mm, at most 235 mm'
    """
    slots = zip(*(FIGURE.findall(text) for text in texts), strict=True)
    spans = iter([_span(slot) for slot in slots])
    return FIGURE.sub(lambda _: next(spans), texts[0])


def _span(figures: Sequence[str]) -> str:
    least, most = min(figures, key=Decimal), max(figures, key=Decimal)
    return least if least == most else f"{least} to {most}"


def gathered(rows: Iterable[T], key: Callable[[T], tuple[str, str]]) -> list[list[T]]:
    """Return groups of rows with equal severity and skeleton, in the order of their first rows. ``key`` gives these two."""
    groups: dict[tuple[str, str], list[T]] = {}
    for row in rows:
        level, text = key(row)
        groups.setdefault((level, skeleton(text)), []).append(row)
    return list(groups.values())


@dataclass(frozen=True, slots=True)
class NoticeRow:
    numbers: str
    severity: str
    elements: str
    text: str


def notice_key(takeoff: Document, places: Collection[str] | None = None) -> tuple[NoticeRow, ...]:
    """Return the notices of some elements (all if None), numbered from 1 in the order of the take-off.

    Notices that differ only in figures share a row with the range of the figures: a long run may have hundreds.
    """
    rows = [row for row in enumerate(takeoff["notices"], 1) if places is None or row[1]["element"] in places]
    return tuple(
        NoticeRow(
            _numbers(number for number, _ in found),
            found[0][1]["severity"],
            ranges(notice["element"] for _, notice in found),
            worded(in_one([notice["text"] for _, notice in found])),
        )
        for found in gathered(rows, lambda row: (row[1]["severity"], row[1]["text"]))
    )


def _numbers(numbers: Iterable[int]) -> str:
    """
    >>> _numbers([1, 3, 4, 5])
    '1, 3 to 5'
    """
    return ranges(str(number) for number in numbers)


def marked(takeoff: Document, places: Collection[str] | None = None) -> tuple[NoticeRow, ...]:
    """Return the notices that a drawing marks: all except those of the screening, which have their own table."""
    drawn = [notice for notice in takeoff["notices"] if not notice["code"].startswith("strength.")]
    return notice_key({"notices": drawn}, places)
