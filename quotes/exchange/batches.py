"""A supplier's prices in bulk: each is judged for itself, all or nothing if so asked, and a dry run writes nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from catalogue import queries, services
from catalogue.bodies import SupplyOfferIn
from catalogue.models import Component, Offer, Supplier
from fencing.faults import Fault, Refused
from shared.business.actors import Actor
from shared.models import SupplierAccount
from shared.problems import from_refusal, from_validation
from shared.reading import read

MOST_OFFERS = 5_000


class _DryRun(Exception):
    """Ends the transaction of a dry run."""


@dataclass(slots=True)
class Outcome:
    """What became of one offer: 201 stored, 200 would be stored, 424 not stored for another's fault, 422 refused."""

    index: int
    status: int
    ref: str = ""
    errors: list[dict[str, str]] = field(default_factory=list)

    def row(self) -> dict[str, Any]:
        """As the API tells it."""
        return {"index": self.index, "status": self.status, "ref": self.ref or None, "errors": self.errors}


@dataclass(frozen=True, slots=True)
class Known:
    """What the account may name: its supplier rows by business ref, and components by business and sku."""

    suppliers: Mapping[str, Supplier]
    components: Mapping[tuple[int, str], Component]


def take_offers(
    *, account: SupplierAccount, actor: Actor, offers: Sequence[Any], test: bool, whole: bool, dry: bool
) -> list[Outcome]:
    """Stores what can be stored. ``whole``: one refused refuses all; ``dry``: the same answer, nothing is kept."""
    known = _known(account, offers, test)
    outcomes: list[Outcome] = []
    try:
        with transaction.atomic():
            outcomes = [_take(known, actor, place, one) for place, one in enumerate(offers)]
            bad = any(one.errors for one in outcomes)
            if dry or (whole and bad):
                raise _DryRun
    except _DryRun:
        for one in outcomes:
            if not one.errors:
                one.status, one.ref = (424 if whole and bad else 200), ""
    return outcomes


def _known(account: SupplierAccount, offers: Sequence[Any], test: bool) -> Known:
    rows = queries.suppliers_of(account, test=test).select_related("business").filter(business__suspended_at=None)
    suppliers = {row.business.ref: row for row in rows}
    skus = {str(one.get("component")) for one in offers if isinstance(one, Mapping)}
    components: dict[tuple[int, str], Component] = {}
    for supplier in suppliers.values():
        for row in queries.components(supplier.business).filter(sku__in=skus):
            components[supplier.business_id, row.sku] = row
    return Known(suppliers, components)


def _take(known: Known, actor: Actor, place: int, one: Any) -> Outcome:
    try:
        with transaction.atomic():
            offer = _stored(known, actor, one)
    except Refused as refused:
        return Outcome(place, 422, errors=_pointing(from_refusal(refused).errors, place))
    except ValidationError as fault:
        return Outcome(place, 422, errors=_pointing(from_validation(fault).errors, place))
    return Outcome(place, 201, offer.ref)


def _stored(known: Known, actor: Actor, one: Any) -> Offer:
    values = read(SupplyOfferIn, one)
    supplier = known.suppliers.get(values.pop("business"))
    sku = values.pop("component")
    if supplier is None:
        raise Refused([Fault("/business", "unknown", "You serve no such business.")])
    component = known.components.get((supplier.business_id, sku))
    if component is None:
        raise Refused([Fault("/component", "unknown", "This business has no such component.")])
    offer = Offer(business=supplier.business, supplier=supplier, component=component)
    return services.add_dated(offer, actor=actor, values=values)


def _pointing(errors: list[dict[str, str]], place: int) -> list[dict[str, str]]:
    """Pointers into the whole body."""
    return [
        {**one, "pointer": f"#/offers/{place}{one['pointer'].removeprefix('#')}"} if "pointer" in one else one
        for one in errors
    ]
