"""Counting of the parts of a run or retrofit: posts, bays and gates, one after the other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fencing.model.fence import Bay, BuiltRetrofit, HungGate, Post
from fencing.model.measure import Finishes, Retrofit, Run, Terminal
from fencing.model.system import System
from fencing.quantities.fixings import count_bay, count_gate, count_post, count_retrofit, find_finish, half_caps
from fencing.quantities.tally import Tally


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
        count_post(tally, post, run.finishes, system, joined=against(run, post) is Terminal.JOIN)
    for bay in bays:
        count_bay(tally, bay, run.finishes, system)
    hardware = {gate.id: gate.hardware for gate in run.gates}
    for gate in gates:
        count_gate(tally, gate, hardware[gate.id], run.finishes, system)


def against(run: Run, post: Post) -> Terminal | None:
    """Return the terminal beside a single post at an end of its run: a wall or a join; None for any other post.

    Args:
        run: as measured; the chainage [mm] of a post decides its end.
        post: post of that run.

    Source: house rule.

    Example:
        >>> run = Run("A", 4800, 1800, end=Terminal.WALL)
        >>> against(run, Post("A-P3", 4785, "single", 0, 650, ())).value, against(run, Post("A-P1", 0, "square", 0, 650, ()))
        ('wall', None)
    """
    if post.kind != "single":
        return None
    terminal = run.start if 2 * post.at < run.length else run.end
    return terminal if terminal in (Terminal.WALL, Terminal.JOIN) else None


def half_caps_in(tally: Tally, groups: Iterable[tuple[Sequence[Post], Finishes]]) -> None:
    """Count the caps that are cut into half caps, for each finish over all posts [pieces].

    Rule: one cap gives two halves; an odd half needs its own cap. Source: common practice.

    Example: three single posts need three halves, so two caps:

        >>> from fencing.model.fence import Upright
        >>> single = Post("A-P1", 0, "single", 0, 650, (Upright("channel", "A-1", 1850, 2400, 2400, 550),))
        >>> tally = Tally()
        >>> half_caps_in(tally, [([single] * 3, Finishes())])
        >>> [(row.role, row.net) for row in tally.reasons_in_order()]
        [('cap.pair', Decimal('2'))]
    """
    halves: dict[str | None, int] = {}
    for posts, finishes in groups:
        cap = find_finish(finishes, "cap")
        halves[cap] = halves.get(cap, 0) + sum(map(half_caps, posts))
    for cap, number in halves.items():
        if number:
            tally.count("cap.pair", cap, f"{number} half caps, two from a cap", (number + 1) // 2)


def count_retrofits(tally: Tally, built: Iterable[BuiltRetrofit], measured: Iterable[Retrofit], system: System) -> None:
    """Add all parts of the lattice on existing fences to the tally [mm, pieces]. Source: common practice.

    Example: a retrofit of two bays needs two extensions for each:

        >>> from fencing.set_out.retrofit import build
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> retrofit, tally = Retrofit("R1", (2400, 2400), 300), Tally()
        >>> count_retrofits(tally, [build(retrofit, ROUND_SIZES)], [retrofit], ROUND_SIZES)
        >>> [row.net for row in tally.reasons_in_order() if row.role == "post.extension"]
        [Decimal('4')]
    """
    for item, retrofit in zip(built, measured, strict=True):
        count_retrofit(tally, item, retrofit.finishes, system)
