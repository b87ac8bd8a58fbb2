"""Terminals, gate posts and bays along a run: the position of every hole centre.

*Anchors* are terminal posts and gate posts, which have fixed positions. Between two anchors there is either a gate's
opening or a segment that a layout divides into bays.

    anchor  segment: bays   anchor  opening  anchor  segment  anchor
      |----+----+----+--------|                |-------+--------|
    start                   gate post       gate post          end
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fencing.model.faults import Fault, InvalidDocument
from fencing.model.measure import Gate, Layout, MeasureBasis, Run, Terminal
from fencing.model.rounding import round_up
from fencing.model.system import System

TOGETHER = 1
"""Two posts at most this far apart [mm] are one post. Source: house rule."""


@dataclass(frozen=True, slots=True)
class Anchor:
    """A post with a fixed position: chainage ``at`` [mm] of its centre; ``square`` or a single channel."""

    at: int
    square: bool


@dataclass(frozen=True, slots=True)
class Skeleton:
    """Anchors in order of chainage. ``spans[i]`` between anchors i and i + 1 is a gate, or None for a segment of bays."""

    anchors: tuple[Anchor, ...]
    spans: tuple[Gate | None, ...]


def find_setback(system: System, *, square: bool) -> int:
    """Return the distance from a post's centre to the end of a rail in it [mm]. Source: the system.

    >>> from fencing.model.example_system import ROUND_SIZES
    >>> find_setback(ROUND_SIZES, square=True), find_setback(ROUND_SIZES, square=False)
    (40, 5)
    """
    return system.square.setback if square else system.channel.setback


def halve_face(face: int, layout: Layout) -> tuple[int, int]:
    """Return the whole millimetres of a post's ``face`` before and after its centre; they add up to the face.

    Rule: the odd millimetre is before the centre, so that openings and overall lengths are exact. ``from_end`` is the mirror
    image of ``from_start``, so there it is after the centre. Source: house rule.

    >>> halve_face(60, Layout.FROM_START), halve_face(65, Layout.FROM_START), halve_face(65, Layout.FROM_END)
    ((30, 30), (33, 32), (32, 33))
    """
    more, less = round_up(face, 2), face // 2
    return (less, more) if layout is Layout.FROM_END else (more, less)


def needs_square(run: Run, end: str) -> bool:
    """Return whether the terminal at ``end`` ("start" or "end") needs its own square post. Source: common practice.

    >>> run = Run("A", 4800, 1800, end=Terminal.WALL)  # [mm]
    >>> needs_square(run, "start"), needs_square(run, "end")
    (True, False)
    """
    terminal = run.start if end == "start" else run.end
    tapered = run.taper is not None and run.taper.at == end
    return terminal is Terminal.CORNER or (terminal is Terminal.FREE and not tapered)


def _place_terminal(run: Run, system: System, layout: Layout, end: str, *, square: bool) -> Anchor:
    before, after = 0, 0
    if run.basis is MeasureBasis.OUTSIDE_FACES:
        before, after = halve_face(system.square.face if square else system.channel.face, layout)
    return Anchor(before if end == "start" else run.length - after, square)


def build_skeleton(run: Run, system: System, layout: Layout, pointer: str = "") -> Skeleton:
    """Place the terminal posts and the gate posts of a run.

    Rule: docs/rules.md, "Chainage, terminals, posts". The inner faces of a gate's posts are its opening apart, to the
    millimetre. A gate post at the position of a terminal or of another gate's post is that post.

    Args:
        run: the measured run [mm].
        system: the fence system.
        layout: division of segments; it decides the side of the odd millimetre of a face.
        pointer: JSON Pointer of the run in its document, for faults.

    Returns:
        Anchors in order of chainage [mm], and the spans between them.

    Raises:
        InvalidDocument: a gate outside its run, gates that overlap, no room for a rail between two posts, or an opening that
            does not fit between two posts that are there already.

    Source: common practice; house rule for posts at the same position.

    Example: measured over all, the centres of posts of 60 are 30 inside the ends:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> [anchor.at for anchor in build_skeleton(Run("A", 4800, 1800), ROUND_SIZES, Layout.FROM_START).anchors]
        [30, 4770]
    """
    gates = sorted(enumerate(run.gates), key=lambda numbered: numbered[1].start)
    start, end = _place_terminals(run, system, layout, gates)
    anchors, spans, numbers, faults = [start], list[Gate | None](), list[int](), list[Fault]()
    for number, gate in gates:
        left, right = _place_gate_posts(gate, anchors[-1], system, layout)
        if left.at != anchors[-1].at:
            anchors.append(left)
            spans.append(None)
            numbers.append(number)
        anchors.append(right)
        spans.append(gate)
        numbers.append(number)
    if gates and end.square and abs(anchors[-1].at - end.at) <= TOGETHER:
        faults += _move_to_end(anchors, spans, end, f"{pointer}/gates/{gates[-1][0]}/opening_mm")
    else:
        anchors.append(end)
        spans.append(None)
    for index, span in enumerate(spans):
        if span is None:
            following = numbers[index] if index < len(numbers) else None
            faults += _check_room(run, system, (anchors[index], anchors[index + 1]), following, pointer)
    if faults:
        raise InvalidDocument(faults)
    return Skeleton(tuple(anchors), tuple(spans))


def _place_gate_posts(gate: Gate, before: Anchor, system: System, layout: Layout) -> tuple[Anchor, Anchor]:
    """Return both posts of a gate; if the first one is at the post before it, it is that post, and the second one moves too."""
    left = gate.start - halve_face(system.square.face, layout)[1]
    if before.square and abs(left - before.at) <= TOGETHER:
        left = before.at
    return Anchor(left, square=True), Anchor(left + system.square.face + gate.opening, square=True)


def _move_to_end(anchors: list[Anchor], spans: Sequence[Gate | None], end: Anchor, pointer: str) -> list[Fault]:
    """Move the last gate, with the gates that share its posts, so that its second post is the end post.

    Return the fault of gates that reach from one end post to the other without filling the run.
    """
    shift, first = end.at - anchors[-1].at, len(anchors) - 1
    while first and spans[first - 1] is not None:
        first -= 1
    if shift and not first:
        opening = (spans[-1].opening if spans[-1] else 0) + shift
        return [
            Fault(pointer, "gate.opening", f"between the two end posts there is room for {opening}; write {opening}")
        ]
    anchors[first:] = [Anchor(anchor.at + shift, anchor.square) for anchor in anchors[first:-1]] + [end]
    return []


def _place_terminals(run: Run, system: System, layout: Layout, gates: list[tuple[int, Gate]]) -> tuple[Anchor, Anchor]:
    """Return the two terminal posts; a terminal post that is also a gate post is always square."""
    half_before, half_after = halve_face(system.square.face, layout)
    start = _place_terminal(run, system, layout, "start", square=True)
    end = _place_terminal(run, system, layout, "end", square=True)
    start_is_gate = bool(gates) and abs(gates[0][1].start - half_after - start.at) <= TOGETHER
    end_is_gate = bool(gates) and abs(gates[-1][1].end + half_before - end.at) <= TOGETHER
    if not start_is_gate and not needs_square(run, "start"):
        start = _place_terminal(run, system, layout, "start", square=False)
    if not end_is_gate and not needs_square(run, "end"):
        end = _place_terminal(run, system, layout, "end", square=False)
    return start, end


def _check_room(
    run: Run, system: System, between: tuple[Anchor, Anchor], number: int | None, pointer: str
) -> list[Fault]:
    """Return the fault of two posts with no room for a rail; ``number`` is the gate that follows, None before the end."""
    left, right = between
    least = find_setback(system, square=left.square) + find_setback(system, square=right.square) + 1
    if right.at - left.at >= least:
        return []
    what, place = f"the end of run {run.id}", f"{pointer}/length_mm"
    if number is not None:
        what, place = f"gate {run.gates[number].id}", f"{pointer}/gates/{number}/from_mm"
    elif run.gates:
        last = max(range(len(run.gates)), key=lambda index: run.gates[index].start)
        place = f"{pointer}/gates/{last}/from_mm"
    text = (
        f"no room for a bay before {what}: {right.at - left.at} mm between post centres, at least {least} mm are needed"
    )
    return [Fault(place, "layout.no_room", text)]


def divide_segment(layout: Layout, left: Anchor, right: Anchor, system: System) -> list[int]:
    """Return the bay widths [mm] of the segment between two anchors, in order; they add up to its length exactly.

    Args:
        layout: division of the segment, not "auto".
        left, right: the anchors [chainage in mm].
        system: pitch, minimum closing bay and rails [mm].

    Raises:
        ValueError: the layout is "auto".

    Rule: docs/rules.md, "Layout".

    Source: common practice.

    Example: 18240 mm needs eight bays of at most 2400 mm, all equal; from the start the last bay takes the rest:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> ends = Anchor(0, True), Anchor(18240, True)
        >>> divide_segment(Layout.EVEN, *ends, ROUND_SIZES) == [2280] * 8
        True
        >>> divide_segment(Layout.FROM_START, *ends, ROUND_SIZES)
        [2400, 2400, 2400, 2400, 2400, 2400, 2400, 1440]
    """
    length, pitch, least = right.at - left.at, system.pitch, system.closing_bay_min
    match layout:
        case Layout.FROM_START:
            return _divide_from_start(length, pitch, least)
        case Layout.FROM_END:
            return _divide_from_start(length, pitch, least)[::-1]
        case Layout.EVEN:
            return _divide_evenly(length, pitch)
        case Layout.BALANCED:
            return _divide_balanced(length, pitch, least)
        case Layout.WHOLE_RAILS:
            return _divide_by_full_rails(left, right, system)
        case Layout.AUTO:
            raise ValueError("choose a layout before calling divide(): auto is not allowed")


def _halve(length: int) -> list[int]:
    """Divide a length into two bays, the odd millimetre to the first."""
    return [round_up(length, 2), length // 2]


def _divide_from_start(length: int, pitch: int, least: int) -> list[int]:
    whole, closing = divmod(length, pitch)
    if not whole:
        return [length]
    if not closing:
        return [pitch] * whole
    if closing < least:
        return [pitch] * (whole - 1) + _halve(pitch + closing)
    return [pitch] * whole + [closing]


def _divide_evenly(length: int, pitch: int) -> list[int]:
    bays = round_up(length, pitch)
    width, odd = divmod(length, bays)
    return [width + 1] * odd + [width] * (bays - odd)


def _divide_balanced(length: int, pitch: int, least: int) -> list[int]:
    whole, rest = divmod(length, pitch)
    if not whole or not rest:
        return [pitch] * whole or [length]
    if rest // 2 < least:
        whole, rest = whole - 1, rest + pitch
    first, last = _halve(rest)
    return [first, *[pitch] * whole, last]


def find_whole_rail(system: System) -> int | None:
    """Return the longest stock rail [mm] that fits uncut in a pitch between two line posts, or None.

    A rail shorter than the minimum closing bay is not used. Source: house rule.

    Example: a pitch of 2400 less two setbacks of 5:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> find_whole_rail(ROUND_SIZES)
        2390
    """
    spanned = system.pitch - 2 * system.channel.setback
    fitting = [rail for rail in system.rails.stock if system.closing_bay_min <= rail <= spanned]
    return max(fitting, default=None)


def _divide_by_full_rails(left: Anchor, right: Anchor, system: System) -> list[int]:
    rail = find_whole_rail(system)
    length = right.at - left.at
    if rail is None:
        return _divide_from_start(length, system.pitch, system.closing_bay_min)
    inner, before, after = (
        system.channel.setback,
        find_setback(system, square=left.square),
        find_setback(system, square=right.square),
    )
    widths: list[int] = []
    while length > before + rail + after:
        widths.append(before + rail + inner)
        length -= widths[-1]
        before = inner
    if not length:
        return widths
    if widths and length < system.closing_bay_min:
        return widths[:-1] + _halve(widths[-1] + length)
    return [*widths, length]
