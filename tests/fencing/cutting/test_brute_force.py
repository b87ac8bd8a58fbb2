"""Two thousand tiny random demands against every way of cutting them."""

from __future__ import annotations

import pytest

from fencing.cutting import Budget, Status, plan_cuts
from fencing.cutting.plan_checker import check
from tests.fencing.cutting.orders import cost_or_none, least_cost, tiny


@pytest.mark.parametrize("block", range(10))
def test_a_plan_costs_what_trying_everything_costs(block: int) -> None:
    for seed in range(block * 200, block * 200 + 200):
        asked = tiny(seed)
        plan = plan_cuts(asked, Budget(polish=seed % 2 == 0))
        assert plan.status is not Status.GAP, seed
        assert check(plan).faults == (), seed
        assert cost_or_none(plan) == least_cost(asked), seed
