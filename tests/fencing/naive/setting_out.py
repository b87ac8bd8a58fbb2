"""Posts, bays and gates of a measure, one run after the other."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fencing.model.measure import Gate, Layout, Measure, MeasureBasis, Run, Terminal
from fencing.model.system import System
from tests.fencing.naive.forms import base_lines, drop_at
from tests.fencing.naive.layouts import bay_widths
from tests.fencing.naive.standing import StandingBay, StandingGate, StandingPost, StandingRun
from tests.fencing.naive.sums import Points, ground_at, half_up, highest


@dataclass
class Stop:
    """A place where something hard stands: a terminal or a gate post."""

    at: int
    square: bool


def set_out(measure: Measure, system: System) -> list[StandingRun]:
    standing: list[StandingRun] = []
    points = all_ground_points(measure)
    for i in range(len(measure.runs)):
        run = measure.runs[i]
        here = StandingRun(run, points[i])
        first_id = None
        if i > 0 and corner_between(measure, i - 1, i):
            first_id = standing[i - 1].posts[-1]
        last_id = None
        if i == len(measure.runs) - 1 and i > 0 and corner_between(measure, i, 0):
            last_id = standing[0].posts[0]
        set_out_run(here, system, first_id, last_id)
        standing.append(here)
    return standing


def corner_between(measure: Measure, i: int, j: int) -> bool:
    """Return whether run i ends at the corner where run j starts."""
    if measure.runs[i].end is not Terminal.CORNER or measure.runs[j].start is not Terminal.CORNER:
        return False
    if j == i + 1:
        return True
    return len(measure.runs) >= 3 and plan_closes(measure)


def plan_closes(measure: Measure) -> bool:
    x = y = whole = direction = 0.0
    for i in range(len(measure.runs)):
        run = measure.runs[i]
        if i > 0:
            direction += float(run.turn)
        x += run.length * math.cos(math.radians(direction))
        y += run.length * math.sin(math.radians(direction))
        whole += run.length
    return math.hypot(x, y) <= max(500, whole * 0.02)


def split_face(face: int, run: Run) -> tuple[int, int]:
    """Return the parts of a post before and after its centre; a run that is built from its end is mirrored."""
    small = face // 2
    big = face - small
    if run.layout is Layout.FROM_END:
        return small, big
    return big, small


def terminal(run: Run, system: System, which: str) -> Stop:
    kind = run.start if which == "start" else run.end
    tapered = run.taper is not None and run.taper.at == which
    square = kind is Terminal.CORNER or (kind is Terminal.FREE and not tapered)
    before = after = 0
    if run.basis is MeasureBasis.OUTSIDE_FACES:
        before, after = split_face(system.square.face if square else system.channel.face, run)
    return Stop(before if which == "start" else run.length - after, square)


def all_ground_points(measure: Measure) -> list[Points]:
    """Stations of every run; a run without any is handed a level at a corner, in the order of the list, as often as it takes."""
    points: list[Points] = [[(level.at, level.level) for level in run.levels] for run in measure.runs]
    corners = [(i, i + 1) for i in range(len(points) - 1)] + [(len(points) - 1, 0)]
    for _ in measure.runs:
        for before, after in corners:
            if not corner_between(measure, before, after):
                continue
            if points[before] and not points[after]:
                points[after] = [(0, points[before][-1][1])]
            elif points[after] and not points[before]:
                points[before] = [(0, points[after][0][1])]
    return [point or [(0, 0)] for point in points]


def set_out_run(here: StandingRun, system: System, first: StandingPost | None, last: StandingPost | None) -> None:
    run = here.run
    start, end = terminal(run, system, "start"), terminal(run, system, "end")
    gates = sorted(run.gates, key=lambda gate: gate.start)
    before, after = split_face(system.square.face, run)
    place_post(here, start, first, against(run.start))
    cursor = start
    for number in range(len(gates)):
        gate = gates[number]
        left = gate.start - after
        if abs(left - cursor.at) <= 1:
            here.posts[-1].kind = "square"
        else:
            left += pushed(gates[number:], before, end, system)
            cursor = place_segment(here, system, cursor, Stop(left, True), end)
            place_post(here, cursor, None, None)
        right = Stop(cursor.at + system.square.face + gate.opening, True)
        if abs(right.at - end.at) <= 1:
            right = Stop(end.at, True)
            place_post(here, right, last, against(run.end))
        else:
            place_post(here, right, None, None)
        hang(here, gate, system)
        cursor = right
    if cursor.at != end.at:
        place_segment(here, system, cursor, end, end)
        place_post(here, end, last, against(run.end))
    stand_channels(here)


def pushed(gates: list[Gate], before: int, end: Stop, system: System) -> int:
    """Return how far gates that share posts up to the end post are moved to meet it."""
    for i in range(len(gates)):
        off = end.at - (gates[i].end + before)
        if i + 1 < len(gates):
            if abs(gates[i + 1].start - gates[i].end - system.square.face) > 1:
                return 0
        elif abs(off) <= 1:
            return off
    return 0


def against(kind: Terminal) -> str | None:
    return kind.value if kind in (Terminal.WALL, Terminal.JOIN) else None


def place_post(here: StandingRun, stop: Stop, shared: StandingPost | None, beside: str | None) -> None:
    ground = half_up(ground_at(here.points, stop.at))
    if shared is not None:
        shared.at[here.run.id] = stop.at
        shared.ground = min(shared.ground, ground)
        here.posts.append(shared)
        return
    kind = "square" if stop.square else "single"
    number = len(here.posts) + 1
    here.posts.append(StandingPost(f"{here.run.id}-P{number}", here.run, {here.run.id: stop.at}, kind, ground, beside))


def hang(here: StandingRun, gate: Gate, system: System) -> None:
    base = highest(here.points, gate.start, gate.end) + system.ground_gap
    left, right = here.posts[-2], here.posts[-1]
    left.gate_tops.append(base + gate.height)
    right.gate_tops.append(base + gate.height)
    here.gates.append(StandingGate(gate, here.run, base, [left.id, right.id]))


def place_segment(here: StandingRun, system: System, left: Stop, right: Stop, end: Stop) -> Stop:
    """The bays between two stops and the line posts between them; the caller places the post at ``right``."""
    run = here.run
    left_square = here.posts[-1].kind == "square"
    setbacks = (setback_of(left_square, system), setback_of(right.square, system))
    posts = [left.at]
    for width in bay_widths(right.at - left.at, run.layout, system, setbacks):
        posts.append(posts[-1] + width)
    lines = base_lines(run.form, here.points, posts, system.ground_gap)
    tapers = taper_span(here, posts, end)
    for i in range(len(lines)):
        if i > 0:
            place_line_post(here, posts[i])
        here.bays.append(
            StandingBay(
                id=f"{run.id}-{len(here.bays) + 1}",
                run=run,
                start=posts[i],
                end=posts[i + 1],
                setbacks=(
                    setbacks[0] if i == 0 else system.channel.setback,
                    setbacks[1] if i == len(lines) - 1 else system.channel.setback,
                ),
                base=lines[i],
                top=(
                    lines[i][0] + run.height - drop(run, tapers, posts[i]),
                    lines[i][1] + run.height - drop(run, tapers, posts[i + 1]),
                ),
                step=0 if i == 0 else abs(lines[i][0] - lines[i - 1][1]),
            )
        )
    return right


def setback_of(square: bool, system: System) -> int:
    return system.square.setback if square else system.channel.setback


def drop(run: Run, tapers: tuple[int, int] | None, x: int) -> int:
    if tapers is None or run.taper is None:
        return 0
    return drop_at(x, tapers[0], tapers[1], run.height - run.taper.height)


def stand_channels(here: StandingRun) -> None:
    """Every bay brings two channels, one to the post at either end."""
    for post in here.posts:
        for bay in here.bays:
            if bay.end == post.at[here.run.id]:
                post.channels.append((bay.id, bay.top[1]))
        for bay in here.bays:
            if bay.start == post.at[here.run.id]:
                post.channels.append((bay.id, bay.top[0]))


def taper_span(here: StandingRun, posts: list[int], end: Stop) -> tuple[int, int] | None:
    """(where the taper starts, where the last post stands), if this is the segment that tapers."""
    taper = here.run.taper
    if taper is None:
        return None
    if taper.at == "start":
        return (posts[taper.bays], posts[0]) if not here.bays else None
    return (posts[-1 - taper.bays], posts[-1]) if posts[-1] == end.at else None


def place_line_post(here: StandingRun, at: int) -> None:
    ground = half_up(ground_at(here.points, at))
    number = len(here.posts) + 1
    here.posts.append(StandingPost(f"{here.run.id}-P{number}", here.run, {here.run.id: at}, "line", ground))
