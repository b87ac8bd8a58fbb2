"""Check values known on site, by a system with the sizes they apply to. Every expected value here: common practice."""

from __future__ import annotations

from decimal import Decimal

import pytest

from fencing.model.fence import BuiltRun, HungGate
from fencing.model.measure import Form, Gate, GateKind, Measure, MeasureBasis, Retrofit, Run, Station, Taper, Terminal
from fencing.model.system import (
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
from fencing.quantities.take_off import TakeOff, take_off

PITCH = 2350

SYSTEM = System(
    code="check",
    label="Sizes the check values apply to",
    pitch=PITCH,
    closing_bay_min=400,
    ground_gap=50,
    ground_gap_max=400,
    step_max=400,
    rake_max=Decimal(15),
    hole=Hole(600, 250, HoleShape.STRAIGHT, 250, bedding=50, crown=0),
    channel=PostSection(face=34, setback=5, embedment_min=550, stock=(1800, 2100, 2400, 2700), steel_area=300),
    square=PostSection(face=60, setback=35, embedment_min=550, stock=(1800, 2100, 2400, 2700), steel_area=500),
    rails=Rails(stock=(2340,), kerf=3, seat=15),
    sheets=Sheets(cover=770, lap=30, slack=0, deduction=10, supply=SheetSupply.STOCK, stock=(1190, 1490, 1790)),
    lattice=LatticeStock(heights=(300,), stock=(2340,), raked=False),
    screws=Screws(
        pair_from_top=100,
        pair_above_ground=100,
        pair_spacing_max=300,
        per_rail_end=2,
        per_lattice=3,
        per_cap=2,
    ),
    gates=GateRules(
        clearance_single=20,
        clearance_wide=20,
        clearance_double=30,
        stile=40,
        leaf_max={"single": 1200, "wide": 1800, "double": 1800},
        clip_below_sheet_top=12,
        notch=(5, 10),
        lattice_notch=(10, 35),
        screws_per_joint=4,  # at 20 and 170 from the joint, on both faces
        hinge_screws=4,
        hinge_from_top=150,
        hinge_from_bottom=200,
    ),
    retrofit_overlap=40,
)


def taken_off(*runs: Run, retrofits: tuple[Retrofit, ...] = ()) -> TakeOff:
    return take_off(Measure("A check value", "check", runs, retrofits), SYSTEM)


def one_run(length: int, height: int = 1500, lattice: int = 0, form: Form = Form.LEVEL, **more: object) -> Run:
    terminals = {"start": Terminal.CORNER, "end": Terminal.CORNER}
    return Run("A", length, height, MeasureBasis.CENTRES, lattice=lattice, form=form, **{**terminals, **more})  # type: ignore[arg-type]


def built(run: Run) -> BuiltRun:
    return taken_off(run).runs[0]


def hung(**gate: object) -> HungGate:
    asked = Gate(**{"id": "A-G1", "start": 2000, "opening": 1000, "kind": GateKind.SINGLE, "height": 1500, **gate})  # type: ignore[arg-type]
    return built(one_run(9000, gates=(asked,))).gates[0]


def net(taken: TakeOff, role: str) -> int:
    return sum(int(quantity.net) for quantity in taken.quantities if quantity.role == role)


def screws_at(taken: TakeOff, place: str) -> int:
    return sum(
        int(line.net)
        for quantity in taken.quantities
        if quantity.role == "screw"
        for line in quantity.breakdown
        if line.element_type == place
    )


def lengths(taken: TakeOff, role: str) -> list[int]:
    return sorted(piece.length for piece in taken.pieces if piece.role == role for _ in range(piece.count))


# -- level


def test_holes_stand_a_pitch_apart_from_the_corner() -> None:
    assert [post.at for post in built(one_run(4 * PITCH)).posts] == [0, 2350, 4700, 7050, 9400]


def test_a_1500_fence_takes_2100_posts_with_550_below_ground() -> None:
    for post in built(one_run(2 * PITCH)).posts:
        for member in post.uprights:
            assert (member.length, member.stock, member.embedment) == (2100, 2100, 550)
            assert member.top - post.ground == 1500 + 50


def test_the_bottom_rail_is_50_above_the_ground() -> None:
    assert all(bay.base == (50, 50) and bay.gap_min == 50 for bay in built(one_run(2 * PITCH)).bays)


def test_a_1500_pair_is_stitched_with_six_screws_in_five_equal_spaces_of_270() -> None:
    taken = taken_off(one_run(2 * PITCH))  # corner, pair, corner
    from_first_to_last = 1550 - 100 - 100
    assert from_first_to_last == 5 * 270
    assert screws_at(taken, "pairs stitched") == 6


def test_two_screws_hold_each_rail_end() -> None:
    assert screws_at(taken_off(one_run(3 * PITCH)), "rail ends") == 3 * 2 * 2 * 2  # bays, rails, ends, screws


def test_three_sheets_stand_in_a_bay_the_two_at_its_ends_against_the_posts() -> None:
    bay = built(one_run(3 * PITCH)).bays[1]
    assert [sheet.width for sheet in bay.sheets] == [800, 800, 800]
    first, middle, last = bay.sheets
    assert first.at == 5
    assert last.at + last.width == PITCH - 5
    assert first.at + first.width - middle.at == middle.at + middle.width - last.at == 30


# -- stepped


def test_the_fall_is_shared_by_the_panels_in_equal_steps() -> None:
    fall, panels = 600, 4
    run = built(one_run(panels * PITCH, form=Form.STEPPED, levels=(Station(0, 600), Station(panels * PITCH, 0))))
    assert [bay.step for bay in run.bays] == [0, 150, 150, 150]
    assert fall / panels == 150


@pytest.mark.parametrize("high_end", ["start", "end"])
def test_stepping_starts_at_the_high_end_50_above_the_high_side_of_each_panel(high_end: str) -> None:
    levels = (600, 0) if high_end == "start" else (0, 600)
    run = built(one_run(4 * PITCH, form=Form.STEPPED, levels=(Station(0, levels[0]), Station(4 * PITCH, levels[1]))))
    for bay in run.bays:
        assert bay.base[0] == bay.base[1] == max(bay.ground) + 50
    highest = run.bays[0] if high_end == "start" else run.bays[-1]
    assert highest.base == (650, 650)


# -- tapered


def tapered() -> TakeOff:
    return taken_off(one_run(4 * PITCH, end=Terminal.FREE, taper=Taper("end", 2, 750)))


def test_a_taper_over_two_panels_from_1500_stands_at_1500_1125_750() -> None:
    last_two = tapered().runs[0].bays[-2:]
    assert [bay.top[0] - bay.base[0] for bay in last_two] == [1500, 1125]
    assert [bay.top[1] - bay.base[1] for bay in last_two] == [1125, 750]
    assert (1500 - 750) / 2 == 1500 - 1125


def test_no_square_post_stands_at_a_tapered_end() -> None:
    posts = tapered().runs[0].posts
    assert (posts[0].kind, posts[-1].kind) == ("square", "single")
    assert [member.section for member in posts[-1].uprights] == ["channel"]


# -- lattice


def test_1500_finished_with_300_lattice() -> None:
    plain, topped = taken_off(one_run(3 * PITCH)), taken_off(one_run(3 * PITCH, lattice=300))
    assert set(lengths(topped, "post.channel")) == {2100}  # with 550 of it in the 600 hole
    assert set(lengths(topped, "sheet")) == {1500 - 300 - 10} == {1190}
    assert net(topped, "rail") == net(plain, "rail") + 3  # one more a panel
    assert screws_at(topped, "rail ends") == screws_at(plain, "rail ends") + 3 * 2 * 2  # two where it meets each post
    assert screws_at(topped, "lattice along the middle rail") == 3 * 3
    assert max(lengths(topped, "lattice")) == PITCH - 2 * 5  # between two pairs


def test_a_lattice_topped_post_is_300_longer_than_with_the_same_sheets_alone() -> None:
    alone, topped = taken_off(one_run(2 * PITCH, height=1200)), taken_off(one_run(2 * PITCH, height=1500, lattice=300))
    assert set(lengths(alone, "sheet")) == set(lengths(topped, "sheet")) == {1190}
    assert lengths(topped, "post.channel") == [length + 300 for length in lengths(alone, "post.channel")]


# -- gates


@pytest.mark.parametrize(
    ("kind", "opening", "leaves"),
    [
        (GateKind.SINGLE, 1000, [1000 - 20]),
        (GateKind.WIDE, 1700, [1700 - 20]),
        (GateKind.DOUBLE, 3000, [(3000 - 30) // 2, (3000 - 30) // 2]),
    ],
)
def test_a_leaf_is_the_opening_less_its_clearance(kind: GateKind, opening: int, leaves: list[int]) -> None:
    assert [leaf.width for leaf in hung(kind=kind, opening=opening).leaves] == leaves


def test_a_gate_has_two_stiles_two_rails_and_two_stile_caps() -> None:
    gate = Gate("A-G1", 2000, 1000, GateKind.SINGLE, 1500)
    taken = taken_off(one_run(9000, gates=(gate,)))
    assert (net(taken, "gate.stile"), net(taken, "gate.rail"), net(taken, "stile_plug")) == (2, 2, 2)
    assert lengths(taken, "gate.stile") == [1500, 1500]
    assert lengths(taken, "gate.rail") == [980 - 2 * 40] * 2
    assert screws_at(taken, "gate frame joints") == 4 * 4  # four joints, two screws on each of both faces
    assert screws_at(taken, "hinges") == 2 * 4  # four to the post each


def test_sheet_corners_are_notched_5_by_10_and_the_top_ones_10_by_35_under_a_lattice() -> None:
    (plain,), (topped,) = hung().leaves, hung(lattice=300).leaves
    assert (plain.notch, plain.top_notch) == ((5, 10), (5, 10))
    assert (topped.notch, topped.top_notch) == ((5, 10), (10, 35))


def test_the_lattice_clip_of_an_1190_sheet_is_at_1178() -> None:
    (leaf,) = hung(lattice=300).leaves
    assert {sheet.blank for sheet in leaf.sheets} == {1190}
    assert leaf.clip == 1190 - 12 == 1178


def test_three_screws_hold_the_lattice_of_a_gate_to_its_middle_rail() -> None:
    gate = Gate("A-G1", 2000, 1000, GateKind.SINGLE, 1500, lattice=300)
    assert screws_at(taken_off(one_run(9000, gates=(gate,))), "lattice along a gate's middle rail") == 3


def test_hinges_are_150_below_the_top_and_200_above_the_bottom() -> None:
    (leaf,) = hung().leaves
    assert sorted(leaf.hinges) == [200, 1500 - 150]


def test_equal_diagonals_of_a_980_by_1500_leaf_measure_1792() -> None:
    (leaf,) = hung().leaves
    assert 1791.5**2 < 980**2 + 1500**2 < 1792.5**2
    assert leaf.diagonal == 1792


def test_gate_posts_are_square() -> None:
    run = built(one_run(9000, gates=(Gate("A-G1", 2000, 1000, GateKind.SINGLE, 1500),)))
    kinds = {post.id: post.kind for post in run.posts}
    assert {kinds[name] for name in run.gates[0].posts} == {"square"}


# -- retrofit


def test_a_retrofit_of_300_lattice() -> None:
    taken = taken_off(retrofits=(Retrofit("R1", (PITCH, PITCH, 2200), 300),))
    assert lengths(taken, "post.extension") == [340] * 6  # two a panel
    assert lengths(taken, "rail") == [2190, 2340, 2340]
    assert lengths(taken, "lattice") == [2190, 2340, 2340]
    assert screws_at(taken, "foot of retrofitted lattice") == 3 * 3
    assert net(taken, "cap.pair") == 4  # one a post
    assert screws_at(taken, "extensions stitched in pairs") > 0  # neighbours are screwed together first


# -- caps


def test_a_cap_serves_a_pair_and_cut_in_half_two_singles() -> None:
    run = one_run(3 * PITCH, start=Terminal.JOIN, end=Terminal.JOIN)
    assert net(taken_off(run), "cap.pair") == 2 + 1  # two pairs, two single channels


def test_a_stepped_pair_takes_two_halves() -> None:
    run = one_run(3 * PITCH, form=Form.STEPPED, levels=(Station(0, 300), Station(3 * PITCH, 0)))
    taken = taken_off(run)
    assert net(taken, "cap.pair") == 2 * 2 // 2
    assert net(taken, "cap.square") == 2
