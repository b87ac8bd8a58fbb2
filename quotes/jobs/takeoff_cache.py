"""Take-offs kept with what they came from, and computed again only when one of those inputs changes."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from django.db import IntegrityError, transaction

from catalogue.queries import site_words_on
from catalogue.rules.site_words import names_words, settled
from fencing.model.faults import Fault, InvalidDocument, Level
from fencing.model.measure import Form, Layout, Measure
from fencing.quantities.comparison_prices import PriceList
from fencing.quantities.take_off import take_off
from fencing.quantities.takeoff_document import takeoff_document
from fencing.reading import read_measure
from quotes.jobs.document_text import canonical, digest, parsed
from quotes.jobs.models import MeasureVersion, StoredTakeOff
from quotes.jobs.system_lookup import SystemWithPrices, find_system
from shared.models import Business


@cache
def engine_mark() -> str:
    """A digest of the engine's own source: another engine is another input."""
    found = hashlib.sha256()
    for name, text in sorted(_sources(files("fencing"))):
        found.update(f"{name}\0{text}\0".encode())
    return found.hexdigest()


def _sources(folder: Traversable, path: str = "") -> list[tuple[str, str]]:
    sources = list[tuple[str, str]]()
    for entry in folder.iterdir():
        if entry.is_dir():
            sources += _sources(entry, f"{path}{entry.name}/")
        elif entry.name.endswith(".py"):
            sources.append((path + entry.name, entry.read_text(encoding="utf-8")))
    return sources


def looks_at_prices(measure: Measure) -> bool:
    """Whether any run leaves its form or layout to what is cheapest."""
    return any(run.form is Form.AUTO or run.layout is Layout.AUTO for run in measure.runs)


def price_mark(prices: PriceList | None) -> str:
    """A digest of the prices a choice was made by; nothing where there were none."""
    if prices is None:
        return ""
    stock = sorted([item.role, item.finish or "", item.length or 0, str(item.price)] for item in prices.stock)
    eaches = sorted([role, finish or "", str(price)] for (role, finish), price in prices.eaches.items())
    labour = [str(getattr(prices.labour, name)) for name in ("hole", "bay", "raked_bay", "cut")]
    holes = {soil: str(price) for soil, price in prices.labour.hole_in.items()}
    return digest(canonical([stock, eaches, labour, holes]))


def read_for(business: Business, document: object) -> tuple[Measure, SystemWithPrices]:
    """A measure and the system it is built in. Refused with every fault: of the document, of how it fits the system, and of
    soils and old fences that the business's price rules do not know."""
    code = document.get("system") if isinstance(document, Mapping) else None
    found, unknown = None, list[Fault]()
    if code is None or isinstance(code, str):
        try:
            found = find_system(business, code)
        except InvalidDocument as refused:
            unknown += refused.faults
    words = site_words_on(business) if names_words(document) else None
    if words is not None and isinstance(document, Mapping):
        unknown += words.faults(document)
    try:
        measure = read_measure(document, found.system if found else None)
    except InvalidDocument as refused:
        raise InvalidDocument([*refused.faults, *(item for item in unknown if item not in refused.faults)]) from None
    if found is None or unknown:
        raise InvalidDocument(unknown)
    return measure if words is None else settled(measure), found


def check_take_off(*, business: Business, document: object) -> Measure:
    """The measure, once it is known that it can be taken off; nothing is kept."""
    measure, found = read_for(business, document)
    take_off(measure, found.system, found.prices if looks_at_prices(measure) else None)
    return measure


def take_off_of(*, version: MeasureVersion) -> StoredTakeOff:
    """The take-off of a stored measure with the system and prices of today: the kept one while nothing has changed."""
    measure, found = read_for(version.business, parsed(version.document))
    prices = found.prices if looks_at_prices(measure) else None
    inputs = _inputs(version, found, prices)
    rows = StoredTakeOff.objects.of(version.business)
    kept = rows.filter(inputs_sha256=inputs).first()
    if kept is not None:
        return kept
    taken = take_off(measure, found.system, prices)
    text = canonical(takeoff_document(taken))
    row = StoredTakeOff(
        business=version.business,
        measure_version=version,
        system_code=found.code,
        system_version=found.version,
        system_document=canonical(found.document),
        price_sha256=price_mark(prices),
        engine=engine_mark(),
        inputs_sha256=inputs,
        document=text,
        sha256=digest(text),
        stops=sum(notice.level is Level.STOP for notice in taken.notices),
    )
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError:  # somebody else took it off at the same moment: theirs is the same
        return rows.get(inputs_sha256=inputs)
    return row


def _inputs(version: MeasureVersion, found: SystemWithPrices, prices: PriceList | None) -> str:
    return digest(
        canonical(
            [version.pk, version.sha256, found.code, found.version, found.sha256, price_mark(prices), engine_mark()]
        )
    )
