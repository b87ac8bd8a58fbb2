"""Every list of the API, read from the URL table, asks the database the same number of times whatever its rows."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, models, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from catalogue.models import FenceSystem
from quotes.accounting.models import PeriodLock
from quotes.integrations.models import WebhookDelivery, WebhookEndpoint
from quotes.quoting.models import Revision, RevisionState
from shared.business.actors import SYSTEM
from shared.business.business_owned import new_ref
from shared.business.roles import BUSINESS_SCOPES, SUPPLIER_SCOPES, MemberRole
from shared.members.services import add_member
from tests.conftest import Cast
from tests.matrix.addresses import Case, cases
from tests.matrix.world import world_of

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
