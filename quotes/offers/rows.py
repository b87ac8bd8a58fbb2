"""Quotes, revisions and parties as the API tells them, and the schemas that say so."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quotes.jobs.rows import DOCUMENT, TEXT, TIME, WHOLE, shape
from quotes.offers.models import Party, Question, Revision, SignedLink
from shared.money import stated

QUOTE_VALUES = ("id", "ref", "number", "label", "latest", "job__ref", "job__number", "created_at", "updated_at")
REVISION_VALUES = (
    "id", "ref", "number", "kind", "state", "net", "tax", "total", "valid_until", "content_sha256", "choices",
    "override_reason", "sent_at", "sent_by", "closed_at", "created_at", "quote__ref", "quote__number", "quote__label",
    "quote__job__ref", "changes__ref", "business__currency",
)  # fmt: skip
MONEY = {"type": ["string", "null"], "description": "A decimal number as text."}
QUOTE_SHAPE = shape(("ref", "number", "label", "created_at", "updated_at"), latest=WHOLE, job=shape(("ref", "number")))
REVISION_SHAPE = shape(
    (
        "ref", "kind", "state", "content_sha256", "override_reason", "sent_at", "sent_by", "closed_at", "created_at",
    ),
    number=WHOLE,
    net=MONEY,
    tax=MONEY,
    total=MONEY,
    valid_until={"type": ["string", "null"], "format": "date"},
    choices={"type": ["object", "null"], "additionalProperties": True},
    quote=shape(("ref", "number", "label")),
    job=TEXT,
    changes={"type": ["string", "null"]},
)  # fmt: skip
LINK_SHAPE = {"type": ["object", "null"], "properties": dict.fromkeys(("expires_at", "opened_at", "mailed_at"), TIME)}
PARTY_SHAPE = shape(
    ("ref", "key", "name", "email", "address", "answer", "reminded_at"),
    required={"type": "boolean"},
    chooses={"type": "boolean"},
    link=LINK_SHAPE,
)
REVISION_FULL_SHAPE = {
    "type": "object",
    "properties": {
        **REVISION_SHAPE["properties"],
        "setup": DOCUMENT,
        "parties": {"type": "array", "items": PARTY_SHAPE},
        "measure": shape(("ref",), version=WHOLE),
    },
}
QUESTION_SHAPE = shape(
    ("ref", "text", "reply", "asked_at", "replied_at", "replied_by"), party=shape(("key", "name")), revision=TEXT
)
COMPARISON_SHAPE = {
    "type": "object",
    "properties": {
        "job": TEXT,
        "currency": TEXT,
        "rows": {"type": "array", "items": DOCUMENT},
        "totals": DOCUMENT,
    },
}
ISSUED_SHAPE = shape(("address", "expires_at"))


def quote_row(row: Mapping[str, Any]) -> dict[str, Any]:
    """A quote from its ``QUOTE_VALUES``."""
    own = {name: row[name] for name in QUOTE_VALUES if "__" not in name and name != "id"}
    return {**own, "job": {"ref": row["job__ref"], "number": row["job__number"]}}


def revision_row(row: Mapping[str, Any]) -> dict[str, Any]:
    """A revision from its ``REVISION_VALUES``."""
    own = {name: row[name] for name in REVISION_VALUES if "__" not in name and name != "id"}
    own |= {name: _money(row[name], row["business__currency"]) for name in ("net", "tax", "total")}
    return {
        **own,
        "quote": {"ref": row["quote__ref"], "number": row["quote__number"], "label": row["quote__label"]},
        "job": row["quote__job__ref"],
        "changes": row["changes__ref"],
    }


def revision_full(revision: Revision, parties: list[Party], links: Mapping[int, SignedLink]) -> dict[str, Any]:
    """A revision with its setup and who pays it."""
    row = Revision.objects.of(revision.business).filter(pk=revision.pk).values(*REVISION_VALUES).get()
    version = revision.measure_version
    return {
        **revision_row(row),
        "setup": revision.setup,
        "parties": [party_row(party, links.get(party.pk)) for party in parties],
        "measure": {"ref": version.measure.ref, "version": version.number},
    }


def party_row(party: Party, link: SignedLink | None) -> dict[str, Any]:
    """A party and whether it was let in; never the link itself."""
    names = ("ref", "key", "name", "email", "address", "required", "chooses", "answer", "reminded_at")
    let_in = {name: getattr(link, name) for name in ("expires_at", "opened_at", "mailed_at")} if link else None
    return {**{name: getattr(party, name) for name in names}, "link": let_in}


def question_row(question: Question) -> dict[str, Any]:
    """A question with what it was answered."""
    names = ("ref", "text", "reply", "replied_at", "replied_by")
    return {
        **{name: getattr(question, name) for name in names},
        "asked_at": question.created_at,
        "party": {"key": question.party.key, "name": question.party.name},
        "revision": question.revision.ref,
    }


def _money(amount: Any, currency: str) -> str | None:
    return None if amount is None else stated(amount, currency)
