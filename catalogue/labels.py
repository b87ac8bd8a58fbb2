"""Names people read for the codes a catalogue is written in: roles, units, finishes, kinds and keys of price rules."""

from __future__ import annotations

from collections.abc import Mapping

from catalogue import queries
from catalogue.rules.codes import SALE_UNITS
from fencing.model.roles import ROLES, name_role
from shared.business.models import Business

KINDS: Mapping[str, str] = {
    "markup": "Markup", "labour": "Labour rate", "hire": "Hire, per day", "disposal": "Tipping", "discount": "Discount",
    "tax": "Tax rate", "tax_code_for": "Tax code", "account": "Account", "payment": "Instalment", "setting": "Setting",
    "factor": "Factor",
}  # fmt: skip
_ACTIVITIES = {
    "set_out": "Setting out, per post", "dig": "Digging, per hole", "dig_deeper": "Digging, each further 100 mm",
    "erect": "Erecting, per metre", "rake": "Raked bay, each",
    "gate": "Gate, each", "retrofit": "Retrofitted bay, each", "cut": "Saw cut of a rail, each", "remove": "Removal, per metre",
    "spoil": "Carting spoil, per cubic metre", "travel": "Visit, each",
}  # fmt: skip
_SETTINGS = {
    "minimum_job_charge": "Minimum job charge", "rounding_step": "Round prices to", "rounding": "Price rounding",
    "tax_line_digits": "Digits of tax on a line", "tax_rounding": "Tax rounding", "travel_visits": "Visits to a job",
    "rounding_difference": "Rounding difference goes to",
}  # fmt: skip
_CHOICES: Mapping[str, Mapping[str, str]] = {
    "markup": {"markup": "on cost", "margin": "of the price"},
    "payment": {
        "acceptance": "on acceptance", "start": "when work begins", "posts_set": "when the posts are set",
        "completion": "on completion",
    },
    "discount": {
        "picked": "when picked on a quote", "returning": "a customer who accepted a job before",
        "shared": "two parties or more pay",
    },
    "tax": {
        "S": "standard rate", "Z": "zero rate", "E": "exempt", "AE": "reverse charge", "K": "supply within a union",
        "G": "export", "O": "outside of tax",
    },
    "labour": {"hazardous": "hazardous: licensed contractor"},
    "setting": {
        "half_up": "half up", "half_down": "half down", "down": "down", "fairest": "lowest total so far",
        "first": "the first party", "last": "the last party", "largest": "largest share",
    },
}  # fmt: skip


def role_word(role: str) -> str:
    """Return the name of a role, in the singular.

    >>> role_word("post.channel"), role_word("concrete.bag"), role_word("unknown")
    ('Post channel', 'Concrete in bags', 'unknown')
    """
    words = name_role(role, 1)
    return words[:1].upper() + words[1:] if role in ROLES else role


def unit_word(code: str) -> str:
    """Return the name of a sale unit.

    >>> unit_word("MTR"), unit_word("C62"), unit_word("??")
    ('metre', 'one', '??')
    """
    return SALE_UNITS.get(code, code)


def key_word(kind: str, key: str) -> str:
    """Return the label of a price rule's key.

    >>> key_word("labour", "dig.clay"), key_word("labour", "erect.1800"), key_word("setting", "rounding_difference")
    ('Digging, per hole: clay', 'Erecting, per metre: up to 1800 mm', 'Rounding difference goes to')
    >>> key_word("markup", "cap"), key_word("tax_code_for", ""), key_word("hire", "auger")
    ('Post caps and square post caps', 'All that is sold', 'auger')
    """
    activity, _, finer = key.partition(".")
    if kind == "labour" and activity in _ACTIVITIES:
        more = f"up to {finer} mm" if activity == "erect" else finer
        return _ACTIVITIES[activity] + (f": {more}" if finer else "")
    if kind == "factor":
        return _factor_word(activity, finer)
    if kind == "setting":
        return _SETTINGS.get(key, key)
    if kind == "tax_code_for" and not key:
        return "All that is sold"
    return _part_word(key) if kind in ("markup", "account") else key


def _factor_word(name: str, finer: str) -> str:
    """
    >>> _factor_word("diameter", "300"), _factor_word("bulking", "")
    ('Holes up to 300 mm across', 'Spoil once it is dug')
    """
    if name == "diameter":
        return f"Holes up to {finer} mm across"
    return f"Spoil once it is dug{': ' if finer else ''}{finer}"


def _part_word(key: str) -> str:
    if key in ROLES:
        return role_word(key)
    family = [role.plural for role in ROLES.values() if role.family == key]
    return " and ".join(family).capitalize() if 0 < len(family) < 3 else f"{key.capitalize()}"


def choice_word(kind: str, choice: str) -> str:
    """Return the label of a price rule's choice.

    >>> choice_word("payment", "posts_set"), choice_word("account", "4100"), choice_word("labour", "700")
    ('when the posts are set', '4100', 'up to 700 mm deep')
    """
    if kind == "labour" and choice.isdigit():
        return f"up to {choice} mm deep"
    return _CHOICES.get(kind, {}).get(choice, choice)


def finish_words(business: Business) -> dict[str, str]:
    """Return the names of a business's finishes by code."""
    return dict(queries.finishes(business).order_by("name").values_list("code", "name"))


def supplier_words(business: Business) -> dict[str, str]:
    """Return the names of a business's suppliers by code."""
    return dict(queries.suppliers(business).order_by("name").values_list("code", "name"))
