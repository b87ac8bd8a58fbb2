"""Drafts of orders: from jobs that were agreed, or by hand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db import transaction

from catalogue.engine.engine_input import market
from catalogue.models import Component, Supplier
from catalogue.queries import components, price_rules_on, suppliers
from catalogue.rules.codes import whole_fault
from catalogue.rules.price_rule_lines import Category
from catalogue.rules.price_rules import PriceRules
from fencing.buying.needs import Need
from fencing.buying.purchase_lines import in_packs
from fencing.buying.suppliers import Order as Split
from fencing.buying.suppliers import PurchaseOptions, SupplierPrice
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.roles import CUT_ROLES
from quotes.jobs.models import Job, JobState
from quotes.jobs.services import note_event
from quotes.purchasing import order_totals, stock_services
from quotes.purchasing.job_materials import committed_quantities, merged, not_committed, strip_width
from quotes.purchasing.models import LineJob, OrderLine, OrderState, SupplierOrder
from quotes.purchasing.order_events import lines_of, locked, note, require
from quotes.purchasing.purchase_plan import PurchasePlan, plan_for
from quotes.quoting.queries import agreed_build
from shared.business.actors import Actor
from shared.business.models import account
from shared.common.dates import today
from shared.common.money import Apportionment, minor_digits
from shared.common.problems import Problem
from shared.database.numbering import next_number
from shared.models import Business

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class DraftLine:
    """A line to create. ``price`` None: the supplier's price of the day. ``parts``: the quantity of each job."""

    component: Component
    required: Decimal
    quantity: Decimal
    price: Decimal
    pack: Decimal
    supplier_sku: str
    length_mm: int | None
    why: Sequence[str]
    parts: Mapping[int, Decimal]


def plan_jobs(jobs: Sequence[Job], *, days: int | None = None, max_suppliers: int | None = None) -> PurchasePlan:
    """Return the purchase plan of these jobs. Committed materials and stock are used first. Raise 409 without an acceptance."""
    business, takeoffs, systems = jobs[0].business, dict[str, Mapping[str, Any]](), list[Mapping[str, Any]]()
    for job in jobs:
        build = agreed_build(job)
        if build is None:
            raise Problem("conflict", f"Job {job.number} has no accepted quote. Order after the customer accepts.")
        takeoffs[job.number] = build.takeoff
        systems.append(build.system)
    there = merged([*committed_quantities(jobs), *stock_services.on_hand(business)])
    return plan_for(
        takeoffs,
        market(business),
        there,
        kerf=max(system["rails"]["kerf_mm"] for system in systems),
        strips=strip_width(systems),
        days=days,
        max_suppliers=max_suppliers,
        digits=minor_digits(business.currency),
    )


@transaction.atomic
def order_for(
    *,
    jobs: Sequence[Job],
    actor: Actor,
    supplier: str | None = None,
    max_suppliers: int | None = None,
    deliver_by: date | None = None,
    allow_reorder: bool = False,
) -> list[SupplierOrder]:
    """Create a draft order for each supplier of the plan for accepted jobs. Stock is reserved for the first job.

    A job with orders is rejected unless ``allow_reorder`` is set, so that a fence is not ordered twice by mistake.
    A repeat order covers only what is neither on order nor reserved for these jobs.
    """
    business = jobs[0].business
    rows = Job.objects.of(business).filter(pk__in=[job.pk for job in jobs]).select_related("site", "business")
    jobs = list(rows.select_for_update(no_key=True, of=("self",)).order_by("pk"))
    _refuse_ordered(jobs, allow_reorder=allow_reorder)
    days = None if deliver_by is None else max(0, (deliver_by - today(business)).days)
    plan = plan_jobs(jobs, days=days, max_suppliers=max_suppliers)
    reservations = stock_services.reserve_for_jobs(
        business=business, job=jobs[0], taken=not_committed(plan.taken, committed_quantities(jobs)), actor=actor
    )
    known = {row.sku: row for row in components(business).select_related("finish")}
    bought, orders = market(business), list[SupplierOrder]()
    for part in plan.chosen(supplier).orders:
        order = _new(business, suppliers(business).get(code=part.supplier), actor)
        order.deliver_to, order.deliver_by = _place(jobs[0]), deliver_by
        _write(order, _rows(part, plan, jobs, known, bought))
        note(order, "order.drafted", _drafted(order, jobs), actor, for_supplier=False)
        orders.append(order)
    stock_services.keep_with(reservations=reservations, orders=orders)
    for job in jobs:
        names = ", ".join(order.number for order in orders) or "everything is there or on order"
        note_event(job=job, kind="order.drafted", text=f"Materials drafted: {names}.", actor=actor)
    return orders


