"""Rows of this stage as the API tells them, and the schemas that say so."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quotes.jobs.schema_api import schemas

TEXT = {"type": "string"}
WHOLE = {"type": "integer"}
DATE = {"type": ["string", "null"], "format": "date"}
TIME = {"type": ["string", "null"], "format": "date-time"}
DOCUMENT = {"type": "object", "additionalProperties": True}

CUSTOMER = ("ref", "name", "email", "phone", "address", "registration_number", "notes", "archived_at", "created_at")
SITE = ("ref", "address", "place", "postcode", "country", "access")
EVENT = ("ref", "kind", "text", "who", "created_at")
VERSION = ("ref", "number", "sha256", "system", "who", "created_at")
BUILT = ("ref", "kind", "role", "component", "length_mm", "unit", "quantity", "place", "note", "who", "created_at")
JOB_VALUES = (
    "id", "ref", "number", "label", "state", "wanted_on", "notes", "created_at", "updated_at",
    "customer__ref", "customer__name", "site__ref", "site__address", "copied_from__ref",
)  # fmt: skip
MEASURE_VALUES = ("id", "ref", "label", "latest", "draft_at", "draft_faults", "job__ref", "job__number", "updated_at")


def shape(names: tuple[str, ...], **others: Any) -> dict[str, Any]:
    """A JSON Schema of an object of texts, with what is otherwise said apart."""
    kinds = {name: TIME if name.endswith("_at") else DATE if name.endswith("_on") else TEXT for name in names}
    return {"type": "object", "properties": {**kinds, **others}}


CUSTOMER_SHAPE = shape(CUSTOMER)
SITE_SHAPE = shape(SITE)
EVENT_SHAPE = shape(EVENT)
VERSION_SHAPE = shape(VERSION, number=WHOLE)
VERSION_FULL_SHAPE = shape(VERSION, number=WHOLE, document=DOCUMENT)
BUILT_SHAPE = shape(BUILT, length_mm={"type": ["integer", "null"]}, takes_back={"type": ["string", "null"]})
JOB_SHAPE = shape(
    ("ref", "number", "label", "state", "wanted_on", "notes", "created_at", "updated_at"),
    customer=shape(("ref", "name")),
    site=shape(("ref", "address")),
    copied_from={"type": ["string", "null"]},
)
MEASURE_SHAPE = shape(
    ("ref", "label", "draft_at", "updated_at"),
    latest=WHOLE,
    job=shape(("ref", "number")),
    has_draft={"type": "boolean"},
)
MEASURE_FULL_SHAPE = shape(
    ("ref", "label", "draft_at", "updated_at", "draft"),
    latest=WHOLE,
    job=shape(("ref", "number")),
    has_draft={"type": "boolean"},
    document={"type": ["object", "null"], "additionalProperties": True},
    sha256={"type": ["string", "null"]},
    draft_faults={"type": "array", "items": shape(("pointer", "code", "text"))},
)
TAKEOFF_SHAPE = {
    "type": "object",
    "required": ["takeoff"],
    "properties": {
        "takeoff": WHOLE,
        "measure_sha256": TEXT,
        "system": TEXT,
        "strength": {name: part for name, part in schemas()["screening-1"].items() if name != "$schema"},
    },
    "additionalProperties": True,
}


def told(row: Any, names: tuple[str, ...]) -> dict[str, Any]:
    """A stored row by the names of its columns."""
    return {name: getattr(row, name) for name in names}


def job_row(row: Mapping[str, Any]) -> dict[str, Any]:
    """A job from its ``JOB_VALUES``."""
    own = {name: row[name] for name in JOB_VALUES if "__" not in name and name != "id"}
    return {
        **own,
        "customer": {"ref": row["customer__ref"], "name": row["customer__name"]},
        "site": {"ref": row["site__ref"], "address": row["site__address"]},
        "copied_from": row["copied_from__ref"],
    }


def measure_row(row: Mapping[str, Any]) -> dict[str, Any]:
    """A measure from its ``MEASURE_VALUES``."""
    return {
        "ref": row["ref"],
        "label": row["label"],
        "latest": row["latest"],
        "draft_at": row["draft_at"],
        "has_draft": row["draft_at"] is not None,
        "updated_at": row["updated_at"],
        "job": {"ref": row["job__ref"], "number": row["job__number"]},
    }
