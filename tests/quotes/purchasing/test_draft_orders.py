"""From agreed jobs to drafts: everything bought once, each job's part added up to the cent, the yard's stock first."""

from __future__ import annotations

from decimal import Decimal

import pytest

from catalogue.engine.engine_input import market
from catalogue.models import SupplierTerms
from catalogue.queries import components
from fencing.model.faults import InvalidDocument
from fencing.model.roles import CUT_ROLES
from quotes.jobs.hooks import ordered_for
from quotes.purchasing import services, stock_services
from quotes.purchasing.draft_orders import change_draft, order_for, plan_jobs, start_order
from quotes.purchasing.job_materials import committed_quantities, strip_width
from quotes.purchasing.models import LineJob, OrderLine, Reservation, StockItem, SupplierOrder
from quotes.purchasing.purchase_plan import plan_for
from quotes.purchasing.saw_sheets import bought_for, last_agreed, ripped
from quotes.quoting.queries import agreed_build
from shared.common.money import rounded
from shared.common.problems import Problem
from shared.models import Business
from tests.quotes.purchasing.cast import agreed_fence, agreed_job, component_of, drafted, seller_of
from tests.quotes.quoting.cast import actor_of, measure
from tests.quotes.quoting.cast import drafted as drafted_quote

pytestmark = pytest.mark.django_db
ZERO = Decimal(0)


def test_two_jobs_are_ordered_together_and_each_knows_its_part_to_the_cent(yard: Business) -> None:
    jobs = [agreed_job(yard, 12000), agreed_job(yard, 7200, 5000)]
    orders = order_for(jobs=jobs, actor=actor_of(yard))
    lines = list(OrderLine.objects.of(yard))
    for line in lines:
        parts = list(LineJob.objects.of(yard).filter(line=line))
        assert sum(part.quantity for part in parts) == line.quantity
        assert sum(part.net for part in parts) == line.net
    for order in orders:
        own = [line for line in lines if line.order_id == order.pk]
        assert order.goods == sum(line.net for line in own)
        assert order.tax == rounded((order.goods + order.delivery_fee) / 10, 2)
        assert order.total == order.goods + order.delivery_fee + order.tax


def test_each_job_pays_for_whole_sheets_it_gets_and_again_buys_nothing(yard: Business) -> None:
    # two bays each, three sheets a bay (762 cover, some 2220 to fill) and the last too wide for a strip: six of 1500, six of 1800
    low = agreed_fence(yard, measure(4520, height_mm=1500))
    high = agreed_fence(yard, measure(4520))
    tall = components(yard).get(sku="SH-1796-SM")
    stock_services.add_stock(component=tall, quantity=Decimal(6), actor=actor_of(yard), reason="counted")
    order_for(jobs=[low, high], actor=actor_of(yard))
    parts = LineJob.objects.of(yard).filter(line__role="sheet").values_list("line__sku", "job", "quantity")
    # the yard's six serve one job, the other's six are bought for it alone
    [(sku, job, quantity)] = parts
    assert (sku, job, str(quantity)) == ("SH-1496-SM", low.pk, "6.000")
    whole = LineJob.objects.of(yard).filter(line__role__in=CUT_ROLES).values_list("quantity", flat=True)
    assert all(part == part.to_integral_value() for part in whole)
    assert order_for(jobs=[low, high], actor=actor_of(yard), allow_reorder=True) == []


def test_a_draft_for_two_jobs_that_is_changed_stays_theirs(yard: Business) -> None:
    jobs = [agreed_job(yard, 4520), agreed_job(yard, 2260)]
    [order, *_] = order_for(jobs=jobs, actor=actor_of(yard))
    rail = OrderLine.objects.of(yard).get(order=order, role="rail")
    # two bays and one take four rails and two; three more of both are shared 2 to 1, and so is what is new by what the goods cost
    lines = [
        {"component": rail.sku, "quantity": rail.quantity + 3},
        {"component": "DB-450", "quantity": Decimal(2), "price": ZERO},
    ]
    change_draft(order=order, actor=actor_of(yard), lines=lines)
    parts = (
        LineJob.objects.of(yard).filter(line__order=order).order_by("id").values_list("line__sku", "job", "quantity")
    )
    assert [(job, int(quantity)) for sku, job, quantity in parts if sku == rail.sku] == [
        (jobs[0].pk, 6),
        (jobs[1].pk, 3),
    ]
    assert sum(quantity for sku, _, quantity in parts if sku == "DB-450") == 2
    # and a second order by mistake is rejected
    for job in jobs:
        with pytest.raises(Problem, match="on order O0001 already"):
            order_for(jobs=[job], actor=actor_of(yard))


