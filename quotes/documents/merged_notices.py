"""Merges notices that differ only in figures; figures become ranges."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal
from typing import TypeVar

FIGURE = re.compile(r"(?<![\w.-])\d+(?:\.\d+)?(?!\w)")
"""Matches a figure of a sentence, not the number in an id such as A-P3."""
NAMED = 12
"""Maximum number of locations that are listed one by one; more are shown as ranges."""

T = TypeVar("T")


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
