"""Refusals as pages show them."""

from __future__ import annotations

from fencing.model.faults import InvalidDocument
from shared.api.problems import Problem


def words_of(refused: InvalidDocument | Problem) -> str:
    """Return everything that is wrong, as sentences."""
    return refused.detail if isinstance(refused, Problem) else " ".join(fault.text for fault in refused.faults)