def test_parts_of_a_sheet_on_one_line_are_counted_together(yard: Business) -> None:
    jobs = [agreed_job(yard, 12000), agreed_job(yard, 7200)]
    order_for(jobs=jobs, actor=actor_of(yard))
    # as a line was shared out before parts were whole: 10.5 and 7.5 rails
    for line in OrderLine.objects.of(yard).filter(role="rail"):
        first, last = LineJob.objects.of(yard).filter(line=line).order_by("id")
        first.quantity, last.quantity = first.quantity - Decimal("0.5"), last.quantity + Decimal("0.5")
        first.save()
        last.save()
    assert order_for(jobs=jobs, actor=actor_of(yard), allow_reorder=True) == []


def test_a_refused_order_leaves_no_gap_in_the_numbers(yard: Business) -> None:
    drafted(yard)
    with pytest.raises(InvalidDocument):
        start_order(
            supplier=seller_of(yard, component_of(yard, "rail")),
            actor=actor_of(yard),
            lines=[{"component": "nothing", "quantity": Decimal(1)}],
        )
    drafted(yard)
    assert [order.number for order in SupplierOrder.objects.of(yard).order_by("id")] == ["O0001", "O0002"]


def test_the_orders_hold_every_sheet_that_no_strip_serves(yard: Business) -> None:
    # each run of 1000 closes with a narrow sheet; the second is the strip of the first, so one sheet fewer is bought
    job = agreed_job(yard, 1000, 1000)
    build = agreed_build(job)
    assert build is not None
    pieces = [piece for piece in build.takeoff["pieces"] if piece["role"] == "sheet"]
    [narrow] = [piece for piece in pieces if piece["width_mm"] < 400]
    assert narrow["count"] == 2
    counted = sum(piece["count"] for piece in pieces)
    order_for(jobs=[job], actor=actor_of(yard))
    [line] = OrderLine.objects.of(yard).filter(role="sheet")
    assert line.required_quantity == counted - 1
    assert f"its strip is used for B-1 ({narrow['width_mm']} mm wide)" in " ".join(line.purchase_reason)
    [blank] = ripped(bought_for(last_agreed(job)))
    assert [where for _, _, where in blank.takes] == ["A-1", "B-1"]
    # the strip is committed with its sheet, so nothing is missing
    assert order_for(jobs=[job], actor=actor_of(yard), allow_reorder=True) == []
    whole = {**build.system, "sheets": {**build.system["sheets"], "reuse_strips": False}}
    assert strip_width([whole]) is None
    plan = plan_for({job.number: build.takeoff}, market(yard), kerf=4, strips=strip_width([whole]))
    assert sum(need.quantity for need in plan.needs if need.role == "sheet") == counted


def test_strips_stay_on_their_job_though_two_are_ordered_together(yard: Business) -> None:
    jobs = [agreed_job(yard, 1000), agreed_job(yard, 1000)]
    plan = plan_jobs(jobs)
    assert sum(need.quantity for need in plan.needs if need.role == "sheet") == 4


def test_a_job_on_order_is_not_ordered_again_by_mistake(yard: Business) -> None:
    job = agreed_job(yard)
    order_for(jobs=[job], actor=actor_of(yard))
    with pytest.raises(Problem, match="on order O0001 already"):
        order_for(jobs=[job], actor=actor_of(yard))
    # nothing is missing, so nothing is ordered twice
    assert order_for(jobs=[job], actor=actor_of(yard), allow_reorder=True) == []


def test_ordering_again_buys_what_was_cancelled_or_sent_back_and_no_more(yard: Business) -> None:
    job = agreed_job(yard, 12000, 7200)
    orders = order_for(jobs=[job], actor=actor_of(yard))
    for order in orders:
        services.place(order=order, actor=actor_of(yard))
    wanted = {line.sku: line.required_quantity for line in OrderLine.objects.of(yard).filter(order=orders[0])}
    services.cancel(order=orders[0], actor=actor_of(yard), reason="never came")
    again = order_for(jobs=[job], actor=actor_of(yard), allow_reorder=True)
    assert {row.sku: row.required_quantity for row in OrderLine.objects.of(yard).filter(order__in=again)} == wanted
    assert order_for(jobs=[job], actor=actor_of(yard), allow_reorder=True) == []


