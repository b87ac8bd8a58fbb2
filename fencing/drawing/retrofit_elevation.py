"""Elevation of a retrofit: lattice on extended posts over an existing fence."""

from __future__ import annotations

from itertools import pairwise

from fencing.drawing.dimensions import DimensionLabel, DimensionSpan, draw_chain, draw_row, draw_upright
from fencing.drawing.drawing_context import Scene
from fencing.drawing.elevation_rows import TooWide, find_typical_width
from fencing.drawing.elevation_strip import Strip, draw_heading, make_notice_label
from fencing.drawing.elevation_symbols import trace_laths
from fencing.drawing.lettering import measure_width
from fencing.drawing.scales import Frame
from fencing.drawing.svg import draw_group, draw_path, make_id, trace_box, trace_line
from fencing.model.fence import Bay, BuiltRetrofit

_SHOWN = 600  # mm of the existing fence that is drawn if its height is not known


def divide_retrofit(retrofit: BuiltRetrofit, longest: float) -> list[tuple[Bay, ...]]:
    """Return bays in the fewest rows of at most ``longest`` mm.

    Raises:
        TooWide: one bay alone is longer.
    """
    rows, start = list[list[Bay]](), 0
    for bay in retrofit.bays:
        if bay.width > longest:
            raise TooWide(retrofit.id)
        if not rows or bay.end - start > longest:
            rows.append([])
            start = bay.start
        rows[-1].append(bay)
    return [tuple(row) for row in rows]


def draw_retrofit_strip(
    scene: Scene, retrofit: BuiltRetrofit, bays: tuple[Bay, ...], n: int, side: float, room: float
) -> Strip:
    """Draw one row of a retrofit at 1:n: existing parts are dashed, new ones are solid."""
    height = next(item.existing_height for item in scene.takeoff.measure.retrofits if item.id == retrofit.id)
    below = height or _SHOWN
    needed = 2 * side + (bays[-1].end - bays[0].start) / n
    head = draw_heading(
        scene, _write_retrofit_title(scene, retrofit, bays, height), needed, room, live=scene.is_live(retrofit.id)
    )
    width, y, parts = max(needed, head.width), head.height, [head.body]
    places = [(bay.id, (bay.start + bay.end) / 2) for bay in bays]
    places += [(retrofit.id, float(bays[0].start))] * (bays[0] is retrofit.bays[0])
    named = Frame(n, bays[0].start, 0, side, y)
    signs = [make_notice_label(scene, scene.notices[name], named.x(at)) for name, at in places if name in scene.notices]
    body, high = draw_row(signs, 0, width, y, scene.size, below=False, leaders=False)
    parts.append(body)
    frame = Frame(n, bays[0].start, retrofit.lattice_height, side, y + high + 1)
    parts.append(_draw_retrofit(scene, retrofit, bays, frame, below))
    foot = max(frame.y(-below), frame.top + measure_width("00000", scene.size)) + 1.5
    parts.append(_draw_height(scene, frame, retrofit.lattice_height))
    typical = find_typical_width(retrofit.bays)
    spans, is_labelled = list[DimensionSpan](), False
    for bay in bays:
        words = "" if is_labelled and bay.width == typical else str(bay.width)
        is_labelled = is_labelled or bay.width == typical
        spans.append(DimensionSpan(frame.x(bay.start), frame.x(bay.end), words, scene.is_live(bay.id)))
    y = foot
    body, high = draw_chain(spans, 0, width, y, scene.size)
    parts.append(body)
    numbers = [
        DimensionLabel((frame.x(bay.start) + frame.x(bay.end)) / 2, bay.id.removeprefix(f"{retrofit.id}-"))
        for bay in bays
    ]
    body, names = draw_row(numbers, 0, width, y + high, scene.size, below=True, leaders=False)
    return Strip(width, y + high + names + 0.5, "".join([*parts, body]))


def _write_retrofit_title(
    scene: Scene, retrofit: BuiltRetrofit, bays: tuple[Bay, ...], height: int | None
) -> tuple[str, str]:
    name = f"Retrofit {retrofit.id}" + ("" if bays[0] is retrofit.bays[0] else " continued")
    stands = f"{height} high" if height else "height not measured"
    total = scene.metres(retrofit.bays[-1].end)
    return name, f"{total} m, {retrofit.lattice_height} lattice on existing fence ({stands})"


def _draw_height(scene: Scene, frame: Frame, lattice: int) -> str:
    words = str(lattice)
    half = measure_width(words, scene.size) / 2
    x, top, bottom = frame.left - 3, frame.y(lattice), frame.y(0)
    return draw_upright(x, top, bottom, words, scene.size, middle=max((top + bottom) / 2, frame.top + half))


def _draw_retrofit(scene: Scene, retrofit: BuiltRetrofit, bays: tuple[Bay, ...], frame: Frame, below: int) -> str:
    overlap = retrofit.extension - retrofit.lattice_height
    face, left, right = scene.system.channel.face, frame.x(bays[0].start), frame.x(bays[-1].end)
    stands = "".join(trace_line(frame.x(at), frame.y(0), frame.x(at), frame.y(-below)) for at in _list_centres(bays))
    stands += trace_line(left, frame.y(0), right, frame.y(0)) + trace_line(
        left, frame.y(-below), right, frame.y(-below)
    )
    parts = [draw_path("existing", stands, "Existing fence")]
    for bay in bays:
        panel = trace_laths(frame, bay.start + face, bay.end - face, (0, 0), bay.lattice_height)
        rail = trace_line(frame.x(bay.start), frame.y(bay.top[0]), frame.x(bay.end), frame.y(bay.top[1]))
        hit = trace_box(frame.x(bay.start), frame.y(bay.top[0]), bay.width / frame.n, bay.lattice_height / frame.n)
        body = draw_path("hit", hit) + draw_path("lattice", panel) + draw_path("edge", rail, live=scene.is_live(bay.id))
        data = f"Bay {bay.id}: {bay.width} mm, lattice {bay.lattice_height} mm"
        parts.append(draw_group("bay", body, data, id=make_id(f"{scene.prefix}-elevation", bay.id), bay=bay.id))
        uprights = "".join(
            trace_box(frame.x(at), frame.y(bay.top[0]), face / frame.n, (bay.lattice_height + overlap) / frame.n)
            for at in (bay.start, bay.end - face)
        )
        parts.append(draw_path("post", uprights, f"Post extensions {retrofit.extension} mm"))
    return "".join(parts)


def _list_centres(bays: tuple[Bay, ...]) -> list[int]:
    return [bays[0].start, *(right.start for _, right in pairwise(bays)), bays[-1].end]
