"""``manage.py quote MEASURE.json --customer NAME --out DIR``: a priced quote with its PDFs."""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.db import transaction
from django.utils import timezone

from fencing.model.faults import Fault, InvalidDocument
from fencing.reading import read_json
from fencing.reading.strict_json import MAX_BYTES, check_values
from quotes.documents.kinds import whole_pack
from quotes.documents.services import quotes_made
from quotes.jobs import services as jobs
from quotes.jobs.business_choice import choose_business
from quotes.jobs.document_text import canonical
from quotes.jobs.measure_services import newest, save_measure, start_measure
from quotes.jobs.models import Customer, Job, JobState, MeasureVersion, Site, StoredMeasure
from quotes.quoting.content import Content, read_content
from quotes.quoting.content_document import assemble
from quotes.quoting.json_values import JsonObject, plain
from quotes.quoting.models import Revision, RevisionState
from quotes.quoting.price_summary import made_of
from quotes.quoting.queries import content_of
from quotes.quoting.services import discard_draft, revise, send, start_quote
from quotes.quoting.totals import sums
from shared.business.actors import SYSTEM, Actor
from shared.common.command_io import OUTPUT_FAILED, discard_output, read_source, save
from shared.common.money import shown
from shared.common.problems import Problem
from shared.models import Business

REFUSED = 2
UNKNOWN_PLACE = "Address to be confirmed"


