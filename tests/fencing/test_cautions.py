"""Each caution appears where it must, for whom it must, and nowhere else."""

from dataclasses import replace
from fractions import Fraction

import pytest

from fencing import Measure, take_off
from fencing.cautions import select_cautions
from fencing.cautions.facts import CautionFacts, collect_facts, find_lowest_clear_height
from fencing.cautions.register import REGISTER, Caution, Reader, Source
from fencing.model.measure import (
    ExistingFence,
    Form,
    Gate,
    GateKind,
    Layout,
    Retrofit,
    Run,
    Station,
    StrengthRequest,
    Terminal,
)
from fencing.quantities.take_off import TakeOff
from tests.fencing.drawing.jobs import run, system

CUSTOMER, CREW, SUPPLIER, OWNER = Reader.CUSTOMER, Reader.CREW, Reader.SUPPLIER, Reader.OWNER

# caution: the least that makes it appear, and who must read it
CASES: dict[str, tuple[CautionFacts, set[Reader]]] = {
    "services": (CautionFacts(digging=True), {CUSTOMER, CREW, OWNER}),
    "overhead": (CautionFacts(lifting=True), {CREW, OWNER}),
    "boundary": (CautionFacts(boundary=True), {CUSTOMER, CREW, OWNER}),
    "local.rules": (CautionFacts(highest=1800), {CUSTOMER, OWNER}),
    "height.over": (CautionFacts(highest=1801, local_height=1800), {CUSTOMER, CREW, OWNER}),
    "driveway": (CautionFacts(driveway=True), {CUSTOMER, CREW, OWNER}),
    "pool.ask": (CautionFacts(digging=True), {CUSTOMER, OWNER}),
    "pool": (CautionFacts(pool=True), {CUSTOMER, CREW, OWNER}),
    "pool.low": (CautionFacts(pool=True, pool_lowest=1199), {CUSTOMER, CREW, OWNER}),
    "pool.gap": (CautionFacts(pool=True, pool_gap=101), {CUSTOMER, CREW, OWNER}),
    "pool.climb": (CautionFacts(pool=True, pool_lattice=True), {CUSTOMER, CREW, OWNER}),
    "fibre.cement": (CautionFacts(old_fibre_cement=True), {CUSTOMER, CREW, OWNER}),
    "removal": (CautionFacts(removal=True), {CUSTOMER, CREW}),
    "cement": (CautionFacts(concrete=True), {CUSTOMER, CREW, OWNER}),
    "cure": (CautionFacts(concrete=True, sheets=True), {CUSTOMER, CREW, OWNER}),
    "wind": (CautionFacts(sheets=True), {CREW, OWNER}),
    "edges": (CautionFacts(sheets=True), {CUSTOMER, CREW, SUPPLIER}),
    "sawing": (CautionFacts(sawing=True), {CREW, OWNER}),
    "coated": (CautionFacts(cutting_coated=True), {CREW, OWNER}),
    "lifting": (CautionFacts(lifting=True), {CREW, SUPPLIER, OWNER}),
    "stepped": (CautionFacts(stepped=True), {CUSTOMER, CREW}),
    "gates": (CautionFacts(gates=True), {CUSTOMER, CREW}),
    "retrofit": (CautionFacts(retrofit=True), {CUSTOMER, CREW, OWNER}),
    "screening": (CautionFacts(strength_screened=True), {CUSTOMER, CREW, OWNER}),
}


def ids(facts: CautionFacts, reader: Reader) -> list[str]:
    return [caution.id for caution in select_cautions(facts, reader)]


def job(*runs: Run, retrofits: tuple[Retrofit, ...] = (), strength: StrengthRequest | None = None) -> TakeOff:
    return take_off(Measure("job", "drawn", runs, retrofits, strength), system())


def test_every_caution_of_the_register_has_its_case_here() -> None:
    assert [caution.id for caution in REGISTER] == list(CASES)


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("reader", Reader)
def test_a_caution_appears_for_exactly_its_readers(name: str, reader: Reader) -> None:
    facts, readers = CASES[name]
    assert (name in ids(facts, reader)) == (reader in readers)


