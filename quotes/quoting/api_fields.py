"""API fields and schemas of quotes, revisions and parties."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from quotes.jobs.api_fields import DOCUMENT, TEXT, TIME, WHOLE, shape
from quotes.quoting.emails import delivery_of
from quotes.quoting.json_values import JsonObject
from quotes.quoting.models import Revision, SignedLink
from shared.api.row_serializer import RowSerializer, TrimmedDecimal, same_names
from shared.background.outgoing_mail import DeliveryStatus
from shared.common.money import minor_digits

QUOTES = RowSerializer(
    {
        **same_names("ref", "number", "label", "latest_revision", "created_at", "updated_at"),
        "job": {"ref": "job__ref", "number": "job__number"},
    }
)
QUESTIONS = RowSerializer(
    {
        **same_names("ref", "text", "reply", "replied_at", "replied_by"),
        "asked_at": "created_at",
        "party": {"key": "party__key", "name": "party__name"},
        "revision": "revision__ref",
    }
)
PARTIES = RowSerializer(
    same_names("ref", "key", "name", "email", "address", "must_accept", "chooses_options", "response", "reminded_at")
)
LINKS = RowSerializer(same_names("expires_at", "opened_at", "mailed_at"))
MONEY = {"type": ["string", "null"], "description": "A decimal number as text."}
QUOTE_SCHEMA = shape(
    ("ref", "number", "label", "created_at", "updated_at"), latest_revision=WHOLE, job=shape(("ref", "number"))
)
REVISION_SCHEMA = shape(
    (
        "ref", "kind", "status", "content_sha256", "override_reason", "sent_at", "sent_by", "closed_at", "created_at",
    ),
    number=WHOLE,
    net=MONEY,
    tax=MONEY,
    total=MONEY,
    valid_until={"type": ["string", "null"], "format": "date"},
    choices={"type": ["object", "null"], "additionalProperties": True},
    quote=shape(("ref", "number", "label")),
    job=TEXT,
    base_revision={"type": ["string", "null"]},
)  # fmt: skip
NO_EMAIL = "none"
LINK_SCHEMA = {
    "type": ["object", "null"],
    "properties": {
        **dict.fromkeys(("expires_at", "opened_at", "mailed_at"), TIME),
        "delivery_status": {
            "type": "string",
            "enum": [NO_EMAIL, *map(str, DeliveryStatus)],
            "description": (
                "Status of the e-mail with the link. `none`: the party has no e-mail address. `sending`: not tried yet. "
                "`delayed`: not delivered yet, it is tried again for three days. `sent`: the mail server accepted it. "
                "`failed`: it could not be delivered and is not tried again."
            ),
        },
        "delivery_error": {"type": "string", "description": "Error of the last attempt; empty if there is none."},
    },
}
PARTY_SCHEMA = shape(
    ("ref", "key", "name", "email", "address", "response", "reminded_at"),
    must_accept={"type": "boolean"},
    chooses_options={"type": "boolean"},
    link=LINK_SCHEMA,
)
REVISION_FULL_SCHEMA = {
    "type": "object",
    "properties": {
        **REVISION_SCHEMA["properties"],
        "setup": DOCUMENT,
        "parties": {"type": "array", "items": PARTY_SCHEMA},
        "measure": shape(("ref",), version=WHOLE),
    },
}
QUESTION_SCHEMA = shape(
    ("ref", "text", "reply", "asked_at", "replied_at", "replied_by"), party=shape(("key", "name")), revision=TEXT
)
COMPARISON_SCHEMA = shape(("job", "currency"), rows={"type": "array", "items": DOCUMENT}, totals=DOCUMENT)
ISSUED_SCHEMA = shape(("address", "expires_at"))


@cache
def revisions_in(currency: str) -> RowSerializer:
    """Return the serializer of revisions with amounts in a currency's decimals, and more only if an amount has them."""
    return RowSerializer(
        {
            **same_names("ref", "number", "kind"),
            "status": "state",
            **{name: TrimmedDecimal(name, minor_digits(currency)) for name in ("net", "tax", "total")},
            **same_names(
                "valid_until", "content_sha256", "choices", "override_reason", "sent_at", "sent_by", "closed_at"
            ),
            "created_at": "created_at",
            "quote": {"ref": "quote__ref", "number": "quote__number", "label": "quote__label"},
            "job": "quote__job__ref",
            "base_revision": "base_revision__ref",
        }
    )


def revision_full(revision: Revision) -> JsonObject:
    """Return the fields of a revision with its setup and parties."""
    version, parties = revision.measure_version, revision.parties.order_by("position")
    return {
        **revisions_in(revision.business.currency).of(revision),
        "setup": revision.setup,
        "parties": with_links(revision, PARTIES.read(parties)[0]),
        "measure": {"ref": version.measure.ref, "version": version.number},
    }


def with_links(revision: Revision, parties: Iterable[JsonObject]) -> list[JsonObject]:
    """Return the parties of a revision with the facts of their live links, without the link itself."""
    rows = SignedLink.objects.of(revision.business).filter(revision=revision, revoked_at=None)
    found = list(zip(*LINKS.read(rows, "party__ref", "ref"), strict=True))
    delivery = delivery_of(revision.business, [ref for _, (_, ref) in found]) if found else {}
    links = {party: (link, delivery.get(ref)) for link, (party, ref) in found}
    return [{**party, "link": _with_delivery(party, *links.get(party["ref"], (None, None)))} for party in parties]


def _with_delivery(
    party: JsonObject, link: JsonObject | None, delivery: tuple[DeliveryStatus, str] | None
) -> JsonObject | None:
    if link is None:
        return None
    status, error = delivery or (DeliveryStatus.SENDING if party["email"] else NO_EMAIL, "")
    return {**link, "delivery_status": str(status), "delivery_error": "" if status == DeliveryStatus.SENT else error}