def test_what_a_job_gave_back_is_counted_once_when_it_is_ordered_again(yard: Business) -> None:
    job = agreed_job(yard, 12000)
    order_for(jobs=[job], actor=actor_of(yard))
    [line] = OrderLine.objects.of(yard).filter(role="sheet")
    assert line.component is not None
    back = stock_services.add_stock(
        component=line.component, quantity=Decimal(3), actor=actor_of(yard), reason="back", job=job
    )
    stock_services.remove_stock(item=back, quantity=Decimal(2), actor=actor_of(yard), reason="sold")
    # one of the three is still in stock, two are used
    [order] = order_for(jobs=[job], actor=actor_of(yard), allow_reorder=True)
    assert {row.sku: row.required_quantity for row in OrderLine.objects.of(yard).filter(order=order)} == {line.sku: 2}
    assert Reservation.objects.of(yard).get(job=job).quantity == 1
    assert order_for(jobs=[job], actor=actor_of(yard), allow_reorder=True) == []


def test_a_remnant_given_back_shortens_the_bar_it_was_cut_from(yard: Business) -> None:
    job = agreed_job(yard, 12000)
    order_for(jobs=[job], actor=actor_of(yard))
    rail = component_of(yard, "rail")
    line = OrderLine.objects.of(yard).filter(role="rail").order_by("-length_mm")[0]
    long = line.length_mm or 0
    before = sum(
        quantity.have * (quantity.length or 0) for quantity in committed_quantities([job]) if quantity.role == "rail"
    )
    stock_services.add_stock(
        component=line.component or rail,
        quantity=Decimal(1),
        actor=actor_of(yard),
        reason="back",
        job=job,
        length_mm=long - 600,
    )
    own = {quantity.length: quantity.have for quantity in committed_quantities([job]) if quantity.sku == line.sku}
    assert own[600] == 1
    assert own[long] == line.quantity - 1
    after = sum(
        quantity.have * (quantity.length or 0) for quantity in committed_quantities([job]) if quantity.role == "rail"
    )
    assert after == before - (long - 600)


