"""Retrofit: lattice added to an existing fence, whose bays may have different widths."""

from __future__ import annotations

from itertools import accumulate, pairwise

from fencing.model.faults import Notice, Severity
from fencing.model.fence import Bay, BuiltRetrofit, Lattice, Rail
from fencing.model.measure import Form, Retrofit
from fencing.model.system import System
from fencing.set_out.bays import list_shortages


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
