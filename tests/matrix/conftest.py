"""One of everything in each of two businesses, made once for a module. Each test rolls its changes back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.db import transaction
from django.test import Client

from tests.conftest import Cast, client_with_key, make_cast, sign_in
from tests.matrix.calls import SceneOf
from tests.matrix.changes import Scene
from tests.matrix.world import World, world_of


@dataclass(frozen=True, slots=True)
class Stage:
    """Two businesses with one record of every kind each, and the clients of the first one's owner and supplier."""

    cast: Cast
    own: World
    foreign: World
    owner: Client
    supplier: Client


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the tests on the stage, so that a run of them alone makes a database. They stay behind tests with their own."""
    for item in items:
        if "stage" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.django_db)


@pytest.fixture(scope="module")
def stage(django_db_setup: None, django_db_blocker: Any) -> Iterator[Stage]:
    with django_db_blocker.unblock(), transaction.atomic():
        cast = make_cast()
        own = world_of(cast.business, cast.supplier)
        foreign = world_of(cast.strangers_business, cast.other_supplier)
        yield Stage(cast, own, foreign, sign_in(cast.owner), client_with_key(supplier=cast.supplier))
        transaction.set_rollback(True)


@pytest.fixture
def new_scene(stage: Stage, settings: Any) -> Iterator[SceneOf]:
    """Return a function that gives the scene of a call or a form, for the supplier or the owner."""
    settings.RATE_QUOTA, settings.WEBHOOKS_TO_LOOPBACK = 1_000_000, True
    world = stage.own
    with transaction.atomic():
        yield lambda address="": Scene(
            stage.cast.business,
            world,
            dict(world.refs),
            dict(world.inner),
            stage.supplier if address.startswith("supply/") else stage.owner,
        )
        transaction.set_rollback(True)
