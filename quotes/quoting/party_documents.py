"""The view of a revision for one party: full scope, own amounts only.

``party_document`` is the only source of the party's page and PDF; ``crew_document`` contains no money.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from quotes.jobs.document_text import parsed
from quotes.quoting.agreement import reason_closed
from quotes.quoting.models import Party, PartyResponse, PartyResponseStatus, Question, Revision, RevisionState
from quotes.quoting.totals import BASE, NOTHING_CHOSEN, Choices, Content, PartySums, read_choices, sums
from quotes.quoting.variation_changes import standing_build
from shared.common.money import stated

COMMON = (
    "kind", "number", "revision", "label", "job", "dates", "currency", "business", "introduction", "terms",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class PartyView:
    """Data of a party's page: its document, the revision's status, its response and its questions."""

    document: Mapping[str, Any]
    content_sha256: str
    status: str
    response: str
    can_respond: bool
    blocked_reason: str
    receipt: Mapping[str, Any] | None
    questions: tuple[Mapping[str, Any], ...]


def party_view(revision: Revision, party: Party, choices: Mapping[str, Any] | None = None) -> PartyView:
    """Return the page data of a party, with the totals of ``choices`` while it may still choose."""
    content = parsed(revision.content)
    closed = reason_closed(revision, revision.quote.job)
    open_to = revision.state == RevisionState.SENT and party.response == PartyResponseStatus.PENDING and not closed
    answer = PartyResponse.objects.of(revision.business).filter(party=party).first()
    asked = choices if party.chooses_options and open_to else _final_choices(revision, answer)
    blocked_reason = "" if open_to else _why_closed(revision, party, closed)
    if open_to and not party.chooses_options and revision.choices is None and pays_for_choices(content, party.key):
        blocked_reason = "The options are not chosen yet. We will notify you when you can accept."
    rows = Question.objects.of(revision.business).filter(party=party).order_by("id")
    return PartyView(
        document=party_document(content, party.key, read_choices(content, asked)),
        content_sha256=revision.content_sha256,
        status=str(revision.state),
        response=str(party.response),
        can_respond=open_to and not blocked_reason,
        blocked_reason=blocked_reason,
        receipt=_receipt(answer, revision) if answer else None,
        questions=tuple(
            {
                "ref": row.ref,
                "text": row.text,
                "reply": row.reply,
                "asked_at": row.created_at,
                "replied_at": row.replied_at,
            }
            for row in rows
        ),
    )


def party_document(content: Content, key: str, choices: Choices = NOTHING_CHOSEN) -> dict[str, Any]:
    """Return a party's complete quote: build, lines, tax, total, payments and the price change of each option."""
    whole = sums(content, choices)
    own = whole.parties[key]
    party = next(item for item in content["parties"] if item["key"] == key)
    return {
        "party_quote": 1,
        **{name: content[name] for name in COMMON},
        "site": _without(content["site"], "access_notes"),
        "party": {name: party[name] for name in ("name", "address", "chooses_options")},
        "customer": content["customer"]
        if party["chooses_options"]
        else {"name": party["name"], "address": party["address"]},
        "build": _shown_build(standing_build(content, choices.document())),
        "builds": _builds(content, key, choices, own),
        "options": _options(content, key, choices, own),
        "lines": [_line(part.line, str(part.share), part.net) for part in own.lines],
        "is_shared": any(part.share != 1 for part in own.lines),
        **_money(own),
        "payments": _payments(content, own),
        "quantities": content["difference"]["quantities"] if content["difference"] else [],
    }


