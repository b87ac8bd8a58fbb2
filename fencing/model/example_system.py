"""Example fence system with round sizes and a two-bay job, used in doctests.

Between two pairs of channels a rail is 2400 - 5 - 5 = 2390, which three sheets fill exactly: 3 x 780 + 50. At a square
post a rail starts 40 from the centre: 2400 - 40 - 5 = 2355. That is 35 less, more than the lap allowance of 20, so the
third sheet is ripped to 795.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from fencing.model.measure import Form, Measure, MeasureBasis, Run, StrengthRequest
from fencing.model.system import (
    Allowance,
    GateRules,
    Hole,
    HoleShape,
    LatticeStock,
    PostSection,
    Rails,
    Screws,
    Sheets,
    SheetSupply,
    System,
)

ROUND_SIZES = System(
    code="round",
    label="Sizes for a pencil",
    pitch=2400,
    closing_bay_min=400,
    ground_gap=50,
    ground_gap_max=250,
    step_max=300,
    rake_max=Decimal(12),
    hole=Hole(650, 300, HoleShape.STRAIGHT, 300, bedding=50, crown=30),
    channel=PostSection(face=30, setback=5, embedment_min=600, stock=(2100, 2400, 2700, 3000), steel_area=300),
    square=PostSection(face=60, setback=40, embedment_min=600, stock=(2100, 2400, 2700, 3000), steel_area=500),
    rails=Rails(stock=(2390, 4800), kerf=3, seat=20),
    sheets=Sheets(cover=780, lap=50, slack=20, deduction=10, supply=SheetSupply.STOCK, stock=(1490, 1790, 2090)),
    lattice=LatticeStock(heights=(300,), stock=(2390,), raked=False),
    screws=Screws(
        pair_from_top=100, pair_above_ground=100, pair_spacing_max=300, per_rail_end=2, per_lattice=3, per_cap=2
    ),
    gates=GateRules(
        clearance_single=24,
        clearance_wide=24,
        clearance_double=36,
        stile=40,
        leaf_max={"single": 1200, "wide": 1800, "double": 1500},
        clip_below_sheet_top=10,
        notch=(6, 12),
        lattice_notch=(12, 40),
        screws_per_joint=4,
        hinge_screws=6,
        hinge_from_top=200,
        hinge_from_bottom=200,
    ),
    retrofit_overlap=40,
    allowances={"screw": Allowance(percent=Decimal(5)), "concrete": Allowance(percent=Decimal(10))},
)

TWO_BAYS = Measure("Two bays", "round", (Run("A", 4800, 1800, basis=MeasureBasis.CENTRES, form=Form.LEVEL),))
"""A level run of 4800 mm between two free ends, 1800 high: posts at 0 (square), 2400 (line) and 4800 (square)."""

IN_WIND = replace(TWO_BAYS, strength=StrengthRequest("given_pressure", {"pressure_kpa": "0.60", "soil_class": "clay"}))
"""The same job with a net pressure of 600 Pa, twice that at a free end, on clay as in the building code's table."""
