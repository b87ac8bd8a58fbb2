"""Take-off: everything a measured job needs, counted, with the reason for each number.

Each stage is a function from values to values:

    measure -> ground -> drafts (layout, lines, bays, gates) -> posts -> tally -> pieces, quantities, concrete -> notices
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain

from fencing.model.faults import Notice, Severity
from fencing.model.fence import BuiltRetrofit, BuiltRun, Concrete, Piece, Post, Quantity, RunOption
from fencing.model.measure import Measure, Run, Terminal
from fencing.model.roles import RANK
from fencing.model.system import System
from fencing.quantities.choose_layout import choose_draft, inspect_run
from fencing.quantities.comparison_prices import PriceList
from fencing.quantities.count import calculate_concrete, count_half_caps, count_retrofits, count_run, find_terminal
from fencing.quantities.fixings import count_post_stitches
from fencing.quantities.tally import Tally
from fencing.set_out.corners import find_corners
from fencing.set_out.ground import Ground
from fencing.set_out.level_book import MISCLOSURE_PER_ROOT_SETUP
from fencing.set_out.posts import UnsizedPost, build_post
from fencing.set_out.run import Draft, Ends, build_retrofit, inspect_retrofit
from fencing.set_out.system_fit import check_system_fit

CORNER_TOLERANCE = 20
"""Maximum difference [mm] of two runs' ground levels at their corner without a notice. Source: house rule."""


@dataclass(frozen=True, slots=True)
class TakeOff:
    """Counted list of everything the job needs, in the order of the measure."""

    measure: Measure
    system: System
    runs: tuple[BuiltRun, ...]
    retrofits: tuple[BuiltRetrofit, ...]
    pieces: tuple[Piece, ...]
    quantities: tuple[Quantity, ...]
    concrete: Concrete
    notices: tuple[Notice, ...]


def take_off(measure: Measure, system: System, prices: PriceList | None = None) -> TakeOff:
    """Calculate every post, bay, gate, piece, screw and hole of the fence from a site measure.

    Rule: docs/rules.md, stage by stage.

    Args:
        measure: the checked site measure, lengths [mm], levels [mm above its datum].
        system: the fence system it is built in.
        prices: the business's prices; only ``auto`` form and layout use them.

    Returns:
        The take-off: runs in the order of the measure, pieces and quantities in the order of printed lists. Every ``why``
        adds up to its ``net``; a corner post is counted only once.

    Raises:
        InvalidDocument: gates or a taper that do not fit the bays of their run, with pointers into the measure.

    Source: common practice; house rules as in docs/rules.md.

    Example: 4800 mm in two bays of 2400 needs three posts, four rails and six sheets:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> taken = take_off(TWO_BAYS, ROUND_SIZES)
        >>> len(taken.runs[0].posts), {row.role: int(row.net) for row in taken.quantities if row.role in ("rail", "sheet")}
        (3, {'rail': 4, 'sheet': 6})
    """
    check_system_fit(measure, system)
    shared = find_corners(measure.runs)
    grounds = find_grounds(measure.runs, shared)
    drafts, options = _set_out_runs(measure.runs, grounds, shared, system, prices)
    posts = _build_posts(drafts, shared, system)
    retrofits = tuple(build_retrofit(retrofit, system) for retrofit in measure.retrofits)
    counted = _drop_shared_corners(posts, shared)
    pieces, quantities, concrete = _count(measure, drafts, counted, retrofits, system)
    return TakeOff(
        measure=measure,
        system=system,
        runs=tuple(map(_build_run, drafts, posts, options)),
        retrofits=retrofits,
        pieces=pieces,
        quantities=quantities,
        concrete=concrete,
        notices=tuple(_list_notices(drafts, counted, shared, retrofits, system)),
    )


def find_grounds(runs: Sequence[Run], shared: dict[int, int]) -> list[Ground]:
    """Return the ground under each run. A run without levels takes the level of a shared corner, otherwise 0.

    Args:
        runs: as measured, levels [mm above datum].
        shared: shared corners from :func:`fencing.set_out.corners.find_corners`.

    Returns:
        A ground for each run, in order. Levels pass from corner to corner.

    Source: house rule.

    Example: the first run falls 200 over its 4800 mm, and the second run starts at that level:

        >>> from fencing.model.measure import Station
        >>> first, then = Run("A", 4800, 1800, levels=(Station(0, 0), Station(4800, -200))), Run("B", 2400, 1800)
        >>> find_grounds([first, then], {1: 0})[1].find_level(1200)
        -200
    """
    known: dict[int, Ground] = {index: Ground.through(run.levels) for index, run in enumerate(runs) if run.levels}
    for _ in runs:  # levels pass one more corner each time
        before = len(known)
        _carry_round_corners(known, runs, shared)
        if len(known) == before:
            break
    return [known.get(index, Ground.through(())) for index in range(len(runs))]


def _carry_round_corners(known: dict[int, Ground], runs: Sequence[Run], shared: dict[int, int]) -> None:
    """Give every run without levels the level at its corner with a run whose ground is in ``known``."""
    for after, before in shared.items():
        if before in known and after not in known:
            known[after] = Ground.through((), known[before].find_level(runs[before].length))
        elif after in known and before not in known:
            known[before] = Ground.through((), known[after].find_level(0))


