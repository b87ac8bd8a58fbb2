"""Set-out of one run (hole centres, lines, bays, gates and posts) and of lattice added to an existing fence."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from fencing.model.faults import Fault, InvalidDocument, Notice, Severity
from fencing.model.fence import Bay, BuiltRetrofit, HungGate, Lattice, Rail
from fencing.model.measure import Form, Gate, Layout, Retrofit, Run, Taper
from fencing.model.system import System
from fencing.set_out.bays import Lines, build_bay, list_shortages
from fencing.set_out.gates import build_gate
from fencing.set_out.ground import NO_DROP, Drop, Ground, calculate_base_lines, calculate_top_lines
from fencing.set_out.posts import UnsizedPost, name_posts
from fencing.set_out.segments import Anchor, Skeleton, build_skeleton, divide_segment, find_setback


@dataclass(frozen=True, slots=True)
class Ends:
    """Ids of corner posts that a neighbouring run already has; None for a post of the run's own."""

    first: str | None = None
    last: str | None = None


NO_ENDS = Ends()


@dataclass(frozen=True, slots=True)
class Draft:
    """A run set out in one form and layout, before its posts are sized."""

    run: Run
    form: Form
    layout: Layout
    ground: Ground
    bays: tuple[Bay, ...]
    gates: tuple[HungGate, ...]
    uprights: tuple[UnsizedPost, ...]


@dataclass(frozen=True, slots=True)
class _Span:
    """Part of a run between two anchors: hole centres ``posts`` from one to the other, and the gate of an opening."""

    left: Anchor
    right: Anchor
    posts: tuple[int, ...]
    gate: Gate | None


def set_out(
    run: Run, form: Form, layout: Layout, ground: Ground, system: System, ends: Ends = NO_ENDS, pointer: str = ""
) -> Draft:
    """Set a run out.

    Args:
        run: the measured run [mm].
        form: level, stepped or raked.
        layout: division of segments, not "auto".
        ground: the ground under the run.
        system: the fence system.
        ends: ids of corner posts shared with neighbours.
        pointer: JSON Pointer of the run, for faults.

    Returns:
        The draft; bays, gates and uprights in order of chainage.

    Raises:
        InvalidDocument: gates or a taper that do not fit the run.

    Source: docs/rules.md; common practice.

    Example:
        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> draft = set_out(TWO_BAYS.runs[0], Form.LEVEL, Layout.FROM_START, Ground((0,), (0,)), ROUND_SIZES)
        >>> [(upright.at, upright.kind) for upright in draft.uprights]
        [(0, 'square'), (2400, 'line'), (4800, 'square')]
    """
    spans = _find_spans(build_skeleton(run, system, layout, pointer), layout, system)
    drops = _find_drops(run, spans, pointer)
    built = list[list[Bay]]()
    for span, drop in zip(spans, drops, strict=True):
        first = 1 + sum(len(bays) for bays in built)
        built.append([] if span.gate else _build_bays(run, form, span, drop, first, ground, system))
    ids = name_posts(run.id, 1 + sum(len(span.posts) - 1 for span in spans), ends.first)
    ids = [*ids[:-1], ends.last or ids[-1]]
    gates = _build_gates(spans, ids, ground, system)
    bays = tuple(bay for group in built for bay in group)
    return Draft(run, form, layout, ground, bays, gates, _build_posts(spans, ids, bays, gates, ground))


def _find_spans(frame: Skeleton, layout: Layout, system: System) -> list[_Span]:
    spans = list[_Span]()
    for (left, right), gate in zip(pairwise(frame.anchors), frame.spans, strict=True):
        widths = [right.at - left.at] if gate else divide_segment(layout, left, right, system)
        spans.append(_Span(left, right, tuple(accumulate(widths, initial=left.at)), gate))
    return spans


