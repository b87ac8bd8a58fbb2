"""Form of a draft's setup: its fields, and the setup from a submitted form.

Values without a field on the page (tax code of an option, hire, day of supply) do not change.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.http import QueryDict
from django.utils.text import slugify

from catalogue.rules.discounts import DiscountRule
from fencing.model.measure import Form
from quotes.pricing.discounts import NO_DISCOUNT
from quotes.quoting.draft_setup import DUE, MAX
from shared.common.form_fields import FormField, as_shown, typed_number
from shared.common.typed_lengths import HEIGHT, read_length
from shared.common.typed_shares import read_percent, read_share, read_split

Setup = dict[str, Any]
_DUE_WORDS = {
    "acceptance": "on acceptance",
    "start": "at the start",
    "posts_set": "when the posts are set",
    "completion": "on completion",
}
_SAME = ("", "as measured")


@dataclass(frozen=True, slots=True)
class DraftColumn:
    """A field of a row: name, label, kind and choices."""

    name: str
    label: str
    kind: str = "text"
    most: int = 0
    choices: tuple[tuple[str, str], ...] = ()
    wide: bool = False


ROWS: Mapping[str, tuple[DraftColumn, ...]] = {
    "parties": (
        DraftColumn("key", "", "hidden"),
        DraftColumn("name", "Name", most=120),
        DraftColumn("email", "E-mail", "email", 254),
        DraftColumn("address", "Address", most=500),
        DraftColumn("must_accept", "Must accept", "check"),
    ),
    "options": (
        DraftColumn("key", "", "hidden"),
        DraftColumn("label", "Option", most=200),
        DraftColumn("detail", "Description", most=1_000),
        DraftColumn("net", "Price before tax", "number", 20),
        DraftColumn("cost", "Cost", "number", 20),
    ),
    "alternatives": (
        DraftColumn("key", "", "hidden"),
        DraftColumn("label", "Alternative", most=200),
        DraftColumn("height_mm", "Height, mm", "number", 24),
        DraftColumn("lattice_mm", "Lattice, mm", "number", 24),
        DraftColumn("form", "Form", "select", choices=(_SAME, *((form.value, form.value) for form in Form))),
    ),
    "extra_items": (
        DraftColumn("place", "", "hidden"),
        DraftColumn("label", "Extra", most=200),
        DraftColumn("detail", "Description", most=1_000),
        DraftColumn("net", "Price before tax", "number", 20),
        DraftColumn("cost", "Cost", "number", 20),
        DraftColumn("licensed_removal", "Licensed removal of", "select", choices=(("", ""),)),
    ),
    "payments": (
        DraftColumn("key", "", "hidden"),
        DraftColumn("label", "Payment", most=120),
        DraftColumn("percent", "Percent", "number", 24),
        DraftColumn("milestone", "When", "select", choices=tuple((due, _DUE_WORDS[due]) for due in DUE)),
    ),
}
_READERS: Mapping[str, Callable[[str], int | str]] = {
    **dict.fromkeys(("height_mm", "lattice_mm"), lambda text: read_length(text, HEIGHT)),
    "percent": read_percent,
}
ALWAYS_SENT = ("key", "place", "milestone", "must_accept", "form", "licensed_removal")
"""Fields that browsers always send: a row with only these fields is empty."""
TITLES = {
    "parties": "Parties",
    "options": "Options the customer may add",
    "alternatives": "Alternatives",
    "extra_items": "Extras priced by hand",
    "payments": "Payments",
}


@dataclass(frozen=True, slots=True)
class DraftSection:
    """A section of the form: its rows of fields; the last row is empty for a new entry."""

    name: str
    title: str
    rows: tuple[tuple[FormField, ...], ...]
    used: bool


def sections(setup: Mapping[str, Any], faults: Mapping[str, str], hazardous: Iterable[str] = ()) -> list[DraftSection]:
    """Return the form of a setup with its errors. ``hazardous``: old fences that only a licensed contractor may remove."""
    offered = {"licensed_removal": tuple((kind, kind) for kind in sorted(hazardous))}
    return [_section(name, setup, faults, offered) for name in ROWS]


def _section(
    name: str, setup: Mapping[str, Any], faults: Mapping[str, str], offered: Mapping[str, tuple[tuple[str, str], ...]]
) -> DraftSection:
    stored = [*setup.get(name, [])]
    rows: list[Mapping[str, Any]] = [*stored, *([{}] if len(stored) < MAX[name] else [])]
    named = {str(row.get(column)) for row in stored for column in offered if row.get(column)}
    columns = [_offering(column, offered, named) for column in ROWS[name]]
    shown = tuple(
        tuple(_box(name, place, column, row, faults) for column in columns if column is not None)
        for place, row in enumerate(rows)
    )
    return DraftSection(name, TITLES[name], shown, bool(stored))


def _offering(
    column: DraftColumn, offered: Mapping[str, tuple[tuple[str, str], ...]], named: set[str]
) -> DraftColumn | None:
    """Return the column with its choices; None if there are no choices and no value."""
    if column.name not in offered:
        return column
    known = offered[column.name]
    more = tuple((value, value) for value in sorted(named - {value for value, _ in known}))
    return replace(column, choices=(*column.choices, *known, *more)) if known or more else None


def _box(name: str, place: int, column: DraftColumn, row: Mapping[str, Any], faults: Mapping[str, str]) -> FormField:
    value = row.get(column.name, "")
    if column.name == "place":
        value = place if row else ""
    if column.kind == "check":
        value = "1" if row.get(column.name, True) else ""
    fault = faults.get(f"/{name}/{place}/{column.name}", "")
    return FormField(
        f"{name}-{place}-{column.name}",
        column.label,
        as_shown(value) if column.kind == "number" else str(value),
        column.kind,
        fault,
        "",
        column.choices,
        column.most,
        column.wide,
    )


def wholes(
    setup: Mapping[str, Any], faults: Mapping[str, str], discounts: Iterable[DiscountRule] = ()
) -> dict[str, FormField]:
    """Return the fields that occur once; ``discounts`` are those of the price rules."""
    discount, around = setup.get("discount") or {}, setup.get("site_conditions") or {}
    percent, amount = (as_shown(discount.get(part, "")) for part in ("percent", "amount"))
    visits = as_shown(setup.get("site_visits", ""))
    boxes = [
        FormField(
            "discount-rule", "Discount of the price rules", discount.get("rule", ""), "select", faults.get("/discount/rule", ""),
            "Only one discount is given. An entry in the next fields replaces it.", _rule_choices(discounts)),
        FormField(
            "discount-label", "Discount name", discount.get("label", ""), most=120, fault=faults.get("/discount/label", "")
        ),
        FormField("discount-percent", "Discount in percent", percent, "number", faults.get("/discount/percent", "")),
        FormField("discount-amount", "Discount amount, before tax", amount, "number", faults.get("/discount/amount", "")),
        FormField("site_visits", "Visits", visits, "number", faults.get("/site_visits", ""),
        "Leave empty to use the price rules."),
        FormField("pool_runs", "Runs beside a pool", ", ".join(around.get("pool_runs", [])), most=400,
            fault=faults.get("/site_conditions/pool_runs", ""), hint="Names of the runs, such as A, C. Leave empty if none."),
        FormField("height_limit_mm", "Local height limit, mm", str(around.get("height_limit_mm", "")), "number",
            faults.get("/site_conditions/height_limit_mm", ""), "Leave empty if not checked."),
        FormField("near_driveway", "Driveway or street corner nearby", "1" if around.get("near_driveway") else "", "check"),
        FormField(
            "validity_days", "Valid for (days)", str(setup.get("validity_days", "")), "number", faults.get("/validity_days", "")
        ),
        FormField(
            "introduction", "Introduction", setup.get("introduction", ""), "area", faults.get("/introduction", ""),
            most=5_000, wide=True,
        ),
        FormField("terms", "Terms", setup.get("terms", ""), "area", faults.get("/terms", ""),
            "Leave empty to use your standard terms.", most=20_000, wide=True),
    ]  # fmt: skip
    return {box.name.replace("-", "_"): box for box in boxes}


def _rule_choices(discounts: Iterable[DiscountRule]) -> tuple[tuple[str, str], ...]:
    rules = tuple((rule.key, f"{rule.label}, {as_shown(f'{rule.percent.normalize():f}')} %") for rule in discounts)
    return (("", "Automatic: the largest that applies"), *rules, (NO_DISCOUNT, "No discount"))


def shares_of(setup: Mapping[str, Any], parties: list[str]) -> dict[str, str]:
    """Return each party's default cost share."""
    named = setup.get("default_shares") or {}
    return {key: as_shown(named.get(key, "0" if named else "")) for key in parties}


