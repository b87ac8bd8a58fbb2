"""Care sheet: how the customer looks after the fence."""

from __future__ import annotations

from quotes.documents.document_kind import DocumentKind, from_content
from quotes.documents.kinds.cut_list import crew_page
from quotes.documents.pdf import Variant, markup, render
from quotes.quoting.content import Content
from quotes.quoting.party_documents import crew_document
from quotes.quoting.totals import NOTHING_CHOSEN, Choices

PARTS = (
    (
        "In the first week",
        (
            "Keep sheets, animals and climbing children off the fence until the concrete has cured: wind can move its posts.",
            "Tell us at once if a post has moved or a screw has been missed.",
        ),
    ),
    (
        "Every season",
        (
            "Wash the fence with clean water and a soft cloth, more often near the sea. No solvents, no abrasive cleaners.",
            "Keep soil, mulch and garden beds clear of the bottom rail, and fertiliser, salt and wet timber off the steel.",
            "Look along the tops of the posts: caps keep water out, so replace a lost one soon.",
        ),
    ),
    (
        "Repairs",
        (
            "Small scratches: dab on touch-up paint of the finish, as little as covers the scratch.",
            "Never cut or grind coated sheet with an abrasive disc, and brush off swarf the same day.",
            "A bent sheet can be changed alone: note the bay and call us.",
        ),
    ),
    (
        "Please do not",
        (
            "Do not hang loads, shade sails or heavy creepers on the fence, raise it, or pile soil against it.",
            "Before digging near the posts ask where services run, and stay clear of the footings.",
        ),
    ),
)


def care_pdf(content: Content, choices: Choices = NOTHING_CHOSEN) -> bytes:
    """Return the care sheet as PDF. A text of the business replaces the standard text."""
    document = crew_document(content, choices)
    values = crew_page(document, content.dates.sent_at)
    own = document.business.custom_texts.get("care_sheet")
    parts = [("Caring for it", tuple(own.split("\n\n")))] if own else PARTS
    values["sheet"]["parts"] = [{"heading": heading, "sentences": sentences} for heading, sentences in parts]
    return render(markup("care", values), Variant.ACCESSIBLE, content.dates.sent_at)


CARE = DocumentKind(
    code="care", label="care sheet", make=from_content(care_pdf), asked_at="quote.accepted", in_pack=care_pdf
)
