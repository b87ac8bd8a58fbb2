"""Checks for room at gates: each opening with its two posts fits between the ends of the run and other gates.

terminal      gate post                gate post      next post
   |  a rail     |  <---- opening ---->   |   a rail     |
   t         c = from - half after    from + opening + half before
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fencing.model.faults import Fault
from fencing.model.measure import Gate, GateKind, MeasureBasis, Run
from fencing.model.system import System
from fencing.set_out.segments import TOGETHER, find_setback, halve_face, needs_square

Numbered = tuple[int, Gate]


def find_gate_faults(run: Run, pointer: str, system: System) -> Iterator[Fault]:
    """Yield faults of gates that are too narrow, outside their run, overlap, or leave no room for a rail [mm].

    Rule: docs/rules.md, "Chainage, terminals, posts".

    Source: common practice.

    Example: the second opening begins before the first ends:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> gates = (Gate("A-G1", 2000, 1000, GateKind.SINGLE, 1800), Gate("A-G2", 2500, 1000, GateKind.SINGLE, 1800))
        >>> [fault.code for fault in find_gate_faults(Run("A", 9600, 1800, gates=gates), "/runs/0", ROUND_SIZES)]
        ['gate.overlap']
    """
    gates = sorted(enumerate(run.gates), key=lambda numbered: numbered[1].start)
    placed: list[Numbered] = []
    for number, gate in gates:
        at = f"{pointer}/gates/{number}"
        yield from _check_width(gate, at, system)
        outside = list(_check_inside(gate, at, run, system))
        yield from outside
        if not outside:
            placed.append((number, gate))
    yield from _check_neighbours(placed, pointer, run, system)


def _check_width(gate: Gate, at: str, system: System) -> Iterator[Fault]:
    rules = system.gates
    clearance, leaves = {
        GateKind.SINGLE: (rules.clearance_single, 1),
        GateKind.WIDE: (rules.clearance_wide, 1),
        GateKind.DOUBLE: (rules.clearance_double, 2),
    }[gate.kind]
    least = clearance + leaves * (2 * rules.stile + 1)
    if gate.opening < least:
        text = f"a {gate.kind} gate needs more than its clearance and stiles; write at least {least}"
        yield Fault(f"{at}/opening_mm", "gate.narrow", text)


def _check_inside(gate: Gate, at: str, run: Run, system: System) -> Iterator[Fault]:
    before, after = halve_face(system.square.face, run.layout)
    insets = _find_insets(run, system)
    first, last = insets[0] + after, run.length - insets[1] - before - gate.opening
    if last < first:
        most = gate.opening + last - first
        room = f"at most {most}" if most > 0 else "no gate"
        text = f"{gate.opening} mm and two posts are longer than the run; there is room for {room}"
        yield Fault(f"{at}/opening_mm", "gate.outside", text)
    elif not first - 1 <= gate.start <= last + 1:
        text = f"gate {gate.id} is outside run {run.id}; an opening of {gate.opening} can start from {first} to {last}"
        yield Fault(f"{at}/from_mm", "gate.outside", text)


def _check_neighbours(gates: Sequence[Numbered], pointer: str, run: Run, system: System) -> Iterator[Fault]:
    """Check the room before each gate, and between the last gate and the end of the run."""
    half_before, half_after = halve_face(system.square.face, run.layout)
    inset, edge = _find_insets(run, system)[0], _find_edge(run, "start", system)
    before: Gate | None = None
    for number, gate in gates:
        at, left = f"{pointer}/gates/{number}/from_mm", gate.start - half_after
        if before is not None:
            yield from _check_gap(gate, before, gate.start - before.end - system.square.face, at, system)
        elif abs(left - inset) > TOGETHER:
            least = _find_least_room(system, square=needs_square(run, "start"))
            if left - edge < least:
                first = edge + least + half_after
                yield _make_fault(at, f"write {inset + half_after} (on the end post), or {first} or more")
        before = gate
    if before is not None:
        yield from _check_end(before, f"{pointer}/gates/{gates[-1][0]}/from_mm", half_before, run, system)


def _check_end(gate: Gate, at: str, half_before: int, run: Run, system: System) -> Iterator[Fault]:
    """Check the room between the last gate and the end of its run."""
    right, end_at = gate.end + half_before, run.length - _find_edge(run, "end", system)
    on_end = run.length - _find_insets(run, system)[1]
    if abs(right - on_end) <= TOGETHER:
        return
    least = _find_least_room(system, square=needs_square(run, "end"))
    if end_at - right < least:
        latest = end_at - least - half_before - gate.opening
        yield _make_fault(at, f"write {on_end - half_before - gate.opening} (on the end post), or {latest} or less")


def _find_insets(run: Run, system: System) -> tuple[int, int]:
    """Return the distances from both ends of the tape to the centre of a square post there [mm]."""
    return halve_face(system.square.face, run.layout) if run.basis is MeasureBasis.OUTSIDE_FACES else (0, 0)


def _find_edge(run: Run, end: str, system: System) -> int:
    """Return the distance from the end of the tape to the centre of the terminal post [mm]."""
    if run.basis is not MeasureBasis.OUTSIDE_FACES:
        return 0
    face = system.square.face if needs_square(run, end) else system.channel.face
    return halve_face(face, run.layout)[0 if end == "start" else 1]


def _find_least_room(system: System, *, square: bool) -> int:
    return find_setback(system, square=True) + find_setback(system, square=square) + 1


def _check_gap(gate: Gate, before: Gate, between: int, at: str, system: System) -> Iterator[Fault]:
    """Check the room between two gates; ``between`` is the distance between their posts' centres [mm]."""
    least = _find_least_room(system, square=True)
    shared, clear = before.end + system.square.face, before.end + system.square.face + least
    accepted = f"write {shared} (sharing a post), or {clear} or more"
    if between < -TOGETHER:
        yield Fault(at, "gate.overlap", f"gate {gate.id} overlaps gate {before.id}; {accepted}")
    elif TOGETHER < between < least:
        yield _make_fault(at, accepted)


def _make_fault(at: str, accepted: str) -> Fault:
    return Fault(at, "layout.no_room", f"there is no room for a rail beside this gate's post; {accepted}")
