"""Mirror and independence: the engine and the naive counter, on five hundred random jobs."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal

import pytest

from fencing.model.fence import Bay, HungGate, Post, Quantity
from fencing.quantities.take_off import TakeOff, take_off
from tests.fencing.naive.counter import Count, PieceKey, count
from tests.fencing.naive.remarks import Remark, gaps, remarks, slope
from tests.fencing.naive.standing import StandingBay, StandingGate, StandingPost, StandingRun
from tests.fencing.naive.sums import ground_at, half_up
from tests.fencing.strategies import random_jobs

SEED = 20_26
PER_LOT = 50

CUT_FROM_STOCK = {
    "post.channel",
    "post.square",
    "post.extension",
    "rail",
    "sheet",
    "lattice",
    "gate.stile",
    "gate.rail",
}

PLACES = {
    "caps": "caps",
    "half caps": "caps",
    "channels to square posts": "stitching",
    "pairs stitched": "stitching",
    "joins to standing posts": "stitching",
    "extensions stitched in pairs": "stitching",
    "feet of extensions": "extension feet",
    "foot of retrofitted lattice": "lattice",
    "lattice along the middle rail": "lattice",
    "lattice along a gate's middle rail": "lattice",
    "rail ends": "rail ends",
    "gate frame joints": "gate joints",
    "hinges": "hinges",
}
"""The engine's words for a place -> the naive counter's."""

LEFT_TO_OTHER_TESTS = {"gate.swing", "corner.levels"}


@pytest.mark.parametrize("lot", range(10))
def test_the_naive_counter_agrees_on_five_hundred_random_jobs(lot: int) -> None:
    for number, job in enumerate(random_jobs(PER_LOT, SEED + lot)):
        counted, taken = count(job.measure, job.system), take_off(job.measure, job.system)
        label = f"job {number} of lot {lot}"
        assert engine_pieces(taken) == dict(counted.pieces), label
        assert engine_things(taken) == {**dict(counted.things), **pieces_as_things(counted)}, label
        assert engine_runs(taken) == naive_runs(counted), label
        assert engine_screws(taken) == dict(+counted.screws), label
        assert_same_concrete(taken, counted, label)
        assert engine_remarks(taken) == remarks(job.measure, job.system, counted), label


def engine_screws(taken: TakeOff) -> dict[str, int]:
    """Screws place by place, whatever their finish."""
    found: Counter[str] = Counter()
    for quantity in taken.quantities:
        if quantity.role == "screw":
            for line in quantity.breakdown:
                found[PLACES[line.element_type]] += int(line.net)
    return dict(found)


def engine_remarks(taken: TakeOff) -> set[Remark]:
    return {(notice.code, notice.element) for notice in taken.notices if notice.code not in LEFT_TO_OTHER_TESTS}


def engine_pieces(taken: TakeOff) -> dict[PieceKey, int]:
    found: Counter[PieceKey] = Counter()
    for piece in taken.pieces:
        found[piece.role, piece.finish, piece.length, piece.width] += piece.count
    return dict(found)


def engine_things(taken: TakeOff) -> dict[tuple[str, str | None], int]:
    found: Counter[tuple[str, str | None]] = Counter()
    for quantity in taken.quantities:
        if quantity.role.startswith("concrete"):
            continue
        assert quantity.net == int(quantity.net)
        found[quantity.role, quantity.finish] += int(quantity.net)
    return dict(found)


def pieces_as_things(counted: Count) -> dict[tuple[str, str | None], int]:
    found: Counter[tuple[str, str | None]] = Counter()
    for (role, finish, _, _), pieces in counted.pieces.items():
        assert role in CUT_FROM_STOCK
        found[role, finish] += pieces
    return dict(found)


def engine_runs(taken: TakeOff) -> list[object]:
    return [
        [
            run.id,
            [engine_post(post) for post in run.posts],
            [engine_bay(bay) for bay in run.bays],
            [engine_gate(gate) for gate in run.gates],
        ]
        for run in taken.runs
    ]


def naive_runs(counted: Count) -> list[object]:
    return [
        [
            here.run.id,
            [naive_post(counted, post, here.run.id) for post in here.posts],
            [naive_bay(bay, here) for bay in here.bays],
            [naive_gate(counted, gate) for gate in here.gates],
        ]
        for here in counted.runs
    ]


def engine_post(post: Post) -> list[object]:
    members = [
        (member.section, member.bay, member.top, member.length, member.stock, member.embedment)
        for member in sorted(post.uprights, key=lambda item: (item.section, item.bay or ""))
    ]
    return [post.id, post.at, post.kind, post.ground, post.hole_depth, members]


def naive_post(counted: Count, post: StandingPost, run: str) -> list[object]:
    members = [
        (member.section, member.bay, member.top, member.length, member.stock, member.embedment)
        for member in sorted(counted.members[post.id], key=lambda item: (item.section, item.bay or ""))
    ]
    return [post.id, post.at[run], post.kind, post.ground, counted.hole_depth, members]


def engine_bay(bay: Bay) -> list[object]:
    return [
        bay.id,
        (bay.start, bay.end),
        (bay.base, bay.top, bay.step, bay.ground, (bay.gap_min, bay.gap_max)),
        (bay.form, bay.tapered, bay.lattice_height, round(bay.slope, 6)),
        sorted((rail.position, rail.length) for rail in bay.rails),
        [(sheet.at, sheet.width, sheet.blank, sheet.left, sheet.right, sheet.foot) for sheet in bay.sheets],
        [(item.length, item.height) for item in bay.lattice],
    ]


def naive_bay(bay: StandingBay, here: StandingRun) -> list[object]:
    ground = (half_up(ground_at(here.points, bay.start)), half_up(ground_at(here.points, bay.end)))
    drops = (bay.top[0] - bay.base[0], bay.top[1] - bay.base[1])
    return [
        bay.id,
        (bay.start, bay.end),
        (bay.base, bay.top, bay.step, ground, gaps(bay, here)),
        (bay.run.form, drops != (bay.run.height, bay.run.height), bay.run.lattice, round(slope(bay), 6)),
        sorted(bay.rails()),
        [(sheet.left_edge, sheet.width, sheet.blank, sheet.left, sheet.right, sheet.foot) for sheet in bay.sheets],
        [(bay.top_rail, bay.run.lattice)] if bay.run.lattice else [],
    ]


def engine_gate(hung: HungGate) -> list[object]:
    leaves = [
        (
            leaf.width,
            leaf.height,
            leaf.diagonal,
            leaf.hinges,
            leaf.clip,
            [(sheet.blank, sheet.width) for sheet in leaf.sheets],
        )
        for leaf in hung.leaves
    ]
    return [hung.id, hung.start, hung.base, hung.top, list(hung.posts), leaves]


def naive_gate(counted: Count, hung: StandingGate) -> list[object]:
    leaves = [
        (leaf.width, leaf.height, leaf.diagonal, leaf.hinges, leaf.clip, leaf.sheets)
        for leaf in counted.leaves[hung.gate.id]
    ]
    return [hung.gate.id, hung.gate.start, hung.base, hung.base + hung.gate.height, hung.posts, leaves]


def concrete_of(taken: TakeOff) -> Quantity | None:
    return next((quantity for quantity in taken.quantities if quantity.role.startswith("concrete")), None)


def assert_same_concrete(taken: TakeOff, counted: Count, label: str) -> None:
    """Holes exactly; volumes to half a litre for each printed row, because rows are rounded to litres."""
    row = concrete_of(taken)
    assert taken.concrete.holes == counted.holes, label
    rows = len(row.breakdown) if row else 0
    exact = Decimal(counted.concrete_mm3) / 1_000_000_000
    assert abs(taken.concrete.net - exact) <= Decimal("0.0005") * max(1, rows), label
