"""Cutting plans: the cheapest bars to buy and how to cut them, with a proof of the lowest possible cost."""

from fencing.cutting.demand_reader import read_demand, read_demand_document
from fencing.cutting.plan_model import (
    CONSOLIDATED,
    INTERACTIVE,
    ORDER,
    Budget,
    CutBar,
    CutPlan,
    Demand,
    Status,
    StockLength,
)
from fencing.cutting.planner import plan_cuts

__all__ = [
    "CONSOLIDATED",
    "INTERACTIVE",
    "ORDER",
    "Budget",
    "CutBar",
    "CutPlan",
    "Demand",
    "Status",
    "StockLength",
    "plan_cuts",
    "read_demand",
    "read_demand_document",
]
