"""Digging costs of the holes of a fence by soil, depth and diameter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from catalogue.rules.digging import STEP_MM, DigRate
from catalogue.rules.labour_rules import ACTIVITIES
from catalogue.rules.price_rule_lines import Category
from catalogue.rules.price_rules import PriceRules
from fencing.model.faults import Fault
from quotes.pricing.costs import CostLine, parts_by_run


@dataclass(frozen=True, slots=True)
class Holes:
    """``count`` holes of one depth [mm] on a run, in a soil ("" if the measure names none)."""

    soil: str
    run: str
    depth: int
    count: int

    @property
    def finer(self) -> str:
        return f".{self.soil}" if self.soil else ""


def dig_faults(holes: Sequence[Holes], rules: PriceRules, across: int) -> Iterator[Fault]:
    """Yield a fault for each rate and factor that is missing. ``across`` is the widest part of the holes [mm]."""
    for soil in dict.fromkeys(hole.soil for hole in holes):
        own = [hole for hole in holes if hole.soil == soil]
        rate = rules.dig_rate(soil)
        if rate is None:
            yield _missing(f"dig{own[0].finer}", rules)
        elif rate.deeper is None and any(rate.steps(item.depth) for item in own):
            deepest = max(item.depth for item in own)
            text = f"Digging includes {rate.included} mm, and some holes are {deepest} mm: add a rate for each further 100 mm."
            yield Fault(f"/price_rules/labour/dig_deeper{own[0].finer}", "labour.missing", text)
    if holes and rules.factors.diameter(across) is None:
        text = f"The price rules have no factor for holes {across} mm across: add diameter.{across}."
        yield Fault(f"/price_rules/factor/diameter.{across}", "factor.missing", text)


def _missing(key: str, rules: PriceRules) -> Fault:
    text = f"The price rules have no labour rate for {key}."
    if key == "dig" and rules.words.soils:
        text += (
            f" Name the soil of each run, one of: {', '.join(rules.words.soils)}; or add a rate for digging in general."
        )
    return Fault(f"/price_rules/labour/{key}", "labour.missing", text)


def dig_lines(holes: Sequence[Holes], rules: PriceRules, across: int) -> Iterator[CostLine]:
    """Yield the lines for digging: for each soil a line for the holes and a line for the depth beyond that of the rate.

    Rule: a hole costs its rate up to the included depth, and ``dig_deeper`` for each further 100 mm or part of it; both times the
    factor of the diameter. No rate may be missing (:func:`dig_faults`).
    """
    band, factor = rules.factors.diameter(across) or (0, Decimal(1))
    times = "" if factor == 1 else f" × {factor.normalize():f} for holes up to {band} mm across"
    for soil in dict.fromkeys(hole.soil for hole in holes):
        own = [hole for hole in holes if hole.soil == soil]
        rate = rules.dig_rate(soil)
        if rate is not None:
            yield _holes_line(own, rate, factor, times)
            yield from _deeper_line(own, rate, factor, times)


def _holes_line(own: Sequence[Holes], rate: DigRate, factor: Decimal, times: str) -> CostLine:
    where = f", {own[0].soil}" if own[0].soil else ""
    depth = "" if rate.included is None else f" up to {rate.included} mm deep"
    return CostLine(
        f"labour.dig{own[0].finer}",
        Category.LABOUR,
        f"Digging and concreting post holes{where}",
        Decimal(sum(item.count for item in own)),
        ACTIVITIES["dig"],
        rate.hole * factor,
        runs=parts_by_run((item.run, item.count) for item in own),
        why=f"{rate.hole.normalize():f} a hole{depth}{times}" if depth or times else "",
    )


def _deeper_line(own: Sequence[Holes], rate: DigRate, factor: Decimal, times: str) -> Iterator[CostLine]:
    steps = [(item, item.count * rate.steps(item.depth)) for item in own if rate.steps(item.depth)]
    if not steps or rate.deeper is None:
        return
    depths: dict[int, int] = {}
    for item, _ in steps:
        depths[item.depth] = depths.get(item.depth, 0) + item.count
    counted = "; ".join(
        f"{count} of {depth} mm take {rate.steps(depth)} further {STEP_MM} mm each" for depth, count in depths.items()
    )
    where = f", {own[0].soil}" if own[0].soil else ""
    yield CostLine(
        f"labour.dig_deeper{own[0].finer}",
        Category.LABOUR,
        f"Digging deeper than {rate.included} mm{where}, each further {STEP_MM} mm",
        Decimal(sum(count for _, count in steps)),
        ACTIVITIES["dig_deeper"],
        rate.deeper * factor,
        runs=parts_by_run((item.run, count) for item, count in steps),
        why=f"{counted}: {rate.deeper.normalize():f} each{times}",
    )
