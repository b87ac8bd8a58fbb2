"""The facts of a kind of document. Each kind has a module in ``kinds``, with its values and its template."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from quotes.quoting.content import Content
from quotes.quoting.models import Revision
from quotes.quoting.queries import content_and_choices
from quotes.quoting.totals import Choices

if TYPE_CHECKING:
    from quotes.documents.models import Document

ContentPdf = Callable[[Content, Choices], bytes]
"""Creates a PDF from a revision's frozen content and the choices of its parties."""


@dataclass(frozen=True, slots=True)
class DocumentKind:
    """A kind of document.

    Attributes:
        code: its name in the database and the API, at most 12 letters.
        label: its name on pages.
        make: creates the PDF of a stored row. Each call gives the same bytes.
        asked_at: event of a revision that asks for the document; empty if it is not asked for by an event.
        is_needed: whether a content needs it, with the choices of its parties.
        per_party: whether each party has its own.
        for_crew: whether the crew may see it. It then names no money.
        in_pack: creates it before the response, for the pack that comes with a quote.
    """

    code: str
    label: str
    make: Callable[[Document], bytes]
    asked_at: str = ""
    is_needed: Callable[[Content, Choices], bool] = lambda content, choices: True
    per_party: bool = False
    for_crew: bool = False
    in_pack: ContentPdf | None = None

    @property
    def file_name(self) -> str:
        """Return the beginning of the file's name."""
        return self.code.replace("_", "-")


def revision_of(row: Document) -> Revision:
    """Return the revision of a document. Raise ValueError if it has none."""
    if row.revision is None:
        raise ValueError(f"a document of kind {row.kind} is of a revision")
    return row.revision


def from_content(pdf: ContentPdf) -> Callable[[Document], bytes]:
    """Return the ``make`` of a kind whose PDF needs the content of the revision only."""

    def make(row: Document) -> bytes:
        return pdf(*content_and_choices(revision_of(row)))

    return make
