"""Counting: a whole run, retrofit or job walked once, post by post, bay by bay, gate by gate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fencing.fence import Bay, BuiltRetrofit, HungGate, Post
from fencing.fixings import count_bay, count_gate, count_post, count_retrofit, finish, half_caps
from fencing.measure import Colours, Retrofit, Run, Terminal
from fencing.system import System
from fencing.tally import Tally


def count_run(
    tally: Tally, run: Run, posts: Sequence[Post], bays: Iterable[Bay], gates: Iterable[HungGate], system: System
) -> None:
    """Everything of one run but its half caps. ``posts`` are those counted here, a shared corner only in its first run."""
    for post in posts:
        count_post(tally, post, run.colours, system, joined=against(run, post) is Terminal.JOIN)
    for bay in bays:
        count_bay(tally, bay, run.colours, system)
    hardware = {gate.id: gate.hardware for gate in run.gates}
    for gate in gates:
        count_gate(tally, gate, hardware[gate.id], run.colours, system)


def against(run: Run, post: Post) -> Terminal | None:
    """What a single post at an end of its run stands against: a wall or a join; None for any other post."""
    if post.kind != "single":
        return None
    terminal = run.start if 2 * post.at < run.length else run.end
    return terminal if terminal in (Terminal.WALL, Terminal.JOIN) else None


def half_caps_in(tally: Tally, groups: Iterable[tuple[Sequence[Post], Colours]]) -> None:
    """Pair up the half caps of each finish over all posts and count the caps that are cut for them."""
    halves: dict[str | None, int] = {}
    for posts, colours in groups:
        cap = finish(colours, "cap")
        halves[cap] = halves.get(cap, 0) + sum(map(half_caps, posts))
    for cap, number in halves.items():
        if number:
            tally.count("cap.pair", cap, f"{number} half caps, two from a cap", (number + 1) // 2)


def count_retrofits(tally: Tally, built: Iterable[BuiltRetrofit], measured: Iterable[Retrofit], system: System) -> None:
    """Everything of the lattice added to standing fences."""
    for one, asked in zip(built, measured, strict=True):
        count_retrofit(tally, one, asked.colours, system)