def _find_drops(run: Run, spans: Sequence[_Span], pointer: str) -> list[Drop]:
    """Return the taper's drop in each span; only the span at the tapered end has a drop."""
    drops = [NO_DROP] * len(spans)
    if run.taper is None:
        return drops
    span = spans[0 if run.taper.at == "start" else -1]
    posts = span.posts
    if fault := _find_long_taper(run.taper, span, pointer):
        raise InvalidDocument([fault])
    depth = run.height - run.taper.height
    if run.taper.at == "start":
        drops[0] = Drop(posts[run.taper.bays], posts[0], depth)
    else:
        drops[-1] = Drop(posts[-1 - run.taper.bays], posts[-1], depth)
    return drops


def _find_long_taper(taper: Taper, span: _Span, pointer: str) -> Fault | None:
    bays = 0 if span.gate else len(span.posts) - 1
    if taper.bays <= bays:
        return None
    text = f"the fence has {bays} bays between its {taper.at} and the next gate or end: at most that many can taper"
    return Fault(f"{pointer}/taper/bays", "taper.too_long", text)


def find_taper_faults(run: Run, system: System, pointer: str) -> list[Fault]:
    """Return the fault of a taper with too many bays for every allowed layout; nothing if one layout has enough.

    Args:
        run: the measured run [mm].
        system: the fence system.
        pointer: JSON Pointer of the run, for faults.

    Raises:
        InvalidDocument: gates that do not fit the run.

    Source: house rule.

    Example: a run of two bays can't taper over three:

        >>> from fencing.model.measure import MeasureBasis
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> run = Run("A", 4800, 1800, basis=MeasureBasis.CENTRES, taper=Taper("end", 3, 900))
        >>> [fault.code for fault in find_taper_faults(run, ROUND_SIZES, "/runs/0")]
        ['taper.too_long']
    """
    if run.taper is None:
        return []
    fault: Fault | None = None
    for layout in [item for item in Layout if item is not Layout.AUTO] if run.layout is Layout.AUTO else [run.layout]:
        spans = _find_spans(build_skeleton(run, system, layout, pointer), layout, system)
        fault = _find_long_taper(run.taper, spans[0 if run.taper.at == "start" else -1], pointer)
        if fault is None:
            return []
    return [fault] if fault else []


def _build_bays(run: Run, form: Form, span: _Span, drop: Drop, first: int, ground: Ground, system: System) -> list[Bay]:
    """Build the bays of one segment, numbered from ``first``."""
    bases = calculate_base_lines(form, span.posts, ground, system.ground_gap)
    tops = calculate_top_lines(bases, span.posts, run.height, drop)
    inner = [find_setback(system, square=False)] * (len(bases) - 1)
    backs = [find_setback(system, square=span.left.square), *inner, find_setback(system, square=span.right.square)]
    before = [bases[0][0], *(right for _, right in bases[:-1])]
    return [
        build_bay(
            Lines(
                id=f"{run.id}-{first + index}",
                start=span.posts[index],
                end=span.posts[index + 1],
                base=base,
                top=tops[index],
                set_left=backs[index],
                set_right=backs[index + 1],
                step=abs(base[0] - before[index]),
                tapered=drop is not NO_DROP
                and (drop.calculate(span.posts[index]) or drop.calculate(span.posts[index + 1])) > 0,
            ),
            form,
            run.lattice,
            ground,
            system,
        )
        for index, base in enumerate(bases)
    ]


def _build_gates(spans: Sequence[_Span], ids: Sequence[str], ground: Ground, system: System) -> tuple[HungGate, ...]:
    hung, post = list[HungGate](), 0
    for span in spans:
        if span.gate:
            hung.append(build_gate(span.gate, (ids[post], ids[post + 1]), ground, system))
        post += len(span.posts) - 1
    return tuple(hung)


