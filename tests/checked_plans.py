"""No cutting plan is made in any test, by a command, a page or an order, that the independent checker has not found sound.

A search is pure, so the service's two callers of many plans get an equal demand's plan again without another search.
"""

from __future__ import annotations

import sys
from functools import lru_cache, wraps
from typing import Any

from fencing import cutting
from fencing.buying import buy, cut_lengths
from fencing.cutting.plan_checker import check

_search = cutting.plan_cuts


@wraps(_search)
def checked(*arguments: Any, **options: Any) -> cutting.CutPlan:
    """``plan_cuts``, whose answer is not given out unchecked."""
    plan = _search(*arguments, **options)
    if faults := check(plan).faults:
        raise AssertionError(f"the checker refuses a plan: {'; '.join(faults)}")
    return plan


remembered = lru_cache(maxsize=10_000)(checked)


def check_every_plan() -> None:
    """Puts the checked search in place of the search, in what is loaded and in what will be."""
    for module in list(sys.modules.values()):
        if module is not sys.modules[__name__] and getattr(module, "plan_cuts", None) is _search:
            module.plan_cuts = checked  # type: ignore[attr-defined]  # every module that takes the search by its name
    for caller in (buy, cut_lengths):
        caller.plan_cuts = remembered  # type: ignore[attr-defined]  # as above