def crew_document(content: Content, choices: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return the crew's document: measure, take-off, system and site, without money."""
    build = _shown_build(standing_build(content, choices))
    names = ("number", "revision", "kind", "label", "job", "site", "business")
    options = [option["label"] for option in content["options"] if option["key"] in (choices or {}).get("options", [])]
    return {
        "crew_document": 1,
        **{name: content[name] for name in names},
        "build": build,
        "options": options,
        "replaces": _replaced(content["difference"]),
    }


def _replaced(difference: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """Return the revision whose set-out a variation replaces and the changes, without money."""
    if difference is None:
        return None
    added = [line["text"] for line in difference["lines"] if line["group"] == "extra" and line["change"] == "added"]
    return {"revision": difference["accepted"]["revision"], **difference["set_out"], "extra_items": added}


def pays_for_choices(content: Content, key: str) -> bool:
    """Return whether the amount of this party depends on the choices of another party."""
    lines = [line for build in content["builds"][1:] for line in build["lines"]]
    lines += [line for option in content["options"] for line in option["lines"]]
    return any(key in line["shares"] for line in lines)


def _final_choices(revision: Revision, answer: PartyResponse | None) -> Mapping[str, Any] | None:
    settled: Mapping[str, Any] | None = answer.choices if answer and answer.accepted else revision.choices
    return settled


def _why_closed(revision: Revision, party: Party, closed: str) -> str:
    if party.response != PartyResponseStatus.PENDING and revision.state != RevisionState.CANCELLED:
        return f"You have {party.response} this quote."
    return closed or f"This quote is {revision.state}."


def _shown_build(build: Mapping[str, Any]) -> dict[str, Any]:
    """Return a build without shares, prices of other options and internal data of the business."""
    measure = dict(build["measure"])
    for name in ("runs", "retrofits"):
        measure[name] = [_without(row, "shares") for row in measure[name]]
    takeoff = {**build["takeoff"], "runs": [_without(run, "options") for run in build["takeoff"]["runs"]]}
    return {
        "key": build["key"],
        "label": build["label"],
        "measure": measure,
        "system": build["system"],
        "finishes": build.get("finishes", {}),
        "licensed_removals": build["licensed_removals"],
        "takeoff": takeoff,
        "takeoff_sha256": build["takeoff_sha256"],
        "drawings": build["drawings"],
        "cautions": {reader: build["cautions"][reader] for reader in ("customer", "crew")},
    }


def _without(row: Mapping[str, Any], name: str) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key != name}


def _builds(content: Content, key: str, choices: Choices, own: PartySums) -> list[dict[str, Any]]:
    if len(content["builds"]) == 1:
        return []
    shown = []
    for build in content["builds"]:
        other = sums(content, Choices(build["key"], choices.options)).parties[key].total
        is_chosen = build["key"] == choices.build
        shown.append(
            {
                "key": build["key"],
                "label": build["label"],
                "total": _text(other),
                "difference": _text(other - own.total),
                "chosen": is_chosen,
                "is_base": build["key"] == BASE,
            }
        )
    return shown


def _options(content: Content, key: str, choices: Choices, own: PartySums) -> list[dict[str, Any]]:
    shown = []
    for option in content["options"]:
        if not any(key in line["shares"] for line in option["lines"]):
            continue
        is_chosen = option["key"] in choices.options
        other = sums(content, Choices(choices.build, choices.options ^ {option["key"]})).parties[key].total
        adds = own.total - other if is_chosen else other - own.total
        shown.append(
            {
                "key": option["key"],
                "label": option["label"],
                "detail": option["detail"],
                "difference": _text(adds),
                "chosen": is_chosen,
            }
        )
    return shown


def _line(line: Mapping[str, Any], share: str, net: Decimal) -> dict[str, Any]:
    shown = {
        name: line[name] for name in ("part", "group", "text", "detail", "quantity", "unit", "tax_rate", "tax_label")
    }
    shown |= {"share": share, "net": _text(net)}
    if "change" in line:
        shown |= {"change": line["change"], "before": _unpriced(line["before"]), "after": _unpriced(line["after"])}
    return shown


def _unpriced(side: Mapping[str, Any] | None) -> dict[str, Any] | None:
    return None if side is None else _without(side, "net")


def _money(own: PartySums) -> dict[str, Any]:
    return {
        "net": _text(own.net),
        "breakdown": [
            {"category": row.category, "rate": _text(row.rate), "taxable": _text(row.taxable), "tax": _text(row.tax)}
            for row in own.breakdown
        ],
        "tax": _text(own.tax),
        "total": _text(own.total),
    }


def _payments(content: Content, own: PartySums) -> list[dict[str, Any]]:
    return [
        {**{name: row[name] for name in ("key", "label", "milestone", "percent")}, "amount": _text(amount)}
        for row, amount in zip(content["payments"], own.payments, strict=False)
    ]


def _receipt(answer: PartyResponse, revision: Revision) -> dict[str, Any]:
    return {
        "response": "accepted" if answer.accepted else "declined",
        "name": answer.name,
        "responded_at": answer.responded_at,
        "number": str(revision),
        "total": stated(answer.total, revision.business.currency),
        "choices": answer.choices,
        "content_sha256": answer.content_sha256,
    }


def _text(amount: Decimal) -> str:
    return format(amount, "f")
