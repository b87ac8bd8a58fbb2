"""Resources of the catalogue: finishes, components, suppliers, terms, supplier prices and price rules."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Q, QuerySet

from catalogue import queries, services
from catalogue.api.api_fields import COMPONENT, FINISH, PRICE_RULE, SUPPLIER, SUPPLIER_PRICE, TERMS, Members
from catalogue.api.serializers import ComponentIn, FinishIn, PriceRuleIn, SupplierIn, SupplierPriceIn, TermsIn
from catalogue.models import Component, Finish, PriceRule, Supplier, SupplierPrice, SupplierTerms
from fencing.model.faults import Fault, InvalidDocument
from shared.api.serializers import StrictSerializer
from shared.business.actors import Actor
from shared.business.business_owned import BusinessOwned
from shared.business.models import Business
from shared.business.roles import Scope
from shared.common.problems import Problem

Values = dict[str, Any]
FilterRows = Callable[[QuerySet[Any], Mapping[str, str]], QuerySet[Any]]


def _as_given(business: Business, values: Values) -> Values:
    return values


def _added(row: BusinessOwned, *, actor: Actor, values: Values) -> BusinessOwned:
    return services.store(row, actor=actor, values=values)


@dataclass(frozen=True, slots=True)
class Resource:
    """Description of how the API reads and writes one kind of record."""

    name: str
    plural: str
    model: type[BusinessOwned]
    members: Members
    body: type[StrictSerializer]
    read: Scope = Scope.CATALOGUE_READ
    write: Scope = Scope.CATALOGUE_WRITE
    parameters: Mapping[str, str] = field(default_factory=dict)
    filter_rows: FilterRows = lambda rows, asked: rows
    resolve: Callable[[Business, Values], Values] = _as_given
    add: Callable[..., BusinessOwned] = _added
    change: Callable[..., BusinessOwned] = _added
    remove: Callable[..., None] = services.remove

    @property
    def one(self) -> str:
        """Return the name with its article."""
        return self.name if self.name == self.plural else f"a {self.name}"

    def rows(self, business: Business) -> QuerySet[Any]:
        return self.model.objects.of(business)


def get_by_code(rows: QuerySet[Any], named: str, field_name: str, text: str) -> Any:
    row = rows.filter(**{named: text}).first()
    if row is None:
        raise InvalidDocument([Fault(f"/{field_name}", "unknown", f"There is no {field_name} {text!r}.")])
    return row


def with_finish(business: Business, values: Values) -> Values:
    """Return the values with the finish's record for its code."""
    code = values.get("finish")
    return {**values, "finish": get_by_code(queries.finishes(business), "code", "finish", code)} if code else values


def with_supplier(business: Business, values: Values) -> Values:
    """Return the values with the supplier's record for its code."""
    if "supplier" not in values:
        return values
    return {**values, "supplier": get_by_code(queries.suppliers(business), "code", "supplier", values["supplier"])}


def with_both(business: Business, values: Values) -> Values:
    """Return the values with the records of supplier and component."""
    values = with_supplier(business, values)
    if "component" not in values:
        return values
    return {**values, "component": get_by_code(queries.components(business), "sku", "component", values["component"])}


def day(asked: Mapping[str, str], name: str) -> date | None:
    """Return a date of the query parameters. Answer 400 if it is not valid."""
    if name not in asked:
        return None
    try:
        return date.fromisoformat(asked[name])
    except ValueError:
        fault = {"parameter": name, "code": "date", "detail": "Enter a date such as 2026-07-01."}
        raise Problem("invalid-parameter", errors=[fault]) from None


def _exact(rows: QuerySet[Any], asked: Mapping[str, str], **by: str) -> QuerySet[Any]:
    return rows.filter(**{column: asked[name] for name, column in by.items() if name in asked})


def _words(rows: QuerySet[Any], asked: Mapping[str, str], *columns: str) -> QuerySet[Any]:
    for word in asked.get("q", "")[:100].split()[:5]:
        wanted = Q()
        for column in columns:
            wanted |= Q(**{f"{column}__icontains": word})
        rows = rows.filter(wanted)
    return rows


def _filter_components(rows: QuerySet[Any], asked: Mapping[str, str]) -> QuerySet[Any]:
    on = day(asked, "as_of")
    rows = queries.active_on(rows, on) if on else rows
    return _words(_exact(rows, asked, role="role", finish="finish__code", sku="sku"), asked, "sku", "name")


def _filter_supplier_prices(rows: QuerySet[Any], asked: Mapping[str, str]) -> QuerySet[Any]:
    on = day(asked, "as_of")
    rows = queries.offers_on(rows, on) if on else rows
    return _exact(rows, asked, component="component__sku", supplier="supplier__code")


def _filter_rules(rows: QuerySet[Any], asked: Mapping[str, str]) -> QuerySet[Any]:
    on = day(asked, "as_of")
    rows = queries.rules_on(rows, on) if on else rows
    return _exact(rows, asked, kind="kind", applies_to="applies_to")


def _filter_terms(rows: QuerySet[Any], asked: Mapping[str, str]) -> QuerySet[Any]:
    on = day(asked, "as_of")
    rows = queries.terms_that_count(rows, on) if on else rows
    return _exact(rows, asked, supplier="supplier__code")


def _added_dated(row: BusinessOwned, *, actor: Actor, values: Values) -> BusinessOwned:
    return services.add_dated(row, actor=actor, values=values)


AS_OF = "Only what is valid on this day (YYYY-MM-DD)."
RESOURCES = {
    "finishes": Resource("finish", "finishes", Finish, FINISH, FinishIn),
    "components": Resource(
        "component",
        "components",
        Component,
        COMPONENT,
        ComponentIn,
        parameters={
            "role": "Only this role.",
            "finish": "Only this finish, by code.",
            "sku": "Only this sku.",
            "q": "Words in sku or name.",
            "as_of": AS_OF,
        },
        filter_rows=_filter_components,
        resolve=with_finish,
    ),
    "suppliers": Resource(
        "supplier",
        "suppliers",
        Supplier,
        SUPPLIER,
        SupplierIn,
        parameters={"q": "Words in code or name."},
        filter_rows=lambda rows, asked: _words(rows, asked, "code", "name"),
    ),
    "supplier-terms": Resource(
        "supplier terms",
        "supplier terms",
        SupplierTerms,
        TERMS,
        TermsIn,
        parameters={"supplier": "Only this supplier, by code.", "as_of": AS_OF},
        filter_rows=_filter_terms,
        resolve=with_supplier,
        add=_added_dated,
        change=services.change_terms,
        remove=services.remove_dated,
    ),
    "supplier-prices": Resource(
        "supplier price",
        "supplier prices",
        SupplierPrice,
        SUPPLIER_PRICE,
        SupplierPriceIn,
        parameters={
            "component": "Only this component, by sku.",
            "supplier": "Only this supplier, by code.",
            "as_of": AS_OF,
        },
        filter_rows=_filter_supplier_prices,
        resolve=with_both,
        add=_added_dated,
        change=services.change_dated,
        remove=services.remove_dated,
    ),
    "price-rules": Resource(
        "price rule",
        "price rules",
        PriceRule,
        PRICE_RULE,
        PriceRuleIn,
        read=Scope.PRICES_READ,
        write=Scope.PRICES_WRITE,
        parameters={
            "kind": "Only this kind.",
            "applies_to": "Only what applies to this, such as dig.clay.",
            "as_of": AS_OF,
        },
        filter_rows=_filter_rules,
        add=_added_dated,
        change=services.change_dated,
        remove=services.remove_dated,
    ),
}
