"""That the watch over every plan of the tests is set, and bites."""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module

import pytest

from fencing.cutting import Demand, StockLength, plan_cuts
from tests import checked_plans

DEMAND = Demand(3, ((2238, 8),), (StockLength(6000, 3120),))
SEARCHERS = (
    "fencing.buying.cut_lengths",
    "fencing.buying.buy",
    "catalogue.engine.cutting_plans",
    "catalogue.engine.cutplan_command",
)


@pytest.mark.parametrize("module", SEARCHERS)
def test_whoever_searches_is_watched(module: str, monkeypatch: pytest.MonkeyPatch) -> None:
    plan = plan_cuts(DEMAND)
    monkeypatch.setattr(checked_plans, "_search", lambda _: replace(plan, cost=plan.cost - 1))
    with pytest.raises(AssertionError, match="the checker refuses a plan"):
        vars(import_module(module))["plan_cuts"](DEMAND)
