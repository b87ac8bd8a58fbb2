"""Curves of allowed height against pitch for a job's system, wind and soil, as points and as SVG."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fencing.model.system import System
from fencing.quantities.take_off import TakeOff
from fencing.strength.footing import find_soil_inputs
from fencing.strength.limits import Limits
from fencing.strength.loads import Side
from fencing.strength.post_cases import Case
from fencing.strength.screening import ScreenedPost, Screening, screen_post
from fencing.strength.wind import Wall, calculate_mean_pressure_pa

LOWEST_MM, HIGHEST_MM = 300, 3000
PITCHES_MM = tuple(range(600, 3601, 150))


@dataclass(frozen=True, slots=True)
class Curve:
    """Heights [mm] allowed at each of ``pitches`` [mm] for a line post; None if even the lowest fence is over.

    ``place`` is "middle" or "end": the first line post from a free end. ``section`` and ``footing`` are the limits apart, None
    where the section (or the soil) isn't known.
    """

    place: str
    pitches: tuple[int, ...]
    section: tuple[int | None, ...] | None
    footing: tuple[int | None, ...] | None

    @property
    def known_limits(self) -> tuple[str, ...]:
        """The known limits: "post", "footing", or both.

        >>> Curve("middle", (600,), None, (448,)).known_limits  # [mm]
        ('footing',)
        """
        limits = (("post", self.section), ("footing", self.footing))
        return tuple(name for name, heights in limits if heights is not None)

    @property
    def allowed(self) -> tuple[int | None, ...]:
        """The lower of the known limits [mm]; None if one of them allows no height.

        >>> Curve("middle", (600, 750), (500, 420), (448, None)).allowed
        (448, None)
        """
        rows = [heights for heights in (self.section, self.footing) if heights is not None]
        columns = zip(*rows, strict=True) if rows else ((None,) for _ in self.pitches)
        return tuple(None if None in column else min(h for h in column if h is not None) for column in columns)


@dataclass(frozen=True, slots=True)
class Chart:
    """Curves for the middle of a long fence and for its free end, and the points of the job: pitch, height [mm], runs."""

    title: str
    notes: tuple[str, ...]
    curves: tuple[Curve, ...]
    job: tuple[tuple[int, int, str], ...]


def calculate_chart(screening: Screening, decimal_sign: str = ".") -> Chart:
    """Calculate the curves for a screened job.

    Rule: level ground, solid infill, the system's least gap, a run as long as the job's longest; each limit is solved for the
    height at which it is just met.

    Args:
        screening: of the job.

    Returns:
        Two curves over the same pitches [mm]; the job's points are each run's pitch and height [mm].

    Source: the method of the screening.

    Example:
        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> from fencing.strength.screening import screen
        >>> from fencing.quantities.take_off import take_off
        >>> drawn = calculate_chart(screen(take_off(IN_WIND, ROUND_SIZES)))
        >>> drawn.job, [curve.place for curve in drawn.curves]
        (((2400, 1800, 'A'),), ['middle', 'end'])
    """
    takeoff = screening.takeoff
    soils = sorted({run.soil for run in takeoff.measure.runs if run.soil})
    ground = find_soil_inputs(screening.request.inputs, soils[0] if soils else None)
    limits = Limits(screening.method, ground, takeoff.system)
    length = max((run.length for run in takeoff.measure.runs), default=30_000) / 1000
    curves = tuple(_calculate_curve(place, limits, length) for place in ("middle", "end"))
    job = _list_points(takeoff)
    pressure = _calculate_pressure_kpa(limits, max((height for _, height, _ in job), default=1800), length)
    figure = f"{pressure:.2f}".replace(".", decimal_sign)
    notes = (
        f"{screening.method.title}: {figure} kPa in the middle. Soil: {ground.soil_class or 'not stated'}. "
        f"Hole {takeoff.system.hole.diameter} mm wide, post {_find_embedment(takeoff.system)} mm in the ground.",
        "Rings: this job's runs. A screening; it does not replace a licensed engineer.",
    )
    return Chart(f"Allowed height against pitch, {takeoff.system.label}", notes, curves, job)


def _list_points(takeoff: TakeOff) -> tuple[tuple[int, int, str], ...]:
    """Return widest bay and height of every run with bays [mm]; runs with equal values are one point."""
    points: dict[tuple[int, int], list[str]] = {}
    for run, built in zip(takeoff.measure.runs, takeoff.runs, strict=True):
        if built.bays:
            points.setdefault((max(bay.width for bay in built.bays), run.height), []).append(run.id)
    return tuple((pitch, height, ", ".join(names)) for (pitch, height), names in sorted(points.items()))


def _calculate_pressure_kpa(limits: Limits, height: int, length_m: float) -> float:
    top = (limits.system.ground_gap + height) / 1000
    return limits.method.find_zones(Wall(top, max(length_m, 5 * top)))[-1].pressure_pa / 1000


def _find_embedment(system: System) -> int:
    return system.hole.depth - system.hole.bedding


def _calculate_curve(place: str, limits: Limits, length_m: float) -> Curve:
    def heights(over: Callable[[ScreenedPost], bool]) -> tuple[int | None, ...]:
        def at(pitch: int) -> int | None:
            return _find_height(lambda height: over(_screen_line_post(place, pitch, height, limits, length_m)))

        return tuple(map(at, PITCHES_MM))

    section = heights(lambda post: bool(post.over_section)) if limits.find_section("line") else None
    known = limits.ground.lateral_kpa_m is not None
    footing = heights(lambda post: post.required > post.given) if known else None
    return Curve(place, PITCHES_MM, section, footing)


def _find_height(over: Callable[[int], bool]) -> int | None:
    """Find the maximum whole height [mm] that is not over, up to the top of the chart; None if the minimum is over."""
    if over(LOWEST_MM):
        return None
    low, high = LOWEST_MM, HIGHEST_MM + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if over(middle) else (middle, high)
    return low


def _screen_line_post(place: str, pitch: int, height: int, limits: Limits, length_m: float) -> ScreenedPost:
    gap = limits.system.ground_gap / 1000
    top = gap + height / 1000
    zones = limits.method.find_zones(Wall(top, max(length_m, 4 * pitch / 1000)))
    half = pitch / 2000
    spans = ((half, 2 * half), (2 * half, 3 * half)) if place == "end" else ()
    pressures = [calculate_mean_pressure_pa(zones, *span) for span in spans] or [zones[-1].pressure_pa] * 2
    sides = tuple(Side(half, (gap, gap), (top, top), 0.0, pressure) for pressure in pressures)
    diameter = min(limits.system.hole.diameter, limits.system.hole.end_diameter)
    case = Case("", "", 0, "line", sides, pitch, round(top * 1000), _find_embedment(limits.system), diameter)
    return screen_post(case, limits)
