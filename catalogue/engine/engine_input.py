"""The only bridge from catalogue rows to values: the engine's system and price list, and the market to buy from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from decimal import Decimal

from catalogue import queries
from catalogue.models import FenceSystemVersion, Supplier, SupplierTerms
from catalogue.rules.price_bands import read_bands
from fencing.buying.suppliers import Article, PurchaseOptions, SupplierPrice, SupplierTermsAndPrices
from fencing.model.roles import CUT_ROLES
from fencing.model.system import System
from fencing.quantities.comparison_prices import LabourRates, PriceList, StockPrice
from fencing.reading.system import read_system
from fencing.set_out.posts import find_diameters
from shared.business.models import Business
from shared.common.dates import today

_MAX_KEPT = 16
_kept: dict[tuple[str, date], tuple[queries.Mark, PurchaseOptions]] = {}
"""Markets of this process by business and day, each with the mark of the rows it was read from."""


def market(business: Business, on: date | None = None) -> PurchaseOptions:
    """Return the purchase options of a day, from active suppliers.

    One query where nothing was written since this process last read it, five otherwise, whatever the number of rows.
    """
    on = on or today(business)
    key, mark = (business.ref, on), queries.purchase_options_version(business)
    kept = _kept.pop(key, None)
    if kept is None or kept[0] != mark:
        kept = mark, _read_market(business, on)
    _kept[key] = kept
    for oldest in list(_kept)[:-_MAX_KEPT]:
        _kept.pop(oldest, None)
    return kept[1]


def _read_market(business: Business, on: date) -> PurchaseOptions:
    terms = queries.terms_on(business, on)
    prices: dict[int, list[SupplierPrice]] = defaultdict(list)
    rows = queries.offers_on(queries.offers(business), on).filter(supplier__active=True)
    for row in rows.select_related("component").order_by("component__sku", "supplier__code"):
        sku = row.component.sku
        price = SupplierPrice(
            sku,
            row.price,
            read_bands(row.price_breaks),
            row.pack_size,
            row.minimum_quantity,
            row.lead_time_days,
            row.supplier_sku or sku,
        )
        prices[row.supplier_id].append(price)
    sellers = queries.suppliers(business).filter(active=True).order_by("code")
    suppliers = (_supplier(row, terms.get(row.pk), prices[row.pk]) for row in sellers)
    return PurchaseOptions(tuple(_articles(business, on)), tuple(suppliers))


def _supplier(row: Supplier, terms: SupplierTerms | None, prices: Iterable[SupplierPrice]) -> SupplierTermsAndPrices:
    plain = SupplierTermsAndPrices(row.code, tuple(prices), preferred=row.preferred, name=row.name)
    if terms is None:
        return plain
    return replace(
        plain,
        minimum_order=terms.minimum_order,
        delivery=read_bands(terms.delivery_fees),
        lead=terms.lead_time_days,
    )


def _articles(business: Business, on: date) -> Iterable[Article]:
    rows = queries.active_on(queries.components(business), on).select_related("finish").order_by("role", "sku")
    for row in rows:
        finish = row.finish.code if row.finish else None
        yield Article(
            row.sku,
            row.name,
            row.role,
            finish,
            row.length_mm,
            row.height_mm,
            row.sale_unit,
            row.bag_yield_m3,
            row.account_code,
        )


def system_of(version: FenceSystemVersion, bought: PurchaseOptions) -> System:
    """Return a stored fence system for the engine; a role with only one component gets that component."""
    system = read_system(version.document)
    by_role: dict[str, list[Article]] = defaultdict(list)
    for article in bought.articles:
        by_role[article.role].append(article)
    single = {role: articles[0].sku for role, articles in by_role.items() if len(articles) == 1}
    bag = next((item for item in by_role["concrete.bag"] if item.sku == system.components.get("concrete.bag")), None)
    bag = bag or next(iter(by_role["concrete.bag"]), None)
    return replace(
        system,
        components={**single, **system.components},
        bag_yield=system.bag_yield or (bag.bag_yield if bag else None),
        version=version.number,
    )


def fence_system(
    business: Business, code: str | None = None, number: int | None = None, on: date | None = None
) -> System:
    """Return the fence system of a code, or the default one, for the engine. Raise if there is none."""
    wanted = code or queries.default_system(business).code
    return system_of(queries.system_version(business, wanted, number), market(business, on))


def priced(bought: PurchaseOptions, labour: LabourRates) -> PriceList:
    """Return the comparison prices: those of the cheapest supplier of each article, before price breaks."""
    stock, eaches = list[StockPrice](), dict[tuple[str, str | None], Decimal]()
    for article in bought.articles:
        best = bought.cheapest(article.sku)
        if best is None:
            continue
        if article.role in CUT_ROLES:
            stock.append(StockPrice(article.role, article.finish, article.length, best.price))
        else:
            key = (article.role, article.finish)
            eaches[key] = min(best.price, eaches.get(key, best.price))
    return PriceList(tuple(stock), eaches, labour)


def price_list(business: Business, system: System, on: date | None = None) -> PriceList:
    """Return the comparison prices of ``auto``. Erecting is paid by the metre, equal for every layout, and left out.

    A hole is priced at the depth and the diameter the system digs, in the soil of its run.
    """
    rules = queries.price_rules_on(business, on)

    def rate(activity: str) -> Decimal:
        return rules.labour_rate(activity) or Decimal(0)

    _, factor = rules.factors.diameter(max(find_diameters(system))) or (0, Decimal(1))

    def hole(soil: str) -> Decimal:
        dig = rules.dig_rate(soil)
        return rate("set_out") + (dig.price(system.hole.depth, factor) if dig else Decimal(0))

    holes = {soil: hole(soil) for soil in rules.words.soils}
    labour = LabourRates(hole=hole(""), raked_bay=rate("rake"), cut=rate("cut"), hole_in=holes)
    return priced(market(business, on), labour)
