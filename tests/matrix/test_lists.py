"""Every list of the API: as many queries for any number of rows, and the same bytes as Django's own values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, models, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from catalogue.api.api_fields import SUPPLIER_OWN_PRICE, row_serializer
from catalogue.api.resources import RESOURCES
from catalogue.models import FenceSystem, SupplierPrice
from quotes.accounting import api as books
from quotes.accounting.models import PeriodLock
from quotes.documents import api as documents
from quotes.documents.models import Document
from quotes.integrations import webhook_api as hooks
from quotes.integrations.models import Attempt, WebhookDelivery, WebhookEndpoint
from quotes.jobs import api_fields as jobs
from quotes.jobs.as_built import record_built
from quotes.jobs.models import AsBuilt, Customer, Job, JobEvent, MeasureVersion, Site, StoredMeasure
from quotes.jobs.services import add_customer, add_site, open_job
from quotes.purchasing import api_fields as orders
from quotes.purchasing import delivery_queries, order_lists
from quotes.purchasing.models import OrderEvent, OrderLine, Reservation, StockItem, StockMovement, SupplierOrder
from quotes.quoting import api_fields as offers
from quotes.quoting.models import Party, Question, Quote, Revision, RevisionState, SignedLink
from shared.api.row_serializer import Money, MoneyPlaces, RowSerializer, TrimmedDecimal
from shared.business.actors import SYSTEM
from shared.business.business_owned import new_ref
from shared.business.models import ApiKey, Member
from shared.business.roles import BUSINESS_SCOPES, SUPPLIER_SCOPES, MemberRole
from shared.common.json_encoder import write_json
from shared.members import api as people
from shared.members.services import add_member
from shared.models import Business, BusinessOwned
from tests.conftest import Cast
from tests.matrix.addresses import Case, cases
from tests.matrix.world import world_of
from tests.quotes.quoting.cast import actor_of

LISTS = [case for case in cases() if case.method == "GET" and case.endpoint.paged]
EVERY_CALL, A_LIST, ITS_PARENT = 2, 3, 1  # the key and the count of calls; the list; what its address names
MORE = {"revisions/<str:ref>/parties": 1}  # the delivery of the mail with each link

# what only one row of several may be, and what the others are
OPEN_ONCE: dict[type[models.Model], dict[str, Any]] = {
    FenceSystem: {"is_default": False},
    Revision: {"state": RevisionState.SUPERSEDED},
}


@pytest.mark.django_db
def test_lists_ask_as_often_for_many_rows_as_for_few(cast: Cast, key_client: Callable[..., Client]) -> None:
    world = world_of(cast.business, cast.supplier)
    PeriodLock.objects.of(cast.business).create(locked_through=date(2020, 1, 31))
    for hook in WebhookEndpoint.objects.all():
        WebhookDelivery.objects.create(endpoint=hook, message_id="m", body="{}")
    ours, theirs = key_client(*BUSINESS_SCOPES), key_client(supplier=cast.supplier)

    def counted(case: Case) -> tuple[int, int]:
        """Return how many rows a list has, and how many queries it makes."""
        client = theirs if case.endpoint.scopes["GET"] in SUPPLIER_SCOPES else ours
        path = case.path(world.refs.get(case.holder, ""), world.inner)
        with CaptureQueriesContext(connection) as queries:
            answer = client.get(path, {"page_size": 200})
        assert answer.status_code == 200, case.address
        return len(answer.json()["items"]), len(queries)

    for client in (ours, theirs):
        client.get("/api/v1/components")  # notes that the key was used
    few = {case.address: counted(case) for case in LISTS}
    add_member(business=cast.business, person=cast.stranger, role=MemberRole.CREW, actor=SYSTEM, accepted=True)
    for number in (1, 2, 3):
        _more(number)
    many = {case.address: counted(case) for case in LISTS}
    assert [at for at in many if many[at][0] <= few[at][0] < 200] == []  # there are more rows everywhere
    assert {at: (few[at], many[at]) for at in many if many[at][1] != few[at][1]} == {}
    most = {
        case.address: EVERY_CALL + A_LIST + (ITS_PARENT if "<" in case.address else 0) + MORE.get(case.address, 0)
        for case in LISTS
    }
    assert {at: count for at, (_, count) in many.items() if count > most[at]} == {}


def _more(number: int) -> None:
    """One more of every row that has a public id, as like it as its constraints let it be."""
    for model in apps.get_models():
        if "ref" not in {field.name for field in model._meta.concrete_fields}:
            continue
        for row in model._base_manager.all()[:20]:
            try:
                with transaction.atomic():
                    models.Model.save_base(_twin(row, number), force_insert=True)
            except DatabaseError:
                continue  # one of a kind; the test sees to it that every list has grown


def _twin(row: Any, number: int) -> Any:
    meta = row._meta
    alone = {field.name for field in meta.concrete_fields if field.unique}
    alone |= {
        name
        for rule in meta.constraints
        if isinstance(rule, models.UniqueConstraint) and rule.condition is None
        for name in rule.fields
    }
    row.pk, row.ref, row._state.adding = None, new_ref(), True
    for name, value in OPEN_ONCE.get(type(row), {}).items():
        setattr(row, name, value)
    for field in meta.concrete_fields:
        value = getattr(row, field.attname)
        if field.name not in alone - {"id", "ref"} or field.is_relation or value is None:
            continue
        if isinstance(field, models.DateField):
            setattr(row, field.attname, value + timedelta(days=number))
        elif isinstance(field, models.IntegerField):
            setattr(row, field.attname, value + 1000 * number)
        elif isinstance(field, models.CharField):
            setattr(row, field.attname, f"{value}{number}"[-(field.max_length or 99) :])
    return row


_RESOURCES = ("components", "supplier-prices", "price-rules", "supplier-terms", "suppliers", "finishes")
ROW_LISTS: list[tuple[RowSerializer, type[models.Model]]] = [
    (jobs.CUSTOMERS, Customer),
    (jobs.SITES, Site),
    (jobs.JOBS, Job),
    (jobs.EVENTS, JobEvent),
    (jobs.MEASURES, StoredMeasure),
    (jobs.VERSIONS, MeasureVersion),
    (jobs.AS_BUILT, AsBuilt),
    (offers.QUOTES, Quote),
    (offers.revisions_in("NZD"), Revision),
    (offers.QUESTIONS, Question),
    (orders.ORDERS, SupplierOrder),
    (delivery_queries.DELIVERIES, SupplierOrder),
    (orders.EVENTS, OrderEvent),
    (orders.STOCK, StockItem),
    (orders.STOCK_MOVEMENTS, StockMovement),
    (orders.RESERVATIONS, Reservation),
    (order_lists.LINES, OrderLine),
    (books.LOCKS, PeriodLock),
    (documents.DOCUMENTS, Document),
    *((row_serializer(RESOURCES[name].members), RESOURCES[name].model) for name in _RESOURCES),
    (row_serializer(SUPPLIER_OWN_PRICE), SupplierPrice),
    (offers.PARTIES, Party),
    (offers.LINKS, SignedLink),
    (people.MEMBERS, Member),
    (people.KEYS, ApiKey),
    (hooks.ENDPOINTS, WebhookEndpoint),
    (hooks.DELIVERIES, WebhookDelivery),
    (hooks.ATTEMPTS, Attempt),
]


def _without_zeros(number: Decimal, places: int) -> Decimal:
    """Write a number with its decimal places, and at least ``places``, by arithmetic and not from its text."""
    while number.as_tuple().exponent > -places:  # type: ignore[operator]  # numbers that are stored are finite
        number = number.quantize(Decimal(1).scaleb(int(number.as_tuple().exponent) - 1))
    for fewer in range(12, places - 1, -1):
        if number == (shorter := number.quantize(Decimal(1).scaleb(-fewer))):
            number = shorter
    return number


def _as_django_says(
    members: Mapping[str, Any], rows: models.QuerySet[Any, Any], places: MoneyPlaces | None
) -> list[dict[str, Any]]:
    """Each member by a query of its own."""
    found: dict[str, list[Any]] = {}
    for name, data in members.items():
        if isinstance(data, Mapping):
            found[name] = list(_as_django_says(data, rows, places))
        elif isinstance(data, TrimmedDecimal):
            numbers = rows.values_list(data.column, flat=True)
            found[name] = [None if number is None else _without_zeros(number, data.places) for number in numbers]
        elif isinstance(data, Money):
            assert places is not None
            found[name] = [
                None if item is None else _without_zeros(item, places.of(*by))
                for item, *by in rows.values_list(data.column, *places.columns)
            ]
        else:
            found[name] = [item for (item,) in rows.values_list(data)]
    return [{name: values[place] for name, values in found.items()} for place in range(len(rows))]


def _odd_rows(cast: Cast) -> None:
    """Amounts of every length, times with and without fractions of a second, texts that JSON escapes, and nothing at all."""
    business, actor = cast.business, actor_of(cast.business)
    world_of(business, cast.supplier)
    PeriodLock.objects.of(business).create(locked_through=date(2020, 1, 31))
    customer = add_customer(business=business, actor=SYSTEM, name='Ünal "Sparrow" \\ Reed')
    site = add_site(customer=customer, actor=SYSTEM, address="4 Reed Lane\nTern Bay")
    job = open_job(customer=customer, site=site, label="\u2028 <gate>", actor=actor)
    Job.objects.of(business).filter(pk=job.pk).update(
        copied_from=Job.objects.of(business).exclude(pk=job.pk).order_by("id").first(),
        preferred_on=date(2031, 2, 3),
        created_at=datetime(2031, 2, 3, 4, 5, 6, tzinfo=UTC),
    )
    StoredMeasure.objects.of(business).update(draft_at=timezone.now())
    StoredMeasure.objects.of(business).create(job=job, label="not begun")
    built = Job.objects.of(business).filter(state="accepted")[0]
    record_built(job=built, kind="used", role="rail", component="R1", quantity=Decimal("2.5"), unit="MTR", actor=actor)
    order = SupplierOrder.objects.of(business).order_by("id")[0]
    for number, goods in enumerate(("0", "12.5", "12.3456", "99999.99", "123456789012.3456", "100")):
        for currency in ("NZD", "JPY", "KWD"):
            SupplierOrder.objects.of(business).create(
                supplier=order.supplier,
                number=f"X{number}{currency}",
                currency=currency,
                goods=Decimal(goods),
                total=Decimal(goods),
            )
    item = StockItem.objects.of(business).order_by("id")[0]
    for quantity, held in (("0.3", "0.1"), ("10", "10"), ("7.125", "0")):
        StockItem.objects.of(business).create(
            component=item.component, kind=item.kind, quantity=Decimal(quantity), reserved=Decimal(held)
        )
    hook = WebhookEndpoint.objects.filter(business=business)[0]
    for event in (OrderEvent.objects.of(business)[0], None):
        delivery = WebhookDelivery.objects.create(endpoint=hook, event=event, message_id="m", body='{"a": "\u2028"}')
        Attempt.objects.create(
            delivery=delivery, http_status=None if event else 200, error="no <answer>", duration_ms=7
        )
    Revision.objects.of(business).filter(state="draft").update(choices={"b": ["x", 1.5], "a": None})


def _rows(model: type[models.Model], business: Business) -> models.QuerySet[Any, Any]:
    return model.objects.of(business) if issubclass(model, BusinessOwned) else model._base_manager.all()


@pytest.mark.django_db
def test_every_list_gives_the_same_bytes_as_django(cast: Cast) -> None:
    """So does one row alone, which is what the details answer."""
    _odd_rows(cast)
    for reader, model in ROW_LISTS:
        rows = _rows(model, cast.business).order_by("id")
        answers, marks = reader.read(rows, "id")
        assert answers, model
        assert write_json(answers) == write_json(_as_django_says(reader.members, rows, reader.places)), model
        assert [mark for (mark,) in marks] == list(rows.values_list("pk", flat=True))
        assert write_json([reader.of(row) for row in rows]) == write_json(answers), model


def test_short_numbers_keep_what_they_say() -> None:
    """Reckoned by hand: 12.5000 is 12.5, and as money 12.50; what has more places than money has keeps them."""
    data = [(str(_without_zeros(Decimal(text), places))) for text in ("12.5000", "0.0000", "7") for places in (0, 2)]
    assert data == ["12.5", "12.50", "0", "0.00", "7", "7.00"]
