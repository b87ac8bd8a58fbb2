"""Page actions on the version that a person has seen: an action on another version is rejected.

A form contains two hidden fields, written by the template tag ``seen``: ``version`` of the record, and ``seen``, the values that
the page shows. The values are used only to show what has changed; they are not trusted for anything else.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from hashlib import sha256
from typing import Any, TypeVar

from django.db import models, transaction
from django.http import HttpRequest

from shared.common.json_encoder import write_json
from shared.common.problems import Problem
from shared.web.etags import find

RowT = TypeVar("RowT", bound=models.Model)
Facts = Mapping[str, str]
VERSION, SEEN = "version", "seen"
MAX_SEEN_CHARS = 200_000
MAX_VALUE_CHARS = 200
MAX_CHANGES = 12
_MISSING = "This form does not state which version it shows. Open the page again."
_CHANGED = "This has changed since you opened the page, so nothing was done. Check it and press again."


@contextmanager
def acting_on(
    request: HttpRequest,
    rows: models.QuerySet[RowT],
    ref: str,
    facts_of: Callable[[RowT], Facts],
    *,
    exact: bool = False,
    also: tuple[str, ...] = (),
) -> Iterator[RowT]:
    """Lock the row a page acts on, and act only if it is the version that the page showed.

    Everything inside runs in one transaction. ``facts_of`` gives the values the page shows, by label. ``exact`` also compares
    them, for values that can change without the row, such as a total by today's prices. ``also`` names related rows to lock.

    Raises:
        Problem: 428 without a version; 412 for another one, with what changed.
    """
    with transaction.atomic():
        row = find(rows.select_for_update(no_key=True, of=("self", *also)), ref)
        refuse_other_version(request, row, facts_of, exact=exact)
        yield row


def refuse_other_version(
    request: HttpRequest, row: Any, facts_of: Callable[[Any], Facts], *, exact: bool = False
) -> None:
    """Raise 428 if the form has no version, or 412 if the row has another version than the form."""
    version = request.POST.get(VERSION, "")
    if not version:
        raise Problem("precondition-required", _MISSING)
    same = version == version_of(row)
    if same and not exact:
        return
    changes = list(differences(_parsed(request.POST.get(SEEN, "")), facts_of(row)))
    if same and not changes:
        return
    listed = "; ".join(changes[:MAX_CHANGES])
    more = f"; and {len(changes) - MAX_CHANGES} more" if len(changes) > MAX_CHANGES else ""
    raise Problem("precondition-failed", f"{_CHANGED} What changed: {listed}{more}." if listed else _CHANGED)


def differences(before: Facts, after: Facts) -> Iterable[str]:
    """Yield one text for each value that is not the same, was added or is gone.

    >>> list(differences({"Total": "40.00", "Line 2": "4"}, {"Total": "400.00", "Line 3": "1"}))
    ['Total was 40.00 and is now 400.00', 'Line 2 (4) is gone', 'Line 3 is new: 1']
    """
    for label in dict.fromkeys((*before, *after)):
        was, now = _cut(before.get(label)), _cut(after.get(label))
        if was == now:
            continue
        if now is None:
            yield f"{label} ({was}) is gone"
        elif was is None:
            yield f"{label} is new: {now}"
        else:
            yield f"{label} was {was or 'empty'} and is now {now or 'empty'}"


def _cut(value: str | None) -> str | None:
    """Return the start of a long value with a digest of the whole, so that a change at its end counts too.

    >>> _cut("a" * 300) == _cut("a" * 300), _cut("a" * 300) == _cut("a" * 301), _cut("short")
    (True, False, 'short')
    """
    if value is None or len(value) <= MAX_VALUE_CHARS:
        return value
    return f"{value[: MAX_VALUE_CHARS - 20]}… ({sha256(value.encode()).hexdigest()[:8]})"


def version_of(row: Any) -> str:
    """Return the text of the field ``version`` for a row as it is loaded."""
    return f"{row.ref}.{row.version}"


def write_facts(facts: Facts) -> str:
    """Return the text of the field ``seen``."""
    return write_json({label: _cut(value) for label, value in facts.items()}).decode()


def _parsed(text: str) -> dict[str, str]:
    """Return the values that a form showed; none if we did not write the field."""
    try:
        found = json.loads(text) if 0 < len(text) <= MAX_SEEN_CHARS else {}
    except (ValueError, RecursionError):
        return {}
    pairs = found.items() if isinstance(found, dict) else ()
    return {str(label)[:200]: value[:MAX_VALUE_CHARS] for label, value in pairs if isinstance(value, str)}
