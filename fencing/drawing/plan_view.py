"""The plan of the whole job to a standard scale: runs with their turns, cut posts, gates with their swing.

What was not measured is not drawn: there is no north, and chains of runs that do not meet stand apart on the sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from html import escape

from fencing.drawing.drawing_context import (
    LETTERING,
    Chain,
    LaidOutRun,
    Scene,
    find_chains,
    find_measured_run,
    make_scene,
)
from fencing.drawing.elevation_strip import describe_bay
from fencing.drawing.label_placement import Board, LabelBox
from fencing.drawing.page_layout import STANDARD, calculate_foot_height, draw_foot
from fencing.drawing.plan_labels import Annotator, describe_run
from fencing.drawing.svg import draw_group, draw_path, make_id, write_drawing
from fencing.drawing.symbols import Track, describe_gate, draw_swings, find_obstacle, find_upright_edges, trace_section
from fencing.model.fence import BuiltRetrofit
from fencing.model.measure import Terminal
from fencing.quantities.take_off import TakeOff

NOTE = "lengths in m, openings in mm; not set to north"
_MIN = 20  # the largest scale of a plan
_NONE = STANDARD[-1] + 1  # fits at no scale
_HEADINGS = (0.0, -90.0, 90.0)
_STUB = 7.0  # mm of paper of an existing fence at a run's end


@dataclass(frozen=True, slots=True)
class _PlanPart:
    """A chain or a retrofit and its extent on the ground [mm]: left, top, right, bottom."""

    chain: Chain | None
    retrofit: BuiltRetrofit | None
    extent: tuple[float, float, float, float]

    def measure(self, n: int, pad: float) -> tuple[float, float]:
        left, top, right, bottom = self.extent
        return (right - left) / n + 2 * pad, (bottom - top) / n + 2 * pad


@dataclass(frozen=True, slots=True)
class _Fit:
    """Parts with their positions at 1:n, ``deep`` mm in all."""

    parts: list[_PlanPart]
    places: list[tuple[float, float]]
    n: int
    deep: float


def draw_plan(
    takeoff: TakeOff,
    width: float,
    height: float,
    *,
    size: float = LETTERING,
    live: str | None = None,
    prefix: str = "drawing",
    decimal_sign: str = ".",
    may_turn: bool = False,
) -> str:
    """Draw the plan on a sheet ``width`` by at most ``height`` mm.

    Rule: the largest standard scale at which everything fits. Labels take the nearest free place; a run's label that finds none
    is written under the plan. House rule.

    Args:
        takeoff: the job.
        width: of the paper to draw on [mm].
        height: most height of the paper [mm]; the drawing may be lower.
        size: lettering [mm].
        live: id of the run, bay, gate or post that is being worked on.
        prefix: starts every id in the SVG.
        decimal_sign: the sign before the decimals of its figures.
        may_turn: whether the first run may head up or down the sheet where that shows the job at a larger scale.

    Returns:
        SVG text; empty for a job with nothing to draw.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> "Scale 1:50" in draw_plan(take_off(TWO_BAYS, ROUND_SIZES), 180, 110)
    True
    """
    shown = make_scene(takeoff, size, live, prefix, decimal_sign)
    room, pad = height - calculate_foot_height(size), size * 2.6 + 6
    fits = [
        _fit_parts(_list_parts(shown, heading), width, room, pad)
        for heading in (_HEADINGS if may_turn else _HEADINGS[:1])
    ]
    if not fits[0].parts:
        return ""
    best = min(fits, key=lambda item: (item.n, item is not fits[0], -_measure_reading(item.parts)))
    if best.n == _NONE:
        raise ValueError(f"{width} x {height} mm is too small for a plan")
    return _draw_sheet(shown, best.parts, best.places, best.n, (width, best.deep, pad))


def _list_parts(shown: Scene, heading: float) -> list[_PlanPart]:
    parts = [_PlanPart(chain, None, _find_extent(shown, chain)) for chain in find_chains(shown.takeoff, heading)]
    return parts + [_PlanPart(None, built, (0, 0, built.bays[-1].end, 0)) for built in shown.takeoff.retrofits]


def _fit_parts(parts: list[_PlanPart], width: float, room: float, pad: float) -> _Fit:
    for n in (n for n in STANDARD if n >= _MIN):
        places, deep = _place_on_shelves([part.measure(n, pad) for part in parts], width)
        if places and deep <= room:
            return _Fit(parts, places, n, deep)
    return _Fit(parts, [], _NONE, 0.0)


def _measure_reading(parts: Sequence[_PlanPart]) -> float:
    """Return how far the longest run extends to the right and down, the reading direction of a page."""
    tracks = [laid for part in parts if part.chain for laid in part.chain.runs]
    longest = max(tracks, key=lambda laid: laid.run.length, default=None)
    if longest is None:
        return 0.0
    (x, y), (u, v) = (longest.track.locate(post.at) for post in (longest.run.posts[0], longest.run.posts[-1]))
    return round(u - x + v - y, 3)


def _find_extent(shown: Scene, chain: Chain) -> tuple[float, float, float, float]:
    """Return the extent of a chain with everything that has a position on the ground."""
    points = list[tuple[float, float]]()
    for laid in chain.runs:
        points += [laid.track.locate(laid.run.posts[0].at), laid.track.locate(laid.run.posts[-1].at)]
        for gate in laid.run.gates:
            points += find_obstacle(laid.track, gate, chain.inward, shown.system).list_corners()
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def _place_on_shelves(sizes: Sequence[tuple[float, float]], width: float) -> tuple[list[tuple[float, float]], float]:
    """Return the top left of each part, beside each other while they fit; nothing if one is wider than the sheet."""
    places, x, y, deep = list[tuple[float, float]](), 0.0, 0.0, 0.0
    for wide, high in sizes:
        if wide > width:
            return [], 0.0
        if x + wide > width:
            x, y = 0.0, y + deep
            deep = 0.0
        places.append((x, y))
        x, deep = x + wide, max(deep, high)
    return places, y + deep


def _draw_sheet(
    shown: Scene,
    parts: Sequence[_PlanPart],
    places: Sequence[tuple[float, float]],
    n: int,
    paper: tuple[float, float, float],
) -> str:
    width, deep, pad = paper
    board = Board(0.3, 0.3, width - 0.3, deep - 0.3)
    body, laid_out = list[str](), list[tuple[Chain, list[LaidOutRun]]]()
    for part, (x, y) in zip(parts, places, strict=True):
        origin = (x + pad - part.extent[0] / n, y + pad - part.extent[1] / n)
        if part.chain:
            runs = [replace(laid, track=_scale_track(laid.track, n, origin)) for laid in part.chain.runs]
            laid_out.append((part.chain, runs))
            body += [_draw_run(shown, laid, part.chain.inward, board) for laid in runs]
        elif part.retrofit:
            body.append(_draw_retrofit(shown, part.retrofit, Track(n, *origin), board))
    words = Annotator(shown, board)
    for name in (
        words.reserve_ends,
        words.label_gates,
        words.label_run,
        words.label_posts,
    ):  # what must be near goes first, what may be left out last
        for chain, runs in laid_out:
            for laid in runs:
                name(laid, chain.inward)
    for part, (x, y) in zip(parts, places, strict=True):
        if part.retrofit:
            words.label_retrofit(part.retrofit, Track(n, x + pad, y + pad))
    deep = min(deep, board.find_deepest() + 1)  # room that no label needed is returned to the page
    data, high = words.draw_key(width, deep)
    foot = draw_foot(n, shown.size, deep + high + 3, width, NOTE)
    descriptions = "; ".join(describe_run(shown, run) for run in shown.takeoff.runs)
    total = deep + high + calculate_foot_height(shown.size)
    title = f"Plan of {shown.takeoff.measure.label}"
    return write_drawing(
        "plan", width, total, "".join([*body, words.draw_body(), data, foot]), title, f"Scale 1:{n}. {descriptions}"
    )


def _scale_track(track: Track, n: int, origin: tuple[float, float]) -> Track:
    return Track(n, origin[0] + track.x0 / n, origin[1] + track.y0 / n, track.heading, track.origin)


def _draw_run(shown: Scene, laid: LaidOutRun, inward: int, board: Board) -> str:
    """Draw one run: what is removed, its bays, its gates, its cut posts, and the objects at its ends."""
    run, track, system = laid.run, laid.track, shown.system
    live = shown.is_live(run.id)
    bays = {bay.id: bay for bay in run.bays}
    board.add_line(*track.locate(run.posts[0].at), *track.locate(run.posts[-1].at), 1.4)
    parts = [_draw_removal(shown, laid, inward, board)]
    for bay in run.bays:
        data = track.trace_line((bay.start, 0), (bay.end, 0))
        line = draw_path("run", data, live=live or shown.is_live(bay.id))
        hit = draw_path("hit", track.trace_slab(bay.start, bay.end, 4 * track.n))
        name = make_id(f"{shown.prefix}-plan", bay.id)
        parts.append(draw_group("bay", hit + line, describe_bay(shown, bay), id=name, bay=bay.id))
    for gate in run.gates:
        board.add(find_obstacle(track, gate, inward, system))
        drawn = draw_swings(track, gate, inward, shown.is_live(gate.id))
        name = make_id(f"{shown.prefix}-plan", gate.id)
        parts.append(draw_group("gate", drawn, describe_gate(gate), id=name, gate=gate.id))
    for post in run.posts:
        cut = trace_section(track, find_upright_edges(post, bays, system))
        title = f"Post {post.id}, {post.kind}, at {post.at} mm"
        parts.append(
            draw_path("section", cut, title, live=shown.is_live(post.id), extra=f'data-post="{escape(post.id)}"')
        )
    parts += [_draw_terminal(shown, laid, board, outward) for outward in (-1, 1)]
    title = describe_run(shown, run)
    return draw_group("run", "".join(parts), title, id=make_id(f"{shown.prefix}-plan-run", run.id), run=run.id)


def _draw_removal(shown: Scene, laid: LaidOutRun, inward: int, board: Board) -> str:
    """Draw the old fence to remove, dotted beside the new one."""
    measure, run = find_measured_run(shown.takeoff, laid.run), laid.run
    if not measure.existing_fence:
        return ""
    side = inward * 1.3 * laid.track.n
    start, end = run.posts[0].at, min(run.posts[-1].at, measure.existing_fence.length)
    board.add_line(*laid.track.locate(start, side), *laid.track.locate(end, side))
    data = laid.track.trace_line((start, side), (end, side))
    return draw_path(
        "remove", data, f"Remove {measure.existing_fence.kind}, {shown.format_metres(measure.existing_fence.length)} m"
    )


def _draw_terminal(shown: Scene, laid: LaidOutRun, board: Board, outward: int) -> str:
    """Draw a wall or an existing fence at one end of a run."""
    measure, track = find_measured_run(shown.takeoff, laid.run), laid.track
    terminal = measure.start if outward < 0 else measure.end
    post = laid.run.posts[0 if outward < 0 else -1]
    face = post.at + outward * shown.system.channel.face / 2
    paper = track.n
    if terminal is Terminal.WALL:
        deep = 3.2 * paper
        strokes = "".join(
            track.trace_line((face, at * paper), (face + outward * 1.4 * paper, (at + 1.4) * paper))
            for at in (-3.2, -1.6, 0, 1.6)
        )
        x, y = track.locate(face + outward * 0.7 * paper)
        board.add(LabelBox(x, y, 1.6, 7, track.heading))
        return draw_path("wallhatch", strokes) + draw_path(
            "wall", track.trace_line((face, -deep), (face, deep)), "Wall"
        )
    if terminal is Terminal.JOIN:
        end = face + outward * _STUB * paper
        board.add_line(*track.locate(face), *track.locate(end), 1.0)
        return draw_path("existing", track.trace_line((face, 0), (end, 0)), "Existing fence")
    return ""


def _draw_retrofit(shown: Scene, built: BuiltRetrofit, track: Track, board: Board) -> str:
    """Draw an existing fence that gets lattice. Its position was not measured, so it is drawn by itself."""
    last, parts = built.bays[-1].end, list[str]()
    board.add_line(*track.locate(0), *track.locate(last), 1.4)
    for bay in built.bays:
        live = shown.is_live(bay.id) or shown.is_live(built.id)
        line = draw_path("existing", track.trace_line((bay.start, 0), (bay.end, 0)), live=live)
        hit = draw_path("hit", track.trace_slab(bay.start, bay.end, 4 * track.n))
        name = make_id(f"{shown.prefix}-plan", bay.id)
        parts.append(draw_group("bay", hit + line, f"Bay {bay.id}: {bay.width} mm", id=name, bay=bay.id))
    for at in [0, *(bay.end for bay in built.bays)]:
        deep = 0.45 * track.n
        parts.append(draw_path("blank", track.trace_slab(at - deep, at + deep, 2 * deep), "Standing post"))
    name = make_id(f"{shown.prefix}-plan-run", built.id)
    return draw_group(
        "retrofit", "".join(parts), f"Retrofit {built.id}, {shown.format_metres(last)} m", id=name, run=built.id
    )