@pytest.mark.parametrize("reader", Reader)
def test_nothing_is_cautioned_where_nothing_is_known(reader: Reader) -> None:
    assert ids(CautionFacts(), reader) == []


def test_every_caution_names_the_kind_and_name_of_its_source() -> None:
    for caution in REGISTER:
        assert caution.kind in Source
        assert caution.source
        assert all(words.endswith(".") for words in caution.words.values())


def test_no_caution_ever_says_that_something_is_safe() -> None:
    for caution in REGISTER:
        for words in caution.words.values():
            assert "is safe" not in words.replace("does not state that the fence is safe", "")


def test_a_height_at_the_local_limit_is_not_over_it() -> None:
    facts = CautionFacts(highest=1800, local_height=1800)
    assert "height.over" not in ids(facts, CUSTOMER)
    assert "height.over" not in ids(replace(facts, local_height=None, highest=9000), CUSTOMER)


def test_the_numbers_of_the_job_stand_in_the_words() -> None:
    (text,) = [
        c.text for c in select_cautions(CautionFacts(highest=1860, local_height=1800), OWNER) if c.id == "height.over"
    ]
    assert text == "Highest point 1860 mm, local limit entered 1800 mm: a permit may be needed."


@pytest.mark.parametrize(("lowest", "cautioned"), [(1199, True), (1200, False), (None, False)])
def test_a_pool_barrier_is_cautioned_below_1200_with_no_tolerance(lowest: int | None, cautioned: bool) -> None:
    assert ("pool.low" in ids(CautionFacts(pool=True, pool_lowest=lowest), CREW)) == cautioned


@pytest.mark.parametrize(("gap", "cautioned"), [(101, True), (100, False), (None, False)])
def test_a_pool_barrier_is_cautioned_over_a_gap_of_100(gap: int | None, cautioned: bool) -> None:
    assert ("pool.gap" in ids(CautionFacts(pool=True, pool_gap=gap), CREW)) == cautioned


def test_a_high_fence_by_a_pool_is_still_no_pass() -> None:
    assert ids(CautionFacts(pool=True, pool_lowest=1800, pool_gap=50), CUSTOMER) == ["pool"]


def test_a_stepped_pool_run_is_measured_at_its_lowest_place_and_largest_gap() -> None:
    # 1 in 8 over bays of 2400 steps 300: the base is 60 over the high side, so 360 over the low side
    fall = (Station(0, 0), Station(4800, -600))
    stepped = run("P", 4800, height=1150, form=Form.STEPPED, layout=Layout.FROM_START, levels=fall)
    takeoff = job(stepped, run("Q", 4800, height=900))
    facts = collect_facts(takeoff, pool_runs={"P"})
    assert (facts.pool_lowest, facts.pool_gap) == (60 + 1150, 60 + 300)
    assert "pool.gap" in ids(facts, CREW)
    assert "pool.low" not in ids(facts, CREW)


def test_a_pool_run_one_millimetre_low_is_cautioned_from_the_take_off() -> None:
    for height, low in ((1139, True), (1140, False)):  # 60 mm gap under it: 1199 and 1200 above ground
        facts = collect_facts(job(run("P", 4800, height=height)), pool_runs={"P"})
        assert ("pool.low" in ids(facts, CUSTOMER)) == low


def test_no_bay_has_no_lowest_height() -> None:
    assert find_lowest_clear_height([]) is None


