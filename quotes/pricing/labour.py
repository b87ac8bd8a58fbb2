"""Labour quantities of a take-off: holes by soil, metres by height, and so on.

Quantities are read from the set-out fence, so they follow every layout and slope method. A corner post belongs to both
its runs and is counted with the first.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from catalogue.rules.labour_rules import ACTIVITIES
from catalogue.rules.price_rule_lines import Category
from catalogue.rules.price_rules import PriceRules
from catalogue.rules.site_words import plain_word
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.fence import Bay, BuiltRun, Post
from fencing.model.measure import Run
from fencing.quantities.take_off import TakeOff
from fencing.set_out.posts import calculate_hole_volume, find_diameters
from quotes.pricing.costs import CostLine, parts_by_run
from quotes.pricing.digging import Holes, dig_faults, dig_lines
from shared.common.money import rounded

IF_RATED = frozenset({"spoil", "cut"})
"""Activities that are part of other rates if they have no rate of their own."""

_LABELS = {
    "set_out": "Setting out",
    "erect": "Erecting",
    "rake": "Cutting raked bays",
    "cut": "Sawing rails to length",
    "gate": "Hanging gates",
    "retrofit": "Fitting lattice to existing bays",
    "remove": "Removing the old fence",
    "spoil": "Carting away spoil",
    "travel": "Travel",
}


@dataclass(frozen=True, slots=True)
class LabourItem:
    """``quantity`` of an activity on a run (or retrofit), in the activity's unit; ``finer`` is the soil, height [mm] or kind.

    ``depth`` is that of holes [mm]; ``why`` explains the quantity if it is not obvious.
    """

    activity: str
    finer: str
    run: str
    quantity: Decimal
    depth: int = 0
    why: str = ""

    @property
    def key(self) -> str:
        return f"{self.activity}.{self.finer}" if self.finer else self.activity


def _metres(millimetres: int) -> Decimal:
    return Decimal(millimetres).scaleb(-3)


def finished_height(bay: Bay) -> int:
    """Return the greater of a bay's two finished heights [mm]; it decides the rate."""
    return max(top - base for base, top in zip(bay.base, bay.top, strict=True))


def is_cut_raked(bay: Bay) -> bool:
    """Return whether sheets of a bay are cut to a slope: a raked bay that is not level, or a tapered bay."""
    return bay.tapered or bay.base[0] != bay.base[1]


def _posts(built: BuiltRun, run: Run, posts: list[Post], takeoff: TakeOff) -> Iterator[LabourItem]:
    yield LabourItem("set_out", "", built.id, Decimal(len(posts)))
    soil = plain_word(run.soil or "")
    for depth, count in sorted(Counter(post.hole_depth for post in posts).items()):
        yield LabourItem("dig", soil, built.id, Decimal(count), depth)
    top, bottom = find_diameters(takeoff.system)
    volume = sum(calculate_hole_volume(post.hole_depth, top, bottom) for post in posts)
    yield LabourItem("spoil", soil, built.id, rounded(Decimal(round(volume)).scaleb(-9), 3))


def _bays(built: BuiltRun, takeoff: TakeOff) -> Iterator[LabourItem]:
    for bay in built.bays:
        yield LabourItem("erect", str(finished_height(bay)), built.id, _metres(bay.width))
        yield LabourItem("cut", "", built.id, Decimal(bay.count_cut_rails(takeoff.system.rails.stock)))
        if is_cut_raked(bay):
            yield LabourItem("rake", "", built.id, Decimal(1))


def work_of(takeoff: TakeOff) -> tuple[LabourItem, ...]:
    """Return all labour items, run by run, in the order of the measure, without empty items."""
    works, seen = list[LabourItem](), set[str]()
    measured = {run.id: run for run in takeoff.measure.runs}
    for built in takeoff.runs:
        run = measured[built.id]
        own = [post for post in built.posts if post.id not in seen]  # the others belong to an earlier run
        seen.update(post.id for post in own)
        works += _posts(built, run, own, takeoff)
        works += _bays(built, takeoff)
        works += [LabourItem("gate", gate.kind, built.id, Decimal(1)) for gate in built.gates]
        if old := run.existing_fence:
            works.append(LabourItem("remove", plain_word(old.kind), built.id, _metres(old.length)))
    works += [LabourItem("retrofit", "", built.id, Decimal(len(built.bays))) for built in takeoff.retrofits]
    return tuple(work for work in works if work.quantity)


def _paid(takeoff: TakeOff, rules: PriceRules) -> tuple[LabourItem, ...]:
    """Return the labour that the business charges: spoil as loose volume, without removal by a licensed contractor."""
    works = (work for work in work_of(takeoff) if not (work.activity == "remove" and work.finer in rules.hazardous))
    return tuple(_loose(work, rules) if work.activity == "spoil" else work for work in works)


