"""Errors of the database: a transaction is repeated after a deadlock, and a client can try again later if it is down or full."""

from __future__ import annotations

import errno
import logging
import sqlite3
from collections.abc import Callable
from functools import wraps
from typing import Final, ParamSpec, TypeVar

from django.db import DatabaseError, InterfaceError, OperationalError, connection

P = ParamSpec("P")
R = TypeVar("R")
DEADLOCK = "40P01"  # SQLSTATE deadlock_detected
_deadlock_log = logging.getLogger("baywright.deadlocks")
_log = logging.getLogger("baywright.problems")
RETRY_AFTER_S: Final = 10
_NO_ROOM: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EROFS})
_POSTGRES: Final = frozenset({"08", "40", "53", "55", "57", "58"})
"""Classes of SQLSTATE: connection, rollback, resources, object state, operator intervention, system error."""
_SQLITE: Final = frozenset(
    {
        sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PROTOCOL,
    }
)  # fmt: skip
_PRIMARY: Final = 0xFF
"""Last byte of an extended error code of SQLite, which is the primary code."""


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
            _deadlock_log.warning("deadlock: repeating the transaction", exc_info=error)
        return work(*args, **kwargs)

    return call


def is_deadlock(error: BaseException) -> bool:
    """Return whether PostgreSQL ended a transaction to resolve a deadlock."""
    return getattr(error.__cause__, "sqlstate", None) == DEADLOCK


def is_unavailable(fault: BaseException) -> bool:
    """Return whether an error may pass: the same request can succeed later without a change of the program."""
    if isinstance(fault, InterfaceError):
        return True
    if isinstance(fault, OperationalError):
        return _passes(fault)
    return isinstance(fault, OSError) and fault.errno in _NO_ROOM


def _passes(fault: DatabaseError) -> bool:
    cause = fault.__cause__
    if isinstance(cause, sqlite3.Error):
        return getattr(cause, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & _PRIMARY in _SQLITE
    state = getattr(cause, "sqlstate", None)
    return state is None or state[:2] in _POSTGRES


def note_unavailable(fault: BaseException) -> None:
    """Log the error. The response does not show it."""
    _log.error("the database or the disk is not available", exc_info=fault)
