"""Labels on a plan. Each tries its positions in order of preference; a dimension line moves out until it is clear."""

from __future__ import annotations

from math import atan2, cos, degrees, hypot, radians, sin

from fencing.drawing.drawing_context import LaidOutRun, Scene, find_measured_run
from fencing.drawing.elevation_strip import shorten_post_name
from fencing.drawing.label_placement import Board, LabelBox
from fencing.drawing.svg import draw_group, draw_path, draw_text, fit_words, measure_width, trace_line
from fencing.drawing.symbols import Track
from fencing.model.fence import BuiltRetrofit, BuiltRun

_AWAY = (5.0, 8.0, 11.0, 14.5, 18.0, 23.0, 28.0)  # mm of paper from a run to its dimension line
_RING = (3.2, 4.5, 6.5, 9.0, 12.0, 16.0, 21.0)  # mm of paper from a point to a label with a leader


def describe_run(shown: Scene, run: BuiltRun) -> str:
    """Describe a run."""
    height = find_measured_run(shown.takeoff, run).height
    gates = f", {len(run.gates)} gate" + ("s" if len(run.gates) > 1 else "") if run.gates else ""
    return f"Run {run.id}: {shown.format_metres(run.length)} m, {run.form.value}, {height} mm high, {len(run.bays)} bays{gates}"


def _measure_post_distance(laid: LaidOutRun) -> float:
    """Return the mean distance [mm of paper] of a run's posts."""
    posts = laid.run.posts
    return (posts[-1].at - posts[0].at) / max(1, len(posts) - 1) / laid.track.n


def _turn_readable(heading: float) -> float:
    """Return the direction of words along ``heading`` that is not upside down: from the left, or vertical, from the right."""
    turn = heading % 360
    return turn - 360 if turn >= 270 else turn - 180 if turn >= 90 else turn


