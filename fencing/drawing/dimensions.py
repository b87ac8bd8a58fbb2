"""Dimension lines and rows of labels. Each returns its own height, so that the next one can start below it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from fencing.drawing.label_placement import divide_into_lanes, spread
from fencing.drawing.svg import draw_group, draw_path, draw_text, fit_words, format_point, measure_width, trace_line

_LEADER = 1.3  # mm between a row of labels and the labelled objects
_MOVE = 7.0  # maximum mm to move a label sideways before a second lane is used


@dataclass(frozen=True, slots=True)
class DimensionLabel:
    """A label at ``x`` with ``under`` on a second line; ``mark`` draws a symbol before it, ``sign`` wide, at (left, base)."""

    x: float
    words: str
    bold: bool = False
    live: bool = False
    soft: bool = False
    sign: float = 0.0
    mark: Callable[[float, float], str] | None = None
    under: str = ""

    def measure(self, size: float) -> float:
        return max(measure_width(self.words, size) + self.sign, measure_width(self.under, size))


def draw_row(
    labels: Sequence[DimensionLabel],
    low: float,
    high: float,
    top: float,
    size: float,
    *,
    below: bool,
    leaders: bool = True,
) -> tuple[str, float]:
    """Draw a row of labels between ``low`` and ``high`` with leaders to their points; return (SVG, height).

    ``below``: the labels stand under what they label, so their leaders start at ``top``; otherwise at the row's foot.
    """
    if not labels:
        return "", 0.0
    ordered = sorted(labels, key=lambda label: label.x)
    ordered = [_shorten(label, high - low, size) for label in ordered]
    line = size * (2.55 if any(label.under for label in ordered) else 1.3)
    placed = divide_into_lanes(
        [label.x for label in ordered], [label.measure(size) for label in ordered], low, high, size * 0.45, _MOVE
    )
    many = 1 + max(lane for lane, _ in placed)
    leader = _LEADER if leaders else 0.3
    height = leader + many * line
    parts, ties = list[str](), list[str]()
    for label, (lane, x) in zip(ordered, placed, strict=True):
        nth = lane if below else many - 1 - lane
        base = top + (leader if below else 0) + nth * line + size * 0.95
        parts.append(_draw_label(label, x, base, size))
        edge = top if below else top + height
        ties.append(trace_line(label.x, edge, x, edge + (leader - 0.3) * (1 if below else -1)))
    return (draw_path("dim", "".join(ties)) if leaders else "") + "".join(parts), height


def _draw_label(label: DimensionLabel, x: float, base: float, size: float) -> str:
    left = x - (measure_width(label.words, size) + label.sign) / 2
    written = label.mark(left, base) if label.mark else ""
    if label.words:
        soft = label.soft and not label.live
        start = left + label.sign
        written += draw_text(
            start, base, label.words, size, anchor="start", bold=label.bold, live=label.live, soft=soft
        )
    if label.under:
        written += draw_text(x, base + size * 1.2, label.under, size, soft=not label.live, live=label.live)
    return written


def _shorten(label: DimensionLabel, room: float, size: float) -> DimensionLabel:
    if label.measure(size) <= room:
        return label
    words = fit_words(label.words, size, room - label.sign)
    return replace(label, words=words, under=fit_words(label.under, size, room))


@dataclass(frozen=True, slots=True)
class DimensionSpan:
    """One dimension from ``left`` to ``right`` [mm of paper]; without words only its ticks are drawn.

    ``fuller`` words are drawn instead if there is room for them.
    """

    left: float
    right: float
    words: str = ""
    live: bool = False
    fuller: str = ""

    def fit_words(self, size: float) -> tuple[str, bool]:
        """Return (words, whether they fit on the line)."""
        for words in (self.fuller, self.words):
            if words and measure_width(words, size) <= self.right - self.left - 0.8:
                return words, True
        return self.words, False


def draw_chain(spans: Sequence[DimensionSpan], high: float, top: float, size: float) -> tuple[str, float]:
    """Draw a chain of dimensions with slanted ticks: (SVG, height).

    Words that do not fit on the line are on lanes under it.
    """
    if not spans:
        return "", 0.0
    line = top + size * 1.25
    ends = sorted({span.left for span in spans} | {span.right for span in spans})
    data = trace_line(ends[0], line, ends[-1], line)
    ticks = "".join(f"M{format_point(x - 0.6, line + 0.6)}l1.2 -1.2" for x in ends)
    inside, outside = list[str](), list[DimensionLabel]()
    for span in spans:
        middle = (span.left + span.right) / 2
        if not span.words:
            continue
        words, fits = span.fit_words(size)
        if fits:
            inside.append(draw_text(middle, line - size * 0.3, words, size, live=span.live))
        else:
            outside.append(DimensionLabel(middle, span.words, live=span.live))
    under, deep = draw_row(outside, 0, high, line + 0.3, size, below=True)
    body = draw_path("dim", data) + draw_path("tick", ticks) + "".join(inside) + under
    return draw_group("dimensions", body), line - top + 0.9 + deep


def draw_ladder(x: float, spans: Sequence[DimensionSpan], low: float, high: float, size: float) -> str:
    """Draw vertical dimensions above each other at ``x`` (``left`` is the upper end), words on the left of the line.

    Words stay between ``low`` and ``high`` and are pushed apart where spans are lower than a line of words.
    """
    ordered = sorted(spans, key=lambda span: span.left)
    ends = sorted({span.left for span in ordered} | {span.right for span in ordered})
    ticks = "".join(f"M{format_point(x - 0.6, y + 0.6)}l1.2 -1.2" for y in ends)
    middles = [(span.left + span.right) / 2 for span in ordered]
    places = spread(middles, [size * 1.1] * len(ordered), low, high, size * 0.1)
    if places is None:
        raise ValueError("more dimensions than fit over each other")
    ties, words = "", ""
    for span, middle, place in zip(ordered, middles, places, strict=True):
        ties += trace_line(x, middle, x - 1.6, place)
        words += draw_text(x - 2.0, place + size * 0.37, span.words, size, anchor="end", live=span.live)
    return draw_path("dim", trace_line(x, ends[0], x, ends[-1]) + ties) + draw_path("tick", ticks) + words


def draw_upright(x: float, top: float, bottom: float, words: str, size: float, *, middle: float | None = None) -> str:
    """Draw a vertical dimension at ``x`` from ``top`` to ``bottom``; its words read from the right, about ``middle``."""
    centre = (top + bottom) / 2 if middle is None else middle
    ticks = "".join(f"M{format_point(x - 0.6, y + 0.6)}l1.2 -1.2" for y in (top, bottom))
    return (
        draw_path("dim", trace_line(x, top, x, bottom))
        + draw_path("tick", ticks)
        + draw_text(x - size * 0.35, centre, words, size, turn=-90)
    )
