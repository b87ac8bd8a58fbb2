"""A database with one business, filled once and copied for each drill."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.faults.service import Service, make_database

_START = """
from shared.members import services
from shared.business.models import Person
services.start_business(owner=Person.objects.create_user('o@example.test'), name='Drill', country='NZ', currency='NZD')
"""


@pytest.fixture(scope="session")
def database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a database with one business."""
    return make_database(Service(tmp_path_factory.mktemp("started")), _START)
