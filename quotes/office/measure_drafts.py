"""Loads and saves measure drafts and detects edits made elsewhere."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.contrib.sessions.backends.base import SessionBase
from django.db import transaction

from catalogue import queries as catalogue
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.measure import MEASURE_SCHEMA
from fencing.reading import read_json
from quotes.jobs import queries
from quotes.jobs.document_text import canonical, parsed
from quotes.jobs.measure_services import newest, save_draft
from quotes.jobs.models import StoredMeasure
from quotes.office.measure_fields import sheet_fields
from quotes.office.measure_form import read_fields
from quotes.office.run_fields import FormChoices
from shared.common.dates import write_moment
from shared.models import Business

HEIGHT = 1800
"""Height in the first measure of a business [mm]. Later measures start with the height of the last one."""
_REMEMBERED = 20


class EditConflict(Exception):
    """Error raised if the measure was edited on another page after this page was loaded."""


@dataclass(frozen=True, slots=True)
class EditingPage:
    """A loaded page and the version of the measure that it started from."""

    page: str
    version: int


def current_document(measure: StoredMeasure) -> dict[str, Any]:
    """Return the stored document. An empty fence system is replaced by the present default."""
    document = _stored_document(measure)
    return {**document, "system": _default_system(measure.business)} if document.get("system") == "" else document


def _stored_document(measure: StoredMeasure) -> dict[str, Any]:
    """Return the draft if it can be shown, else the last version, else a new document."""
    if measure.draft:
        try:
            draft = read_json(measure.draft)
        except InvalidDocument:
            draft = None
        if isinstance(draft, dict):
            return draft
    version = newest(measure)
    if version is not None:
        kept: dict[str, Any] = parsed(version.document)
        return kept
    return new_measure_document(measure)


def measure_facts(row: StoredMeasure) -> dict[str, str]:
    """Return the latest version of a measure and the time of its draft, by label."""
    draft = write_moment(row.draft_at, seconds=True) if row.draft_at else "none"
    return {"Latest version": str(row.latest_version), "Unsaved draft": draft}


def new_measure_document(measure: StoredMeasure) -> dict[str, Any]:
    """Return a document with one empty run and the settings of the last measure of the business."""
    last = queries.versions(measure.business).order_by("-id").first()
    before = parsed(last.document) if last else {}
    system = before.get("system") or _default_system(measure.business)
    defaults = before.get("defaults") or {
        "height_mm": HEIGHT,
        "form": "auto",
        "layout": "even",
        **_finish(measure.business),
    }
    return {
        "schema": MEASURE_SCHEMA,
        "label": measure.label,
        "system": system,
        "defaults": defaults,
        "runs": [{"id": "A"}],
    }


def _default_system(business: Business) -> str:
    try:
        return catalogue.default_system(business).code
    except InvalidDocument:
        return ""


def _finish(business: Business) -> dict[str, Any]:
    first = catalogue.finishes(business).filter(active=True).order_by("id").first()
    return {"finishes": dict.fromkeys(("post", "rail", "sheet"), first.code)} if first else {}


def offered(business: Business, code: object) -> FormChoices:
    """Return the choices of a form: fence systems, finishes, and lattice heights of the chosen system."""
    systems = list(catalogue.systems(business).filter(active=True).order_by("label").values_list("code", "label"))
    finishes = list(catalogue.finishes(business).filter(active=True).order_by("name").values_list("code", "name"))
    return FormChoices(systems, finishes, _lattices(business, code), catalogue.site_words_on(business))


def _lattices(business: Business, code: object) -> list[int]:
    try:
        version = catalogue.system_version(business, str(code))
    except InvalidDocument:
        return []
    heights = version.document.get("lattice", {}).get("heights_mm", [])
    return [height for height in heights if isinstance(height, int)]


@transaction.atomic
def save_entries(
    measure: StoredMeasure,
    document: Mapping[str, Any],
    faults: tuple[Fault, ...],
    hand: EditingPage,
    session: SessionBase,
    *,
    over: bool = False,
) -> StoredMeasure:
    """Save the entries as the draft, unless they are stored already.

    Raises:
        EditConflict: the measure was edited elsewhere. ``over`` overwrites that edit after the user has seen it.
    """
    row = (
        StoredMeasure.objects.of(measure.business)
        .select_for_update(no_key=True, of=("self",))
        .select_related("job")
        .get(pk=measure.pk)
    )
    text, before = _document_text(document), _stored_document(row)
    if text not in (_document_text(before), "" if row.draft else _untouched(row, before)):
        if not over and not _is_last(hand, row, session):
            raise EditConflict
        row = save_draft(measure=row, text=text, faults=faults)
        row.refresh_from_db()
    remembered = {key: value for key, value in session.get("measuring", {}).items() if key != row.ref}
    session["measuring"] = dict(list(remembered.items())[1 - _REMEMBERED :]) | {row.ref: [hand.page, row.version]}
    return row


def _untouched(row: StoredMeasure, document: Mapping[str, Any]) -> str:
    """Return the document that the form gives if the user has entered nothing."""
    shown = sheet_fields(document, offered(row.business, document.get("system"))).all()
    return _document_text(read_fields({item.name: item.value for item in shown}, document))


def _is_last(hand: EditingPage, row: StoredMeasure, session: SessionBase) -> bool:
    """Return whether this page made the last edit; the answer to its last save may have been lost."""
    return hand.version == row.version or session.get("measuring", {}).get(row.ref) == [hand.page, row.version]


def _document_text(document: Mapping[str, Any]) -> str:
    try:
        return canonical(dict(document))
    except TypeError:  # a draft from elsewhere may hold values that no document has
        return json.dumps(document, default=str)
