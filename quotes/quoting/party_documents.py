"""The view of a revision for one party: full scope, own amounts only.

``party_document`` is the only source of the party's page and PDF; ``crew_document`` contains no money.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from msgspec.structs import asdict

from quotes.quoting.content import BASE, Build, Content, DifferenceLine, read_content
from quotes.quoting.json_values import EngineDocument, JsonObject, Value, to_value
from quotes.quoting.models import Party, PartyResponse, PartyResponseStatus, Question, Revision, RevisionState
from quotes.quoting.party_content import (
    BuildChoice,
    ChangedPartyLine,
    CrewContent,
    OptionChoice,
    PartyAddress,
    PartyContent,
    PartyLine,
    PartyPayment,
    PublicSite,
    ReplacedSetOut,
    ShownBuild,
    ShownCautions,
    ShownParty,
    ShownSide,
    TaxRow,
)
from quotes.quoting.queries import reason_closed
from quotes.quoting.totals import NOTHING_CHOSEN, Choices, PartyLineShare, PartySums, build_of, read_choices, sums
from shared.common.money import stated


class Receipt(Value, frozen=True):
    """Receipt of a party's response. A repeated request gives the same receipt."""

    response: str
    name: str
    responded_at: datetime.datetime
    number: str
    total: str
    choices: Mapping[str, object]
    content_sha256: str
    is_new: bool = False
    """True in the answer to the request that stored the response."""


class AskedQuestion(Value, frozen=True):
    ref: str
    text: str
    reply: str
    asked_at: datetime.datetime
    replied_at: datetime.datetime | None


@dataclass(frozen=True, slots=True)
class PartyView:
    """Data of a party's page: its document, the revision's status, its response and its questions."""

    document: PartyContent
    content_sha256: str
    status: str
    response: str
    can_respond: bool
    blocked_reason: str
    receipt: Receipt | None
    questions: tuple[AskedQuestion, ...]


def party_view(revision: Revision, party: Party, choices: JsonObject | None = None) -> PartyView:
    """Return the page data of a party, with the totals of ``choices`` while it may still choose."""
    content = read_content(revision.content)
    closed = reason_closed(revision, revision.quote.job)
    open_to = revision.state == RevisionState.SENT and party.response == PartyResponseStatus.PENDING and not closed
    answer = PartyResponse.objects.of(revision.business).filter(party=party).first()
    asked = answer.choices if answer and answer.accepted else revision.choices
    if party.chooses_options and open_to:
        asked = choices
    blocked_reason = ""
    if not open_to and party.response != PartyResponseStatus.PENDING and revision.state != RevisionState.CANCELLED:
        blocked_reason = f"You have {party.response} this quote."
    elif not open_to:
        blocked_reason = closed or f"This quote is {revision.state}."
    elif not party.chooses_options and revision.choices is None and pays_for_choices(content, party.key):
        blocked_reason = "The options are not chosen yet. We will notify you when you can accept."
    rows = Question.objects.of(revision.business).filter(party=party).order_by("id")
    return PartyView(
        document=party_document(content, party.key, read_choices(content, asked)),
        content_sha256=revision.content_sha256,
        status=str(revision.state),
        response=str(party.response),
        can_respond=open_to and not blocked_reason,
        blocked_reason=blocked_reason,
        receipt=receipt_of(answer, revision) if answer else None,
        questions=tuple(AskedQuestion(row.ref, row.text, row.reply, row.created_at, row.replied_at) for row in rows),
    )


def receipt_of(answer: PartyResponse, revision: Revision, *, is_new: bool = False) -> Receipt:
    """Return the receipt of a response."""
    return Receipt(
        response="accepted" if answer.accepted else "declined",
        name=answer.name,
        responded_at=answer.responded_at,
        number=str(revision),
        total=stated(answer.total, revision.business.currency),
        choices=answer.choices,
        content_sha256=answer.content_sha256,
        is_new=is_new,
    )


