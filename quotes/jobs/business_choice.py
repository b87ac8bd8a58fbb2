"""Choice of the business for a command, if the database has several."""

from __future__ import annotations

from typing import TextIO

from django.db import DatabaseError
from django.db.models import Q

from catalogue.engine.engine_input import market as market_of
from catalogue.engine.engine_input import price_list, system_of
from catalogue.models import FenceSystem
from catalogue.queries import system_version
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.system import System
from fencing.quantities.comparison_prices import PriceList
from shared.business.models import Business

HINT = "run manage.py migrate and start_business, or make demo; takeoff alone also takes --system SYSTEM.json"


def catalogued(code: str, named: str | None, err: TextIO) -> tuple[System, PriceList]:
    """Return the fence system with this code and its comparison prices."""
    business = choose_business(code, named, err)
    system = system_of(system_version(business, code), market_of(business))
    return system, price_list(business, system)


def choose_business(code: str, named: str | None, err: TextIO) -> Business:
    """Return the named business. Without a name, return the first one with this fence system, with a notice if there are more."""
    try:
        found = list(Business.objects.order_by("id"))
    except DatabaseError:
        raise InvalidDocument([Fault("/system", "system.none", f"the database is not set up; {HINT}")]) from None
    if not found:
        raise InvalidDocument([Fault("/system", "system.none", f"there is no business in the database; {HINT}")])
    if named is not None:
        return _find_business(named)
    owners = FenceSystem.unscoped.filter(code=code).values("business")  # unscoped: which businesses have it, no more
    serving = list(Business.objects.filter(pk__in=owners).order_by("id"))
    if len(serving) > 1:
        others = ", ".join(item.name for item in serving[1:6])
        err.write(f"taken off for {serving[0].name}; {code} is also sold by {others}: choose with --business NAME\n")
    return (serving or found)[0]


def _find_business(named: str) -> Business:
    chosen = Business.objects.filter(Q(ref=named) | Q(name__iexact=named)).order_by("id")[:2]
    if len(chosen) == 1:
        return chosen[0]
    names = ", ".join(f"{item.name} ({item.ref})" for item in Business.objects.order_by("id")[:10])
    text = f"{named[:80]!r} is {'not a business' if not chosen else 'the name of several businesses'} here. Use one of: {names}"
    raise InvalidDocument([Fault("", "business.unknown", text)])
