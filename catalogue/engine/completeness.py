"""Items that a fence system needs before it can quote, as sentences."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from catalogue import queries
from catalogue.engine import engine_input
from catalogue.models import FenceSystemVersion
from catalogue.rules.price_rules import PriceRules
from fencing.buying.suppliers import PurchaseOptions
from fencing.model.faults import InvalidDocument
from fencing.model.roles import ROLES, Role, RoleNeed
from fencing.model.system import SheetSupply, System
from fencing.set_out.posts import find_diameters
from shared.business.models import Business
from shared.common.dates import today

_LABOUR = ("set_out", "dig", "erect", "rake", "gate", "remove")


@dataclass(frozen=True, slots=True)
class MissingItem:
    """One thing that is missing: a code for machines, the role and finish it is about, a sentence.

    ``length`` is the stock length that is missing; ``key`` the sku without a price, or the key of the price rule.
    """

    code: str
    role: str
    finish: str | None
    text: str
    length: int | None = None
    key: str = ""


def _required(system: System, finishes: list[str]) -> Iterator[tuple[Role, str | None, int | None]]:
    """Return each role, finish and stock length that a system needs; length None: any."""
    lengths = _stock_lengths(system)
    for finish in finishes:
        for role in ROLES.values():
            if role.need is RoleNeed.EVERY_LENGTH:
                yield from ((role, finish, length) for length in lengths[role.code])
            elif role.need is RoleNeed.EVERY_FINISH or (
                role.need is RoleNeed.LATTICE_FINISHES and system.lattice.heights
            ):
                yield role, finish, None
    yield from ((role, next(iter(finishes), None), None) for role in ROLES.values() if role.need is RoleNeed.ONE)


def _stock_lengths(system: System) -> dict[str, tuple[int | None, ...]]:
    return {
        "post.channel": system.channel.stock,
        "post.square": system.square.stock,
        "rail": system.rails.stock,
        "sheet": system.sheets.stock if system.sheets.supply is SheetSupply.STOCK else (None,),
        "lattice": system.lattice.stock,
    }


def _lack(market: PurchaseOptions, role: Role, finish: str | None, length: int | None) -> MissingItem | None:
    found = [
        item
        for item in market.articles
        if item.serves(role.code, finish) and (length is None or item.length in (None, length))
    ]
    what = (f"{length} {role.singular}" if length else role.plural) + (f" in {finish}" if finish else "")
    if not found:
        return MissingItem("component.missing", role.code, finish, f"no {what}", length)
    if not any(market.cheapest(item.sku) for item in found):
        return MissingItem("price.missing", role.code, finish, f"no price for {what}", length, found[0].sku)
    return None


def _of_components(system: System, market: PurchaseOptions, finishes: list[str]) -> Iterator[MissingItem | None]:
    yield from (_lack(market, *required) for required in _required(system, finishes))
    families: dict[str, list[MissingItem | None]] = {}
    for role in ROLES.values():
        if role.need is RoleNeed.ONE_OF_FAMILY:
            families.setdefault(role.family, []).append(_lack(market, role, None, None))
    yield from (lacks[0] for lacks in families.values() if all(lacks))


def _of_digging(rules: PriceRules, system: System) -> Iterator[MissingItem]:
    """Return the items missing to price the system's holes, by their depth and diameter."""
    general = ("",) if "dig" in rules.labour else ()
    for soil in (*general, *rules.words.soils):
        rate = rules.dig_rate(soil)
        if rate is not None and rate.deeper is None and rate.steps(system.hole.depth):
            key = f"dig_deeper.{soil}" if soil else "dig_deeper"
            text = f"no labour rate for each further 100 mm of a hole{f' in {soil}' if soil else ''}"
            yield MissingItem("labour.missing", "", None, text, key=key)
    across = max(find_diameters(system))
    if rules.factors.diameter(across) is None:
        yield MissingItem(
            "factor.missing", "", None, f"no factor for holes {across} mm across", key=f"diameter.{across}"
        )


def _of_rules(rules: PriceRules) -> Iterator[MissingItem]:
    for activity in _LABOUR:
        known = any(key == activity or key.startswith(f"{activity}.") for key in rules.labour)
        if not known:
            yield MissingItem("labour.missing", "", None, f"no labour rate for {activity}", key=activity)
    if not rules.tax_code_for:
        yield MissingItem("tax.missing", "", None, "no tax code for all that is sold")
    for category, code in rules.tax_code_for.items():
        if code not in rules.taxes:
            text = f"no rate for tax code {code} (used for {category or 'all that is sold'})"
            yield MissingItem("tax.missing", "", None, text, key=code)
    if not rules.markups:
        yield MissingItem("markup.missing", "", None, "no markup: everything would be sold at cost")


def missing_items(business: Business, code: str | None = None, on: date | None = None) -> list[MissingItem]:
    """Return the items missing before a system can quote on a day; none if it is complete. Raise if there is no such system."""
    wanted = code or queries.default_system(business).code
    return lacks_of(queries.system_version(business, wanted), on)


def lacks_of(version: FenceSystemVersion, on: date | None = None) -> list[MissingItem]:
    """Return the items missing before a version of a system, stored or not, can quote on a day."""
    business = version.business
    on = on or today(business)
    market = engine_input.market(business, on)
    finishes = list(queries.finishes(business).filter(active=True).order_by("code").values_list("code", flat=True))
    found = [] if finishes else [MissingItem("finish.missing", "", None, "no finish")]
    try:
        system = engine_input.system_of(version, market)
        found += [lack for lack in _of_components(system, market, finishes) if lack is not None]
        rules = queries.price_rules_on(business, on)
        found += [*_of_rules(rules), *_of_digging(rules, system)]
    except InvalidDocument as refused:
        found += [MissingItem(fault.code, "", None, fault.text) for fault in refused.faults]
    return list(dict.fromkeys(found))
