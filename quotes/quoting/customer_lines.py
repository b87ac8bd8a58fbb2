"""Customer lines: price lines grouped by run, gates and old fence, then lines for the whole job."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from catalogue.rules.price_rules import PriceRules, TaxCode
from catalogue.rules.site_words import plain_word
from fencing.model.fence import BuiltRetrofit, BuiltRun
from fencing.model.roles import ROLES, Element
from fencing.quantities.take_off import TakeOff
from quotes.pricing.costs import CostLine
from quotes.pricing.price_lines import PriceLine
from quotes.pricing.shares import Shares, overall
from quotes.quoting.content import Line
from quotes.quoting.draft_setup import PriceByHand
from shared.common.money import Apportionment, rounded

ZERO = Decimal(0)
GATE_ROLES = frozenset(role.code for role in ROLES.values() if role.element is Element.GATE)


@dataclass(slots=True)
class _Bucket:
    """Sums of a customer line before it is written."""

    part: str
    group: str
    tax: TaxCode
    net: Decimal = ZERO
    cost: Decimal = ZERO

    @property
    def key(self) -> str:
        return f"{self.part}.{self.group}.{self.tax.code}"


def customer_lines(
    costs: Sequence[CostLine], priced: Sequence[PriceLine], takeoff: TakeOff, rules: PriceRules, shares: Shares
) -> tuple[list[Line], list[dict[str, Decimal]]]:
    """Return the customer lines, and for each price line its amounts by the key of the customer line.

    The nets of the customer lines add up to those of ``priced``.

    Rule: a line that belongs to runs is divided among them by its exact parts, to the cent. Each part goes into the run's
    fence, gates or removal. A line for the whole job stays a separate line.
    """
    buckets: dict[tuple[str, str, str], _Bucket] = {}
    whole, into = list[PriceLine](), list[dict[str, Decimal]]()
    sharing, of_cost = (Apportionment(rules.digits, rules.rounding_difference) for _ in range(2))
    for place, line in enumerate(priced):
        runs = costs[place].runs if place < len(costs) else {}
        if not runs:
            whole.append(line)
            into.append({line.key: line.net})
            continue
        group = group_of(costs[place])
        paid, parts = of_cost.share(line.cost, runs), dict[str, Decimal]()
        for run, net in sharing.share(line.net, runs).items():
            bucket = buckets.setdefault((run, group, line.tax.code), _Bucket(run, group, line.tax))
            bucket.net, bucket.cost = bucket.net + net, bucket.cost + paid[run]
            parts[bucket.key] = net
        into.append(parts)
    built: dict[str, BuiltRun | BuiltRetrofit] = {item.id: item for item in takeoff.runs}
    built |= {item.id: item for item in takeoff.retrofits}
    ordered = sorted(buckets.values(), key=lambda item: (list(built).index(item.part), GROUPS.index(item.group)))
    lines = [_part_line(bucket, built[bucket.part], takeoff, shares) for bucket in ordered if bucket.net or bucket.cost]
    return lines + [_whole_line(line) for line in whole if line.net], into


GROUPS = ("fence", "gates", "removal")


def group_of(cost: CostLine) -> str:
    """Return whether a cost of a run is for its fence, its gates or the removal of the old fence."""
    if cost.key.startswith("labour.gate") or cost.role in GATE_ROLES:
        return "gates"
    is_removal = cost.key.startswith("labour.remove") or (
        cost.key.startswith("disposal.") and cost.key != "disposal.spoil"
    )
    return "removal" if is_removal else "fence"


def hand_line(key: str, group: str, row: PriceByHand, rules: PriceRules, shares: Mapping[str, Fraction]) -> Line:
    """Return a line priced by hand: an extra or an option."""
    tax = rules.tax_by_code(row.tax_code) if row.tax_code else rules.tax()
    quantity = Decimal(1) if row.quantity is None else row.quantity
    words = (row.label, row.detail or "", quantity, row.unit or "C62")
    net, cost = rounded(row.net, rules.digits), rounded(row.cost or ZERO, rules.digits)
    return _line(key, None, group, words, net, cost, tax, row.shares or shares, plain_word(row.licensed_removal or ""))


def overall_shares(lines: Iterable[Line], shares: Shares) -> dict[str, Fraction]:
    """Return the shares of lines for the whole job: like those of the lines of runs, weighted by amount."""
    own = ((line.net, dict(line.shares)) for line in lines if line.part is not None)
    return overall(own, shares)


def _line(
    key: str,
    part: str | None,
    group: str,
    words: tuple[str, str, Decimal, str],
    net: Decimal,
    cost: Decimal,
    tax: TaxCode,
    shares: Mapping[str, Fraction],
    licensed_removal: str = "",
) -> Line:
    """Return a line. ``words``: text, detail, quantity and unit."""
    taxed = (tax.code, tax.category, tax.rate.normalize(), tax.label)
    paid = {name: share for name, share in shares.items() if share}
    return Line(key, part, group, *words, net, cost, *taxed, paid, licensed_removal)


def _part_line(bucket: _Bucket, built: BuiltRun | BuiltRetrofit, takeoff: TakeOff, shares: Shares) -> Line:
    words, own = _words(bucket.group, built, takeoff), shares.of_run(bucket.part)
    return _line(bucket.key, bucket.part, bucket.group, words, bucket.net, bucket.cost, bucket.tax, own)


def _whole_line(line: PriceLine) -> Line:
    group = line.kind if line.kind != "cost" else line.category
    words = (line.label, "", line.quantity.normalize(), line.unit)
    return _line(line.key, None, group, words, line.net, line.cost, line.tax, line.parts or {})


def _words(group: str, built: BuiltRun | BuiltRetrofit, takeoff: TakeOff) -> tuple[str, str, Decimal, str]:
    """Return text, detail, quantity and unit of a run's line."""
    if isinstance(built, BuiltRetrofit):
        text = f"Lattice on existing fence {built.id}"
        return text, f"{built.lattice_height} mm high", Decimal(len(built.bays)), "C62"
    run = next(item for item in takeoff.measure.runs if item.id == built.id)
    if group == "gates":
        kinds = ", ".join(f"{gate.kind} {gate.id}, {gate.opening} mm" for gate in built.gates)
        return f"Run {built.id}: gates", kinds, Decimal(len(built.gates)), "C62"
    if group == "removal" and run.existing_fence is not None:
        text = f"Run {built.id}: removal of the old fence"
        return text, run.existing_fence.kind, metres(run.existing_fence.length), "MTR"
    lattice = f" including {run.lattice} mm lattice" if run.lattice else ""
    text = f"Run {built.id}: {built.form.value} fence, {run.height} mm high{lattice}"
    return text, f"{len(built.bays)} bays, {len(built.posts)} posts", metres(built.length), "MTR"


def metres(millimetres: int) -> Decimal:
    """Return millimetres as metres, without trailing zeros."""
    return (Decimal(millimetres) / 1000).normalize()
