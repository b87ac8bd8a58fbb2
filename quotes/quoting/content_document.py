"""Creates the content of a revision: all its data in one canonical text that never changes after sending.

``quotes/quoting/content.py`` describes each field. Everything that is printed, shown, drawn, accepted or counted later is
read only from it.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from datetime import datetime, timedelta
from fractions import Fraction

from msgspec.structs import replace

from catalogue.labels import finish_words
from catalogue.rules.price_rules import PriceRules
from catalogue.rules.site_words import plain_word
from fencing.cautions import Reader, select_cautions
from fencing.cautions.facts import collect_facts
from fencing.documents.takeoff_document import write_takeoff
from fencing.drawing.curve_chart import draw_chart
from fencing.drawing.drawing_set import draw_paper_set
from fencing.model.faults import Fault, InvalidDocument, Severity
from fencing.quantities.take_off import TakeOff
from fencing.reading.measure import write_measure
from fencing.strength.curves import calculate_chart
from fencing.strength.document import write_change
from fencing.strength.screening import screen
from quotes.jobs.document_text import canonical, digest, parsed
from quotes.jobs.queries import is_returning
from quotes.jobs.takeoff_cache import take_off_measure
from quotes.quoting.build_pricing import PricingInputs, basis_of, changed_document, priced_lines, suggested_changes_of
from quotes.quoting.content import (
    Build,
    BusinessProfile,
    Cautions,
    Content,
    ContentCustomer,
    ContentParty,
    ContentSite,
    Dates,
    Drawings,
    JobName,
    Line,
    Option,
    Payment,
    TaxRules,
)
from quotes.quoting.content_costs import PricedChange
from quotes.quoting.customer_lines import hand_line
from quotes.quoting.draft_setup import DraftSetup, SiteConditions, setup_of
from quotes.quoting.json_values import EngineDocument, JsonObject, to_value
from quotes.quoting.models import Revision, RevisionKind
from quotes.quoting.purchase_costs import bought_for, buying_costs
from quotes.quoting.variation_changes import difference
from shared.common.dates import local_day
from shared.common.money import decimal_sign
from shared.models import Business


def assemble(revision: Revision, *, now: datetime) -> Content:
    """Return the content of a draft as of now. Raise InvalidDocument with every error that prevents sending."""
    business, setup, job = revision.business, setup_of(revision), revision.quote.job
    today = local_day(business, now)
    until = today + timedelta(days=setup.validity_days or business.quote_validity_days)
    parties = to_value(list(revision.parties.order_by("position")), tuple[ContentParty, ...])
    chooser = next(party.key for party in parties if party.chooses_options)
    basis = basis_of(business, setup, chooser, today, returning=is_returning(job))
    document, changes = parsed(revision.measure_version.document), None
    base = build(document, basis)
    alternatives = [
        build(changed_document(document, row.changes()), basis, key=row.key, label=row.label)
        for row in setup.alternatives
    ]
    if revision.kind == RevisionKind.VARIATION:
        changes, standing = difference(revision, base)
        base = replace(base, lines=standing)
    rounding, tax = basis.rules.rounding_difference, basis.rules.tax_rounding
    content = Content(
        schema="quote-content-2",
        kind="variation" if revision.kind == RevisionKind.VARIATION else "quote",
        number=revision.quote.number,
        revision=revision.number,
        label=revision.quote.label,
        job=to_value(job, JobName),
        dates=Dates(now, today, until, setup.supply_on or today),
        currency=business.currency,
        tax=TaxRules(tax.at, tax.rounding, tax.line_digits, tax.line_rounding, rounding),
        business=face(business),
        customer=to_value(job.customer, ContentCustomer),
        site=to_value(job.site, ContentSite),
        parties=parties,
        builds=tuple(_with_hazards(item, basis.rules.hazardous) for item in (base, *alternatives)),
        options=_options(basis, base.job_shares),
        difference=changes,
        payments=_payments(setup, basis.rules),
        introduction=setup.introduction or "",
        terms=setup.terms or business.terms,
        override=None,
    )
    check_parties(content)
    return content


def build(document: JsonObject, basis: PricingInputs, *, key: str = "base", label: str = "As measured") -> Build:
    """Return a build for the content document. Raise InvalidDocument if the fence cannot be taken off or priced."""
    result = take_off_measure(basis.business, document)
    measure, found, takeoff = result.measure, result.found, result.takeoff
    buying = bought_for(takeoff, found.market, basis.rules.digits)
    lines = priced_lines(takeoff, buying, basis)
    written = write_takeoff(takeoff)
    changes = [write_change(change) for change in suggested_changes_of(takeoff, found, basis)]
    stops = [f"{notice.element}: {notice.text}" for notice in takeoff.notices if notice.severity is Severity.STOP]
    names = finish_words(basis.business)
    used = {row.finish for rows in (takeoff.pieces, takeoff.quantities) for row in rows if row.finish}
    return Build(
        key=key,
        label=label,
        measure=EngineDocument(write_measure(measure)),
        measure_sha256=measure.sha256,
        system=EngineDocument(found.document),
        system_version=found.version,
        finishes={code: names[code] for code in sorted(used & names.keys())},
        takeoff=EngineDocument(written),
        takeoff_sha256=digest(canonical(written)),
        suggested_changes=to_value(changes, tuple[PricedChange, ...]),
        drawings=drawings_of(takeoff, basis.business.locale),
        cautions=cautions_of(takeoff, basis.setup.site_conditions or SiteConditions()),
        stops=tuple(stops),
        lines=lines.customer,
        job_shares={name: share for name, share in lines.job_shares.items() if share},
        costing=lines.costing,
        buying=buying_costs(buying),
        licensed_removals={},
    )


def drawings_of(takeoff: TakeOff, locale: str) -> Drawings:
    """Return the drawings of a build, with figures by ``locale``; no curves if there is nothing to screen."""
    sign, curves = decimal_sign(locale), list[str]()
    if takeoff.measure.strength is not None and takeoff.runs:
        curves = [draw_chart(calculate_chart(screen(takeoff), sign))]
    return to_value({**draw_paper_set(takeoff, sign), "curves": curves}, Drawings)


def cautions_of(takeoff: TakeOff, site: SiteConditions) -> Cautions:
    """Return the cautions of a build. Raise InvalidDocument for an unknown run."""
    known = {run.id for run in takeoff.runs}
    unknown = [name for name in site.pool_runs if name not in known]
    if unknown:
        text = f"There is no run {unknown[0]!r} in the measure."
        raise InvalidDocument([Fault("/site_conditions/pool_runs", "run.unknown", text)])
    facts = collect_facts(
        takeoff, pool_runs=site.pool_runs, driveway=bool(site.near_driveway), local_height=site.height_limit_mm
    )
    return to_value(
        {reader.value: [item.text for item in select_cautions(facts, reader)] for reader in Reader}, Cautions
    )


def check_parties(content: Content) -> None:
    """Raise InvalidDocument if a line is shared by an unknown party. A party may pay nothing."""
    lines: list[Line] = [line for build in content.builds for line in build.lines]
    lines += [line for option in content.options for line in option.lines]
    lines += content.difference.lines if content.difference else ()
    strangers = sorted({key for line in lines for key in line.shares} - {party.key for party in content.parties})
    faults = [
        Fault(
            "/parties", "party.unknown", f"The measure shares runs with {key!r}. Add this party or change the shares."
        )
        for key in strangers
    ]
    if faults:
        raise InvalidDocument(faults)


def face(business: Business) -> BusinessProfile:
    """Return the profile of the business for documents."""
    names = [name for name in BusinessProfile.__struct_fields__ if name != "logo_png"]
    logo = base64.b64encode(bytes(business.logo_png or b"")).decode()
    return BusinessProfile(**{name: getattr(business, name) for name in names}, logo_png=logo)


def _options(basis: PricingInputs, whole: Mapping[str, Fraction]) -> tuple[Option, ...]:
    return tuple(
        Option(
            row.key, row.label, row.detail or "", (hand_line(f"option.{row.key}", "option", row, basis.rules, whole),)
        )
        for row in basis.setup.options
    )


def _payments(setup: DraftSetup, rules: PriceRules) -> tuple[Payment, ...]:
    if setup.payments:
        return to_value(setup.payments, tuple[Payment, ...])
    return tuple(Payment(item.key, item.label, item.percent.normalize(), item.due) for item in rules.instalments)


def _with_hazards(build: Build, hazardous: frozenset[str]) -> Build:
    """Return a build with the hazardous kinds among its old fences, and a must-fix notice for each without a price."""
    priced = {plain_word(line.licensed_removal) for line in build.lines if line.licensed_removal and line.net > 0}
    kinds = {run["existing_fence"]["kind"] for run in build.measure["runs"] if "existing_fence" in run}
    removals = {kind: kind in priced for kind in sorted(kinds & hazardous)}
    stops = [
        f"{run['id']}: the old fence is {kind}, which is hazardous and needs a licensed contractor. Add the "
        f"contractor's price as an extra and choose {kind} under “Licensed removal of”."
        for run in build.measure["runs"]
        if not removals.get(kind := run.get("existing_fence", {}).get("kind", ""), True)
    ]
    return replace(build, licensed_removals=removals, stops=(*build.stops, *stops))
