"""Fence system and prices of the day that a measure is taken off with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from catalogue import queries
from catalogue.engine import engine_input
from fencing.buying.supplier_prices import PurchaseOptions
from fencing.model.system import System
from fencing.quantities.comparison_prices import PriceList
from quotes.jobs.document_text import canonical, digest
from shared.models import Business


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
