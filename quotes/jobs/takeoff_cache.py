"""The one path from a measure to its take-off, with the fence system and prices of today.

It is calculated again only if the measure, the system or the prices change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any

from catalogue import queries
from catalogue.engine import engine_input
from catalogue.queries import site_words_on
from catalogue.rules.site_words import names_words, normalize_words
from fencing.buying.suppliers import PurchaseOptions
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.measure import Form, Layout, Measure
from fencing.model.system import System
from fencing.quantities.comparison_prices import PriceList
from fencing.quantities.take_off import TakeOff, take_off
from fencing.reading import read_measure
from fencing.reading.measure import write_measure
from quotes.jobs.document_text import canonical, digest
from shared.models import Business

MAX_REMEMBERED = 24
"""Take-offs that a process remembers."""
MAX_REMEMBERED_LENGTH = 300_000
"""Length of a measure [mm] up to which its take-off is remembered. Longer ones would fill the memory of the process."""


@dataclass(frozen=True)
class SystemWithPrices:
    """A fence system with everything that can be bought for it today."""

    business: Business
    code: str
    version: int
    document: Mapping[str, Any]
    market: PurchaseOptions
    system: System

    @cached_property
    def sha256(self) -> str:
        """Digest of what the engine was given: the document and what the catalogue filled in."""
        filled = [sorted(self.system.components.items()), str(self.system.bag_yield)]
        return digest(canonical([dict(self.document), filled]))

    @cached_property
    def prices(self) -> PriceList:
        """The prices ``auto`` compares by."""
        return engine_input.price_list(self.business, self.system)


def find_system(business: Business, code: str | None) -> SystemWithPrices:
    """Return the latest version of a fence system, or of the default one. Raise InvalidDocument if there is none."""
    version = queries.system_version(business, code or queries.default_system(business).code)
    market = engine_input.market(business)
    system = engine_input.system_of(version, market)
    return SystemWithPrices(business, version.system.code, version.number, version.document, market, system)


@dataclass(frozen=True, slots=True)
class TakeOffResult:
    """A measure, the fence system and prices of today, and the take-off made from them."""

    measure: Measure
    found: SystemWithPrices
    takeoff: TakeOff


@dataclass(frozen=True, slots=True)
class _Inputs:
    """Input of the engine. Two inputs are equal if their digests are."""

    digest: str
    measure: Measure = field(compare=False)
    system: System = field(compare=False)
    prices: PriceList | None = field(compare=False)


def take_off_measure(business: Business, document: object) -> TakeOffResult:
    """Return the take-off of a measure with the system and prices of today. Raise InvalidDocument with all errors."""
    measure, found = read_for(business, document)
    prices = prices_for(measure, found)
    length = sum(run.length for run in measure.runs) + sum(sum(retrofit.bays) for retrofit in measure.retrofits)
    if length > MAX_REMEMBERED_LENGTH:
        return TakeOffResult(measure, found, take_off(measure, found.system, prices))
    parts = [measure.sha256, write_measure(measure), found.sha256, price_mark(prices)]
    inputs = _Inputs(digest(canonical(parts)), measure, found.system, prices)
    return TakeOffResult(measure, found, _remembered(inputs))


@lru_cache(maxsize=MAX_REMEMBERED)
def _remembered(inputs: _Inputs) -> TakeOff:
    return take_off(inputs.measure, inputs.system, inputs.prices)


def prices_for(measure: Measure, found: SystemWithPrices) -> PriceList | None:
    """Return the prices that the engine compares forms and layouts by; None if no run leaves the choice to it."""
    is_open = any(run.form is Form.AUTO or run.layout is Layout.AUTO for run in measure.runs)
    return found.prices if is_open else None


def price_mark(prices: PriceList | None) -> str:
    """Return a digest of the prices that decided a choice; an empty text if there are none."""
    if prices is None:
        return ""
    stock = sorted([item.role, item.finish or "", item.length or 0, str(item.price)] for item in prices.stock)
    eaches = sorted([role, finish or "", str(price)] for (role, finish), price in prices.eaches.items())
    labour = [str(getattr(prices.labour, name)) for name in ("hole", "bay", "raked_bay", "cut")]
    holes = {soil: str(price) for soil, price in prices.labour.hole_in.items()}
    return digest(canonical([stock, eaches, labour, holes]))


def read_for(business: Business, document: object) -> tuple[Measure, SystemWithPrices]:
    """Return a measure and its system. Raise InvalidDocument with all errors: of the document, of its fit to the system, and
    of soils and existing fences that the business's price rules do not know."""
    code = document.get("system") if isinstance(document, Mapping) else None
    found, unknown = None, list[Fault]()
    if code is None or isinstance(code, str):
        try:
            found = find_system(business, code)
        except InvalidDocument as refused:
            unknown += refused.faults
    words = site_words_on(business) if names_words(document) else None
    if words is not None and isinstance(document, Mapping):
        unknown += words.faults(document)
    try:
        measure = read_measure(document, found.system if found else None)
    except InvalidDocument as refused:
        raise InvalidDocument([*refused.faults, *(item for item in unknown if item not in refused.faults)]) from None
    if found is None or unknown:
        raise InvalidDocument(unknown)
    return measure if words is None else normalize_words(measure), found