def read_draft(posted: QueryDict, stored: Mapping[str, Any]) -> Setup:
    """Return the submitted form as a setup that is not validated yet."""
    setup: Setup = {name: stored[name] for name in ("hire", "supply_on") if name in stored}
    for name in ROWS:
        rows = _rows(name, posted, stored)
        if rows:
            setup[name] = rows
    _parties(setup, posted)
    discount = {part: posted.get(f"discount-{part}", "").strip() for part in ("rule", "label", "percent", "amount")}
    if discount["rule"] and not (discount["percent"] or discount["amount"]):
        setup["discount"] = {"rule": discount["rule"]}
    if discount["percent"] or discount["amount"]:
        readers = (("percent", read_percent), ("amount", typed_number))
        kept = {part: reader(discount[part]) for part, reader in readers if discount[part]}
        setup["discount"] = {"label": discount["label"] or "Discount", **kept}
    for name in ("introduction", "terms"):
        if text := posted.get(name, "").strip().replace("\r\n", "\n"):
            setup[name] = text
    if visits := posted.get("site_visits", "").strip():
        setup["site_visits"] = typed_number(visits)
    if days := posted.get("validity_days", "").strip():
        setup["validity_days"] = _whole(days)
    if around := _site_conditions(posted):
        setup["site_conditions"] = around
    return setup


