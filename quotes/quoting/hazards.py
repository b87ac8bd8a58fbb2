"""Hazardous old fences that only a licensed contractor may remove; a quote needs a price for that work."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from catalogue.rules.site_words import plain_word

LICENSED = "licensed_removal"
"""Field of an extra and of its line: the hazardous kind of fence that a licensed contractor removes for its price."""


def licensed_removals(build: Mapping[str, Any], hazardous: frozenset[str]) -> dict[str, bool]:
    """Return the hazardous kinds among the old fences of a build, each with whether a line prices its licensed removal."""
    priced = {plain_word(line[LICENSED]) for line in build["lines"] if LICENSED in line and Decimal(line["net"]) > 0}
    kinds = {run["existing_fence"]["kind"] for run in build["measure"]["runs"] if "existing_fence" in run}
    return {kind: kind in priced for kind in sorted(kinds & hazardous)}


def hazard_stops(build: Mapping[str, Any]) -> Iterator[str]:
    """Yield a must-fix notice for each run with a hazardous old fence if no line of the build prices its removal."""
    for run in build["measure"]["runs"]:
        kind = run.get("existing_fence", {}).get("kind", "")
        if not build["licensed_removals"].get(kind, True):
            yield (
                f"{run['id']}: the old fence is {kind}, which is hazardous and needs a licensed contractor. Add the "
                f"contractor's price as an extra and choose {kind} under “Licensed removal of”."
            )
