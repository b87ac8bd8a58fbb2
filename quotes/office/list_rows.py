"""Rows and groups of the page Today and of search results."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TodayItem:
    """One thing to look at: where it leads, what it is, what is known, what it wants."""

    address: str
    name: str
    fact: str
    now: str
    live: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    key: str
    heading: str
    rows: tuple[TodayItem, ...]
    more: int = 0