def test_cancelling_an_order_lets_go_of_what_was_kept_with_it_at_once(
    yard: Business, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = agreed_job(yard, 12000)
    sku = next(need.name for need in plan_jobs([job]).needs if need.role == "sheet")
    sheet = components(yard).get(sku=sku)
    item = stock_services.add_stock(
        component=sheet, quantity=Decimal(5), actor=actor_of(yard), reason="left from spring"
    )
    by_hand = stock_services.reserve_item(item=item, job=job, quantity=Decimal(2), actor=actor_of(yard))
    order_for(jobs=[job], actor=actor_of(yard))
    order = OrderLine.objects.of(yard).get(sku=sku).order
    [kept] = Reservation.objects.of(yard).filter(order=order)
    assert kept.quantity == 3

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError

    monkeypatch.setattr(services, "note", fail)
    with pytest.raises(RuntimeError):
        services.cancel(order=order, actor=actor_of(yard), reason="wrong finish")
    kept.refresh_from_db()
    assert kept.state == "reserved"
    monkeypatch.undo()
    services.cancel(order=order, actor=actor_of(yard), reason="wrong finish")
    for reservation, state in ((kept, "released"), (by_hand, "reserved")):
        reservation.refresh_from_db()
        assert reservation.state == state
    item.refresh_from_db()
    assert item.reserved == 2


def test_what_is_kept_for_a_job_is_neither_bought_nor_kept_twice(yard: Business) -> None:
    job = agreed_job(yard, 12000)
    need = next(need for need in plan_jobs([job]).needs if need.role == "sheet")
    sheet = components(yard).get(sku=need.name)
    item = stock_services.add_stock(
        component=sheet, quantity=Decimal(3), actor=actor_of(yard), reason="left from spring"
    )
    stock_services.reserve_item(item=item, job=job, quantity=Decimal(2), actor=actor_of(yard))
    order_for(jobs=[job], actor=actor_of(yard))
    assert OrderLine.objects.of(yard).get(sku=need.name).required_quantity == need.quantity - 3
    assert sum(reservation.quantity for reservation in Reservation.objects.of(yard).filter(job=job)) == 3


def test_an_order_by_hand_worth_less_than_the_supplier_takes_is_not_placed_by_mistake(yard: Business) -> None:
    order = drafted(yard, {"rail": "10"})  # 25.00
    SupplierTerms.objects.of(yard).filter(supplier=order.supplier).update(minimum_order=Decimal("25.01"))
    with pytest.raises(Problem, match=r"takes orders from .*25\.01.* this one has .*25\.00"):
        services.place(order=order, actor=actor_of(yard))
    assert services.place(order=order, actor=actor_of(yard), allow_below_minimum=True).state == "placed"
    other = drafted(yard, {"rail": "11"})
    assert services.place(order=other, actor=actor_of(yard)).state == "placed"


def test_a_job_nobody_agreed_to_orders_nothing(yard: Business) -> None:
    job = drafted_quote(yard).quote.job
    with pytest.raises(Problem, match="order materials for an accepted job"):
        order_for(jobs=[job], actor=actor_of(yard))


def test_everything_can_come_from_one_supplier_and_costs_no_less_than_the_split(yard: Business) -> None:
    plan = plan_jobs([agreed_job(yard)])
    best = plan.chosen(None).total
    singles = [split.total for split in plan.sourcing.alone.values() if split]
    assert singles
    assert best <= min(singles)
    with pytest.raises(InvalidDocument, match="no such active supplier"):
        plan.chosen("unknown")


def test_a_split_that_cannot_be_says_why(yard: Business) -> None:
    job = agreed_job(yard, 1000)
    with pytest.raises(InvalidDocument, match="none delivers it in time"):
        plan_jobs([job], days=0).chosen(None)
    SupplierTerms.objects.of(yard).update(minimum_order=Decimal(90_000))
    with pytest.raises(InvalidDocument, match="each minimum order value"):
        plan_jobs([job]).chosen(None)


def test_sheets_in_the_yard_are_used_before_any_is_bought(yard: Business) -> None:
    job = agreed_job(yard, 12000)
    bought = plan_jobs([job])
    sku = next(need.name for need in bought.needs if need.role == "sheet")
    wanted = sum(need.quantity for need in bought.needs if need.name == sku)
    sheet = components(yard).get(sku=sku)
    stock_services.add_stock(component=sheet, quantity=Decimal(5), actor=actor_of(yard), reason="left from spring")
    order_for(jobs=[job], actor=actor_of(yard))
    assert OrderLine.objects.of(yard).get(sku=sku).required_quantity == wanted - 5
    assert Reservation.objects.of(yard).get(job=job).quantity == 5
    assert StockItem.objects.of(yard).get().reserved == 5


def test_a_remnant_long_enough_is_cut_before_a_rail_is_bought(yard: Business) -> None:
    job = agreed_job(yard, 12000)
    before = sum(need.quantity for need in plan_jobs([job]).needs if need.role == "rail")
    sku = next(need.name for need in plan_jobs([job]).needs if need.role == "rail")
    rail = components(yard).get(sku=sku)
    longest = rail.length_mm or 0
    stock_services.add_stock(
        component=rail, quantity=Decimal(1), actor=actor_of(yard), reason="cut", length_mm=longest - 1
    )
    after = plan_jobs([job])
    assert sum(need.quantity for need in after.needs if need.role == "rail") == before - 1
    assert after.taken[sku, longest - 1] == 1


def test_a_draft_takes_other_lines_and_adds_up_again(yard: Business) -> None:
    order = drafted(yard)
    component = component_of(yard, "rail")
    change_draft(
        order=order,
        actor=actor_of(yard),
        lines=[{"component": component.sku, "quantity": Decimal(4), "price": Decimal("2.505")}],
        note="ring first",
    )
    order.refresh_from_db()
    # 4 x 2.505 = 10.02
    assert (order.goods, order.note) == (Decimal("10.02"), "ring first")
    services.place(order=order, actor=actor_of(yard))
    with pytest.raises(Problem, match="It must be: draft"):
        change_draft(order=order, actor=actor_of(yard), note="too late")


def test_the_orders_of_a_job_are_listed_by_role(yard: Business) -> None:
    job = agreed_job(yard, 12000)
    assert ordered_for(job) == {}
    orders = order_for(jobs=[job], actor=actor_of(yard))
    for order in orders:
        services.place(order=order, actor=actor_of(yard))
    data = ordered_for(job)
    assert sum(item.cost for item in data.values()) == sum(order.goods for order in orders)
    services.cancel(order=orders[0], actor=actor_of(yard), reason="wrong finish")
    assert sum(item.cost for item in ordered_for(job).values()) == sum(order.goods for order in orders[1:])