def party_document(content: Content, key: str, choices: Choices = NOTHING_CHOSEN) -> PartyContent:
    """Return a party's complete quote: build, lines, tax, total, payments and the price change of each option."""
    own = sums(content, choices).parties[key]
    party = next(item for item in content.parties if item.key == key)
    return PartyContent(
        party_quote=1,
        kind=content.kind,
        number=content.number,
        revision=content.revision,
        label=content.label,
        job=content.job,
        dates=content.dates,
        currency=content.currency,
        business=content.business,
        introduction=content.introduction,
        terms=content.terms,
        site=to_value(content.site, PublicSite),
        party=to_value(party, ShownParty),
        customer=content.customer if party.chooses_options else to_value(party, PartyAddress),
        build=_shown_build(build_of(content, choices)),
        builds=_builds(content, key, choices, own),
        options=_options(content, key, choices, own),
        lines=tuple(_line(part) for part in own.lines),
        is_shared=any(part.share != 1 for part in own.lines),
        net=own.net,
        breakdown=tuple(TaxRow(row.category, row.rate, row.taxable, row.tax) for row in own.breakdown),
        tax=own.tax,
        total=own.total,
        payments=tuple(
            PartyPayment(row.key, row.label, row.milestone, row.percent, amount)
            for row, amount in zip(content.payments, own.payments, strict=False)
        ),
        quantities=content.difference.quantities if content.difference else (),
    )


def crew_document(content: Content, choices: Choices = NOTHING_CHOSEN) -> CrewContent:
    """Return the crew's document: measure, take-off, system and site, without money."""
    difference, replaces = content.difference, None
    if difference is not None:
        added = tuple(line.text for line in difference.lines if line.group == "extra" and line.change == "added")
        set_out = difference.set_out
        replaces = ReplacedSetOut(difference.accepted.revision, set_out.system, set_out.parts, added)
    return CrewContent(
        crew_document=1,
        number=content.number,
        revision=content.revision,
        kind=content.kind,
        label=content.label,
        job=content.job,
        site=content.site,
        business=content.business,
        build=_shown_build(build_of(content, choices)),
        options=tuple(option.label for option in content.options if option.key in choices.options),
        replaces=replaces,
    )


def pays_for_choices(content: Content, key: str) -> bool:
    """Return whether the amount of this party depends on the choices of another party."""
    lines = [line for build in content.builds[1:] for line in build.lines]
    lines += [line for option in content.options for line in option.lines]
    return any(key in line.shares for line in lines)


def _shown_build(build: Build) -> ShownBuild:
    measure = EngineDocument(build.measure)
    for name in ("runs", "retrofits"):
        measure[name] = [_without(row, "shares") for row in measure[name]]
    runs = [_without(run, "options") for run in build.takeoff["runs"]]
    return ShownBuild(
        key=build.key,
        label=build.label,
        measure=measure,
        system=build.system,
        finishes=build.finishes,
        licensed_removals=build.licensed_removals,
        takeoff=EngineDocument({**build.takeoff, "runs": runs}),
        takeoff_sha256=build.takeoff_sha256,
        drawings=build.drawings,
        cautions=ShownCautions(build.cautions.customer, build.cautions.crew),
    )


def _without(row: JsonObject, name: str) -> JsonObject:
    return {key: value for key, value in row.items() if key != name}


def _builds(content: Content, key: str, choices: Choices, own: PartySums) -> tuple[BuildChoice, ...]:
    if len(content.builds) == 1:
        return ()
    totals = [sums(content, Choices(build.key, choices.options)).parties[key].total for build in content.builds]
    return tuple(
        BuildChoice(build.key, build.label, total, total - own.total, build.key == choices.build, build.key == BASE)
        for build, total in zip(content.builds, totals, strict=True)
    )


def _options(content: Content, key: str, choices: Choices, own: PartySums) -> tuple[OptionChoice, ...]:
    shown = []
    for option in content.options:
        if not any(key in line.shares for line in option.lines):
            continue
        is_chosen = option.key in choices.options
        other = sums(content, Choices(choices.build, choices.options ^ {option.key})).parties[key].total
        adds = own.total - other if is_chosen else other - own.total
        shown.append(OptionChoice(option.key, option.label, option.detail, adds, is_chosen))
    return tuple(shown)


def _line(part: PartyLineShare) -> PartyLine:
    line = part.line
    same = {name: getattr(line, name) for name in PartyLine.__struct_fields__ if name not in ("share", "net")}
    shown = PartyLine(**same, share=part.share, net=part.net)
    if not isinstance(line, DifferenceLine):
        return shown
    before, after = (to_value(side, ShownSide) if side else None for side in (line.before, line.after))
    return ChangedPartyLine(**asdict(shown), change=line.change, before=before, after=after)
