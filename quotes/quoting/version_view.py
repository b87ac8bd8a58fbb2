"""Content of a revision on the estimator's page, and actions on the version that was shown."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import transaction
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone

from fencing.model.faults import InvalidDocument
from quotes.quoting import queries, services
from quotes.quoting.content_document import assemble
from quotes.quoting.models import Quote, Revision, RevisionState
from quotes.quoting.price_summary import RevisionPrices, priced
from quotes.quoting.totals import Content
from shared.common.form_fields import faults_by_pointer
from shared.common.json_encoder import write_json
from shared.common.money import stated
from shared.members.access import MemberRequest
from shared.models import Business
from shared.web.etags import find
from shared.web.seen_version import acting_on


def whole_revisions(business: Business) -> QuerySet[Revision]:
    """Return revisions with everything a page shows of them."""
    return queries.revisions(business).select_related(
        "quote__job__customer", "quote__job__site", "measure_version__measure", "base_revision", "business"
    )


def last_revision(quote: Quote) -> Revision:
    """Return the last revision of a quote, locked, or 404."""
    rows = whole_revisions(quote.business).filter(quote=quote).select_for_update(no_key=True, of=("self",))
    last = rows.order_by("-number").first()
    if last is None:
        raise Http404
    return last


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