def _set_out_runs(
    runs: Sequence[Run], grounds: Sequence[Ground], shared: dict[int, int], system: System, prices: PriceList | None
) -> tuple[list[Draft], list[tuple[RunOption, ...]]]:
    drafts, options = list[Draft](), list[tuple[RunOption, ...]]()
    for index, (run, ground) in enumerate(zip(runs, grounds, strict=True)):
        ends = Ends(
            first=drafts[index - 1].uprights[-1].id if index and index in shared else None,
            last=drafts[0].uprights[0].id if 0 in shared and index == len(runs) - 1 else None,
        )
        draft, own_options = choose_draft(run, ground, system, prices, ends, f"/runs/{index}")
        drafts.append(draft)
        options.append(own_options)
    return drafts, options


def _build_posts(drafts: Sequence[Draft], shared: dict[int, int], system: System) -> list[tuple[Post, ...]]:
    """Build the posts of every run. A shared corner has the uprights of both runs, and the lower ground of the two."""
    uprights = [list(draft.uprights) for draft in drafts]
    for after, before in shared.items():
        ending, starting = uprights[before][-1], uprights[after][0]
        corner = UnsizedPost(
            id=ending.id if after else starting.id,
            at=ending.at,
            kind="square",
            ground=min(ending.ground, starting.ground),
            top=max(ending.top, starting.top),
            channels=ending.channels + starting.channels,
        )
        uprights[before][-1], uprights[after][0] = corner, replace(corner, at=starting.at)
    return [tuple(build_post(post, system) for post in row) for row in uprights]


def _drop_shared_corners(posts: Sequence[tuple[Post, ...]], shared: dict[int, int]) -> list[tuple[Post, ...]]:
    """Return the posts of every run without the corners that belong to another run already."""
    counted = [own[1:] if index in shared and index else own for index, own in enumerate(posts)]
    if 0 in shared:
        counted[-1] = counted[-1][:-1]
    return counted


def _count(
    measure: Measure,
    drafts: Sequence[Draft],
    counted: Sequence[Sequence[Post]],
    retrofits: Sequence[BuiltRetrofit],
    system: System,
) -> tuple[tuple[Piece, ...], tuple[Quantity, ...], Concrete]:
    tally = Tally()
    for draft, posts in zip(drafts, counted, strict=True):
        count_run(tally, draft.run, posts, draft.bays, draft.gates, system)
    count_half_caps(tally, [(posts, draft.run.finishes) for draft, posts in zip(drafts, counted, strict=True)])
    count_retrofits(tally, retrofits, measure.retrofits, system)
    concrete, mix = calculate_concrete(chain.from_iterable(counted), system)
    rows = [*tally.quantities(system), *([mix] if mix else [])]
    return tally.pieces(system), tuple(sorted(rows, key=lambda row: RANK[row.role])), concrete


def _build_run(draft: Draft, posts: tuple[Post, ...], options: tuple[RunOption, ...]) -> BuiltRun:
    return BuiltRun(draft.run.id, draft.run.length, draft.form, draft.layout, posts, draft.bays, draft.gates, options)


def _list_notices(
    drafts: Sequence[Draft],
    counted: Sequence[Sequence[Post]],
    shared: dict[int, int],
    retrofits: Sequence[BuiltRetrofit],
    system: System,
) -> list[Notice]:
    notices = list[Notice]()
    for index, (draft, posts) in enumerate(zip(drafts, counted, strict=True)):
        if index in shared:
            notices += _check_corner(drafts[shared[index]], draft)
        notices += _check_misclosure(draft.run)
        notices += inspect_run(draft, posts, system)
        notices += _list_wall_fixings(draft, posts, system)
    for built in retrofits:
        notices += inspect_retrofit(built, system)
    return notices


def _check_misclosure(run: Run) -> list[Notice]:
    if not run.misclosure:
        return []
    text = (
        f"the levelling book misses its known level by {abs(run.misclosure)} mm, more than {MISCLOSURE_PER_ROOT_SETUP} mm times "
        "the root of its set-ups; the difference is distributed over the set-ups, check the readings"
    )
    return [Notice("levels.misclosure", Severity.WARNING, run.id, text)]


def _check_corner(before: Draft, after: Draft) -> list[Notice]:
    ending, starting = before.uprights[-1], after.uprights[0]
    apart = abs(ending.ground - starting.ground)
    if apart <= CORNER_TOLERANCE:
        return []
    text = (
        f"ground level at this corner: {ending.ground} mm in run {before.run.id}, {starting.ground} mm in run {after.run.id}, "
        f"a difference of {apart} mm; the lower level is used, check the levels"
    )
    return [Notice("corner.levels", Severity.WARNING, starting.id, text)]


def _list_wall_fixings(draft: Draft, posts: Sequence[Post], system: System) -> list[Notice]:
    notices = list[Notice]()
    for post in posts:
        if find_terminal(draft.run, post) is Terminal.WALL:
            points = count_post_stitches(post.uprights[0].top, post.ground, system.screws)
            text = f"fix this post to the wall at {points} points; the fixings depend on the wall and are not among the screws"
            notices.append(Notice("wall.fixing", Severity.INFO, post.id, text))
    return notices
