"""Tests of the admin: an action is repeated once after a deadlock."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import OperationalError
from django.test import Client

from shared.admin import PersonAdmin
from shared.business.models import Person
from tests.conftest import Cast
from tests.shared.database.test_numbering import deadlock

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def staff(cast: Cast, signed_in: Callable[[Person], Client]) -> Client:
    person = Person.objects.create_superuser("staff@example.test", "a long password for staff")
    return signed_in(person)


def test_a_form_is_saved_although_its_first_transaction_ended_in_a_deadlock(
    staff: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    save, calls = PersonAdmin.save_model, list[str]()

    def save_at_second_call(self: PersonAdmin, request: Any, obj: Person, *args: Any) -> None:
        calls.append(obj.email)
        save(self, request, obj, *args)
        if len(calls) == 1:
            raise deadlock()

    monkeypatch.setattr(PersonAdmin, "save_model", save_at_second_call)
    answer = staff.post("/admin/shared/person/add/", {"email": "new@example.test", "name": "New"})
    assert (answer.status_code, len(calls)) == (302, 2)
    assert Person.objects.filter(email="new@example.test").count() == 1


def test_a_second_deadlock_is_an_error(staff: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise deadlock()

    monkeypatch.setattr(PersonAdmin, "save_model", fail)
    with pytest.raises(OperationalError):
        staff.post("/admin/shared/person/add/", {"email": "new@example.test", "name": "New"})
