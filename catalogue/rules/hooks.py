"""Signal that asks later stages which open quotes use a price."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, cast

from django.dispatch import Signal

from catalogue.rules.codes import ImportKind
from shared.business.models import Business

Touched = Mapping[str, Decimal | None]
"""Skus that change, each with its new price where the file names one. Price rules touch everything and name no sku."""

open_quotes_requested = Signal()
"""Asks which open quotes of ``business`` a file of ``kind`` with ``touched`` skus affects. Quoting answers it."""


def effect_on_quotes(business: Business, kind: ImportKind, touched: Touched) -> list[dict[str, Any]]:
    """Return the open quotes that use a changed price."""
    answers = open_quotes_requested.send(sender=ImportKind, business=business, kind=kind, touched=touched)
    return [quote for _, quotes in answers for quote in cast("list[dict[str, Any]]", quotes)]
