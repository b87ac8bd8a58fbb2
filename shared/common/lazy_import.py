"""Functions that are imported when they are first called."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.utils.module_loading import import_string


def at_first_call(path: str) -> Callable[..., Any]:
    """Return a function that imports the one at a dotted path when it is first called.

    An app can register it when Django starts without importing what it needs.
    """

    def call(*arguments: Any, **options: Any) -> Any:
        return import_string(path)(*arguments, **options)

    return call
