"""Differences of a variation to the accepted revision: lines and quantities added, removed, changed.

Rule: a run with an unchanged measure and take-off keeps its accepted price, even if prices have changed. A changed run is
priced again. Lines for the whole job keep their accepted prices. Extras are added.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from msgspec.structs import asdict, replace

from quotes.jobs.document_text import canonical
from quotes.quoting.content import (
    AcceptedRevision,
    Build,
    Change,
    ChangedQuantity,
    Content,
    Difference,
    DifferenceLine,
    Line,
    LineSide,
    PartChange,
    PlaceChange,
    PlaceKind,
    SetOutChange,
    read_content,
)
from quotes.quoting.json_values import JsonObject, plain
from quotes.quoting.models import Revision
from quotes.quoting.totals import Choices, build_of, chosen_lines, option_lines, read_choices

ZERO = Decimal(0)


def standing_lines(content: Content, choices: Choices) -> tuple[Line, ...]:
    """Return all lines that apply if this revision is accepted with these choices."""
    if content.difference is None:
        return chosen_lines(content, choices)
    return content.builds[0].lines + option_lines(content, choices)


def difference(revision: Revision, new: Build) -> tuple[Difference, tuple[Line, ...]]:
    """Return what differs from the accepted revision, and all lines that apply after the variation is accepted."""
    agreed = revision.base_revision
    if agreed is None:
        raise ValueError("a variation changes an accepted revision")
    before = read_content(agreed.content)
    choices = read_choices(before, agreed.choices)
    old, old_lines = build_of(before, choices), standing_lines(before, choices)
    prefix = f"v{revision.number}."
    extras = [replace(line, key=prefix + line.key) for line in new.lines if line.group == "extra"]
    repriced = _changed_parts(old, new)
    standing = [line for line in old_lines if line.part is None or line.part not in repriced]
    standing += [line for line in new.lines if line.part in repriced]
    standing = [line for line in standing if line.part is None or line.part in _parts(new.measure)] + extras
    changes = Difference(
        AcceptedRevision(agreed.number, agreed.content_sha256),
        compare(old_lines, standing),
        compare_quantities(old.takeoff["quantities"], new.takeoff["quantities"]),
        SetOutChange(canonical(old.system) != canonical(new.system), set_out_changes(old.takeoff, new.takeoff)),
    )
    return changes, tuple(standing)


def compare(before: Sequence[Line], after: Sequence[Line]) -> tuple[DifferenceLine, ...]:
    """Return lines with both sides; ``net`` is the difference. A line with other shares or tax is removed and added."""
    old, new = {_identity(line): line for line in before}, {_identity(line): line for line in after}
    pairs = [(old.get(identity), new.get(identity)) for identity in dict.fromkeys([*old, *new])]
    return tuple(line for was, now in pairs if (line := _difference_line(was, now)))


def _difference_line(was: Line | None, now: Line | None) -> DifferenceLine | None:
    shown = now or was
    if shown is None or (was and now and (was.net, was.text, was.detail) == (now.net, now.text, now.detail)):
        return None
    change: Change = "changed" if was and now else "added" if now else "removed"
    net = (now.net if now else ZERO) - (was.net if was else ZERO)
    cost = (now.cost if now else ZERO) - (was.cost if was else ZERO)
    own = {**asdict(shown), "key": f"{change}.{shown.key}", "net": net, "cost": cost}
    return DifferenceLine(**own, change=change, before=_side(was), after=_side(now))


def compare_quantities(before: Iterable[JsonObject], after: Iterable[JsonObject]) -> tuple[ChangedQuantity, ...]:
    """Return the changed quantities of each component."""
    old, new = _totals(before), _totals(after)
    amounts = {key: (old.get(key, ZERO), new.get(key, ZERO)) for key in dict.fromkeys([*old, *new])}
    return tuple(ChangedQuantity(*key, was, now, now - was) for key, (was, now) in amounts.items() if was != now)


def _totals(rows: Iterable[JsonObject]) -> dict[tuple[str, str | None, str | None, str], Decimal]:
    return {(row["role"], row["component"], row.get("finish"), row["unit"]): Decimal(row["total"]) for row in rows}


def _identity(line: Line) -> tuple[str, ...]:
    return line.key, canonical(plain(line.shares)), line.tax_category, format(line.tax_rate, "f")


def _side(line: Line | None) -> LineSide | None:
    return LineSide(line.text, line.detail, line.quantity, line.unit, line.net) if line else None


def _parts(document: JsonObject) -> Mapping[str, JsonObject]:
    return {row["id"]: row for row in (*document.get("runs", []), *document.get("retrofits", []))}


def _changed_parts(old: Build, new: Build) -> set[str]:
    """Return the runs and retrofits that are new or differ in measure, shares or set-out from the accepted revision."""
    if canonical(old.system) != canonical(new.system):
        return set(_parts(new.measure))
    before, after = _parts(old.measure), _parts(new.measure)
    built_before, built_after = _parts(old.takeoff), _parts(new.takeoff)
    return {
        part
        for part in after
        if part not in before
        or canonical(before[part]) != canonical(after[part])
        or canonical(_seen(built_before.get(part))) != canonical(_seen(built_after.get(part)))
    }


def _seen(built: JsonObject | None) -> JsonObject:
    """Return a built run without the prices of its other options."""
    return {key: value for key, value in (built or {}).items() if key != "options"}


def set_out_changes(before: JsonObject, after: JsonObject) -> tuple[PartChange, ...]:
    """Return every run and retrofit that differs between two take-offs."""
    old, new = _parts(before), _parts(after)
    rows = [row for kind in ("runs", "retrofits") for document in (before, after) for row in document.get(kind, [])]
    names = dict.fromkeys(row["id"] for row in rows)
    changes = (_part_change(name, old.get(name), new.get(name)) for name in names)
    return tuple(change for change in changes if change)


def _part_change(name: str, was: JsonObject | None, now: JsonObject | None) -> PartChange | None:
    if was is None or now is None:
        return PartChange(name, "added" if was is None else "removed", ())
    kinds: tuple[PlaceKind, ...] = ("posts", "bays", "gates")
    places = list[PlaceChange]()
    for kind in kinds:
        old, new = ({row["id"]: row for row in run.get(kind, [])} for run in (was, now))
        changes = (_place_change(kind, place, old.get(place), new.get(place)) for place in dict.fromkeys([*new, *old]))
        places += filter(None, changes)
    differs = {key: (was.get(key), now.get(key)) for key in ("length_mm", "form") if was.get(key) != now.get(key)}
    return PartChange(name, "changed", tuple(places), **differs) if places or differs else None


def _place_change(kind: PlaceKind, name: str, was: JsonObject | None, now: JsonObject | None) -> PlaceChange | None:
    if was is None or now is None:
        return PlaceChange(kind, name, "added" if was is None else "removed")
    if kind == "bays":
        return PlaceChange(kind, name, "changed") if _size(was) != _size(now) else None
    place = "at_mm" if kind == "posts" else "from_mm"
    if was[place] != now[place]:
        return PlaceChange(kind, name, "moved", was[place], now[place])
    return PlaceChange(kind, name, "changed") if was != now else None


def _size(bay: JsonObject) -> JsonObject:
    """Return a bay with its width instead of its position, which its posts have."""
    if "from_mm" not in bay:
        return bay
    rest = {key: value for key, value in bay.items() if key not in ("from_mm", "to_mm")}
    return {**rest, "width": bay["to_mm"] - bay["from_mm"]}
