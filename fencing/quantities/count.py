"""Counting of the parts of a run or retrofit (posts, bays, gates), and the concrete of all holes of a job."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from decimal import ROUND_CEILING, Decimal

from fencing.model.fence import Bay, BreakdownLine, BuiltRetrofit, Concrete, HungGate, Post, Quantity
from fencing.model.measure import Finishes, Retrofit, Run, Terminal
from fencing.model.roles import BAG, ROLES
from fencing.model.rounding import round_half_up
from fencing.model.system import System
from fencing.quantities.fixings import (
    count_bay,
    count_gate,
    count_post,
    count_post_half_caps,
    count_retrofit,
    find_finish,
)
from fencing.quantities.tally import Tally, add_allowance
from fencing.set_out.posts import calculate_post_concrete


def count_run(
    tally: Tally, run: Run, posts: Sequence[Post], bays: Iterable[Bay], gates: Iterable[HungGate], system: System
) -> None:
    """Add all parts of one run to the tally, except half caps.

    Args:
        tally: tally to add to.
        run: as measured [lengths in mm].
        posts: posts to count; a shared corner only in its first run.
        bays, gates: bays and gates of the run.
        system: the fence system.

    Source: docs/rules.md, "Posts, caps, screws, concrete".

    Example: two bays have four rails:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> from fencing.quantities.take_off import take_off
        >>> built, tally = take_off(TWO_BAYS, ROUND_SIZES).runs[0], Tally()
        >>> count_run(tally, TWO_BAYS.runs[0], built.posts, built.bays, built.gates, ROUND_SIZES)
        >>> [row.net for row in tally.reasons_in_order() if row.role == "rail"]
        [Decimal('4')]
    """
    for post in posts:
        count_post(tally, post, run.finishes, system, joined=find_terminal(run, post) is Terminal.JOIN)
    for bay in bays:
        count_bay(tally, bay, run.finishes, system)
    hardware = {gate.id: gate.hardware for gate in run.gates}
    for gate in gates:
        count_gate(tally, gate, hardware[gate.id], run.finishes, system)


def find_terminal(run: Run, post: Post) -> Terminal | None:
    """Return the terminal beside a single post at an end of its run: a wall or a join; None for any other post.

    Args:
        run: as measured; the chainage [mm] of a post decides its end.
        post: post of that run.

    Source: house rule.

    Example:
        >>> run = Run("A", 4800, 1800, end=Terminal.WALL)
        >>> posts = (Post("A-P3", 4785, "single", 0, 650, ()), Post("A-P1", 0, "square", 0, 650, ()))
        >>> [terminal and terminal.value for terminal in (find_terminal(run, post) for post in posts)]
        ['wall', None]
    """
    if post.kind != "single":
        return None
    terminal = run.start if 2 * post.at < run.length else run.end
    return terminal if terminal in (Terminal.WALL, Terminal.JOIN) else None


def count_half_caps(tally: Tally, groups: Iterable[tuple[Sequence[Post], Finishes]]) -> None:
    """Count the caps that are cut into half caps, for each finish over all posts [pieces].

    Rule: one cap gives two halves; an odd half needs its own cap. Source: common practice.

    Example: three single posts need three halves, so two caps:

        >>> from fencing.model.fence import Upright
        >>> single = Post("A-P1", 0, "single", 0, 650, (Upright("channel", "A-1", 1850, 2400, 2400, 550),))
        >>> tally = Tally()
        >>> count_half_caps(tally, [([single] * 3, Finishes())])
        >>> [(row.role, row.net) for row in tally.reasons_in_order()]
        [('cap.pair', Decimal('2'))]
    """
    halves: dict[str | None, int] = {}
    for posts, finishes in groups:
        cap = find_finish(finishes, "cap")
        halves[cap] = halves.get(cap, 0) + sum(map(count_post_half_caps, posts))
    for cap, number in halves.items():
        if number:
            tally.count("cap.pair", cap, f"{number} half caps, two from a cap", (number + 1) // 2)


def count_retrofits(tally: Tally, built: Iterable[BuiltRetrofit], measured: Iterable[Retrofit], system: System) -> None:
    """Add all parts of the lattice on existing fences to the tally [mm, pieces]. Source: common practice.

    Example: a retrofit of two bays needs two extensions for each:

        >>> from fencing.set_out.run import build_retrofit
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> retrofit, tally = Retrofit("R1", (2400, 2400), 300), Tally()
        >>> count_retrofits(tally, [build_retrofit(retrofit, ROUND_SIZES)], [retrofit], ROUND_SIZES)
        >>> [row.net for row in tally.reasons_in_order() if row.role == "post.extension"]
        [Decimal('4')]
    """
    for item, retrofit in zip(built, measured, strict=True):
        count_retrofit(tally, item, retrofit.finishes, system)


MM3_IN_LITRE = 1_000_000
LITRE = Decimal("0.001")


def calculate_concrete(posts: Iterable[Post], system: System) -> tuple[Concrete, Quantity | None]:
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
        >>> volume, row = calculate_concrete(empty, ROUND_SIZES)
        >>> str(volume.net), str(volume.allowance), str(volume.total)
        ('0.093', '0.010', '0.103')
    """
    volumes = Counter((post.kind, calculate_post_concrete(post, system)) for post in posts)
    if not volumes:
        zero = Decimal("0.000")
        return Concrete(0, zero, zero, zero, 0 if system.bag_yield else None), None
    why = _share_litres(volumes)
    net = sum((row.net for row in why), Decimal(0))
    role = BAG if system.bag_yield or BAG in system.components else "concrete.mix"
    row = add_allowance(Quantity(role, None, None, ROLES[role].unit, net, Decimal(0), net, why), system, LITRE)
    bags = int((row.total / system.bag_yield).to_integral_value(ROUND_CEILING)) if system.bag_yield else None
    return Concrete(sum(volumes.values()), net, row.allowance, row.total, bags), row


def _share_litres(volumes: Counter[tuple[str, int]]) -> tuple[BreakdownLine, ...]:
    """Return a row for each kind and size of hole, in whole litres that add up to the rounded total."""
    exact = {key: key[1] * count for key, count in sorted(volumes.items())}
    litres = {key: volume // MM3_IN_LITRE for key, volume in exact.items()}
    short = round_half_up(sum(exact.values()), MM3_IN_LITRE) - sum(litres.values())
    for key in sorted(exact, key=lambda key: (-(exact[key] % MM3_IN_LITRE), key))[:short]:
        litres[key] += 1
    return tuple(
        BreakdownLine(
            f"holes of {kind} posts", volumes[kind, volume], _convert_to_m3(volume), litres[kind, volume] * LITRE
        )
        for kind, volume in exact
    )


def _convert_to_m3(volume: int) -> Decimal:
    """Convert the volume of one hole [mm3] to m3, half-up to the cubic centimetre."""
    return Decimal(round_half_up(volume, 1000)).scaleb(-6)
