"""Signals of documents to later stages."""

from __future__ import annotations

from typing import cast

from django.dispatch import Signal

from quotes.quoting.models import Revision

saw_sheet_asked = Signal()
"""Asks for the PDF of the saw sheet of ``revision``. Purchasing answers it."""


def saw_sheet_of(revision: Revision) -> bytes:
    """Return the saw sheet of an accepted revision."""
    [(_, pdf)] = saw_sheet_asked.send(sender=Revision, revision=revision)
    return cast(bytes, pdf)