def _loose(work: LabourItem, rules: PriceRules) -> LabourItem:
    """Return an item of spoil with its loose volume instead of the volume in the ground."""
    factor = rules.factors.loose(work.finer)
    where = f" {work.finer}" if work.finer else ""
    why = "" if factor == 1 else f"{work.quantity.normalize():f} m³ of{where} ground × {factor.normalize():f} once dug"
    return replace(work, finer="", quantity=rounded(work.quantity * factor, 3), why=why)


def _grouped(works: tuple[LabourItem, ...], rules: PriceRules) -> dict[tuple[str, Decimal | None], list[LabourItem]]:
    """Return the labour items grouped by activity and rate; each group makes one line."""
    groups: dict[tuple[str, Decimal | None], list[LabourItem]] = {}
    for work in works:
        groups.setdefault((work.activity, rules.labour_rate(work.activity, work.finer)), []).append(work)
    return groups


def _label(activity: str, works: list[LabourItem]) -> str:
    finer = list(dict.fromkeys(work.finer for work in works if work.finer))
    if activity == "erect":
        return f"{_LABELS[activity]}, up to {max(int(height) for height in finer)} mm high"
    return f"{_LABELS[activity]}, {', '.join(finer)}" if finer else _LABELS[activity]


def _why(works: list[LabourItem]) -> str:
    return "; ".join(work.why for work in works if work.why)


def _missing(groups: dict[tuple[str, Decimal | None], list[LabourItem]]) -> list[Fault]:
    keys = dict.fromkeys(work.key for (_, rate), works in groups.items() if rate is None for work in works)
    return [
        Fault(f"/price_rules/labour/{key}", "labour.missing", f"The price rules have no labour rate for {key}.")
        for key in keys
    ]


def labour_lines(takeoff: TakeOff, rules: PriceRules, *, visits: Decimal | None = None) -> list[CostLine]:
    """Return the labour lines of a job: one for each activity and rate, divided among the runs by quantity.

    Carting spoil and sawing are costed only if the rules have a rate. Every other activity without a rate is an error; all
    errors are raised together.
    """
    paid = _paid(takeoff, rules)
    apart = {"dig"} | (IF_RATED - rules.labour.keys())
    works = tuple(work for work in paid if work.activity not in apart)
    holes = [Holes(work.finer, work.run, work.depth, int(work.quantity)) for work in paid if work.activity == "dig"]
    across = max(find_diameters(takeoff.system))
    groups = _grouped(works, rules)
    missing = [*dig_faults(holes, rules, across), *_missing(groups)]
    if missing:
        raise InvalidDocument(missing)
    lines = [_line(activity, rate or Decimal(0), group) for (activity, rate), group in groups.items()]
    set_out = [line for line in lines if line.key == "labour.set_out"]
    return [*set_out, *dig_lines(holes, rules, across), *lines[len(set_out) :], *_travel(rules, visits)]


def _line(activity: str, rate: Decimal, group: list[LabourItem]) -> CostLine:
    return CostLine(
        f"labour.{group[0].key}",
        Category.LABOUR,
        _label(activity, group),
        sum((work.quantity for work in group), Decimal(0)),
        ACTIVITIES[activity],
        rate,
        runs=parts_by_run((work.run, work.quantity) for work in group),
        why=_why(group),
    )


def _travel(rules: PriceRules, asked: Decimal | None) -> list[CostLine]:
    rate, visits = rules.labour_rate("travel"), rules.visits if asked is None else asked
    if not rate or not visits:
        return []
    return [CostLine("labour.travel", Category.LABOUR, _LABELS["travel"], visits, ACTIVITIES["travel"], rate)]


def disposal_lines(takeoff: TakeOff, rules: PriceRules) -> list[CostLine]:
    """Return the lines for tipping old fence and spoil, if the rules have a rate for them."""
    groups: dict[str, list[LabourItem]] = {}
    for work in _paid(takeoff, rules):
        key = work.finer if work.activity == "remove" else work.activity
        if work.activity in {"remove", "spoil"} and key in rules.disposal:
            groups.setdefault(key, []).append(work)
    return [
        CostLine(
            f"disposal.{key}",
            Category.DISPOSAL,
            f"Tipping, {key}",
            sum((work.quantity for work in works), Decimal(0)),
            ACTIVITIES[works[0].activity],
            rules.disposal[key],
            runs=parts_by_run((work.run, work.quantity) for work in works),
            why=_why(works),
        )
        for key, works in groups.items()
    ]
