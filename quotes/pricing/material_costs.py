"""Cost lines of ordered materials, divided among the runs that need them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from catalogue.rules.price_rule_lines import Category
from fencing.model.fence import BuiltRetrofit, BuiltRun
from fencing.model.roles import ROLES, Element
from fencing.quantities.take_off import TakeOff
from quotes.pricing.costs import CostLine, by_weight


@dataclass(frozen=True, slots=True)
class MaterialPurchase:
    """Purchase of a component: whole packs or stock lengths, at the supplier's price for that quantity.

    ``cost`` is the amount of the order line if it is not quantity times price; ``supplier`` is the supplier's code,
    ``why`` gives the reason for the quantity and the supplier.
    """

    sku: str
    label: str
    role: str
    finish: str | None
    quantity: Decimal
    unit: str
    price: Decimal
    cost: Decimal | None = None
    supplier: str = ""
    why: str = ""


def _run_of(place: str, runs: Iterable[str]) -> str | None:
    """Return the run or retrofit of a bay, post or gate; None if there is none."""
    return max((run for run in runs if place == run or place.startswith(f"{run}-")), key=len, default=None)


Built = BuiltRun | BuiltRetrofit


def _built(takeoff: TakeOff) -> tuple[Built, ...]:
    return (*takeoff.runs, *takeoff.retrofits)


def _piece_weights(takeoff: TakeOff, role: str, finish: str | None, runs: tuple[str, ...]) -> dict[str, Fraction]:
    """Return the millimetres of a role and finish that each run needs. Equal pieces are shared equally among their uses."""
    weights: dict[str, Fraction] = {}
    for piece in takeoff.pieces:
        if piece.role != role or (finish is not None and piece.finish != finish):
            continue
        owners = [run for place in piece.used_at if (run := _run_of(place, runs)) is not None]
        for run in owners:
            weights[run] = weights.get(run, Fraction(0)) + Fraction(piece.length * piece.count, len(owners))
    return weights


def _posts(built: Built, seen: set[str]) -> int:
    if isinstance(built, BuiltRetrofit):
        return len(built.bays) + 1
    own = {post.id for post in built.posts} - seen
    seen |= own
    return len(own)


def _counted_weights(takeoff: TakeOff, role: str) -> dict[str, Fraction]:
    """Return the posts, gates or bays of each run, whichever decides the quantity of a counted role."""
    element, seen = ROLES[role].element, set[str]()
    weights: dict[str, Fraction] = {}
    for built in _built(takeoff):
        if element is Element.POST:
            weights[built.id] = Fraction(_posts(built, seen))
        elif element is Element.GATE:
            weights[built.id] = Fraction(len(built.gates) if isinstance(built, BuiltRun) else 0)
        else:
            weights[built.id] = Fraction(len(built.bays))
    return weights


def shares_by_run(takeoff: TakeOff, role: str, finish: str | None) -> dict[str, Fraction]:
    """Return the share of a material that each run needs: by length if it is cut, otherwise by posts, gates or bays.

    A run that needs none of it gets no share.
    """
    runs = tuple(built.id for built in _built(takeoff))
    return by_weight(_piece_weights(takeoff, role, finish, runs) or _counted_weights(takeoff, role))


def material_lines(bought: Iterable[MaterialPurchase], takeoff: TakeOff) -> list[CostLine]:
    """Return a cost line for each purchase, in the given order."""
    known: dict[tuple[str, str | None], Mapping[str, Fraction]] = {}
    lines = []
    for item in bought:
        finish = (item.role, item.finish)
        if finish not in known:
            known[finish] = shares_by_run(takeoff, *finish)
        lines.append(
            CostLine(
                f"material.{item.sku}",
                Category.MATERIALS,
                item.label,
                item.quantity,
                item.unit,
                item.price,
                role=item.role,
                runs=known[finish],
                cost=item.cost,
                why=item.why,
            )
        )
    return lines
