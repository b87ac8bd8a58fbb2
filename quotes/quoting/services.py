"""Services that create, send and revise quotes. Lock the quote's row before you change its state."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils import timezone
from msgspec.structs import replace

from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.document_text import digest, parsed
from quotes.jobs.measure_services import newest
from quotes.jobs.models import Job, JobState, MeasureVersion
from quotes.jobs.services import note_event
from quotes.pricing.shares import party_keys
from quotes.quoting.content import Content, Override, write_content
from quotes.quoting.content_document import assemble
from quotes.quoting.draft_setup import DraftSetup, PartySetup, setup_of
from quotes.quoting.json_values import plain
from quotes.quoting.models import Party, Quote, Revision, RevisionKind, RevisionState
from quotes.quoting.queries import ENDED, agreed_otherwise, agreed_revision
from quotes.quoting.signed_links import issue_links, revoke_links
from quotes.quoting.totals import sums
from shared.background.events import publish_event
from shared.business.actors import Actor
from shared.common.problems import Problem
from shared.database import audit_log
from shared.database.numbering import next_number


@transaction.atomic
def start_quote(
    *, job: Job, version: MeasureVersion, actor: Actor, label: str = "", setup: DraftSetup | None = None
) -> Revision:
    """Create a quote for a job with its first draft. The parties are those of the measure, the customer first."""
    if job.state not in {JobState.OPEN, JobState.ACCEPTED}:
        raise Problem("conflict", f"You cannot quote a job that is {job.state}.")
    _check_measure(version, job)
    quote = Quote(business=job.business, job=job, label=label or job.label)
    _refuse_agreed(quote)
    quote.full_clean(exclude=["business", "job", "number"])
    quote.number = f"Q{next_number(job.business, 'quote'):04d}"
    quote.latest_revision = 1
    quote.save()
    revision = Revision.objects.of(job.business).create(quote=quote, number=1, measure_version=version)
    _fill(revision, setup or DraftSetup())
    note_event(job=job, kind="quote.started", text=f"Quote {quote.number} started.", actor=actor)
    audit_log.record(job.business, actor, "quote.started", f"revision:{revision.ref}", {"number": quote.number})
    return revision


@transaction.atomic
def change_draft(
    *, revision: Revision, setup: DraftSetup, actor: Actor, version: MeasureVersion | None = None
) -> Revision:
    """Replace the setup of a draft, and its measure version if one is given."""
    _only_draft(revision)
    if version is not None:
        _check_measure(version, revision.quote.job)
        revision.measure_version = version
    _fill(revision, setup)
    audit_log.record(revision.business, actor, "quote.changed", f"revision:{revision.ref}", {"setup": plain(setup)})
    return revision


@transaction.atomic
def discard_draft(*, revision: Revision, actor: Actor) -> None:
    """Delete a draft; its number is used again."""
    quote = lock_quote(revision.quote)
    _only_draft(revision)
    if revision.number == 1:
        raise Problem("conflict", "You cannot delete the first draft of a quote. Change it instead.")
    revision.delete()
    quote.latest_revision -= 1
    quote.save(update_fields=["latest_revision"])
    audit_log.record(quote.business, actor, "quote.discarded", f"revision:{revision.ref}", {"number": revision.number})


@transaction.atomic
def revise(*, quote: Quote, actor: Actor, version: MeasureVersion | None = None) -> Revision:
    """Create the next draft from the last revision: a quote, or a variation if a quote is accepted."""
    quote = lock_quote(quote)
    _refuse_ended(quote.job)
    last = Revision.objects.of(quote.business).filter(quote=quote).order_by("-number").first()
    if last is None or last.state == RevisionState.DRAFT:
        raise Problem("conflict", "This quote already has a draft.")
    agreed = agreed_revision(quote)
    if version is not None:
        _check_measure(version, quote.job)
    setup = setup_of(last)
    if agreed is not None and (last.kind == RevisionKind.QUOTE or last.pk == agreed.pk):
        setup = DraftSetup(parties=setup.parties)  # a variation starts without the accepted extras
    if version is None:
        version = newest(last.measure_version.measure) if agreed else last.measure_version
    quote.latest_revision += 1
    quote.save(update_fields=["latest_revision"])
    draft = Revision.objects.of(quote.business).create(
        quote=quote,
        number=quote.latest_revision,
        kind=RevisionKind.VARIATION if agreed else RevisionKind.QUOTE,
        base_revision=agreed,
        measure_version=version or last.measure_version,
    )
    _fill(draft, setup)
    word = "Variation" if agreed else "Revision"
    note_event(job=quote.job, kind="quote.revised", text=f"{word} {draft} drafted.", actor=actor)
    audit_log.record(quote.business, actor, "quote.revised", f"revision:{draft.ref}", {"number": draft.number})
    return draft


@transaction.atomic
def send(*, revision: Revision, actor: Actor, override_reason: str = "", now: datetime | None = None) -> Revision:
    """Freeze and send a revision, issue the links, and supersede the open revision.

    Raise InvalidDocument if the fence has must-fix notices and no reason is given; 409 if the quote has changed.
    """
    now = now or timezone.now()
    quote = lock_quote(revision.quote)
    revision = (
        Revision.objects.of(quote.business).select_related("measure_version", "base_revision").get(pk=revision.pk)
    )
    revision.quote = quote
    _only_draft(revision)
    _refuse_ended(quote.job)
    agreed = agreed_revision(quote)
    if agreed != revision.base_revision:
        raise Problem(
            "conflict", "A quote was accepted after this draft was created. Create a variation of the accepted quote."
        )
    if revision.kind == RevisionKind.QUOTE:
        _refuse_agreed(quote)
    content = assemble(revision, now=now)
    changes = content.difference
    if changes is not None and not (changes.lines or changes.quantities or content.options):
        text = "This variation changes nothing. Change the measure or add a line."
        raise InvalidDocument([Fault("/setup", "variation.empty", text)])
    content = replace(content, override=_override(content, override_reason, actor))
    for row in Revision.objects.of(quote.business).filter(quote=quote, kind=revision.kind, state=RevisionState.SENT):
        if close_revision(row, RevisionState.SUPERSEDED, now):
            revoke_links(revision=row, now=now)
            note_event(job=quote.job, kind="quote.superseded", text=f"{row} replaced.", actor=actor)
    whole = sums(content)
    revision.content = write_content(content)
    revision.content_sha256 = digest(revision.content)
    revision.state, revision.sent_at, revision.sent_by = RevisionState.SENT, now, actor.name[:160]
    revision.valid_until = content.dates.valid_until
    revision.override_reason = override_reason[:1_000] if content.override else ""
    revision.net, revision.tax, revision.total = whole.net, whole.tax, whole.total
    revision.save()
    for link in issue_links(revision=revision, now=now):
        publish_event("link.issued", link.ref, business=quote.business)
    facts = {"revision": revision.ref}
    note_event(job=quote.job, kind="quote.sent", text=f"{revision} sent.", actor=actor, facts=facts)
    publish_event("quote.sent", revision.ref, business=quote.business)
    detail = {"content_sha256": revision.content_sha256, "total": str(whole.total), "override": plain(content.override)}
    audit_log.record(quote.business, actor, "quote.sent", f"revision:{revision.ref}", detail)
    return revision


def lock_quote(quote: Quote) -> Quote:
    """Return the quote's row, locked until the transaction ends, so that its state changes once at a time.

    The job's row is locked first, like when a job is cancelled.
    """
    Job.objects.of(quote.business).select_for_update(no_key=True).get(pk=quote.job_id)
    rows = (
        Quote.objects.of(quote.business).select_for_update(no_key=True, of=("self",)).select_related("job", "business")
    )
    return rows.get(pk=quote.pk)


def _refuse_agreed(quote: Quote) -> None:
    if other := agreed_otherwise(quote):
        text = f"{other} is already accepted for this job. Create a variation of it, or create another job for another fence."
        raise Problem("conflict", text)


def _refuse_ended(job: Job) -> None:
    if job.state in ENDED:
        raise Problem("conflict", f"{job.number} is {job.state}. Open the job again before you quote it.")


def close_revision(revision: Revision, to: RevisionState, now: datetime) -> bool:
    """Change the state of a revision that is still sent. Return whether it was."""
    rows = Revision.objects.of(revision.business).filter(pk=revision.pk, state=RevisionState.SENT)
    if not rows.update(state=to, closed_at=now):
        return False
    revision.refresh_from_db()
    return True


def _override(content: Content, reason: str, actor: Actor) -> Override | None:
    stops = tuple(stop for build in content.builds for stop in build.stops)
    if not stops:
        return None
    if not reason.strip():
        faults = [Fault("/override_reason", "stop", f"{stop} Enter a reason to send it anyway.") for stop in stops]
        raise InvalidDocument(faults)
    return Override(reason.strip()[:1_000], actor.name, stops)


def _only_draft(revision: Revision) -> None:
    if revision.state != RevisionState.DRAFT:
        raise Problem("conflict", f"This revision is {revision.state}; only a draft can be changed or sent.")


def _check_measure(version: MeasureVersion, job: Job) -> None:
    if version.measure.job_id != job.pk:
        raise InvalidDocument([Fault("/measure", "measure.of_another", "This measure belongs to another job.")])


def _fill(revision: Revision, setup: DraftSetup) -> None:
    if revision.kind == RevisionKind.VARIATION:  # it would ignore these values
        asked = [name for name in NOT_VARIED if getattr(setup, name)]
        if asked:
            raise InvalidDocument([Fault(f"/setup/{name}", f"variation.{name}", NOT_VARIED[name]) for name in asked])
    parties = setup.parties or _default_parties(revision)
    revision.setup = plain(replace(setup, parties=parties))
    revision.save()
    revision.parties.all().delete()
    must = next((party for party in parties if party.accepts), parties[0])
    chooser = next((party for party in parties if party.chooses_options), must)
    for place, party in enumerate(parties):
        Party.objects.of(revision.business).create(
            revision=revision,
            key=party.key,
            name=party.name,
            email=party.email or "",
            address=party.address or "",
            must_accept=party.accepts,
            chooses_options=party is chooser,
            position=place,
        )


NOT_VARIED = {
    "alternatives": "A variation has no alternatives. Add options instead.",
    "discount": "A variation does not change the discount. Enter an extra with a price below 0.",
    "site_visits": "A variation does not change the visits. Enter another visit as an extra.",
    "hire": "A variation does not change the hire. Enter hire as an extra.",
}


def _default_parties(revision: Revision) -> tuple[PartySetup, ...]:
    """Return the default parties: the customer as the owner (or first party of the measure), then the other parties."""
    document = parsed(revision.measure_version.document)
    rows = [*document.get("runs", []), *document.get("retrofits", [])]
    keys = party_keys(row.get("shares", {}) for row in rows)
    customer = revision.quote.job.customer
    first = PartySetup(key=keys[0], name=customer.name, email=customer.email, address=customer.address)
    return (first, *(PartySetup(key=key, name=key.capitalize()) for key in keys[1:]))


def cancel_quotes(job: Job, actor: Actor, now: datetime | None = None) -> None:
    """Cancel the sent and accepted revisions of a cancelled job. The caller must lock the job's row."""
    now = now or timezone.now()
    rows = Revision.objects.of(job.business).filter(
        quote__job=job, state__in=(RevisionState.SENT, RevisionState.ACCEPTED)
    )
    for revision in rows.select_related("quote").order_by("id"):
        revision.state, revision.cancelled_at = RevisionState.CANCELLED, now
        revision.save(update_fields=["state", "cancelled_at"])
        note_event(job=job, kind="quote.cancelled", text=f"{revision} cancelled.", actor=actor)
        publish_event("quote.cancelled", revision.ref, business=job.business)