def _build_posts(
    spans: Sequence[_Span], ids: Sequence[str], bays: Sequence[Bay], gates: Sequence[HungGate], ground: Ground
) -> tuple[UnsizedPost, ...]:
    """Make an unsized post for every hole centre, with the bays and gates that meet there."""
    centres = [spans[0].posts[0], *(at for span in spans for at in span.posts[1:])]
    squares = {anchor.at for span in spans for anchor in (span.left, span.right) if anchor.square}
    channels, gate_tops = _map_channels(bays), _map_gate_tops(gates)
    uprights = list[UnsizedPost]()
    for name, at in zip(ids, centres, strict=True):
        beside = channels[at]
        kind = "square" if at in squares else "line" if len(beside) == 2 else "single"
        tops = [top for _, top in beside] + gate_tops[name]
        uprights.append(UnsizedPost(name, at, kind, ground.find_level(at), max(tops), tuple(beside)))
    return tuple(uprights)


def _map_channels(bays: Sequence[Bay]) -> defaultdict[int, list[tuple[str, int]]]:
    """Map each hole centre to (bay id, top level) of the bays beside it, in order of chainage."""
    channels = defaultdict[int, list[tuple[str, int]]](list)
    for bay in bays:
        channels[bay.start].append((bay.id, bay.top[0]))
        channels[bay.end].append((bay.id, bay.top[1]))
    return channels


def _map_gate_tops(gates: Sequence[HungGate]) -> defaultdict[str, list[int]]:
    """Map each post's id to the top levels of the gates beside it."""
    tops = defaultdict[str, list[int]](list)
    for gate in gates:
        for post in gate.posts:
            tops[post].append(gate.top)
    return tops


def calculate_extension(lattice: int, system: System) -> int:
    """Return the length [mm] of a post extension: lattice height and overlap on the existing post.

    Source: common practice.

    >>> from fencing.model.example_system import ROUND_SIZES
    >>> calculate_extension(300, ROUND_SIZES)
    340
    """
    return lattice + system.retrofit_overlap


def build_retrofit(retrofit: Retrofit, system: System) -> BuiltRetrofit:
    """Build two extensions, one rail and one lattice panel for every bay; levels [mm] are above the existing top rail.

    Source: common practice.

    Example: an existing bay of 2400 between posts with a setback of 5:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> built = build_retrofit(Retrofit("R1", (2400,), 300), ROUND_SIZES)
        >>> built.extension, built.bays[0].id, built.bays[0].lattice[0].length
        (340, 'R1-1', 2390)
    """
    chainages = [0, *accumulate(retrofit.bays)]
    bays = tuple(
        _build_retrofit_bay(f"{retrofit.id}-{number}", start, end, retrofit.lattice, system)
        for number, (start, end) in enumerate(pairwise(chainages), 1)
    )
    return BuiltRetrofit(retrofit.id, calculate_extension(retrofit.lattice, system), retrofit.lattice, bays)


def _build_retrofit_bay(name: str, start: int, end: int, lattice: int, system: System) -> Bay:
    length = end - start - 2 * system.channel.setback
    return Bay(
        id=name,
        start=start,
        end=end,
        form=Form.LEVEL,
        step=0,
        slope=0.0,
        base=(0, 0),
        top=(lattice, lattice),
        ground=(0, 0),
        gap_min=0,
        gap_max=0,
        rails=(Rail("top", length),),
        sheets=(),
        lattice=(Lattice(length, lattice),),
        lattice_height=lattice,
        tapered=False,
    )


def inspect_retrofit(built: BuiltRetrofit, system: System) -> list[Notice]:
    """Return a warning about the existing posts and footings, and a notice for each piece longer than its stock [mm].

    Source: the wind moment grows with the square of the height.

    >>> from fencing.model.example_system import ROUND_SIZES
    >>> [notice.code for notice in inspect_retrofit(build_retrofit(Retrofit("R1", (2400,), 300), ROUND_SIZES), ROUND_SIZES)]
    ['retrofit.footings']
    """
    text = "the standing posts and footings will carry a higher fence: check them before the lattice goes on"
    notices = [Notice("retrofit.footings", Severity.WARNING, built.id, text)]
    for bay in built.bays:
        short = list_shortages(system, rails=bay.rails, lattice=bay.lattice)
        notices += [Notice(code, level, bay.id, text) for code, level, text in short]
    return notices