def _site_conditions(posted: QueryDict) -> Setup:
    around: Setup = {}
    if pool := [name for name in re.split(r"[\s,;]+", posted.get("pool_runs", "")) if name]:
        around["pool_runs"] = pool
    if height := posted.get("height_limit_mm", "").strip():
        around["height_limit_mm"] = read_length(height, HEIGHT)
    if posted.get("near_driveway"):
        around["near_driveway"] = True
    return around


def _rows(name: str, posted: QueryDict, stored: Mapping[str, Any]) -> list[Setup]:
    rows: list[Setup] = []
    for place in range(MAX[name] + 2):
        typed = {column.name: posted.get(f"{name}-{place}-{column.name}", "").strip() for column in ROWS[name]}
        label = typed.get("label", typed.get("name", ""))
        others = [
            value
            for key, value in typed.items()
            if key not in ("key", "place", "milestone", "must_accept", "form", "licensed_removal")
        ]
        if not any(others):
            continue
        row = {**_stored_values(name, typed, stored), **_read(name, typed)}
        if "key" in typed:
            row["key"] = typed["key"] or _key(label, {item["key"] for item in rows})
        rows.append(row)
    return rows


def _stored_values(name: str, typed: Mapping[str, str], stored: Mapping[str, Any]) -> Setup:
    """Return the stored values of a row that have no field on the page."""
    known = {column.name for column in ROWS[name]}
    for place, row in enumerate(stored.get(name, [])):
        if (typed.get("key") and row.get("key") == typed["key"]) or typed.get("place") == str(place):
            return {key: value for key, value in row.items() if key not in known}
    return {}


def _read(name: str, typed: Mapping[str, str]) -> Setup:
    row: Setup = {}
    for column in ROWS[name]:
        value = typed[column.name]
        if column.kind == "check":
            row[column.name] = bool(value)
        elif column.kind != "hidden" and value:
            row[column.name] = _READERS.get(column.name, typed_number)(value) if column.kind == "number" else value
    return row


def _parties(setup: Setup, posted: QueryDict) -> None:
    keys = [row["key"] for row in setup.get("parties", [])]
    for row in setup.get("parties", []):
        row["chooses_options"] = posted.get("chooses_options", "") == row["key"]
    texts = {key: text for key in keys if (text := posted.get(f"share-{key}", "").strip())}
    shares = _shares(texts, keys)
    if any(share != "0" for share in shares.values()):
        setup["default_shares"] = shares


def _shares(texts: Mapping[str, str], keys: Sequence[str]) -> dict[str, str]:
    """Return shares by party; a split of everything, such as 60/40 or half each, may be typed in one field alone."""
    alone = next(iter(texts.values())) if len(texts) == 1 and len(keys) > 1 else ""
    if (split := read_split(alone, keys)) is not None:
        return split
    return {key: read_share(text) or text for key, text in texts.items()}


def _whole(text: str) -> int | str:
    tight = typed_number(text)
    return int(tight) if tight.isascii() and tight.isdigit() and len(tight) < 9 else text


def _key(label: str, taken: set[str]) -> str:
    word = slugify(label)[:36].strip("-") or "row"
    return next(
        key for key in (word, *(f"{word}-{count}" for count in range(2, 200))) if key not in taken and key != "base"
    )