class Command(BaseCommand):
    help = "Price a measure for a customer: stores the quote and writes it with its PDFs. '-' reads standard input."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("measure", metavar="MEASURE.json", help="the site measure; - reads standard input")
        parser.add_argument("--customer", metavar="NAME", required=True, help="who the quote is for")
        parser.add_argument("--out", metavar="DIR", required=True, type=Path, help="where the files go")
        parser.add_argument("--business", metavar="NAME", help="name of the business (needed if there are several)")
        parser.add_argument(
            "--explain", action="store_true", help="show the calculation of every cost and its supplier"
        )
        parser.add_argument(
            "--override", metavar="REASON", default="", help="reason to send the quote despite must-fix notices"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            revision = self._quote(options)
        except InvalidDocument as refused:
            for fault in refused.faults:
                self.stderr.write(f"{fault.pointer or '/'}: {fault.text} [{fault.code}]")
            if any(fault.pointer == "/override_reason" for fault in refused.faults):
                self.stderr.write("the reason is given with --override REASON")
            sys.exit(REFUSED)
        except Problem as problem:
            self.stderr.write(f"/: {problem.detail} [{problem.code}]")
            sys.exit(REFUSED)
        content = content_of(revision)
        lines = list(summary(content))
        try:
            price = ("price.txt", ("\n".join(lines) + "\n").encode())
            named = [("content.json", revision.content.encode()), price, *whole_pack(content, quotes_made(revision))]
            files = [save(options["out"] / name, file) for name, file in named]
        except OSError as broken:  # the disk is full or the directory is missing
            kept = f"quote {content.number} is stored; the same command with another --out writes it"
            self.stderr.write(f"/out: {_unwritable(options['out'], broken.strerror)}; {kept} [out.unwritable]")
            sys.exit(REFUSED)
        try:
            data = explained(content) if options["explain"] else ()
            self.stdout.write("\n".join([*map(str, files), *lines, *data]))
            self.stdout.flush()
        except OSError as broken:  # a closed pipe or a full disk: the files are already written
            discard_output()
            if not isinstance(broken, BrokenPipeError):
                self.stderr.write(f"/: standard output cannot be written: {broken.strerror} [output.unwritable]")
                sys.exit(OUTPUT_FAILED)

    def _quote(self, options: dict[str, Any]) -> Revision:
        name = options["customer"].strip()
        faults = [*_customer_faults(name), *_out_faults(options["out"])]
        document = _read(options["measure"])
        code = document.get("system")
        business = choose_business(code if isinstance(code, str) else "", options["business"], sys.stderr)
        if faults:
            raise InvalidDocument(faults)
        return quote_measure(
            business=business, document=document, customer=name, actor=SYSTEM, override_reason=options["override"]
        )


def _customer_faults(name: str) -> Iterator[Fault]:
    if not 0 < len(name) <= 120:
        yield Fault("/customer", "customer", "A name of 1 to 120 characters.")
    try:
        check_values(name)
    except InvalidDocument as refused:
        yield from (Fault("/customer", fault.code, fault.text) for fault in refused.faults)


def _out_faults(out: Path) -> Iterator[Fault]:
    """Yield an error if the output directory cannot be created or written to, before anything is priced or stored."""
    try:
        there = next(place for place in (out.absolute(), *out.absolute().parents) if place.exists())
        reason = "" if there.is_dir() else f"{str(there)!r} is not a directory"
    except OSError as broken:  # a name too long
        there, reason = out, broken.strerror or "no directory can have this name"
    if not reason and not os.access(there, os.W_OK | os.X_OK):
        reason = "Permission denied"
    if reason:
        yield Fault("/out", "out.unwritable", _unwritable(out, reason))


def _unwritable(out: Path, reason: str | None) -> str:
    return f"{str(out)!r} can't be written to: {reason}"


def summary(content: Content) -> Iterator[str]:
    """Yield the price in a few lines, for a terminal."""
    whole, currency, locale = sums(content), content.currency, content.business.locale
    yield f"Quote {content.number}, revision {content.revision}, for {content.customer.name}"
    for line in whole.lines:
        yield f"  {shown(Decimal(line.net), currency, locale):>14}  {line.text}"
    yield f"  {shown(whole.net, currency, locale):>14}  before {content.business.tax_name}"
    yield f"  {shown(whole.tax, currency, locale):>14}  {content.business.tax_name}"
    until = content.dates.valid_until
    yield f"  {shown(whole.total, currency, locale):>14}  including {content.business.tax_name}, valid until {until}"
    if len(whole.parties) > 1:
        for party in content.parties:
            yield f"  {shown(whole.parties[party.key].total, currency, locale):>14}  of it {party.name}"


def explained(content: Content) -> Iterator[str]:
    """Yield the calculation of every cost and the suppliers of the materials: for the business only, so on no document."""
    build = content.builds[0]
    for line in build.lines:
        parts = made_of(line, build.costing)
        if parts:
            yield f"{line.text}: {' + '.join(f'{net} {text}' for text, net in parts)} = {line.net}"
    for row in build.costing:
        yield f"{row.text}: {'. '.join(part for part in (row.calculation, row.reason) if part)}"
    buying = build.buying
    for order in buying.orders:
        note = f", {order.note}" if order.note else ""
        yield f"From {order.name}: {order.goods} and {order.delivery} for delivery = {order.total}{note}"
    for single in buying.single_supplier_options:
        yield f"Everything from {single.name}: {single.rejection_reason or single.total}"
    proved = (
        "no split is cheaper"
        if not buying.max_further_saving
        else f"another may cost up to {buying.max_further_saving} less"
    )
    yield f"Suppliers were chosen for all together; {proved}"


def _read(path: str) -> dict[str, Any]:
    document = read_json(read_source(path, MAX_BYTES))
    if not isinstance(document, dict):
        raise InvalidDocument([Fault("", "type.object", "A site measure is a JSON object.")])
    return document


@transaction.atomic
def quote_measure(
    *, business: Business, document: JsonObject, customer: str, actor: Actor, override_reason: str = ""
) -> Revision:
    """Return the sent quote of a measure for a customer.

    An existing job of that customer with that label is used again. A new revision is sent only if measure or prices have
    changed. Raise InvalidDocument with every error of the measure, the catalogue or the sending.
    """
    job = _job(business, str(document.get("label") or "Fence")[:200], customer, actor)
    version = _version(job, document, actor)
    last = Revision.objects.of(business).filter(quote__job=job).order_by("-id").first()
    draft = _draft(job, version, last, actor)
    if last is not None and last.state in {RevisionState.SENT, RevisionState.ACCEPTED} and _says_the_same(draft, last):
        discard_draft(revision=draft, actor=actor)
        return last
    return send(revision=draft, actor=actor, override_reason=override_reason)


def _job(business: Business, label: str, name: str, actor: Actor) -> Job:
    rows = Job.objects.of(business).filter(customer__name=name, label=label).order_by("-id")
    job = rows.filter(state__in=(JobState.OPEN, JobState.ACCEPTED)).first()
    if job is not None:
        return job
    customer = Customer.objects.of(business).filter(name=name, archived_at=None).order_by("id").first()
    customer = customer or jobs.add_customer(business=business, actor=actor, name=name)
    site = Site.objects.of(business).filter(customer=customer).order_by("id").first()
    site = site or jobs.add_site(customer=customer, actor=actor, address=customer.address or UNKNOWN_PLACE)
    return jobs.open_job(customer=customer, site=site, label=label, actor=actor)


def _version(job: Job, document: JsonObject, actor: Actor) -> MeasureVersion:
    kept = StoredMeasure.objects.of(job.business).filter(job=job).order_by("id").first()
    if kept is not None:
        return save_measure(measure=kept, document=document, actor=actor)
    version = newest(start_measure(job=job, document=document, actor=actor))
    if version is None:
        raise RuntimeError("a measure that was started with a document has a version")
    return version


def _draft(job: Job, version: MeasureVersion, last: Revision | None, actor: Actor) -> Revision:
    if last is None:
        return start_quote(job=job, version=version, actor=actor)
    if last.state == RevisionState.DRAFT:
        last.measure_version = version
        last.save(update_fields=["measure_version"])
        return last
    return revise(quote=last.quote, actor=actor, version=version)


def _says_the_same(draft: Revision, last: Revision) -> bool:
    """Return whether the draft has the same content as the last revision."""
    if draft.measure_version_id != last.measure_version_id:
        return False
    fresh, kept = assemble(draft, now=timezone.now()), read_content(last.content)
    if fresh.difference is not None:
        return not fresh.difference.lines
    names = ("builds", "options", "payments", "tax")
    return all(canonical(plain(getattr(fresh, name))) == canonical(plain(getattr(kept, name))) for name in names)