def _refuse_ordered(jobs: Iterable[Job], *, allow_reorder: bool) -> None:
    for job in jobs:
        if job.state not in {JobState.ACCEPTED, JobState.BUILT}:
            raise Problem("conflict", f"{job.number} is {job.state}; order materials for an accepted job.")
        parts = LineJob.objects.of(job.business).filter(job=job).exclude(line__order__state=OrderState.CANCELLED)
        before = parts.values_list("line__order__number", flat=True).first()
        if before and not allow_reorder:
            raise Problem(
                "conflict", f"{job.number} is on order {before} already. Cancel that order or set allow_reorder."
            )


def _drafted(order: SupplierOrder, jobs: Sequence[Job]) -> str:
    return f"{order.number} drafted for {', '.join(job.number for job in jobs)}."


def _place(job: Job) -> dict[str, str]:
    site = job.site
    return {name: getattr(site, name) for name in ("address", "city", "postcode", "country")}


def _rows(
    part: Split, plan: PurchasePlan, jobs: Sequence[Job], known: Mapping[str, Component], bought: PurchaseOptions
) -> Iterable[DraftLine]:
    pks = {job.number: job.pk for job in jobs}
    offers = {item.component: item for item in bought.supplier(part.supplier).offers}
    for line in part.lines:
        needs = [need for need in plan.needs if need.name == line.need]
        spare = line.ordered - line.wanted
        weights = plan.weights.get(line.component, {})
        for place, need in enumerate(needs):
            quantity = need.quantity + (spare if place == len(needs) - 1 else ZERO)
            yield _row(
                need, quantity, line.price, line.reason, known[line.component], offers[line.component], weights, pks
            )


def _row(
    need: Need,
    quantity: Decimal,
    price: Decimal,
    why: str,
    component: Component,
    sold: SupplierPrice,
    weights: Mapping[str, Decimal],
    pks: Mapping[str, int],
) -> DraftLine:
    parts = _parts(
        need, quantity, {pks[job]: weight for job, weight in weights.items()} or dict.fromkeys(pks.values(), ZERO)
    )
    reasons = [*need.why, why]
    length = need.length if need.count else None
    if need.count:
        reasons.insert(0, f"{need.count} made to {need.length} mm")
    return DraftLine(component, need.quantity, quantity, price, sold.pack, sold.supplier_sku, length, reasons, parts)


def _parts(need: Need, quantity: Decimal, weights: Mapping[int, Decimal]) -> dict[int, Decimal]:
    """Return each job's share of a need: whole pieces if made to length. The rest of a pack goes to the largest share."""
    if not (need.count and need.length):
        return _shared_out(quantity, weights, is_cut=need.role in CUT_ROLES)
    pieces = _shared_out(Decimal(need.count), weights, is_cut=True)
    parts = {job: part * need.length / 1000 for job, part in pieces.items()}
    parts[max(parts, key=lambda job: parts[job])] += quantity - need.quantity
    return parts


def _shared_out(quantity: Decimal, weights: Mapping[int, Decimal], *, is_cut: bool) -> dict[int, Decimal]:
    """Share a quantity over jobs by weight, exactly and in whole pieces if cut. Without weights the shares are equal."""
    total = Fraction(sum(weights.values(), ZERO))
    shares = {
        str(job): Fraction(weight) / total if total else Fraction(1, len(weights)) for job, weight in weights.items()
    }
    is_whole = is_cut and quantity == quantity.to_integral_value()
    parts = Apportionment(0 if is_whole else order_totals.QUANTITY_DIGITS).share(quantity, shares)
    return {int(job): part for job, part in parts.items() if part}


@transaction.atomic
def start_order(
    *, supplier: Supplier, actor: Actor, lines: Sequence[Mapping[str, Any]], job: Job | None = None, **details: Any
) -> SupplierOrder:
    """Create a draft order by hand. ``lines`` give component (sku), quantity and optionally a price."""
    order = _new(supplier.business, supplier, actor)
    for name, value in details.items():
        setattr(order, name, value)
    if job is not None and not order.deliver_to:
        order.deliver_to = _place(job)
    _write(order, _by_hand(order, lines, {ALL: {job.pk: Decimal(1)}} if job else {}))
    note(order, "order.drafted", f"{order.number} drafted by hand.", actor, for_supplier=False)
    return order


@transaction.atomic
def change_draft(
    *, order: SupplierOrder, actor: Actor, lines: Sequence[Mapping[str, Any]] | None = None, **details: Any
) -> SupplierOrder:
    """Change the lines, address or dates of a draft."""
    order = locked(order)
    require(order, OrderState.DRAFT)
    for name, value in details.items():
        setattr(order, name, value)
    if lines is None:
        order_totals.store(order, lines_of(order))
    else:
        taken = _taken_by(order)
        OrderLine.objects.of(order.business).filter(order=order).delete()
        _write(order, _by_hand(order, lines, taken))
    note(order, "order.changed", f"{order.number} changed.", actor, for_supplier=False)
    return order


