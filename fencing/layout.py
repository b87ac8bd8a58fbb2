"""Terminals, gate posts and bays along a run: where every hole centre goes.

A run is held between *anchors* (terminal posts and gate posts, whose places are given); between two anchors there is
either a gate's opening or a segment that a layout divides into bays.

    anchor  segment: bays   anchor  opening  anchor  segment  anchor
      |----+----+----+--------|                |-------+--------|
    start                   gate post       gate post          end
"""

from __future__ import annotations

from dataclasses import dataclass

from fencing.faults import Fault, Refused
from fencing.measure import Basis, Gate, Layout, Run, Terminal
from fencing.rounding import up
from fencing.system import System


@dataclass(frozen=True, slots=True)
class Anchor:
    """A post whose place is given: chainage ``at`` [mm] of its centre; ``square`` or a single channel."""

    at: int
    square: bool


@dataclass(frozen=True, slots=True)
class Skeleton:
    """Anchors in order of chainage; ``spans[i]`` between anchors i and i + 1 is a gate, or None for a segment of bays."""

    anchors: tuple[Anchor, ...]
    spans: tuple[Gate | None, ...]


def setback(system: System, *, square: bool) -> int:
    """Post's centre to the end of a rail in its pocket [mm]. Source: the system.

    >>> from fencing.round_sizes import ROUND_SIZES
    >>> setback(ROUND_SIZES, square=True), setback(ROUND_SIZES, square=False)
    (40, 5)
    """
    return system.square.setback if square else system.channel.setback


def needs_square(run: Run, end: str) -> bool:
    """Whether the terminal at ``end`` ("start" or "end") takes a square post of its own. Source: common practice.

    >>> run = Run("A", 4800, 1800, end=Terminal.WALL)  # [mm]
    >>> needs_square(run, "start"), needs_square(run, "end")
    (True, False)
    """
    terminal = run.start if end == "start" else run.end
    tapered = run.taper is not None and run.taper.at == end
    return terminal is Terminal.CORNER or (terminal is Terminal.FREE and not tapered)


def _terminal(run: Run, system: System, end: str, *, square: bool) -> Anchor:
    inset = 0
    if run.basis is Basis.OVERALL:
        inset = up(system.square.face if square else system.channel.face, 2)
    return Anchor(inset if end == "start" else run.length - inset, square)


def skeleton(run: Run, system: System, pointer: str = "") -> Skeleton:
    """Place the terminal posts and the gate posts of a run.

    Rule: docs/rules.md, "Chainage, terminals, posts". Gate posts stand half a face outside the opening; one that falls on a
    terminal or on another gate's post is that post.

    Args:
        run: the measured run [mm].
        system: the fence system.
        pointer: JSON Pointer of the run in its document, for faults.

    Returns:
        Anchors in order of chainage [mm], and what is between them.

    Raises:
        Refused: a gate outside its run, gates that overlap, or no room for a rail between two posts.

    Source: common practice; house rule for posts that fall together.

    Example: measured over all, the centres of posts of 60 are 30 inside the ends:

        >>> from fencing.round_sizes import ROUND_SIZES
        >>> [anchor.at for anchor in skeleton(Run("A", 4800, 1800), ROUND_SIZES).anchors]
        [30, 4770]
    """
    half = up(system.square.face, 2)
    gates = sorted(enumerate(run.gates), key=lambda numbered: numbered[1].start)
    start, end = _terminals(run, system, gates, half)
    anchors, spans, faults = [start], list[Gate | None](), list[Fault]()
    for number, gate in gates:
        left, right = Anchor(gate.start - half, square=True), Anchor(gate.end + half, square=True)
        if abs(left.at - anchors[-1].at) > 1 or not anchors[-1].square:
            faults += _room(system, anchors[-1], left, f"{pointer}/gates/{number}/from_mm", f"gate {gate.id}")
            anchors.append(left)
            spans.append(None)
        anchors.append(right)
        spans.append(gate)
    if len(anchors) > 1 and end.square and abs(anchors[-1].at - end.at) <= 1:
        anchors[-1] = end
    else:
        place = f"{pointer}/gates/{gates[-1][0]}/from_mm" if gates else f"{pointer}/length_mm"
        faults += _room(system, anchors[-1], end, place, f"the end of run {run.id}")
        anchors.append(end)
        spans.append(None)
    if faults:
        raise Refused(faults)
    return Skeleton(tuple(anchors), tuple(spans))


