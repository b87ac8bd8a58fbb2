"""The table of document kinds. A new kind needs its module here, its template and a line in ``KINDS``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from quotes.documents.kinds.acceptance import ACCEPTANCE
from quotes.documents.kinds.care import CARE
from quotes.documents.kinds.cut_list import CUT_LIST
from quotes.documents.kinds.order_list import ORDER_LIST
from quotes.documents.kinds.quote import QUOTE, quote_pdf
from quotes.documents.kinds.saw_sheet import SAW_SHEET
from quotes.documents.kinds.screening import SCREENING
from quotes.documents.kinds.set_out import SET_OUT
from quotes.quoting.content import Content
from quotes.quoting.totals import NOTHING_CHOSEN

KINDS = {
    kind.code: kind for kind in (QUOTE, ACCEPTANCE, SET_OUT, CUT_LIST, SAW_SHEET, CARE, SCREENING, ORDER_LIST)
}  # fmt: skip
"""Kinds by code, in the order in which people read them."""
FOR_CREW = [kind.code for kind in KINDS.values() if kind.for_crew]


def whole_pack(content: Content, made: Mapping[str, bytes] | None = None) -> Iterator[tuple[str, bytes]]:
    """Yield file name and PDF of each document that comes with a quote before the response.

    Args:
        content: the frozen content.
        made: finished quotes, by the party's key; they are not rendered again.
    """
    for party in content.parties:
        name = "quote" if len(content.parties) == 1 else f"quote-{party.key}"
        yield f"{name}.pdf", (made or {}).get(party.key) or quote_pdf(content, party.key)
    for kind in KINDS.values():
        if kind.in_pack and kind.is_needed(content, NOTHING_CHOSEN):
            yield f"{kind.file_name}.pdf", kind.in_pack(content, NOTHING_CHOSEN)