def test_a_whole_job_tells_its_facts() -> None:
    gate = Gate("A-G1", 2000, 1000, GateKind.SINGLE, 1800)
    front = replace(
        run("A", 9600, gates=(gate,), lattice=320),
        existing_fence=ExistingFence("Fibre-cement sheet", 9600),
        shares={"owner": Fraction(1)},
    )
    facts = collect_facts(
        job(front, strength=StrengthRequest("given_pressure", {"pressure_kpa": "0.60"})),
        pool_runs=("A",),
        driveway=True,
        local_height=1800,
    )
    assert facts == CautionFacts(
        digging=True,
        boundary=True,
        concrete=True,
        sheets=True,
        sawing=True,
        cutting_coated=True,
        lifting=True,
        stepped=False,
        gates=True,
        retrofit=False,
        removal=True,
        old_fibre_cement=True,
        driveway=True,
        highest=1860,
        local_height=1800,
        pool=True,
        pool_lowest=1860,
        pool_gap=60,
        pool_lattice=True,
        strength_screened=True,
    )


def test_a_timber_fence_to_take_away_is_no_asbestos() -> None:
    facts = collect_facts(job(replace(run("A"), existing_fence=ExistingFence("timber paling", 9000))))
    assert facts.removal
    assert not facts.old_fibre_cement


def test_a_retrofit_alone_digs_nothing() -> None:
    facts = collect_facts(job(retrofits=(Retrofit("R1", (2400, 2400), 320, existing_height=1500),)))
    assert (facts.digging, facts.boundary, facts.concrete, facts.retrofit) == (False, False, False, True)
    assert "retrofit" in ids(facts, CUSTOMER)
    assert "services" not in ids(facts, CREW)


@pytest.mark.parametrize("reader", [CUSTOMER, CREW])
def test_quote_and_set_out_sheet_warn_of_everything_an_ordinary_job_needs(reader: Reader) -> None:
    # domain section 7: services, boundary, cement, edges, cure; limits are the customer's, coated sheet the crew's
    found = set(ids(collect_facts(job(run("A", 9600, start=Terminal.FREE))), reader))
    assert {"services", "boundary", "cement", "cure", "edges"} <= found
    assert ({"local.rules"} if reader is CUSTOMER else {"coated", "lifting"}) <= found


def test_lattice_on_a_standing_fence_is_lifted_under_lines_too() -> None:
    facts = collect_facts(job(retrofits=(Retrofit("R1", (2400, 2400), 320, existing_height=1500),)))
    assert "overhead" in ids(facts, CREW)
    assert "sawing" in ids(facts, CREW)


def test_a_known_pool_is_not_asked_after() -> None:
    assert "pool.ask" not in ids(CautionFacts(digging=True, pool=True), OWNER)


@pytest.mark.parametrize("kind", ["Fibro", "old fibre cement", "AC sheet, corrugated", "asbestos-cement"])
def test_every_word_for_old_fibre_cement_is_known(kind: str) -> None:
    assert collect_facts(job(replace(run("A"), existing_fence=ExistingFence(kind, 9000)))).old_fibre_cement


@pytest.mark.parametrize("caution", REGISTER, ids=lambda caution: caution.id)
def test_each_case_here_would_notice_its_caution_gone_or_always_there(caution: Caution) -> None:
    """Check that the cases above detect a caution that never applies, one that always does, and one without a text."""
    facts, readers = CASES[caution.id]
    assert caution.applies(facts)
    assert not caution.applies(CautionFacts(pool=caution.id == "pool.ask"))
    assert set(caution.words) == readers


@pytest.mark.parametrize(
    ("form", "levels", "stepped"),
    [
        (Form.STEPPED, (Station(0, 0), Station(4800, -600)), True),
        (Form.STEPPED, (Station(0, 0), Station(2400, 3), Station(4800, 0)), False),
        (Form.RAKED, (Station(0, 0), Station(1200, 3), Station(4800, 0)), False),
        (Form.LEVEL, (Station(0, 0), Station(4800, -100)), False),
    ],
)
def test_only_a_run_with_steps_has_the_caution_about_them(
    form: Form, levels: tuple[Station, ...], stepped: bool
) -> None:
    gate = Gate("A-G1", 1800, 1000, GateKind.SINGLE, 1800)
    assert collect_facts(job(run(length=4800, form=form, levels=levels, gates=(gate,)))).stepped is stepped
