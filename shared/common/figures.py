"""The decimal sign of pages and papers. The texts of the engine have a point; readers see the sign of their locale."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_decimal_sign: ContextVar[str] = ContextVar("decimal_sign", default=".")


@contextmanager
def use_decimal_sign(sign: str) -> Iterator[None]:
    """Use this decimal sign for figures inside the block; the default is a point.

    >>> with use_decimal_sign(","):
    ...     localize("18.240")
    '18,240'
    """
    token = _decimal_sign.set(sign)
    try:
        yield
    finally:
        _decimal_sign.reset(token)


def current_decimal_sign() -> str:
    """Return the decimal sign of the block."""
    return _decimal_sign.get()


def localize(figure: str) -> str:
    """Return a figure that was written with a point with the decimal sign of the block."""
    return figure.replace(".", _decimal_sign.get())
