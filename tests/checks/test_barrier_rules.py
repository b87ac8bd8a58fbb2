"""Limits of the pool cautions, by the authorities' own numbers. Cautions only: the local code decides."""

from __future__ import annotations

from fencing.cautions import Reader, select_cautions
from fencing.cautions.facts import CautionFacts
from tests.checks.outside import Outside


def warned(lowest: int | None = None, gap: int | None = None) -> set[str]:
    facts = CautionFacts(pool=True, pool_lowest=lowest, pool_gap=gap)
    return {caution.id for caution in select_cautions(facts, Reader.CUSTOMER)}


def test_the_least_height_has_no_tolerance(outside: Outside) -> None:
    lowest_without = next(height for height in range(1000, 1400) if "pool.low" not in warned(lowest=height))
    outside(
        "lowest height without a caution", stage="cautions", source="NSW Fair Trading practice advice: 1.2 m, no tolerance",
        ours=lowest_without, theirs=1200, unit="mm",
    )  # fmt: skip


def test_the_gap_under_a_barrier(outside: Outside) -> None:
    largest_without = next(gap for gap in range(200, 0, -1) if "pool.gap" not in warned(gap=gap))
    source = "AS 1926.1 (from memory)"
    outside(
        "largest gap without a caution", stage="cautions", source=source, ours=largest_without, theirs=100, unit="mm"
    )
    assert largest_without <= 4 * 25.4  # US CPSC Pub. 362: a bottom gap of 4 in at most