ALL = ""
Taken = Mapping[str, Mapping[int, Decimal]]


def _taken_by(order: SupplierOrder) -> Taken:
    """Return each job's share of each sku, and of ``ALL`` goods by value. New lines are shared by the same jobs."""
    taken: dict[str, dict[int, Decimal]] = {}
    for part in LineJob.objects.of(order.business).filter(line__order=order).select_related("line").order_by("id"):
        for sku, weight in ((part.line.sku, part.quantity), (ALL, part.net)):
            of = taken.setdefault(sku, {})
            of[part.job_id] = of.get(part.job_id, ZERO) + weight
    return taken


def _new(business: Business, supplier: Supplier, actor: Actor) -> SupplierOrder:
    if not supplier.active:
        raise Problem("conflict", f"Supplier {supplier.name} is not active.")
    return SupplierOrder(
        business=business,
        supplier=supplier,
        number=f"O{next_number(business, 'order'):04d}",
        currency=business.currency,
        placed_by="",
    )


def _by_hand(order: SupplierOrder, lines: Sequence[Mapping[str, Any]], taken: Taken) -> Iterable[DraftLine]:
    known = {row.sku: row for row in components(order.business).select_related("finish")}
    offers = {item.component: item for item in market(order.business).supplier(order.supplier.code).offers}
    faults: list[Fault] = []
    for place, line in enumerate(lines):
        if line["component"] not in known:
            faults.append(Fault(f"/lines/{place}/component", "unknown", "There is no such component."))
            continue
        if part := whole_fault(known[line["component"]].sale_unit, line["quantity"], f"/lines/{place}/quantity"):
            faults.append(part)
        if line["component"] not in offers and line.get("price") is None:
            faults.append(
                Fault(f"/lines/{place}/price", "price.missing", "This supplier has no price for it. Enter a price.")
            )
    if faults:
        raise InvalidDocument(faults)
    for line in lines:
        component, sold = known[line["component"]], offers.get(line["component"])
        required, pack = line["quantity"], sold.pack if sold else component.pack_size
        packed = in_packs(required, pack, sold.least if sold else ZERO)
        price = line.get("price")
        if price is None:
            price = sold.unit_price(packed.ordered) if sold else ZERO
        weights = taken.get(component.sku) or taken.get(ALL)
        parts = _shared_out(packed.ordered, weights, is_cut=component.role in CUT_ROLES) if weights else {}
        sku = sold.supplier_sku if sold else ""
        yield DraftLine(
            component, required, packed.ordered, price, pack, sku, line.get("length_mm"), [packed.why], parts
        )


def _write(order: SupplierOrder, rows: Iterable[DraftLine]) -> None:
    """Save an order's lines with each job's share, and its totals with the supplier's delivery fee."""
    business = order.business
    rules = price_rules_on(business)
    order.save()
    lines: list[OrderLine] = []
    for position, row in enumerate(rows, 1):
        line = _line(order, position, row, rules)
        line.save()
        for job, quantity in row.parts.items():
            LineJob.objects.of(business).create(line=line, job_id=job, quantity=quantity)
        lines.append(line)
    fee = rules.tax(Category.DELIVERY)
    goods = sum((line.net for line in lines), ZERO)
    order.delivery_fee = market(business).supplier(order.supplier.code).fee(goods)
    order.fee_tax_code, order.fee_tax_category, order.fee_tax_rate = fee.code, fee.category, fee.rate
    order_totals.store(order, lines)


def _line(order: SupplierOrder, position: int, row: DraftLine, rules: PriceRules) -> OrderLine:
    component, tax = row.component, rules.tax(Category.MATERIALS)
    each = component.mass_kg
    line = OrderLine(
        business=order.business,
        order=order,
        position=position,
        component=component,
        sku=component.sku,
        supplier_sku=row.supplier_sku,
        label=component.name,
        role=component.role,
        finish=component.finish.name if component.finish else "",
        length_mm=row.length_mm or component.length_mm,
        unit=component.sale_unit,
        mass_kg=None if each is None else (each * row.quantity).quantize(Decimal("0.001")),
        gtin=component.gtin,
        pack=row.pack,
        required_quantity=row.required,
        quantity=row.quantity,
        outstanding=row.quantity,
        price=row.price,
        tax_code=tax.code,
        tax_category=tax.category,
        tax_rate=tax.rate,
        account=component.account_code or account(order.business, "goods"),
        purchase_reason=list(row.why),
    )
    order_totals.price_line(order, line)
    return line
