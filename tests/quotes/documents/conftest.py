"""A sent quote of the scenario's kind, made once for all document tests."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from fencing.reading import read_json
from quotes.jobs import services as jobs
from quotes.jobs.measure_services import newest, start_measure
from quotes.office.demo_data import FOLDER, load_business, scenario
from quotes.quoting import services as offers
from quotes.quoting.content import Content, read_content
from quotes.quoting.draft_setup import read_setup
from quotes.quoting.models import Revision
from shared.business.actors import SYSTEM

WHEN = datetime(2031, 3, 4, 5, 6, 7, tzinfo=UTC)


def sent(measure: str, *, locale: str = "", **changes: Any) -> Revision:
    """Return a sent revision of one of the scenario's measures, for a business with the given ``locale``."""
    data = scenario()
    row = next(item for item in data["jobs"] if item["measure"] == measure)
    business = load_business(data["business"])
    if locale:
        business.locale = locale
        business.save()
    customer = jobs.add_customer(business=business, actor=SYSTEM, **{**row["customer"], **changes})
    site = jobs.add_site(customer=customer, actor=SYSTEM, **row["site"])
    document = read_json((FOLDER / "measures" / f"{measure}.json").read_bytes())
    job = jobs.open_job(customer=customer, site=site, label=document["label"], actor=SYSTEM)
    version = newest(start_measure(job=job, document=document, actor=SYSTEM))
    assert version is not None
    setup = read_setup({key: value for key, value in row["setup"].items() if not changes or key != "parties"})
    draft = offers.start_quote(job=job, version=version, actor=SYSTEM, setup=setup)
    return offers.send(revision=draft, actor=SYSTEM, now=WHEN)


_KEPT: dict[str, Content] = {}


class Contents(dict[str, Content]):
    """Frozen contents by measure, made when first asked for."""

    def __missing__(self, measure: str) -> Content:
        if measure not in _KEPT:
            _KEPT[measure] = read_content(sent(measure).content)
        return _KEPT[measure]


@pytest.fixture
def contents(db: None) -> Contents:
    """Frozen contents by measure; the rows behind them go when the test ends, the contents stay."""
    return Contents()
