"""Purchase for a take-off: cutting plans for pieces, blanks for sheets, packs for counted items, with reasons."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from fencing.buying.cut_lengths import Planner, plan_cut_lengths
from fencing.buying.needs import ORDER_POLICY, BuyingPolicy, Needs
from fencing.buying.packs import in_packs, plain
from fencing.buying.purchase_lines import Missing, Purchase, PurchaseLine
from fencing.buying.sheet_blanks import sheets_for
from fencing.buying.stock_options import CountedItem, StockOptions
from fencing.model.pieces import Piece, Quantity
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
    found: list[Purchase] = []
    for (role, finish), own in sorted(_materials(needed.pieces, market).items(), key=_in_order):
        material = _material(role, finish, own, market, policy, plan)
        if material.missing and otherwise is not None:
            material = _material(role, finish, own, otherwise, policy, plan)
        found.append(material)
    found.append(_counted(needed.quantities, otherwise or market))
    return Purchase(
        tuple(line for item in found for line in item.lines),
        tuple(cutting for item in found for cutting in item.cuttings),
        tuple(blank for item in found for blank in item.blanks),
        tuple(missing for item in found for missing in item.missing),
    )


def _material(
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
        blanks, lines, lost = sheets_for(role, finish, pieces, market, made=not policy.one_each)
        return Purchase(tuple(lines), (), tuple(blanks), tuple(lost))
    own = replace(market, made=()) if policy.one_each else market
    cutting, lines, lost = plan_cut_lengths(role, finish, pieces, own, policy.budget, plan)
    return Purchase(tuple(lines), (cutting,) if cutting else (), (), tuple(lost))


def _materials(pieces: Iterable[Piece], market: StockOptions) -> dict[tuple[str, str | None], list[Piece]]:
    """Group pieces by the role and finish of their stock."""
    materials: dict[tuple[str, str | None], list[Piece]] = defaultdict(list)
    for piece in pieces:
        materials[market.source_role(piece.role), piece.finish].append(piece)
    return materials


def _in_order(entry: tuple[tuple[str, str | None], list[Piece]]) -> tuple[int, str, str]:
    role, finish = entry[0]
    return RANK.get(role, len(RANK)), role, finish or ""


def _counted(quantities: Iterable[Quantity], market: StockOptions) -> Purchase:
    lines: list[PurchaseLine] = []
    missing: list[Missing] = []
    for quantity in quantities:
        if quantity.role in CUT_ROLES or not quantity.total:
            continue
        items = _serving(market, quantity)
        if items:
            lines.append(_counted_line(quantity, items))
        else:
            missing.append(Missing(quantity.role, quantity.finish, None, quantity.total, "no stock for it"))
    return Purchase(tuple(lines), (), (), tuple(missing))


def _serving(market: StockOptions, quantity: Quantity) -> list[CountedItem]:
    """Return the named item; otherwise the items of the exact finish, otherwise those of any finish."""
    fitting = [item for item in market.counted if item.role == quantity.role and item.finish in (None, quantity.finish)]
    named = [item for item in fitting if item.sku == quantity.component]
    return named or [item for item in fitting if item.finish == quantity.finish] or fitting


def _counted_line(quantity: Quantity, items: Sequence[CountedItem]) -> PurchaseLine:
    """Return the line of the cheapest item, with the sale units of each."""
    item = min(
        items,
        key=lambda item: (in_packs(quantity.total, item.pack, item.least).ordered * item.price, item.sku),
    )
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
