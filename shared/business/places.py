"""Choices of time zones and locales. Those of the business's country come first."""

from __future__ import annotations

from functools import cache
from zoneinfo import available_timezones

from babel import Locale
from babel.core import get_global
from babel.localedata import locale_identifiers

Choice = tuple[str, str]


@cache
def _zones() -> tuple[Choice, ...]:
    """Return pairs of time zone and country, ordered by name."""
    known = available_timezones()
    countries = get_global("zone_territories")
    return tuple(sorted((zone, str(country)) for zone, country in countries.items() if zone in known))


@cache
def _locales() -> tuple[tuple[str, str, str], ...]:
    """Return locales with a country: code, country and name in English."""
    english, found = Locale("en"), list[tuple[str, str, str]]()
    for code in locale_identifiers():
        language, _, country = code.partition("_")
        if language in english.languages and len(country) == 2 and country in english.territories:
            found.append((code, country, f"{english.languages[language]} ({english.territories[country]})"))
    return tuple(sorted(found, key=lambda item: item[2]))


def zones_of(country: str) -> list[str]:
    """Return the time zones of a country.

    >>> zones_of("NZ"), zones_of("IE")
    (['Pacific/Auckland', 'Pacific/Chatham'], ['Europe/Dublin'])
    """
    return [zone for zone, zone_country in _zones() if zone_country == country]


def usual_locale(country: str) -> str:
    """Return the English locale of a country, in which pages show figures and dates.

    >>> usual_locale("NZ"), usual_locale("DE"), usual_locale("AQ")
    ('en_NZ', 'en_DE', 'en')
    """
    return f"en_{country}" if any(code == f"en_{country}" for code, *_ in _locales()) else "en"


def zone_choices(country: str, current: str) -> tuple[Choice, ...]:
    """Return all time zones and the current one, those of the country first."""
    own = zones_of(country)
    others = [zone for zone, _ in _zones() if zone not in own]
    zones = dict.fromkeys([*own, *others, "UTC", current])
    return tuple((zone, zone.replace("_", " ")) for zone in zones)


def locale_choices(country: str, current: str) -> tuple[Choice, ...]:
    """Return all locales and the current one with their names, those of the country first, and English before others."""
    own = [locale for locale in _locales() if locale[1] == country]
    own.sort(key=lambda item: not item[0].startswith("en_"))
    choices = {code: name for code, _, name in (*own, *_locales())}
    choices.setdefault("en", "English")
    choices.setdefault(current, current)
    return tuple(choices.items())
