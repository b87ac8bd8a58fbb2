"""Every bad input the contract lists, by name, through the command: one clear refusal, exit 2, never a traceback."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fencing.reading import read_measure, read_system
from tests.fencing.test_refusals import mutated
from tests.quotes.jobs.test_takeoff_command import MEASURE, SYSTEM, answer, shell

DOCUMENT: dict[str, Any] = json.loads(MEASURE.read_text())
FENCE_SYSTEM: dict[str, Any] = json.loads(SYSTEM.read_text())
GATE = "/runs/0/gates/0"


def run(**members: object) -> dict[str, Any]:
    """Return the example of the contract with members of its run changed."""
    document = copy.deepcopy(DOCUMENT)
    document["runs"][0] |= members
    return document


def gate(*gates: dict[str, Any], **members: object) -> dict[str, Any]:
    """Return the example of the contract with its gate changed and more gates beside it, without the taper."""
    document = copy.deepcopy(DOCUMENT)
    del document["runs"][0]["taper"]
    document["runs"][0]["gates"][0] |= members
    document["runs"][0]["gates"] += gates
    return document


def system(**members: object) -> dict[str, Any]:
    return FENCE_SYSTEM | members


def refused(folder: Path, measure: object, built_from: object = FENCE_SYSTEM) -> list[tuple[str, str]]:
    """(pointer, code) of every fault, as the command tells them."""
    paths = []
    for name, document in (("measure", measure), ("system", built_from)):
        paths.append(folder / f"{name}.json")
        text = document if isinstance(document, str) else json.dumps(document)
        paths[-1].write_text(text, encoding="utf-8")
    code, out, err = answer(paths[0], "--system", paths[1], "--json")
    problem = json.loads(out)
    assert code == 2
    assert len(err.splitlines()) == len(problem["errors"])
    assert all(len(fault["detail"]) > 10 for fault in problem["errors"])
    return [(fault["pointer"].removeprefix("#"), fault["code"]) for fault in problem["errors"]]


SECOND = {"id": "A-H", "opening_mm": 1000}
BAD_MEASURES: dict[str, tuple[object, list[tuple[str, str]]]] = {
    # the first gate is open from 5200 to 6200
    "gates that overlap": (gate({**SECOND, "from_mm": 5700}), [("/runs/0/gates/1/from_mm", "gate.overlap")]),
    "a gate beside a gate with no room for a rail": (
        gate({**SECOND, "from_mm": 6300}),  # 6260 shares a post; a rail needs 2 x 36 + 1 between posts
        [("/runs/0/gates/1/from_mm", "layout.no_room")],
    ),
    "a gate beyond the end": (gate(from_mm=18_000), [(f"{GATE}/from_mm", "gate.outside")]),
    "a gate wider than its run": (gate(opening_mm=18_300), [(f"{GATE}/opening_mm", "gate.outside")]),
    "a gate that is all clearance and stiles": (gate(opening_mm=24 + 2 * 44), [(f"{GATE}/opening_mm", "unit")]),
    "a gate lower than its lattice": (
        gate(height_mm=320, lattice_mm=320),
        [(f"{GATE}/height_mm", "height.sheet"), (f"{GATE}/height_mm", "gate.low")],
    ),
    "a gate lower than its hinges": (gate(height_mm=220 + 180), [(f"{GATE}/height_mm", "gate.low")]),
    "levels that go back": (run(levels=[[0, 0], [6000, -120], [5000, 0]]), [("/runs/0/levels/2/0", "levels.order")]),
    "levels that stand still": (run(levels=[[0, 0], [0, -120]]), [("/runs/0/levels/1/0", "levels.order")]),
    "levels beyond the run": (run(levels=[[0, 0], [18_241, -1]]), [("/runs/0/levels/1/0", "levels.beyond")]),
    "a height without a sheet": (run(height_mm=2800, lattice_mm=0), [("/runs/0/height_mm", "height.sheet")]),
    "a lattice the system has not": (run(lattice_mm=300), [("/runs/0/lattice_mm", "lattice.height")]),
    "a lattice as high as the fence": (
        {**DOCUMENT, "runs": [{"id": "A", "length_mm": 9000, "height_mm": 320, "lattice_mm": 320}]},
        [("/runs/0/height_mm", "height.sheet")],
    ),
    "nothing left under the lattice": (
        {**run(height_mm=332), "strength": {"method": "given_pressure", "pressure_kpa": "0.6"}},
        [("/runs/0/height_mm", "height.sheet"), ("/runs/0/taper/height_mm", "taper.height")],
    ),
    "a taper down to its lattice": (
        run(taper={"at": "start", "bays": 2, "height_mm": 320 + 12}),
        [("/runs/0/taper/height_mm", "taper.height")],
    ),
    "a taper that rises": (
        run(taper={"at": "start", "bays": 2, "height_mm": 1801}),
        [("/runs/0/taper/height_mm", "taper.height")],
    ),
    "a taper of more bays than there are": (
        run(taper={"at": "start", "bays": 4, "height_mm": 900}),
        [("/runs/0/taper/bays", "taper.too_long")],
    ),
    "tapers too long in two runs, and a label that is not text": (
        {
            **DOCUMENT,
            "label": 7,
            "runs": [
                {"id": name, "length_mm": 7000, "layout": "auto", "taper": {"at": "start", "bays": 9, "height_mm": 900}}
                for name in "AB"
            ],
        },
        [("/label", "type"), ("/runs/0/taper/bays", "taper.too_long"), ("/runs/1/taper/bays", "taper.too_long")],
    ),
    "a taper in a run of no length": (
        run(length_mm=0, taper={"at": "start", "bays": 4, "height_mm": 900}),
        [("/runs/0/length_mm", "range")],
    ),
    "a run over 20 km": (
        {**DOCUMENT, "runs": [{"id": "A", "length_mm": 20_000_001}]},
        [("/runs/0/length_mm", "range")],
    ),
    "a run between walls shorter than its setbacks": (
        {**DOCUMENT, "runs": [{"id": "A", "length_mm": 34 + 2 * 6, "start": "wall", "end": "join"}]},
        [("/runs/0/length_mm", "unit")],
    ),
    # 1000 x 20 km in bays of 2400
    "a job that would never end": (
        {**DOCUMENT, "runs": [{"id": f"A{number}", "length_mm": 20_000_000} for number in range(1000)]},
        [("/runs", "job.large")],
    ),
    "a run of no length": ({**DOCUMENT, "runs": [{"id": "A", "length_mm": 0}]}, [("/runs/0/length_mm", "range")]),
    "a run shorter than its setbacks": (
        # two square posts: half a face and a setback at either end leave nothing of it
        {**DOCUMENT, "runs": [{"id": "A", "length_mm": 60 + 2 * 36}]},
        [("/runs/0/length_mm", "run.short")],
    ),
    "text where a number belongs": (run(length_mm="18240"), [("/runs/0/length_mm", "type")]),
    "half a millimetre": (run(length_mm=18240.5), [("/runs/0/length_mm", "type")]),
    "a truth where a number belongs": (run(length_mm=True), [("/runs/0/length_mm", "type")]),
    "nothing where a number belongs": (run(length_mm=None), [("/runs/0/length_mm", "type")]),
    "NaN": (json.dumps(DOCUMENT).replace("18240, ", "NaN, ", 1), [("/runs/0/length_mm", "json.number")]),
    "infinity": (json.dumps(DOCUMENT).replace("18240, ", "-Infinity, ", 1), [("/runs/0/length_mm", "json.number")]),
    "over two megabytes": (json.dumps(DOCUMENT) + " " * 2_000_000, [("", "json.size")]),
    "shares under 1": (run(shares={"owner": "1/2", "neighbour": "1/3"}), [("/runs/0/shares", "shares.sum")]),
    "shares over 1": (run(shares={"owner": "0.5", "neighbour": "51%"}), [("/runs/0/shares", "shares.sum")]),
    "a share of nothing": (run(shares={"owner": "1", "x": "0"}), [("/runs/0/shares/x", "shares.form")]),
    "a key that is not known": (run(lenght_mm=1), [("/runs/0/lenght_mm", "key.unknown")]),
    "a key twice": (json.dumps(DOCUMENT).replace('"label"', '"label": "x", "label"', 1), [("/label", "json.twice")]),
    "an unknown version": ({**DOCUMENT, "schema": "measure-1"}, [("/schema", "word")]),
    "an unknown form": (run(form="racked"), [("/runs/0/form", "word")]),
    "nothing to build": ({**DOCUMENT, "runs": [], "retrofits": []}, [("/runs", "measure.empty")]),
    "two runs of one name": (
        {**DOCUMENT, "runs": [{"id": "A", "length_mm": 9000}, {"id": "A", "length_mm": 9000}]},
        [("/runs/1/id", "id.twice")],
    ),
    "levels and a book": (run(book=[]), [("/runs/0/book", "levels.both")]),
    "another system": ({**DOCUMENT, "system": "flat-40"}, [("/system", "system.mismatch")]),
    "a list": ("[]", [("", "type")]),
    "no JSON": ("{", [("", "json.syntax")]),
    "an empty file": ("", [("", "json.syntax")]),
    "a retrofit of a lattice the system has not": (
        {**DOCUMENT, "retrofits": [{"id": "R1", "bays_mm": [2400], "lattice_mm": 321}]},
        [("/retrofits/0/lattice_mm", "lattice.height")],
    ),
    "a wind pressure in Pa": (
        {**DOCUMENT, "strength": {"method": "given_pressure", "pressure_kpa": 600}},
        [("/strength/pressure_kpa", "unit")],
    ),
}
BAD_SYSTEMS: dict[str, tuple[object, list[tuple[str, str]]]] = {
    "a pitch of 0": (system(pitch_mm=0), [("/pitch_mm", "range")]),
    "a pitch under 0": (system(pitch_mm=-2400), [("/pitch_mm", "range")]),
    "no pitch": ({key: value for key, value in FENCE_SYSTEM.items() if key != "pitch_mm"}, [("/pitch_mm", "missing")]),
    "a closing bay over the pitch": (system(min_closing_bay_mm=2400), [("/min_closing_bay_mm", "system.order")]),
    "gaps the wrong way round": (system(max_ground_gap_mm=59), [("/max_ground_gap_mm", "system.order")]),
    # a closing bay of 400 between two posts of 200 leaves a rail of nothing
    "a setback that leaves no rail": (
        system(posts=FENCE_SYSTEM["posts"] | {"channel": FENCE_SYSTEM["posts"]["channel"] | {"setback_mm": 200}}),
        [("/posts/channel/setback_mm", "system.order")],
    ),
    "a hole too shallow": (
        system(hole=FENCE_SYSTEM["hole"] | {"depth_mm": 649}),  # 600 embedment and 50 bedding are 650
        [("/hole/depth_mm", "hole.shallow")] * 2,
    ),
    "stock given twice": (
        system(rails=FENCE_SYSTEM["rails"] | {"stock_mm": [4800, 2388, 4800]}),
        [("/rails/stock_mm", "stock.twice")],
    ),
    "an unreadable allowance": (system(allowances={"screw": "a few"}), [("/allowances/screw", "allowance")]),
    "an unknown role": (system(components={"rial": "x"}), [("/components/rial", "key.unknown")]),
}


@pytest.mark.parametrize("case", BAD_MEASURES)
def test_a_bad_measure_is_refused_by_name(case: str, tmp_path: Path) -> None:
    measure, expected = BAD_MEASURES[case]
    assert refused(tmp_path, measure) == expected


@pytest.mark.parametrize("case", BAD_SYSTEMS)
def test_a_bad_system_is_refused_by_name(case: str, tmp_path: Path) -> None:
    built_from, expected = BAD_SYSTEMS[case]
    assert refused(tmp_path, DOCUMENT, built_from) == expected


def test_stock_may_be_listed_in_any_order() -> None:
    jumbled = read_system(system(rails=FENCE_SYSTEM["rails"] | {"stock_mm": [4800, 2388]}))
    assert jumbled.rails.stock == (2388, 4800)


def test_a_rail_may_end_at_the_posts_centre_and_steel_take_no_concrete() -> None:
    bare = FENCE_SYSTEM["posts"]["channel"] | {"setback_mm": 0, "steel_area_mm2": 0}
    read = read_system(system(posts=FENCE_SYSTEM["posts"] | {"channel": bare}))
    assert (read.channel.setback, read.channel.steel_area) == (0, 0)


def test_a_document_that_is_wrong_everywhere_is_answered_soon_and_shortly(tmp_path: Path) -> None:
    book = [{"bck": 1} for _ in range(1999)]
    bad = {**DOCUMENT, "runs": [{"id": f"A{number}", "length_mm": 9000, "book": book} for number in range(60)]}
    assert len(refused(tmp_path, bad)) == 500 + 1  # the last one gives the number of the others


def test_20_km_in_every_form_and_layout_are_not_too_many() -> None:
    run = {"id": "A", "length_mm": 20_000_000, "form": "auto", "layout": "auto"}
    assert read_measure({**DOCUMENT, "runs": [run]}, read_system(FENCE_SYSTEM)).runs[0].length == 20_000_000


def test_a_bad_document_gives_all_its_errors_at_once(tmp_path: Path) -> None:
    bad = copy.deepcopy(DOCUMENT)
    bad["runs"][0] |= {"levels": [[0, 0], [19_000, -1]], "shares": {"owner": "2"}, "lattice_mm": 300}
    bad["runs"][0]["gates"][0]["from_mm"] = -1
    bad["retrofits"][0]["bays_mm"][1] = "2400"
    bad["colors"] = {}
    assert refused(tmp_path, bad) == [
        ("/colors", "key.unknown"),
        ("/runs/0/levels/1/0", "levels.beyond"),
        ("/runs/0/gates/0/from_mm", "range"),
        ("/runs/0/shares/owner", "shares.form"),
        ("/retrofits/0/bays_mm/1", "range"),
        ("/runs/0/lattice_mm", "lattice.height"),
    ]


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_mutated_document_gives_an_answer_or_one_refusal(tmp_path: Path, data: st.DataObject) -> None:
    measure, built_from = tmp_path / "measure.json", tmp_path / "system.json"
    spoilt = data.draw(st.booleans())
    measure.write_text(json.dumps(DOCUMENT if spoilt else mutated(DOCUMENT, data)))
    built_from.write_text(json.dumps(mutated(FENCE_SYSTEM, data) if spoilt else FENCE_SYSTEM))
    code, out, err = answer(measure, "--system", built_from, "--json")
    document = json.loads(out)
    if code == 0:
        assert (document["schema"], err) == ("takeoff-2", "")
    else:
        assert (code, document["status"], len(err.splitlines())) == (2, 422, len(document["errors"]))
        assert err.isprintable() or "\n" in err


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=60), st.integers(0, 3000))
def test_bytes_torn_and_patched_give_an_answer_or_one_refusal(tmp_path: Path, patch: bytes, at: int) -> None:
    whole, measure = MEASURE.read_bytes(), tmp_path / "measure.json"
    measure.write_bytes(whole[:at] + patch + whole[at + len(patch) :])
    code, _, err = answer(measure, "--system", SYSTEM)
    assert (code, bool(err)) in ((0, False), (2, True))


def test_a_shell_sees_exit_2_and_no_traceback() -> None:
    for given_bytes in (b"\xff\xfe", b"{", b"[" * 100_000, b'{"schema": 1e999}', b"null", b"\xef\xbb\xbf{}"):
        done = shell("-", "--system", SYSTEM, given=given_bytes)
        assert (done.returncode, done.stdout) == (2, b"")
        assert b"Traceback" not in done.stderr
        assert done.stderr
