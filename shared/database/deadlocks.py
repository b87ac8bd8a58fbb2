"""Repetition of a transaction that PostgreSQL ended because of a deadlock, for requests and background tasks."""

from __future__ import annotations

import logging
from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from django.db import OperationalError, connection

P = ParamSpec("P")
R = TypeVar("R")
DEADLOCK = "40P01"  # SQLSTATE deadlock_detected
_log = logging.getLogger("baywright.deadlocks")


def retry_deadlock(work: Callable[P, R]) -> Callable[P, R]:
    """Call ``work`` a second time if a deadlock ended the first call. Use it around a whole transaction.

    Inside an open transaction the error is passed on, because PostgreSQL has rolled back the caller's changes too.
    """

    @wraps(work)
    def call(*args: P.args, **kwargs: P.kwargs) -> R:
        if connection.in_atomic_block:
            return work(*args, **kwargs)
        try:
            return work(*args, **kwargs)
        except OperationalError as error:
            if not is_deadlock(error):
                raise
            _log.warning("deadlock: repeating the transaction", exc_info=error)
        return work(*args, **kwargs)

    return call


def is_deadlock(error: BaseException) -> bool:
    """Return whether PostgreSQL ended a transaction to resolve a deadlock."""
    return getattr(error.__cause__, "sqlstate", None) == DEADLOCK
