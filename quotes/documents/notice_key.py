"""Key to the numbers in the drawings: each notice with its number."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from quotes.documents.merged_notices import gathered, in_one
from quotes.documents.number_format import ranges, worded

Document = Mapping[str, Any]


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
