"""Lines of the price rules about work on site: what their keys, rates and choices may be."""

from __future__ import annotations

from decimal import Decimal

from catalogue.rules.site_words import HAZARDOUS

ACTIVITIES = {
    "set_out": "C62",
    "dig": "C62",
    "dig_deeper": "C62",
    "erect": "MTR",
    "rake": "C62",
    "gate": "C62",
    "retrofit": "C62",
    "cut": "C62",
    "remove": "MTR",
    "spoil": "MTQ",
    "travel": "C62",
}
"""Labour by activity and the unit its rate is for: post, hole, further 100 mm of a hole, metre, raked bay, gate, retrofitted
bay, sawn rail, metre of old fence, cubic metre, visit. ``dig.clay``, ``erect.1800`` (heights up to it), ``gate.double`` are
finer. The choice of a ``dig`` rate is the depth it includes [mm]; that of ``remove.asbestos`` may mark it as hazardous."""

Faults = list[tuple[str, str]]
_DEPTH = range(100, 3001)
_DIAMETER = range(50, 2001)


def rate_faults(amount: Decimal | None) -> Faults:
    """Return what is wrong with a rate."""
    return [("value", "Enter an amount that is not negative.")] if amount is None or amount < 0 else []


def labour_faults(key: str, amount: Decimal | None, choice: str) -> Faults:
    """Return what is wrong with a labour rate: (field, what to enter)."""
    activity, _, finer = key.partition(".")
    faults = _choice_faults(activity, finer, choice)
    if activity == "remove" and choice == HAZARDOUS:
        if amount is not None:
            faults.append(("value", "Leave this empty: a licensed contractor prices a hazardous kind on each quote."))
    else:
        faults += rate_faults(amount)
    if activity not in ACTIVITIES:
        faults.append(("applies_to", f"Begin with one of: {', '.join(ACTIVITIES)}."))
    if activity == "erect" and finer and not _is_whole(finer):
        faults.append(("applies_to", "Erecting goes by height: erect.1800 is for heights up to 1800 mm."))
    return faults


def _choice_faults(activity: str, finer: str, choice: str) -> Faults:
    if not choice:
        return []
    if activity == "dig":
        if _is_whole(choice) and int(choice) in _DEPTH:
            return []
        return [("option", "Enter the depth the rate includes, in mm from 100 to 3000. Leave it empty for any depth.")]
    if activity == "remove" and finer:
        text = f"Enter {HAZARDOUS} for a kind only a licensed contractor may take down; otherwise leave this empty."
        return [] if choice == HAZARDOUS else [("option", text)]
    return [("option", "Leave this empty.")]


def factor_faults(key: str, amount: Decimal | None, choice: str) -> Faults:
    """Return what is wrong with a factor: (field, what to enter)."""
    faults: Faults = []
    if amount is None or not Decimal("0.1") <= amount <= 10:
        faults.append(("value", "Enter a factor from 0.1 to 10, such as 1.25."))
    if choice:
        faults.append(("option", "Leave this empty."))
    name, _, finer = key.partition(".")
    if name == "diameter" and not (_is_whole(finer) and int(finer) in _DIAMETER):
        faults.append(("applies_to", "Enter the diameter up to which the factor holds, in mm: diameter.300."))
    if name not in ("diameter", "bulking"):
        faults.append(("applies_to", "Enter diameter.300 (holes up to 300 mm across), bulking, or bulking.clay."))
    return faults


def _is_whole(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 6
