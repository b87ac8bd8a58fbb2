"""Answers of orders and stock to the signals of earlier stages."""

from __future__ import annotations

from typing import Any

from django.dispatch import receiver

from quotes.documents.hooks import saw_sheet_asked
from quotes.quoting.models import Revision


@receiver(saw_sheet_asked)
def make_saw_sheet(sender: object, revision: Revision, **_: Any) -> bytes:
    """Return the saw sheet of a revision."""
    from quotes.purchasing.saw_sheets import saw_pdf  # here, so that Django starts without the cutting search

    return saw_pdf(revision)
