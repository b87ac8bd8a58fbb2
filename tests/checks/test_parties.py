"""Odd cents go to whom the method of the largest remainder gives them: seats in print, shared out as whole units of money.

Sources: Wikipedia, "Largest remainder method" (ten seats, data and answer from memory); infinitelexicon.com, largestremainder
(quotas 3.5, 2.1, 1.4 of seven seats); archipel-des-libertes.fr, largest remainders method (930 voters, four seats); Balinski and
Young, Fair Representation (Hamilton's bill of 1792; populations and answer from memory).
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from shared.common.money import Apportionment, RoundingRemainder
from tests.checks.outside import Outside

CENSUS = {
    "CT": 236841, "DE": 55540, "GA": 70835, "KY": 68705, "MD": 278514, "MA": 475327, "NH": 141822, "NJ": 179570, "NY": 331589,
    "NC": 353523, "PA": 432879, "RI": 68446, "SC": 206236, "VT": 85533, "VA": 630560,
}  # fmt: skip


@pytest.mark.parametrize(
    ("source", "sizes", "units", "theirs"),
    [
        ("infinitelexicon.com, largestremainder", [50, 30, 20], 7, [4, 2, 1]),
        ("archipel-des-libertes.fr, largest remainders method", [500, 300, 110, 20], 4, [2, 1, 1, 0]),
        (
            "Wikipedia, Largest remainder method (from memory)",
            [47000, 16000, 15800, 12000, 6100, 3100],
            10,
            [5, 2, 1, 1, 1, 0],
        ),
        (
            "Balinski and Young, Fair Representation: Hamilton, 1792 (from memory)",
            [*CENSUS.values()],
            120,
            [8, 2, 2, 2, 9, 16, 5, 6, 11, 12, 14, 2, 7, 3, 21],
        ),
    ],
)
def test_odd_units_go_to_the_largest_remainders(
    outside: Outside, source: str, sizes: list[int], units: int, theirs: list[int]
) -> None:
    shares = {str(place): Fraction(size, sum(sizes)) for place, size in enumerate(sizes)}
    parts = Apportionment(0, RoundingRemainder.FAIREST).share(Decimal(units), shares)
    outside(
        f"{units} units among {len(sizes)}",
        stage="parties",
        source=source,
        ours=[int(part) for part in parts.values()],
        theirs=theirs,
    )


def test_a_share_in_words_is_the_fraction(outside: Outside) -> None:
    """2/7 of 100.00 and of 0.01, half up as in any schoolbook: 28.571..."""
    parts = Apportionment(2).share(Decimal("100.00"), {"owner": Fraction(2, 7), "neighbour": Fraction(5, 7)})
    outside(
        "2/7 of 100.00", stage="parties", source="Python's fractions", ours=float(parts["owner"]),
        theirs=float(Fraction(200, 7)), within=0.005, unit="EUR",
    )  # fmt: skip
