"""Set-out changes of a variation, run by run, without money."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

Rows = Mapping[str, Mapping[str, Any]]


def set_out_changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return every run and retrofit that differs between two take-offs; an empty list if none does.

    Each has ``part`` (its name), ``change`` (added, removed or changed), the lengths and forms it had and has if they differ, the
    posts that moved with their chainages [mm], and what was added, removed or otherwise changed.
    """
    found = []
    for kind in ("runs", "retrofits"):
        old, new = _by_id(before.get(kind, [])), _by_id(after.get(kind, []))
        for name in dict.fromkeys([*old, *new]):
            change = _change(name, old.get(name), new.get(name))
            if change:
                found.append(change)
    return found


def _by_id(rows: Iterable[Mapping[str, Any]]) -> Rows:
    return {row["id"]: row for row in rows}


def _change(name: str, was: Mapping[str, Any] | None, now: Mapping[str, Any] | None) -> dict[str, Any] | None:
    if was is None or now is None:
        return {"part": name, "change": "added" if was is None else "removed", "places": []}
    places = [
        place for kind in ("posts", "bays", "gates") for place in _places(kind, was.get(kind, []), now.get(kind, []))
    ]
    differs = {key: [was.get(key), now.get(key)] for key in ("length_mm", "form") if was.get(key) != now.get(key)}
    return {"part": name, "change": "changed", **differs, "places": places} if places or differs else None


def _places(kind: str, before: Sequence[Mapping[str, Any]], after: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return the posts, bays or gates that are added, removed, moved or changed, in building order."""
    old, new = _by_id(before), _by_id(after)
    found = []
    for name in dict.fromkeys([*new, *old]):
        was, now = old.get(name), new.get(name)
        if was is None or now is None:
            found.append({"kind": kind, "id": name, "change": "added" if was is None else "removed"})
        elif kind == "bays":
            found += [{"kind": kind, "id": name, "change": "changed"}] if _size(was) != _size(now) else []
        elif (place := "at_mm" if kind == "posts" else "from_mm") and was[place] != now[place]:
            found.append({"kind": kind, "id": name, "change": "moved", "before_mm": was[place], "after_mm": now[place]})
        elif was != now:
            found.append({"kind": kind, "id": name, "change": "changed"})
    return found


def _size(bay: Mapping[str, Any]) -> dict[str, Any]:
    """Return a bay with its width instead of its position, which its posts have."""
    if "from_mm" not in bay:
        return dict(bay)
    rest = {key: value for key, value in bay.items() if key not in ("from_mm", "to_mm")}
    return {**rest, "width": bay["to_mm"] - bay["from_mm"]}
