"""Functions that are loaded when they are first called."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.utils.module_loading import import_string


def at_first_call(path: str) -> Callable[..., Any]:
    """The function at a dotted path. An app that registers it when Django starts does not load what it needs until then."""

    def call(*arguments: Any, **options: Any) -> Any:
        return import_string(path)(*arguments, **options)

    return call
