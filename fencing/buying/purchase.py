"""Purchase for a take-off: cutting plans for pieces, blanks for sheets, packs for counted items, with reasons."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from decimal import Decimal

from fencing.buying.cut_lengths import plan_cut_lengths
from fencing.buying.packs import in_packs, plain
from fencing.buying.purchase_lines import Cutting, Missing, Purchase, PurchaseLine
from fencing.buying.sheet_blanks import sheets_for
from fencing.buying.stock_options import CountedItem, StockOptions
from fencing.cutting import ORDER, Budget
from fencing.model.pieces import Piece, Quantity
from fencing.model.roles import CUT_ROLES, RANK


def purchase(
    pieces: Sequence[Piece], quantities: Sequence[Quantity], market: StockOptions, budget: Budget = ORDER
) -> Purchase:
    """Return the purchase for a take-off at minimum cost, with the reason for each line.

    Rule: posts, rails, lattice, extensions and gate parts of one material and finish share one cutting plan. ``cut_from`` joins
    roles that come from the same stock. The stock includes offcuts on hand and made-to-length items at the supplier's step.
    Sheets are bought blank by blank. Everything else is bought with its allowance in whole packs, as the component that the
    take-off names, if that is available.

    Args:
        pieces: pieces of the take-off [mm].
        quantities: quantities of the take-off; roles that come as pieces are ignored here.
        market: available stock options.
        budget: work limit of each cutting plan.

    Returns:
        Lines (ordered never less than net), one cutting for each material, the sheets, and the missing items.

    Source: house rule.

    Example:
        >>> from fencing.buying.stock_options import StockLengthOption
        >>> rails = (Piece("rail", None, None, 2238, None, 2, ("A-1", "A-1")),)
        >>> stock = (StockLengthOption("R6", "rail", None, 6000, Decimal("31.20")),)
        >>> bought = purchase(rails, (), StockOptions(stock, kerf={"rail": 3}))
        >>> [(line.sku, str(line.ordered), line.why[0]) for line in bought.lines]
        [('R6', '1', '1 cut into 2 × 2238, 1518 mm left to keep')]
    """
    lines: list[PurchaseLine] = []
    cuttings: list[Cutting] = []
    missing: list[Missing] = []
    blanks = []
    for (role, finish), own in sorted(_materials(pieces, market).items(), key=_in_order):
        if role == "sheet":
            sheets, bought, lost = sheets_for(finish, own, market)
            blanks += sheets
        else:
            cutting, bought, lost = plan_cut_lengths(role, finish, own, market, budget)
            cuttings += [cutting] if cutting else []
        lines += bought
        missing += lost
    counted, lost = _counted(quantities, market)
    return Purchase((*lines, *counted), tuple(cuttings), tuple(blanks), (*missing, *lost))


def _materials(pieces: Iterable[Piece], market: StockOptions) -> dict[tuple[str, str | None], list[Piece]]:
    """Group pieces by the role and finish of their stock."""
    materials: dict[tuple[str, str | None], list[Piece]] = defaultdict(list)
    for piece in pieces:
        materials[market.source_role(piece.role), piece.finish].append(piece)
    return materials


def _in_order(entry: tuple[tuple[str, str | None], list[Piece]]) -> tuple[int, str, str]:
    role, finish = entry[0]
    return RANK.get(role, len(RANK)), role, finish or ""


def _counted(quantities: Iterable[Quantity], market: StockOptions) -> tuple[list[PurchaseLine], list[Missing]]:
    lines: list[PurchaseLine] = []
    missing: list[Missing] = []
    for quantity in quantities:
        if quantity.role in CUT_ROLES or not quantity.total:
            continue
        item = _offer(market, quantity)
        if item is None:
            text = "no stock for it"
            missing.append(Missing(quantity.role, quantity.finish, None, quantity.total, text))
        else:
            lines.append(_counted_line(quantity, item))
    return lines, missing


def _offer(market: StockOptions, quantity: Quantity) -> CountedItem | None:
    """Return the named item; otherwise the cheapest one, with items of the exact finish before items of any finish."""
    fitting = [item for item in market.counted if item.role == quantity.role and item.finish in (None, quantity.finish)]
    named = [item for item in fitting if item.sku == quantity.component]
    serving = named or [item for item in fitting if item.finish == quantity.finish] or fitting

    def whole_cost(item: CountedItem) -> tuple[Decimal, str]:
        return in_packs(quantity.total, item.pack, item.least).ordered * item.price, item.sku

    return min(serving, key=whole_cost, default=None)


def _counted_line(quantity: Quantity, item: CountedItem) -> PurchaseLine:
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
    )
