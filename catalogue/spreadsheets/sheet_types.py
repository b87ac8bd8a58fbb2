"""The sheets: their columns, and what a row must be as a whole."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from catalogue.models import Component, FenceSystem, Finish, PriceRule, Supplier, SupplierPrice, SupplierTerms
from catalogue.rules.codes import ImportKind, sale_unit
from catalogue.rules.price_bands import bands_fault
from catalogue.rules.price_rule_lines import rule_faults
from catalogue.rules.site_words import rule_key
from catalogue.spreadsheets.columns import (
    SpreadsheetColumn,
    Unreadable,
    bands_column,
    code_column,
    date_column,
    flag_column,
    number_column,
    text_column,
)
from catalogue.spreadsheets.limits import SpreadsheetCell
from catalogue.spreadsheets.system_rows import MEMBER, SYSTEM, VALUE, SystemDocuments
from fencing.model.roles import BAG, CUT_ROLES
from shared.business.business_owned import BusinessOwned
from shared.business.models import Business

Faults = list[tuple[str, str]]


def _as_read(values: dict[str, Any]) -> None:
    """Return the values unchanged."""


@dataclass(frozen=True, slots=True)
class SheetType:
    """A data type. ``check`` returns the errors of a row as (column, reason); ``dated``: it may not change the past.

    ``documents``: its rows are members of documents, which are judged and stored as wholes.
    """

    kind: ImportKind
    model: type[BusinessOwned]
    columns: tuple[SpreadsheetColumn, ...]
    check: Callable[[Mapping[str, Any]], Faults]
    dated: bool
    documents: SystemDocuments | None = None
    settle: Callable[[dict[str, Any]], None] = _as_read
    """Spells the values of a row as they are stored, before it is looked for."""

    @property
    def attrs(self) -> tuple[str, ...]:
        return tuple(column.attr for column in self.columns)

    def key(self, values: Mapping[str, Any]) -> tuple[Any, ...]:
        """Return the columns that identify a row."""
        return tuple(values[column.attr] for column in self.columns if column.key)


def _ends_before(values: Mapping[str, Any], start: str, end: str) -> Faults:
    begins, ends = values[start], values[end]
    return (
        [(end, "It ends before it begins.")]
        if isinstance(begins, date) and isinstance(ends, date) and ends < begins
        else []
    )


def _check_component(values: Mapping[str, Any]) -> Faults:
    faults = _ends_before(values, "available_from", "available_to")
    if values["role"] in CUT_ROLES and values["length_mm"] is None and values["sale_unit"] != "MTR":
        faults.append(("length_mm", "Enter a stock length in mm, or MTR as sale unit."))
    if values["role"] == BAG and not values["bag_yield_m3"]:
        faults.append(("bag_yield_m3", "How much concrete one bag makes, in m3."))
    return faults


def _check_offer(values: Mapping[str, Any]) -> Faults:
    return _ends_before(values, "valid_from", "valid_to")


def _check_rule(values: Mapping[str, Any]) -> Faults:
    faults = rule_faults(values["kind"], values["applies_to"], values["value"], values["option"])
    return faults + _ends_before(values, "valid_from", "valid_to")


def _unit_column() -> SpreadsheetColumn:
    def read(cell: SpreadsheetCell, decimal_comma: bool) -> str:
        code = sale_unit(cell.text or "C62")
        if code is None:
            raise Unreadable("Enter a code of UN/ECE Recommendation 20, such as C62, MTR, MTQ or XBG.")
        return code

    return SpreadsheetColumn("sale_unit", "sale_unit", read, str)


def _components(business: Business) -> SheetType:
    finishes = dict(Finish.objects.of(business).values_list("code", "pk"))
    columns = (
        text_column(Component, "sku", key=True),
        text_column(Component, "name"),
        text_column(Component, "role", choices=True),
        code_column("finish", "finish_id", finishes, needed=False, what="finish"),
        *(number_column(Component, name, least=Decimal(1)) for name in ("length_mm", "width_mm", "height_mm")),
        _unit_column(),
        number_column(Component, "pack_size"),
        text_column(Component, "gtin"),
        number_column(Component, "mass_kg"),
        number_column(Component, "bag_yield_m3"),
        text_column(Component, "account_code"),
        date_column("available_from"),
        date_column("available_to"),
    )
    return SheetType(ImportKind.COMPONENTS, Component, columns, _check_component, dated=False)


def _offers(business: Business) -> SheetType:
    suppliers = dict(Supplier.objects.of(business).values_list("code", "pk"))
    skus = dict(Component.objects.of(business).values_list("sku", "pk"))
    columns = (
        code_column("supplier", "supplier_id", suppliers, needed=True, what="supplier", key="supplier__code"),
        code_column("sku", "component_id", skus, needed=True, what="component", key="component__sku"),
        text_column(SupplierPrice, "supplier_sku"),
        number_column(SupplierPrice, "price"),
        bands_column("price_breaks", lambda value: bands_fault(value, from_zero=False)),
        number_column(SupplierPrice, "pack_size"),
        number_column(SupplierPrice, "minimum_quantity"),
        number_column(SupplierPrice, "lead_time_days"),
        date_column("valid_from", needed=True, key=True),
        date_column("valid_to"),
    )
    return SheetType(ImportKind.SUPPLIER_PRICES, SupplierPrice, columns, _check_offer, dated=True)


def _price_rules(business: Business) -> SheetType:
    columns = (
        text_column(PriceRule, "kind", key=True, choices=True),
        text_column(PriceRule, "applies_to", key=True),
        number_column(PriceRule, "value"),
        text_column(PriceRule, "option"),
        text_column(PriceRule, "label"),
        date_column("valid_from", needed=True, key=True),
        date_column("valid_to"),
    )
    return SheetType(ImportKind.PRICE_RULES, PriceRule, columns, _check_rule, dated=True, settle=_settle_rule)


def _settle_rule(values: dict[str, Any]) -> None:
    values["applies_to"] = rule_key(values["kind"], values["applies_to"])


def _nothing_more(values: Mapping[str, Any]) -> Faults:
    return []


def _finishes(business: Business) -> SheetType:
    columns = (
        text_column(Finish, "code", key=True),
        text_column(Finish, "name"),
        text_column(Finish, "drawing_colour"),
        flag_column(Finish, "active"),
    )
    return SheetType(ImportKind.FINISHES, Finish, columns, _nothing_more, dated=False)


_ABOUT_SUPPLIERS = (
    "name", "email", "phone", "address", "country", "gln", "registration_number", "tax_number", "customer_number",
)  # fmt: skip


def _suppliers(business: Business) -> SheetType:
    columns = (
        text_column(Supplier, "code", key=True),
        *(text_column(Supplier, name) for name in _ABOUT_SUPPLIERS),
        flag_column(Supplier, "preferred"),
        flag_column(Supplier, "active"),
    )
    return SheetType(ImportKind.SUPPLIERS, Supplier, columns, _nothing_more, dated=False)


def _supplier_terms(business: Business) -> SheetType:
    suppliers = dict(Supplier.objects.of(business).values_list("code", "pk"))
    columns = (
        code_column("supplier", "supplier_id", suppliers, needed=True, what="supplier", key="supplier__code"),
        date_column("valid_from", needed=True, key=True),
        number_column(SupplierTerms, "minimum_order"),
        bands_column("delivery_fees", lambda value: bands_fault(value, from_zero=True)),
        number_column(SupplierTerms, "lead_time_days"),
    )
    return SheetType(ImportKind.SUPPLIER_TERMS, SupplierTerms, columns, _nothing_more, dated=True)


def _fence_systems(business: Business) -> SheetType:
    columns = (SYSTEM, MEMBER, VALUE)
    return SheetType(ImportKind.FENCE_SYSTEMS, FenceSystem, columns, _nothing_more, False, SystemDocuments(business))


_KINDS = {
    ImportKind.FINISHES: _finishes,
    ImportKind.COMPONENTS: _components,
    ImportKind.SUPPLIERS: _suppliers,
    ImportKind.SUPPLIER_TERMS: _supplier_terms,
    ImportKind.SUPPLIER_PRICES: _offers,
    ImportKind.PRICE_RULES: _price_rules,
    ImportKind.FENCE_SYSTEMS: _fence_systems,
}


def kind_for(kind: ImportKind, business: Business) -> SheetType:
    """Return the data type for a business, with its finishes, suppliers and components to refer to."""
    return _KINDS[kind](business)
