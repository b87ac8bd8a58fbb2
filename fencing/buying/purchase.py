"""Purchase for one take-off or for several jobs: cutting plans for pieces, blanks for sheets, packs for counted items."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from fencing.buying.cut_lengths import Planner, plan_cut_lengths
from fencing.buying.needs import COMBINED_POLICY, ORDER_POLICY, BuyingPolicy, Needs
from fencing.buying.purchase_lines import Missing, Purchase, PurchaseLine, in_packs, plain
from fencing.buying.sheet_blanks import plan_sheets
from fencing.buying.stock_options import CountedItem, StockLengthOption, StockOptions
from fencing.model.fence import Piece, Quantity
from fencing.model.roles import CUT_ROLES, RANK, ROLES


def purchase(
    needed: Needs,
    market: StockOptions,
    policy: BuyingPolicy = ORDER_POLICY,
    otherwise: StockOptions | None = None,
    plan: Planner | None = None,
) -> Purchase:
    """Return the purchase for a take-off at minimum cost, with the reason for each line.

    Rule: posts, rails, lattice, extensions and gate parts of one material and finish share one cutting plan. ``cut_from`` joins
    roles that come from the same stock. The stock includes offcuts on hand and made-to-length items at the supplier's step.
    Sheets are bought blank by blank, and by the policy posts too. Everything else is bought with its allowance in whole
    packs, as the component that the take-off names, if that is available.

    Args:
        needed: pieces [mm] and quantities; quantities of roles that come as pieces are ignored.
        market: available stock options.
        policy: rules of the plan.
        otherwise: stock options for a material that ``market`` lacks, and for everything that is counted.
        plan: maker of cutting plans; None: ``plan_cuts``.

    Returns:
        Lines (ordered never less than net), one cutting for each material, the sheets, and the missing items.

    Source: house rule.

    Example:
        >>> from decimal import Decimal
        >>> from fencing.buying.stock_options import StockLengthOption
        >>> rails = Needs((Piece("rail", None, None, 2238, None, 2, ("A-1", "A-1")),), (), 3)
        >>> stock = (StockLengthOption("R6", "rail", None, 6000, Decimal("31.20")),)
        >>> bought = purchase(rails, StockOptions(stock, kerf={"rail": 3}))
        >>> [(line.sku, str(line.ordered), line.why[0]) for line in bought.lines]
        [('R6', '1', '1 cut into 2 × 2238, 1518 mm left to keep')]
    """
    materials: list[Purchase] = []
    for (role, finish), own in sorted(_group_materials(needed.pieces, market).items(), key=_rank_material):
        material = _buy_material(role, finish, own, market, policy, plan)
        if material.missing and otherwise is not None:
            material = _buy_material(role, finish, own, otherwise, policy, plan)
        materials.append(material)
    materials.append(_buy_counted(needed.quantities, otherwise or market))
    return Purchase(
        tuple(line for item in materials for line in item.lines),
        tuple(cutting for item in materials for cutting in item.cuttings),
        tuple(blank for item in materials for blank in item.blanks),
        tuple(missing for item in materials for missing in item.missing),
    )


def _buy_material(
    role: str,
    finish: str | None,
    pieces: Sequence[Piece],
    market: StockOptions,
    policy: BuyingPolicy,
    plan: Planner | None,
) -> Purchase:
    """Return the purchase of one material."""
    lengths = any(item.serves(role, finish) for item in market.stock)
    if role == "sheet" or (policy.one_each and (ROLES[role].one_each or not lengths)):
        blanks, lines, lost = plan_sheets(role, finish, pieces, market, made=not policy.one_each)
        return Purchase(tuple(lines), (), tuple(blanks), tuple(lost))
    own = replace(market, made=()) if policy.one_each else market
    cutting, lines, lost = plan_cut_lengths(role, finish, pieces, own, policy.budget, plan)
    return Purchase(tuple(lines), (cutting,) if cutting else (), (), tuple(lost))


def _group_materials(pieces: Iterable[Piece], market: StockOptions) -> dict[tuple[str, str | None], list[Piece]]:
    """Group pieces by the role and finish of their stock."""
    materials: dict[tuple[str, str | None], list[Piece]] = defaultdict(list)
    for piece in pieces:
        materials[market.source_role(piece.role), piece.finish].append(piece)
    return materials


def _rank_material(entry: tuple[tuple[str, str | None], list[Piece]]) -> tuple[int, str, str]:
    role, finish = entry[0]
    return RANK.get(role, len(RANK)), role, finish or ""


def _buy_counted(quantities: Iterable[Quantity], market: StockOptions) -> Purchase:
    lines: list[PurchaseLine] = []
    missing: list[Missing] = []
    for quantity in quantities:
        if quantity.role in CUT_ROLES or not quantity.total:
            continue
        items = _find_items(market, quantity)
        if items:
            lines.append(_build_counted_line(quantity, items))
        else:
            missing.append(Missing(quantity.role, quantity.finish, None, quantity.total, "no stock for it"))
    return Purchase(tuple(lines), (), (), tuple(missing))


def _find_items(market: StockOptions, quantity: Quantity) -> list[CountedItem]:
    """Return the named item; otherwise the items of the exact finish, otherwise those of any finish."""
    fitting = [item for item in market.counted if item.role == quantity.role and item.finish in (None, quantity.finish)]
    named = [item for item in fitting if item.sku == quantity.component]
    return named or [item for item in fitting if item.finish == quantity.finish] or fitting


def _build_counted_line(quantity: Quantity, items: Sequence[CountedItem]) -> PurchaseLine:
    """Return the line of the cheapest item, with the sale units of each."""
    item = min(items, key=lambda item: (in_packs(quantity.total, item.pack, item.least).ordered * item.price, item.sku))
    packed = in_packs(quantity.total, item.pack, item.least)
    why = [f"{plain(line.net)} at {line.element_type}" for line in quantity.breakdown]
    if quantity.allowance:
        why.append(f"{plain(quantity.allowance)} allowance")
    why.append(packed.why)
    return PurchaseLine(
        quantity.role,
        quantity.finish,
        item.sku,
        quantity.unit,
        quantity.net,
        quantity.allowance,
        packed.ordered,
        item.price,
        packed.ordered * item.price,
        tuple(why),
        ways={item.sku: item.sale_units(quantity.total, quantity.unit) for item in items},
    )


def buy_separately(
    jobs: Mapping[str, Needs], market: StockOptions, policy: BuyingPolicy = COMBINED_POLICY
) -> dict[str, Purchase]:
    """Return each job's own purchase, in order; a job uses the offcuts [mm] that are left by then. Source: house rule.

    Example: each job alone needs a length of 4800 for one rail of 2390; together one length is enough, with a cut of 3:

        >>> from decimal import Decimal
        >>> market = StockOptions(stock=(StockLengthOption("r48", "rail", None, 4800, Decimal(36), keep=5000),), kerf={"rail": 3})
        >>> rail = Needs((Piece("rail", None, None, 2390, None, 1, ("A-1",)),), (), 3)
        >>> jobs = {"first": rail, "second": rail}
        >>> [str(own.total) for own in buy_separately(jobs, market).values()], str(purchase(combine(jobs), market).total)
        (['36', '36'], '36')
    """
    alone: dict[str, Purchase] = {}
    for name, own in jobs.items():
        alone[name] = purchase(own, market, policy)
        market = _remove_used(market, alone[name])
    return alone


def combine(jobs: Mapping[str, Needs]) -> Needs:
    """Return the needs of all jobs: pieces [mm] with their job before their location, equal quantities added up.

    The widest saw cut counts. Strips are reused if the sheets of all jobs have one width. Source: house rule.

    >>> combine({"first": Needs((Piece("rail", None, None, 2390, None, 1, ("A-1",)),), (), 3)}).pieces[0].used_at
    ('first A-1',)
    """
    pieces = [piece for name, own in jobs.items() for piece in _add_job_name(name, own.pieces)]
    widths = {own.strip_width for own in jobs.values()}
    return Needs(
        tuple(pieces),
        tuple(_merge([row for own in jobs.values() for row in own.quantities])),
        max(own.kerf for own in jobs.values()),
        max(own.sheet_step for own in jobs.values()),
        widths.pop() if len(widths) == 1 else None,
    )


def _add_job_name(job: str, pieces: Sequence[Piece]) -> list[Piece]:
    return [replace(piece, used_at=tuple(f"{job} {where}" for where in piece.used_at), site=job) for piece in pieces]


def _merge(rows: Sequence[Quantity]) -> list[Quantity]:
    """Merge rows of the same role, finish and unit."""
    merged: dict[tuple[str, str | None, str], Quantity] = {}
    for row in rows:
        key = (row.role, row.finish, row.unit)
        old = merged.get(key)
        if old is not None:
            total = old.total + row.total
            row = replace(
                row,
                net=old.net + row.net,
                allowance=old.allowance + row.allowance,
                total=total,
                breakdown=old.breakdown + row.breakdown,
            )
        merged[key] = row
    return list(merged.values())


def _remove_used(market: StockOptions, bought: Purchase) -> StockOptions:
    """Return the stock options without the offcuts that were used."""
    used: dict[tuple[str, int | None], int] = {}
    for line in bought.lines:
        if line.on_hand:
            key = (line.sku, line.length)
            used[key] = used.get(key, 0) + int(line.ordered)
    stock: list[StockLengthOption] = []
    for item in market.stock:
        if item.have is not None:
            take = min(item.have, used.get((item.sku, item.length), 0))
            if take:
                used[item.sku, item.length] -= take
                item = replace(item, have=item.have - take)
        stock.append(item)
    return replace(market, stock=tuple(stock))