def _terminals(run: Run, system: System, gates: list[tuple[int, Gate]], half: int) -> tuple[Anchor, Anchor]:
    """The two terminal posts; one that is a gate post too is square whatever it stands against."""
    start = _terminal(run, system, "start", square=True)
    end = _terminal(run, system, "end", square=True)
    start_is_gate = bool(gates) and abs(gates[0][1].start - half - start.at) <= 1
    end_is_gate = bool(gates) and abs(gates[-1][1].end + half - end.at) <= 1
    if not start_is_gate and not needs_square(run, "start"):
        start = _terminal(run, system, "start", square=False)
    if not end_is_gate and not needs_square(run, "end"):
        end = _terminal(run, system, "end", square=False)
    return start, end


def _room(system: System, left: Anchor, right: Anchor, pointer: str, what: str) -> list[Fault]:
    least = setback(system, square=left.square) + setback(system, square=right.square) + 1
    if right.at - left.at >= least:
        return []
    text = (
        f"no room for a bay before {what}: {right.at - left.at} mm between post centres, at least {least} mm are needed"
    )
    return [Fault(pointer, "layout.no_room", text)]


def divide(layout: Layout, left: Anchor, right: Anchor, system: System) -> list[int]:
    """Bay widths [mm] of the segment between two anchors, in order; they add up to it exactly.

    Args:
        layout: how; not "auto".
        left, right: the anchors [chainage in mm].
        system: pitch, least closing bay and rails [mm].

    Raises:
        ValueError: "auto", which is decided before.

    Rule: docs/rules.md, "Layout".

    Source: common practice.

    Example: 18240 mm in bays of at most 2400 mm take eight, all equal; from the start the last takes what is left:

        >>> from fencing.round_sizes import ROUND_SIZES
        >>> ends = Anchor(0, True), Anchor(18240, True)
        >>> divide(Layout.EVEN, *ends, ROUND_SIZES) == [2280] * 8
        True
        >>> divide(Layout.FROM_START, *ends, ROUND_SIZES)
        [2400, 2400, 2400, 2400, 2400, 2400, 2400, 1440]
    """
    length, pitch, least = right.at - left.at, system.pitch, system.closing_bay_min
    match layout:
        case Layout.FROM_START:
            return _from_start(length, pitch, least)
        case Layout.FROM_END:
            return _from_start(length, pitch, least)[::-1]
        case Layout.EVEN:
            return _even(length, pitch)
        case Layout.BALANCED:
            return _balanced(length, pitch, least)
        case Layout.WHOLE_RAILS:
            return _whole_rails(left, right, system)
        case Layout.AUTO:
            raise ValueError("auto is decided before a segment is divided")


def _halves(length: int) -> list[int]:
    """Two bays of one length, the odd millimetre to the first."""
    return [up(length, 2), length // 2]


def _from_start(length: int, pitch: int, least: int) -> list[int]:
    whole, closing = divmod(length, pitch)
    if not whole:
        return [length]
    if not closing:
        return [pitch] * whole
    if closing < least:
        return [pitch] * (whole - 1) + _halves(pitch + closing)
    return [pitch] * whole + [closing]


def _even(length: int, pitch: int) -> list[int]:
    bays = up(length, pitch)
    width, odd = divmod(length, bays)
    return [width + 1] * odd + [width] * (bays - odd)


def _balanced(length: int, pitch: int, least: int) -> list[int]:
    whole, rest = divmod(length, pitch)
    if not whole or not rest:
        return [pitch] * whole or [length]
    if rest // 2 < least:
        whole, rest = whole - 1, rest + pitch
    first, last = _halves(rest)
    return [first, *[pitch] * whole, last]


def whole_rail(system: System) -> int | None:
    """The longest stock rail [mm] that spans a pitch between two line posts uncut; None if there is none worth it.

    A rail shorter than the least closing bay makes no bay of its own. Source: house rule.

    Example: a pitch of 2400 less two setbacks of 5:

        >>> from fencing.round_sizes import ROUND_SIZES
        >>> whole_rail(ROUND_SIZES)
        2390
    """
    spanned = system.pitch - 2 * system.channel.setback
    fitting = [rail for rail in system.rails.stock if system.closing_bay_min <= rail <= spanned]
    return max(fitting, default=None)


def _whole_rails(left: Anchor, right: Anchor, system: System) -> list[int]:
    rail = whole_rail(system)
    length = right.at - left.at
    if rail is None:
        return _from_start(length, system.pitch, system.closing_bay_min)
    inner, before, after = (
        system.channel.setback,
        setback(system, square=left.square),
        setback(system, square=right.square),
    )
    widths: list[int] = []
    while length > before + rail + after:
        widths.append(before + rail + inner)
        length -= widths[-1]
        before = inner
    if not length:
        return widths
    if widths and length < system.closing_bay_min:
        return widths[:-1] + _halves(widths[-1] + length)
    return [*widths, length]
