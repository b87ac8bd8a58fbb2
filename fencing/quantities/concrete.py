"""Concrete of a whole job: all holes together, with allowance; bags are rounded up only once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from decimal import ROUND_CEILING, Decimal

from fencing.model.fence import Post
from fencing.model.pieces import BreakdownLine, Concrete, Quantity
from fencing.model.roles import BAG, ROLES
from fencing.model.rounding import round_half_up
from fencing.model.system import System
from fencing.quantities.tally import with_allowance
from fencing.set_out.holes import concrete

MM3_IN_LITRE = 1_000_000
LITRE = Decimal("0.001")


def concrete_for(posts: Iterable[Post], system: System) -> tuple[Concrete, Quantity | None]:
    """Return the concrete of all holes, and its row of the quantities (None without holes).

    Rule: volumes are summed exactly and rounded only once, half-up to the litre. The litres are distributed over the rows of
    ``why`` by largest remainder, so that they add up. The allowance is rounded up to the litre; bags are rounded up for the
    whole job.

    Args:
        posts: every post of the job, a shared corner once.
        system: hole, allowances and the yield of a bag [m3].

    Returns:
        Volumes in m3 with three decimals; the quantity's unit is MTQ.

    Source: house rule for the rounding.

    Example: two empty holes of 650 by 300 with their crowns: 2 x 46.653 litres, and 10 % of 93 is 9.3, rounded up to 10:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> empty = [Post(name, 0, "square", 0, 650, ()) for name in ("A-P1", "A-P2")]
        >>> volume, row = concrete_for(empty, ROUND_SIZES)
        >>> str(volume.net), str(volume.allowance), str(volume.total)
        ('0.093', '0.010', '0.103')
    """
    volumes = Counter((post.kind, concrete(post, system)) for post in posts)
    if not volumes:
        zero = Decimal("0.000")
        return Concrete(0, zero, zero, zero, 0 if system.bag_yield else None), None
    why = _litres(volumes)
    net = sum((row.net for row in why), Decimal(0))
    role = BAG if system.bag_yield or BAG in system.components else "concrete.mix"
    row = with_allowance(Quantity(role, None, None, ROLES[role].unit, net, Decimal(0), net, why), system, LITRE)
    bags = int((row.total / system.bag_yield).to_integral_value(ROUND_CEILING)) if system.bag_yield else None
    return Concrete(sum(volumes.values()), net, row.allowance, row.total, bags), row


def _litres(volumes: Counter[tuple[str, int]]) -> tuple[BreakdownLine, ...]:
    """Return a row for each kind and size of hole, in whole litres that add up to the rounded total."""
    exact = {key: key[1] * count for key, count in sorted(volumes.items())}
    litres = {key: volume // MM3_IN_LITRE for key, volume in exact.items()}
    short = round_half_up(sum(exact.values()), MM3_IN_LITRE) - sum(litres.values())
    for key in sorted(exact, key=lambda key: (-(exact[key] % MM3_IN_LITRE), key))[:short]:
        litres[key] += 1
    return tuple(
        BreakdownLine(
            f"holes of {kind} posts", volumes[kind, volume], _cubic_metres(volume), litres[kind, volume] * LITRE
        )
        for kind, volume in exact
    )


def _cubic_metres(volume: int) -> Decimal:
    """Convert the volume of one hole [mm3] to m3, half-up to the cubic centimetre."""
    return Decimal(round_half_up(volume, 1000)).scaleb(-6)
