"""Retrofit sheets: lattice on an existing fence, each bay with its rail, panel and extensions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from quotes.documents.notices import NoticeRow, marked
from quotes.documents.number_format import metres, ranges

Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class RetrofitRow:
    """A row for equal bays; lengths in mm."""

    bays: str
    spacing: str
    rail: str
    panel: str
    extensions: str


@dataclass(frozen=True, slots=True)
class RetrofitSheet:
    retrofit: str
    summary: str
    steps: tuple[str, ...]
    rows: tuple[RetrofitRow, ...]
    notices: tuple[NoticeRow, ...]


def retrofit_sheets(takeoff: Document, measure: Document) -> tuple[RetrofitSheet, ...]:
    """Return a sheet for each retrofit, in the order of the measure."""
    measured = {row["id"]: row for row in measure["retrofits"]}
    return tuple(_sheet(item, measured[item["id"]], takeoff) for item in takeoff["retrofits"])


def _sheet(built: Document, measured: Document, takeoff: Document) -> RetrofitSheet:
    bays, height, extension = built["bays"], built["lattice_mm"], built["extension_mm"]
    length = sum(bay["to_mm"] - bay["from_mm"] for bay in bays)
    stands = measured.get("existing_height_mm")
    summary = f"{metres(length)} m, {len(bays)} bays, lattice {height} high"
    if stands:
        summary += f" on a fence {stands} high: {stands + height} in all"
    groups: dict[tuple[str, ...], list[str]] = {}
    for bay in bays:
        groups.setdefault(_figures(bay, extension), []).append(bay["id"])
    places = {built["id"], *(bay["id"] for bay in bays)}
    return RetrofitSheet(
        retrofit=built["id"],
        summary=summary,
        steps=(
            f"An extension of {extension} goes on each existing post in each bay: {height} above its top, "
            f"{extension - height} lapped over it.",
            "Where two bays meet, stitch their two extensions to one another before the rail goes in.",
            "Rail into the extensions, panel onto the rail, then caps. Measure each bay again before cutting.",
        ),
        rows=tuple(RetrofitRow(ranges(names), *figures) for figures, names in groups.items()),
        notices=marked(takeoff, places),
    )


def _figures(bay: Document, extension: int) -> tuple[str, str, str, str]:
    rails = " + ".join(str(rail["length_mm"]) for rail in bay["rails"])
    panels = " + ".join(f"{panel['length_mm']} × {panel['height_mm']}" for panel in bay["lattice"])
    return str(bay["to_mm"] - bay["from_mm"]), rails, panels, f"2 × {extension}"
