"""Queue of the crew's phone: checklist marks and as-built entries that were saved offline and are sent later."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.http import Http404

from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.as_built import record_built, take_back
from quotes.jobs.checklist import ChecklistMark
from quotes.jobs.models import BuiltKind, Job
from quotes.jobs.queries import as_built
from quotes.jobs.serializers import BuiltIn
from shared.api.serializers import validated_data
from shared.business.actors import Actor
from shared.common.form_fields import typed_number
from shared.common.problems import Problem
from shared.web.etags import find

MAX_MARKS: Final = 2_000
MAX_ENTRIES: Final = 200
_ID = re.compile(r"[0-9A-Za-z-]{8,40}")
_FIELDS: Final = ("kind", "role", "quantity", "location", "note")


@dataclass(frozen=True, slots=True)
class Sent:
    """One request of the queue."""

    marks: list[ChecklistMark]
    entries: Mapping[str, Mapping[str, Any]]


def read_sent(body: bytes) -> Sent:
    """Read the queue from JSON. Raise InvalidDocument if it does not have the page's format."""
    try:
        data = json.loads(body)
        marks = [
            ChecklistMark(
                str(mark["place"]), bool(mark["done"]), datetime.fromtimestamp(int(mark["at"]) / 1000, tz=UTC)
            )
            for mark in data["marks"][:MAX_MARKS]
        ]
        entries = {str(entry["id"]): {**entry} for entry in data.get("entries", [])[:MAX_ENTRIES]}
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError, OSError):
        raise InvalidDocument(
            [Fault("/marks", "marks", "Send marks of place, done and at, and entries with an id.")]
        ) from None
    if not all(_ID.fullmatch(key) for key in entries):
        raise InvalidDocument([Fault("/entries", "id", "An entry needs an id of 8 to 40 letters, digits and hyphens.")])
    return Sent(marks, entries)


def keep_entries(*, job: Job, entries: Mapping[str, Mapping[str, Any]], actor: Actor) -> dict[str, list[str]]:
    """Record each entry on its own and return its errors by its id. An entry that is already recorded changes nothing."""
    return {key: _keep(job, key, entry, actor) for key, entry in entries.items()}


def _keep(job: Job, key: str, entry: Mapping[str, Any], actor: Actor) -> list[str]:
    try:
        if entry.get("take_back"):
            row = find(as_built(job).select_related("job", "business"), str(entry["take_back"]))
            take_back(entry=row, actor=actor)
        else:
            record_built(job=job, actor=actor, sent_as=key, **entry_values(entry))
    except (InvalidDocument, Problem, ValidationError, Http404) as refused:
        return faults_of(refused)
    return []


def entry_values(typed: Mapping[str, Any]) -> dict[str, Any]:
    """Read the fields of the form. Raise InvalidDocument with every error."""
    data = {name: str(typed.get(name) or "").strip() for name in _FIELDS}
    data["quantity"] = typed_number(data["quantity"])
    if data["kind"] != BuiltKind.CHANGED and data["role"]:
        data["unit"] = "MTQ" if data["role"] == "concrete" else "C62"
    return dict(validated_data(BuiltIn, {name: value for name, value in data.items() if value}))


def faults_of(refused: InvalidDocument | Problem | ValidationError | Http404) -> list[str]:
    """Return the errors as sentences."""
    if isinstance(refused, InvalidDocument):
        return [fault.text for fault in refused.faults]
    if isinstance(refused, Problem):
        return [refused.detail]
    if isinstance(refused, ValidationError):
        return list(refused.messages)
    return ["This entry is not on this job."]
