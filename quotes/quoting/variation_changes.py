"""Differences of a variation to the accepted revision: lines and quantities added, removed, changed.

Rule: a run with an unchanged measure and take-off keeps its accepted price, even if prices have changed. A changed run is
priced again. Lines for the whole job keep their accepted prices. Extras are added.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from quotes.jobs.document_text import canonical, parsed
from quotes.quoting.models import Revision
from quotes.quoting.set_out_changes import set_out_changes
from quotes.quoting.totals import chosen_lines, read_choices

Line = dict[str, Any]


def standing_lines(content: Mapping[str, Any], choices: Mapping[str, Any] | None) -> list[Line]:
    """Return all lines that apply if this revision is accepted with these choices."""
    chosen = read_choices(content, choices)
    if content["difference"] is None:
        return [dict(line) for line in chosen_lines(content, chosen)]
    lines = [dict(line) for line in content["builds"][0]["lines"]]
    return lines + [
        dict(line) for option in content["options"] if option["key"] in chosen.options for line in option["lines"]
    ]


def standing_build(content: Mapping[str, Any], choices: Mapping[str, Any] | None) -> Mapping[str, Any]:
    """Return the build that applies if this revision is accepted with these choices."""
    chosen = read_choices(content, choices)
    found: Mapping[str, Any] = next(build for build in content["builds"] if build["key"] == chosen.build)
    return found


def difference(revision: Revision, new: Mapping[str, Any]) -> dict[str, Any]:
    """Return lines and quantities that differ from the accepted revision. ``standing`` are all lines after acceptance."""
    agreed = revision.base_revision
    if agreed is None:
        raise ValueError("a variation changes an accepted revision")
    before = parsed(agreed.content)
    old_build, old_lines = standing_build(before, agreed.choices), standing_lines(before, agreed.choices)
    prefix = f"v{revision.number}."
    extras = [{**line, "key": prefix + line["key"]} for line in new["lines"] if line["group"] == "extra"]
    repriced = _changed_parts(old_build, new)
    standing = [line for line in old_lines if line["part"] is None or line["part"] not in repriced]
    standing += [line for line in new["lines"] if line["part"] in repriced]
    standing = [line for line in standing if line["part"] is None or line["part"] in _parts(new["measure"])] + extras
    return {
        "accepted": {"revision": agreed.number, "content_sha256": agreed.content_sha256},
        "lines": compare(old_lines, standing),
        "quantities": compare_quantities(old_build["takeoff"]["quantities"], new["takeoff"]["quantities"]),
        "set_out": {
            "system": canonical(old_build["system"]) != canonical(new["system"]),
            "parts": set_out_changes(old_build["takeoff"], new["takeoff"]),
        },
        "standing": standing,
    }


def compare(before: Sequence[Line], after: Sequence[Line]) -> list[Line]:
    """Return lines with both sides; ``net`` is the difference. A line with other shares or tax is removed and added."""
    old, new = {_identity(line): line for line in before}, {_identity(line): line for line in after}
    lines = []
    for identity in dict.fromkeys([*old, *new]):
        was, now = old.get(identity), new.get(identity)
        shown = now or was or {}
        net, cost = _less(now, was, "net"), _less(now, was, "cost")
        if was and now and was["net"] == now["net"] and was["text"] == now["text"] and was["detail"] == now["detail"]:
            continue
        change = "changed" if was and now else "added" if now else "removed"
        lines.append(
            {
                **shown,
                "key": f"{change}.{shown['key']}",
                "change": change,
                "net": net,
                "cost": cost,
                "before": _side(was),
                "after": _side(now),
            }
        )
    return lines


def compare_quantities(before: Iterable[Mapping[str, Any]], after: Iterable[Mapping[str, Any]]) -> list[Line]:
    """Return the changed quantities of each component."""
    old, new = _totals(before), _totals(after)
    return [
        {
            "role": role,
            "component": component,
            "finish": finish,
            "unit": unit,
            "before": format(old.get(key, Decimal(0)), "f"),
            "after": format(new.get(key, Decimal(0)), "f"),
            "difference": format(new.get(key, Decimal(0)) - old.get(key, Decimal(0)), "f"),
        }
        for key in dict.fromkeys([*old, *new])
        for role, component, finish, unit in [key]
        if old.get(key, Decimal(0)) != new.get(key, Decimal(0))
    ]


def _totals(rows: Iterable[Mapping[str, Any]]) -> dict[tuple[Any, ...], Decimal]:
    return {(row["role"], row["component"], row.get("finish"), row["unit"]): Decimal(row["total"]) for row in rows}


def _identity(line: Line) -> tuple[str, ...]:
    return line["key"], canonical(line["shares"]), line["tax_category"], line["tax_rate"]


def _less(now: Line | None, was: Line | None, name: str) -> str:
    return format(Decimal(now[name] if now else "0") - Decimal(was[name] if was else "0"), "f")


def _side(line: Line | None) -> Line | None:
    return None if line is None else {name: line[name] for name in ("text", "detail", "quantity", "unit", "net")}


def _parts(measure: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    return {row["id"]: row for row in (*measure.get("runs", []), *measure.get("retrofits", []))}


def _changed_parts(old: Mapping[str, Any], new: Mapping[str, Any]) -> set[str]:
    """Return the runs and retrofits that are new or differ in measure, shares or set-out from the accepted revision."""
    if canonical(old["system"]) != canonical(new["system"]):
        return set(_parts(new["measure"]))
    before, after = _parts(old["measure"]), _parts(new["measure"])
    built_before, built_after = _parts(old["takeoff"]), _parts(new["takeoff"])
    return {
        part
        for part in after
        if part not in before
        or canonical(before[part]) != canonical(after[part])
        or canonical(_seen(built_before.get(part))) != canonical(_seen(built_after.get(part)))
    }


def _seen(built: Mapping[str, Any] | None) -> Mapping[str, Any]:
    """Return a built run without the prices of its other options."""
    return {key: value for key, value in (built or {}).items() if key != "options"}
