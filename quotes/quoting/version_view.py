"""Page of a revision for the estimator, and actions on the version that it showed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone

from catalogue.queries import price_rules_on, site_words_on
from catalogue.rules.price_rule_lines import DiscountRule
from fencing.model.faults import InvalidDocument
from quotes.jobs.queries import versions
from quotes.quoting import queries, services
from quotes.quoting.content import Content
from quotes.quoting.content_document import assemble
from quotes.quoting.draft_form import DraftForm
from quotes.quoting.emails import letters_of
from quotes.quoting.models import Party, Revision, RevisionState
from quotes.quoting.price_summary import RevisionPrices, priced
from shared.business.roles import Scope
from shared.common.json_encoder import write_json
from shared.common.money import stated
from shared.common.problems import Problem
from shared.members.access import MemberRequest
from shared.models import Business
from shared.web.etags import find
from shared.web.page_errors import faults_by_pointer
from shared.web.seen_version import acting_on


def whole_revisions(business: Business) -> QuerySet[Revision]:
    """Return revisions with everything a page shows of them."""
    return queries.revisions(business).select_related(
        "quote__job__customer", "quote__job__site", "measure_version__measure", "base_revision", "business"
    )


def shown_content(row: Revision) -> tuple[Content | None, dict[str, str]]:
    """Return the frozen content, or the preview of a draft; if it cannot be made, None and the errors."""
    if row.state != RevisionState.DRAFT:
        return queries.content_of(row), {}
    try:
        return assemble(row, now=timezone.now()), {}
    except InvalidDocument as refused:
        return None, faults_by_pointer(refused)


def revision_facts(row: Revision, money: RevisionPrices | None = None) -> dict[str, str]:
    """Return the values of a revision that matter for an estimator's decision, by label."""
    content = None if money else shown_content(row)[0]
    money = priced(content, row.choices) if content else money
    setup = {name: write_json(value).decode() for name, value in row.setup.items()}
    found = {
        "Status": str(row.get_state_display()),
        "Measure": f"version {row.measure_version.number}",
        **{name.replace("_", " ").capitalize(): text for name, text in setup.items()},
    }
    if money is not None:
        found["Total"] = stated(money.total, row.business.currency)
    return found


@contextmanager
def acting_on_revision(request: MemberRequest, ref: str, *, exact: bool = False) -> Iterator[Revision]:
    """Act on a revision in the version its page showed.

    The quote is locked first, like for every change of state.
    """
    rows = whole_revisions(request.business)
    with transaction.atomic():
        services.lock_quote(find(rows, ref).quote)
        with acting_on(request, rows, ref, revision_facts, exact=exact) as row:
            yield row


@dataclass(frozen=True, slots=True)
class FormErrors:
    """Errors of a submitted form and its entered values."""

    notice: str = ""
    draft: DraftForm | None = None
    reason: str = ""
    question: str = ""
    """Ref of the question that ``reply`` answers."""
    reply: str = ""
    status: int = 422


NO_ERRORS = FormErrors(status=200)


@dataclass(frozen=True, slots=True)
class IssuedLink:
    """A link shown for copying."""

    party: Party
    address: str
    is_new: bool


def party_names(row: Revision) -> str:
    """Return the names of the parties in one line."""
    names = [party.name for party in queries.parties(row).order_by("position")]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def draft_form(row: Revision, posted: QueryDict | None = None) -> DraftForm:
    """Return the form of a draft. Without valid price rules it offers no discounts; the page shows their errors elsewhere."""
    discounts = list[DiscountRule]()
    with suppress(InvalidDocument):
        discounts = list(price_rules_on(row.business).discounts.values())
    return DraftForm(row.setup, posted, hazardous=site_words_on(row.business).hazardous, discounts=discounts)


def revision_page(
    request: MemberRequest, row: Revision, refusal: FormErrors = NO_ERRORS, issued: IssuedLink | None = None
) -> HttpResponse:
    """Return the page of a revision: the form of a draft, or a sent revision with its responses."""
    content, missing = shown_content(row)
    money = priced(content, row.choices) if content else None
    newest = versions(row.business).filter(measure=row.measure_version.measure_id).order_by("-number").first()
    draft = refusal.draft or draft_form(row)
    draft.show_faults(missing)
    values = {
        "revision": row,
        "job": row.quote.job,
        "is_draft": row.state == RevisionState.DRAFT,
        "content": content,
        "missing": missing,
        "priced": money,
        "sees_costs": request.actor.may(Scope.PRICES_READ),
        "may_write": request.actor.may(Scope.QUOTES_WRITE),
        "cautions": content.builds[0].cautions.owner if content else (),
        "questions": queries.questions(request.business, row).select_related("party").order_by("id"),
        "revisions": queries.revisions(request.business, {"quote": row.quote.ref}).order_by("-number"),
        "refusal": refusal,
        "facts": revision_facts(row, money),
        "issued": issued,
        "locale": request.business.locale,
        "currency": request.business.currency,
        "draft": draft,
        "newer_measure": newest if newest and newest.pk != row.measure_version_id else None,
        **_party_values(row),
    }
    return render(request, "quoting/revision.html", values, status=refusal.status)


def refused_page(
    request: MemberRequest, ref: str, problem: Problem, *, question: str = "", reply: str = ""
) -> HttpResponse:
    """Return the page of a revision with a problem and the entries, so that a rejected action loses nothing."""
    row, draft = find(whole_revisions(request.business), ref), None
    if request.POST.get("do") in ("save", "send") and row.state == RevisionState.DRAFT:
        draft = draft_form(row, request.POST)
    reason = request.POST.get("override_reason", "").strip()
    return revision_page(request, row, FormErrors(problem.detail, draft, reason, question, reply, problem.status))


def _party_values(row: Revision) -> dict[str, object]:
    """Return the parties with their links and e-mails."""
    parties, links = list(queries.parties(row).order_by("position")), queries.live_links(row)
    letters = letters_of(row) if row.state != RevisionState.DRAFT else []
    newest = {letter.event.subject: letter for letter in reversed(letters)}
    linked = [(party, links.get(party.pk)) for party in parties]
    return {
        "parties": [
            {"party": party, "link": link, "letter": newest.get(link.ref) if link else None} for party, link in linked
        ],
        "undelivered": [letter for letter in letters if letter.is_late or letter.is_failed],
        "names": party_names(row),
        "unreached": [party.name for party in parties if not party.email],
    }
