"""Fence orders by class, from a description and a fixed seed: what the cutting plan is measured on.

Every order has 4 to 6 stock lengths whose prices are not in proportion to their length, a kerf, and some one-off remnants.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from random import Random

from fencing.cutting.plan_model import Demand, StockLength

STOCK_LENGTHS = (2400, 3000, 3600, 4200, 4800, 5400, 6000, 6500)


@dataclass(frozen=True, slots=True)
class OrderClass:
    """``jobs`` in one order, each with ``bays`` (from, to); ``raked``: nearly every bay has a length of its own."""

    name: str
    jobs: int
    bays: tuple[int, int]
    raked: bool
    remnants: tuple[int, int]
    rails: tuple[int, int] = (2, 3)
    spread: tuple[int, int] = (0, 0)


SMALL = OrderClass("fence small (<= 100 pieces, <= 10 lengths)", 1, (6, 24), False, (0, 3))
BAYS_20 = OrderClass("fence 20 bays", 1, (20, 60), False, (0, 6), (2, 4))
RAKED_20 = OrderClass("fence 20 raked bays, 20-40 lengths", 1, (20, 30), True, (0, 6), (2, 3))
RAKED_50 = OrderClass("fence 50 raked bays, 50-100 lengths", 1, (46, 68), True, (2, 10), (2, 3))
ESTATE = OrderClass("estate, 200 bays", 1, (200, 500), False, (4, 12), (3, 4), (37, 53))
JOBS_50 = OrderClass("50 jobs, ~175 lengths, 3-12 k pieces", 50, (24, 80), False, (10, 30), (3, 3), (171, 182))
JOBS_200 = OrderClass("200 jobs, ~400 lengths, 14-48 k pieces", 200, (24, 80), False, (20, 60), (3, 3), (403, 407))
LONG_RAKED = OrderClass(
    "10 km raked, 200-600 lengths, once or a few times", 1, (0, 0), True, (0, 20), (1, 1), (200, 600)
)


def order(kind: OrderClass, seed: int) -> Demand:
    """One order of a class; the same seed gives the same order."""
    random = Random(f"{kind.name}/{seed}")  # noqa: S311 - invented orders, not secrets
    pieces = _pieces(kind, random)
    kerf = random.choice((2, 3, 4))
    lengths = sorted(random.sample(STOCK_LENGTHS[2:], random.randint(3, 5)))
    lengths = [random.choice(STOCK_LENGTHS[:2]), *lengths]
    rate = random.uniform(4.0, 9.0)
    stock = [
        StockLength(length, round(100 * rate * length / 1000 * random.uniform(0.88, 1.12) + 60)) for length in lengths
    ]
    remnants = random.randint(*kind.remnants)
    stock += [StockLength(random.randint(900, 4200), random.choice((0, 0, 50, 120)), 1) for _ in range(remnants)]
    return Demand(kerf, tuple(sorted(pieces.items(), reverse=True)), tuple(stock), 2)


def _pieces(kind: OrderClass, random: Random) -> Counter[int]:
    pieces: Counter[int] = Counter()
    if kind.spread != (0, 0):
        lengths = random.sample(range(420, 2399), random.randint(*kind.spread))
        if kind.raked:
            return Counter(lengths + random.choices(lengths, k=random.randint(0, len(lengths) // 2)))
        bays = kind.jobs * random.randint(*kind.bays)
        for length in lengths:
            pieces[length] += 1
        for _ in range(bays * random.choice(kind.rails)):
            pieces[lengths[min(int(random.expovariate(6.0 / len(lengths))), len(lengths) - 1)]] += 1
        return pieces
    rails = random.choice(kind.rails)
    bays = random.randint(*kind.bays)
    if kind.raked:
        for _ in range(bays):
            pieces[2340 + random.randint(0, 58) if random.random() < 0.5 else random.randint(600, 2398)] += (
                1 if random.random() < 0.4 else rails
            )
        return pieces
    whole = random.choice((2388, 2338, 2238, 1788, 2358))
    closing = [random.randint(400, 2300) for _ in range(random.randint(0, 4 if kind is SMALL else 9))]
    for length in closing:
        pieces[length] += rails
    pieces[whole] += rails * max(1, bays - len(closing))
    return pieces