def _box_leader(start: tuple[float, float], end: tuple[float, float]) -> LabelBox:
    """Return a thin box along a leader."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    return LabelBox((start[0] + end[0]) / 2, (start[1] + end[1]) / 2, hypot(dx, dy), 0.4, degrees(atan2(dy, dx)))


class Annotator:
    """Places labels on one plan; labels without a position go to the key."""

    def __init__(self, shown: Scene, board: Board) -> None:
        self.shown, self.board, self.size = shown, board, shown.size
        self._parts, self._left = list[str](), list[str]()
        self._words = Board(*board.edges)  # only words: lines may cross lines, but not these
        self._kept = Board(*board.edges)  # the ends of dimension lines, which gates' names must not cover
        self._named = set[str]()  # corner posts are named once

    def draw_body(self) -> str:
        return draw_group("words", "".join(self._parts))

    def reserve_ends(self, laid: LaidOutRun, inward: int) -> None:
        """Reserve the ends of a run's dimension line on its outside, so that gates' names do not cover them."""
        for post in (laid.run.posts[0], laid.run.posts[-1]):
            far = laid.track.locate(post.at, -inward * (_AWAY[1] + 1) * laid.track.n)
            self._kept.add(_box_leader(laid.track.locate(post.at), far))

    def label_run(self, laid: LaidOutRun, inward: int) -> None:
        """Draw name and length of a run on a dimension line, outside first; or with a leader; or its number and a key."""
        run, live = laid.run, self.shown.is_live(laid.run.id)
        name, length = fit_words(run.id, self.size, 40), f"{self.shown.format_metres(run.length)} m"
        if any(
            self._draw_dimension(laid, side * away, name, length, live) for side in (-inward, inward) for away in _AWAY
        ):
            return
        start, long = run.posts[0].at, run.posts[-1].at - run.posts[0].at
        places = [laid.track.locate(start + long * share) for share in (0.5, 0.25, 0.75, 0.1, 0.9)]
        if self._draw_around(places[0], f"{name} {length}", live=live):
            return
        number = 1 + self.shown.takeoff.runs.index(run)
        any(self._draw_around(place, str(number), live=live, bold=True) for place in places)
        self._left.append(f"{number}: {name} {length}")

    def _take(self, text: LabelBox) -> None:
        self.board.add(text)
        self._words.add(text)

    def _draw_dimension(self, laid: LaidOutRun, away: float, name: str, length: str, live: bool) -> bool:
        run, track = laid.run, laid.track
        start, end = run.posts[0].at, run.posts[-1].at
        first, gap = measure_width(name, self.size), self.size * 0.5
        wide = first + gap + measure_width(length, self.size)
        long = (end - start) / track.n
        if wide > long - 1.5:
            return False
        off = away * track.n
        x, y = track.locate((start + end) / 2, off)
        line = LabelBox(x, y, long - 1.6, 0.6, track.heading)
        turn = _turn_readable(track.heading)
        ux, uy = cos(radians(turn)), sin(radians(turn))
        lift = self.size * 0.75  # from the line to the middle of the words, in reading direction
        text = LabelBox(x + uy * lift, y - ux * lift, wide + 0.6, self.size * 1.05, turn)
        ticks = LabelBox(x, y, long + 1.4, 1.6, track.heading)
        if not (self.board.contains(ticks) and self.board.is_free(line) and self.board.is_free(text)):
            return False
        near, reach = (0.9 if off > 0 else -0.9) * track.n, off + (0.9 if off > 0 else -0.9) * track.n
        ties = [_box_leader(track.locate(at, near), track.locate(at, reach)) for at in (start, end)]
        if not all(self._words.is_free(tie) for tie in ties):
            return False
        for box in (line, *ties):
            self.board.add(box)
        self._take(text)
        witness = track.trace_line((start, near), (start, reach)) + track.trace_line((end, near), (end, reach))
        self._parts.append(draw_path("dim", witness + track.trace_line((start, off), (end, off)), live=live))
        tick = 0.6 * track.n
        marks = "".join(track.trace_line((at - tick, off + tick), (at + tick, off - tick)) for at in (start, end))
        self._parts.append(draw_path("tick", marks, live=live))
        base = self.size * 0.4
        left, top = x + uy * base - ux * wide / 2, y - ux * base - uy * wide / 2
        for words, along, bold in ((name, 0.0, True), (length, first + gap, False)):
            place = (left + ux * along, top + uy * along)
            self._parts.append(draw_text(*place, words, self.size, anchor="start", turn=turn, bold=bold, live=live))
        return True

    def _draw_around(self, place: tuple[float, float], words: str, *, live: bool = False, bold: bool = False) -> bool:
        """Draw horizontal words with a leader in the nearest free position about ``place``."""
        wide, high = measure_width(words, self.size), self.size * 1.1
        for away in _RING:
            for angle in (-90, 90, 0, 180, -45, 45, -135, 135, -20, 20, 160, -160):
                cx, cy = cos(radians(angle)), sin(radians(angle))
                x, y = place[0] + cx * (away + wide / 2), place[1] + cy * away
                box = LabelBox(x, y, wide + 0.8, high)
                near = (x - cx * (wide / 2 + 0.5), y - cy * (high / 2 + 0.2))
                tie = _box_leader((place[0] + cx * 1.3, place[1] + cy * 1.3), near)
                if not (self.board.is_free(box) and self._kept.is_free(box) and self.board.is_free(tie)):
                    continue
                self._take(box)
                self.board.add(tie)
                self._parts.append(draw_path("dim", trace_line(*place, *near), live=live))
                self._parts.append(draw_text(x, y + self.size * 0.37, words, self.size, live=live, bold=bold))
                return True
        return False

    def label_gates(self, laid: LaidOutRun, inward: int) -> None:
        """Draw name and opening of each gate, on the side it does not open to."""
        for gate in laid.run.gates:
            side = -inward if gate.swing == "in" else inward
            words, live = f"{gate.id} {gate.opening}", self.shown.is_live(gate.id)
            middle = gate.start + gate.opening / 2
            step = gate.opening * 0.25
            tries = [(label, slide * step) for label in (words, gate.id) for slide in (0, -1, 1, -2, 2)]
            if any(
                self._draw_beside(laid.track, middle + slide, side, label, live=live, bold=True)
                for label, slide in tries
            ):
                continue
            if not self._draw_around(laid.track.locate(middle), words, live=live, bold=True):
                self._left.append(words)

    def _draw_beside(
        self, track: Track, at: float, side: int, words: str, *, live: bool, bold: bool = False, soft: bool = False
    ) -> bool:
        """Draw horizontal words close to a point of the run, on its ``side``."""
        wide, high = measure_width(words, self.size), self.size * 1.1
        right = radians(track.heading + 90)
        cx, cy = side * cos(right), side * sin(right)
        reach = wide / 2 * abs(cx) + high / 2 * abs(cy)
        foot = track.locate(at)
        for away in (1.4, 2.4, 3.6):
            x, y = foot[0] + cx * (away + reach), foot[1] + cy * (away + reach)
            box = LabelBox(x, y, wide + 0.6, high)
            if self.board.is_free(box) and (soft or self._kept.is_free(box)):
                self._take(box)
                self._parts.append(
                    draw_text(x, y + self.size * 0.37, words, self.size, live=live, bold=bold, soft=soft)
                )
                return True
        return False

    def label_posts(self, laid: LaidOutRun, inward: int) -> None:
        """Draw names of posts on the inside where there is room, at scales that separate them."""
        if _measure_post_distance(laid) < 2.2 * self.size:
            return
        for post in laid.run.posts:
            if post.id in self._named:
                continue
            self._named.add(post.id)
            words = shorten_post_name(laid.run.id, post.id, self.size)
            self._draw_beside(laid.track, post.at, inward, words, live=self.shown.is_live(post.id), soft=True)

    def label_retrofit(self, built: BuiltRetrofit, track: Track) -> None:
        words = f"{built.id} {self.shown.format_metres(built.bays[-1].end)} m, lattice {built.lattice_height} on existing fence"
        live = self.shown.is_live(built.id)
        shown = fit_words(words, self.size, 90)
        middle = built.bays[-1].end / 2
        if not (
            self._draw_beside(track, middle, 1, shown, live=live)
            or self._draw_around(track.locate(middle), shown, live=live)
        ):
            self._left.append(words)

    def draw_key(self, width: float, top: float) -> tuple[str, float]:
        """Draw the labels without a position on the plan, in lines under it."""
        if not self._left:
            return "", 0.0
        lines = ["Key:"]
        for words in self._left:
            shown = fit_words(words, self.size, width)
            longer = f"{lines[-1]} \u00b7 {shown}" if lines[-1] != "Key:" else f"Key: {shown}"
            if measure_width(longer, self.size) <= width:
                lines[-1] = longer
            else:
                lines.append(shown)
        line = self.size * 1.35
        body = "".join(
            draw_text(0, top + line * number, words, self.size, anchor="start") for number, words in enumerate(lines, 1)
        )
        return body, line * len(lines) + 1
