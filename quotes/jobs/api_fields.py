"""Rows of this stage as the API tells them, and the schemas that say so."""

from __future__ import annotations

from typing import Any

from django.db.models import Q

from quotes.jobs.schema_api import schemas
from shared.api.row_serializer import RowSerializer, same_names

TEXT = {"type": "string"}
WHOLE = {"type": "integer"}
DATE = {"type": ["string", "null"], "format": "date"}
TIME = {"type": ["string", "null"], "format": "date-time"}
DOCUMENT = {"type": "object", "additionalProperties": True}

CUSTOMER = ("ref", "name", "email", "phone", "address", "registration_number", "notes", "archived_at", "created_at")
SITE = ("ref", "address", "city", "postcode", "country", "access_notes")
EVENT = ("ref", "text", "created_by", "created_at")
VERSION = ("ref", "number", "sha256", "system", "created_by", "created_at")
BUILT = (
    "ref",
    "kind",
    "role",
    "component",
    "length_mm",
    "unit",
    "quantity",
    "location",
    "note",
    "created_by",
    "created_at",
)
_JOB = ("ref", "number", "label", "preferred_on", "notes", "created_at", "updated_at")

CUSTOMERS, SITES, VERSIONS = (RowSerializer(same_names(*names)) for names in (CUSTOMER, SITE, VERSION))
EVENTS = RowSerializer({**same_names(*EVENT), "type": "kind"})
AS_BUILT = RowSerializer({**same_names(*BUILT), "reverses": "reverses__ref"})
JOBS = RowSerializer(
    {
        **same_names(*_JOB),
        "status": "state",
        "customer": {"ref": "customer__ref", "name": "customer__name"},
        "site": {"ref": "site__ref", "address": "site__address"},
        "copied_from": "copied_from__ref",
    }
)
MEASURES = RowSerializer(
    {
        **same_names("ref", "label", "latest_version", "draft_at"),
        "has_draft": Q(draft_at__isnull=False),
        "updated_at": "updated_at",
        "job": {"ref": "job__ref", "number": "job__number"},
    }
)


def shape(names: tuple[str, ...], **others: Any) -> dict[str, Any]:
    """Return the JSON Schema of an object of texts; ``others`` gives the schemas of its other members."""
    kinds = {name: TIME if name.endswith("_at") else DATE if name.endswith("_on") else TEXT for name in names}
    return {"type": "object", "properties": {**kinds, **others}}


CUSTOMER_SCHEMA = shape(CUSTOMER)
SITE_SCHEMA = shape(SITE)
EVENT_SCHEMA = shape((*EVENT, "type"))
VERSION_SCHEMA = shape(VERSION, number=WHOLE)
VERSION_FULL_SCHEMA = shape(VERSION, number=WHOLE, document=DOCUMENT)
BUILT_SCHEMA = shape(BUILT, length_mm={"type": ["integer", "null"]}, reverses={"type": ["string", "null"]})
JOB_SCHEMA = shape(
    (*_JOB, "status"),
    customer=shape(("ref", "name")),
    site=shape(("ref", "address")),
    copied_from={"type": ["string", "null"]},
)
MEASURE_SCHEMA = shape(
    ("ref", "label", "draft_at", "updated_at"),
    latest_version=WHOLE,
    job=shape(("ref", "number")),
    has_draft={"type": "boolean"},
)
MEASURE_FULL_SCHEMA = shape(
    ("ref", "label", "draft_at", "updated_at", "draft"),
    latest_version=WHOLE,
    job=shape(("ref", "number")),
    has_draft={"type": "boolean"},
    document={"type": ["object", "null"], "additionalProperties": True},
    sha256={"type": ["string", "null"]},
    draft_errors={"type": "array", "items": shape(("pointer", "code", "text"))},
)
TAKEOFF_SCHEMA = {
    "type": "object",
    "required": ["schema"],
    "properties": {
        "schema": {"const": "takeoff-2"},
        "measure_sha256": TEXT,
        "system": TEXT,
        "strength": {name: part for name, part in schemas()["screening-2"].items() if name != "$schema"},
    },
    "additionalProperties": True,
}
