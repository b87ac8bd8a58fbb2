"""Drawing of the screening curves as one SVG. Line types and labels distinguish the curves without colour."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from fencing.drawing.svg import measure_width
from fencing.strength.curves import HIGHEST_MM, LOWEST_MM, Chart, Curve

WIDTH, HEIGHT = 180.0, 104.0  # drawing units: mm on paper
LEFT, RIGHT, TOP, BOTTOM = 18.0, 44.0, 17.0, 22.0
INK, SOFT, RULE, STRING = "#1B2420", "#4E5A54", "#B9BFB8", "#B4380D"
PLACES = {"middle": ("middle of the run", ""), "end": ("first post from a free end", "2.4 1.2")}
SHARED = 40.0
"""Maximum width of the names of rings side by side [mm]."""
FONT = "B612, 'DejaVu Sans', sans-serif"


def draw_chart(chart: Chart) -> str:
    """Draw allowed height against pitch.

    Rule: pitch across, height up, both [mm]; a full line for the middle of a run, a dashed one beside a free end; the job's own
    pitch and height as a ring. Same chart, same bytes.

    Args:
        chart: as :func:`fencing.strength.curves.calculate_chart` gives it.

    Returns:
        A complete ``svg`` element of 180 by 104 mm with a title and a description for screen readers.

    Source: house rule.

    Example:
        >>> curve = Curve("middle", (600, 750), None, (448, 375))
        >>> draw_chart(Chart("Allowed", (), (curve,), ((600, 400, "A"),)))[:62]
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 180 104" '
    """
    frame = _Frame(chart)
    body = [
        *_draw_axes(frame),
        *(line for curve in chart.curves for line in _draw_curve(frame, curve)),
        *_draw_labels(frame, chart),
    ]
    body += _draw_job(frame, chart.job)
    if not any(height is not None for curve in chart.curves for height in curve.allowed):
        what = f"no height from {LOWEST_MM} mm up is within the limits at these pitches"
        body.append(_draw_text(frame.x(frame.pitches[0]) + 4, TOP + 8, what, 3.2))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" font-family="{FONT}">'
    )
    return "".join(
        [head, f"<title>{escape(chart.title)}</title><desc>{escape(_describe_chart(chart))}</desc>", *body, "</svg>"]
    )


class _Frame:
    """Scales of the drawing. The height axis ends at the next 300 above the curves."""

    __slots__ = ("high", "pitches")

    def __init__(self, chart: Chart) -> None:
        self.pitches = chart.curves[0].pitches
        drawn = [height for curve in chart.curves for height in curve.allowed if height is not None]
        most = max([*drawn, *(height for _, height, _ in chart.job), 1200])
        self.high = min(-(-most // 300) * 300, HIGHEST_MM + 600)

    def x(self, pitch: float) -> float:
        first, last = self.pitches[0], self.pitches[-1]
        return LEFT + (pitch - first) / (last - first) * (WIDTH - LEFT - RIGHT)

    def y(self, height: float) -> float:
        return HEIGHT - BOTTOM - height / self.high * (HEIGHT - TOP - BOTTOM)


def _draw_axes(frame: _Frame) -> Iterator[str]:
    left, right = frame.x(frame.pitches[0]), frame.x(frame.pitches[-1])
    for height in range(0, frame.high + 1, 300):
        y = frame.y(height)
        yield _draw_line(left, y, right, y, INK if not height else RULE, 0.35 if not height else 0.15)
        yield _draw_text(left - 1.5, y + 1.0, f"{height}", 2.8, anchor="end")
    for pitch in frame.pitches:
        if pitch % 600 == 0:
            x = frame.x(pitch)
            yield _draw_line(x, frame.y(0), x, frame.y(0) + 1.2, INK, 0.35)
            yield _draw_text(x, frame.y(0) + 5, f"{pitch}", 2.8, anchor="middle")
    yield _draw_text((left + right) / 2, frame.y(0) + 9.5, "pitch of posts, mm", 3.0, anchor="middle")
    yield _draw_text(left - 13, TOP - 3.5, "height of fence, mm", 3.0)


def _draw_curve(frame: _Frame, curve: Curve) -> Iterator[str]:
    words, dash = PLACES[curve.place]
    points = _list_points(curve)
    if not points:
        return
    path = "M" + "L".join(f"{frame.x(pitch):.2f} {frame.y(height):.2f}" for pitch, height in points)
    if len(points) == 1:  # a dot, as wide as the line
        path += "h0.7"
    yield f"<g><title>{words}</title>{_draw_stroke(path, dash)}</g>"


def _draw_labels(frame: _Frame, chart: Chart) -> Iterator[str]:
    """Yield the title, the notes, and a name at the right end of each curve, spread so that none overlap."""
    yield _draw_text(LEFT - 13, 6, chart.title, 4.0, weight="bold")
    for number, note in enumerate(chart.notes):
        yield _draw_text(LEFT - 13, HEIGHT - 6.5 + 4 * number, note, 2.6, SOFT)
    taken: list[float] = []
    drawn = [(curve, points) for curve in chart.curves if (points := _list_points(curve))]
    x = WIDTH - RIGHT + 1.5  # right of the rules, which would cross the text
    for curve, points in drawn:
        y = _find_free_height(frame.y(points[-1][1]), taken)
        taken.append(y)
        words, dash = PLACES[curve.place]
        limit = " and ".join(curve.known_limits) if len(curve.known_limits) == 2 else f"{curve.known_limits[0]} alone"
        yield _draw_stroke(f"M{x:.2f} {y - 0.5:.2f}h5", dash)
        yield _draw_text(x + 6, y + 0.4, words, 2.6)
        yield _draw_text(x + 6, y + 3.8, f"({limit})", 2.4, SOFT)


def _list_points(curve: Curve) -> list[tuple[int, int]]:
    """Return pitch and height [mm] of each point with an allowed height."""
    return [(pitch, height) for pitch, height in zip(curve.pitches, curve.allowed, strict=True) if height is not None]


def _draw_stroke(path: str, dash: str) -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="0.7"{dashed}/>'


def _find_free_height(height: float, taken: Sequence[float]) -> float:
    """Return the position nearest to ``wanted`` that clears the other names and the axis."""
    lowest = HEIGHT - BOTTOM - 5.0
    places = sorted((0.5 * step for step in range(int(TOP) * 2, int(lowest) * 2 + 1)), key=lambda y: abs(y - height))
    return next((y for y in places if all(abs(y - other) >= 7 for other in taken)), height)


def _draw_job(frame: _Frame, job: Sequence[tuple[int, int, str]]) -> Iterator[str]:
    inside = [item for item in job if frame.pitches[0] <= item[0] <= frame.pitches[-1] and item[1] <= frame.high]
    for pitch, height, _ in inside:
        x, y = frame.x(pitch), frame.y(height)
        yield f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.3" fill="#FFFFFF" stroke="{STRING}" stroke-width="0.6"/>'
        yield f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.4" fill="{STRING}"/>'
    for x, y, words in _place_names(frame, inside):
        yield _draw_text(x, y - 2.6, words, 2.8, anchor="middle", weight="bold")


def _place_names(frame: _Frame, job: Sequence[tuple[int, int, str]]) -> Iterator[tuple[float, float, str]]:
    """Yield the positions of the names of rings. Rings that are close together share one name."""
    for height in sorted({height for _, height, _ in job}):
        near: list[list[tuple[float, str]]] = []
        for x, runs in ((frame.x(pitch), runs) for pitch, other, runs in job if other == height):
            if near and x - near[-1][-1][0] < (measure_width(near[-1][-1][1], 2.8) + measure_width(runs, 2.8)) / 2 + 1:
                near[-1].append((x, runs))
            else:
                near.append([(x, runs)])
        for group in near:
            names = ", ".join(runs for _, runs in group)
            words = names if measure_width(names, 2.8) <= SHARED else f"{names.count(',') + 1} runs"
            yield (group[0][0] + group[-1][0]) / 2, frame.y(height), words


def _describe_chart(chart: Chart) -> str:
    parts = []
    for curve in chart.curves:
        words, _ = PLACES[curve.place]
        pairs = zip(curve.pitches, curve.allowed, strict=True)
        parts.append(
            f"{words}: " + ", ".join(f"{pitch} mm: {height or 'none'}" for pitch, height in pairs if pitch % 600 == 0)
        )
    return "; ".join(parts)


def _draw_line(x1: float, y1: float, x2: float, y2: float, colour: str, width: float) -> str:
    return f'<path d="M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}" stroke="{colour}" stroke-width="{width:g}"/>'


def _draw_text(
    x: float, y: float, words: str, size: float, colour: str = INK, anchor: str = "start", weight: str = "normal"
) -> str:
    style = f'font-size="{size:g}" fill="{colour}" text-anchor="{anchor}" font-weight="{weight}"'
    return f'<text x="{x:.2f}" y="{y:.2f}" {style}>{escape(words)}</text>'
