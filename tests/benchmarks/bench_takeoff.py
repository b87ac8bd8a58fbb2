"""Benchmark of take-offs: python -m tests.benchmarks.bench_takeoff

Every repeat takes off a new job (its own ground), so that nothing is remembered from the last one. Take-offs
are measured in processor time, the command from the shell and back. No time is asserted: a busy machine is not a broken
program. The table is the README's; ``auto`` tries every form.
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median

from fencing.model.example_system import ROUND_SIZES
from fencing.model.measure import Form, Gate, GateKind, Measure, MeasureBasis, Run, Station
from fencing.quantities.take_off import take_off

ROOT = Path(__file__).resolve().parents[2]
REPEATS = 7
STARTER_SYSTEM = "corrugated-50"
TARGETS = ((30, 3.0), (1_000, 60.0), (10_000, 600.0))
COMMAND_TARGET = 1000.0
FORMS = (Form.LEVEL, Form.STEPPED, Form.RAKED, Form.AUTO)

SYSTEM_DOCUMENT = {
    "schema": "system-2",
    "code": "bench",
    "label": "Sizes for timing",
    "pitch_mm": 2400,
    "min_closing_bay_mm": 400,
    "ground_gap_mm": 50,
    "max_ground_gap_mm": 250,
    "max_step_mm": 300,
    "rake_max_deg": "12",
    "hole": {
        "depth_mm": 650,
        "diameter_mm": 300,
        "shape": "straight",
        "end_diameter_mm": 300,
        "bedding_mm": 50,
        "crown_height_mm": 30,
    },
    "posts": {
        section: {
            "face_mm": face,
            "setback_mm": setback,
            "embedment_min_mm": 600,
            "stock_mm": [2100, 2400, 2700, 3000],
            "steel_area_mm2": area,
        }
        for section, face, setback, area in (("channel", 30, 5, 300), ("square", 60, 40, 500))
    },
    "rails": {"stock_mm": [2390, 4800], "kerf_mm": 3, "seat_tolerance_mm": 20},
    "sheets": {
        "cover_mm": 780,
        "lap_mm": 50,
        "lap_allowance_mm": 20,
        "height_deduction_mm": 10,
        "supply": "stock",
        "stock_mm": [1490, 1790, 2090],
    },
    "lattice": {"heights_mm": [300], "stock_mm": [2390], "raked": False},
    "screws": {
        "pair_from_top_mm": 100,
        "pair_above_ground_mm": 100,
        "pair_spacing_max_mm": 300,
        "per_rail_end": 2,
        "per_lattice": 3,
        "per_cap": 2,
    },
    "gates": {
        "clearance_single_mm": 24,
        "clearance_wide_mm": 24,
        "clearance_double_mm": 36,
        "stile_mm": 40,
        "leaf_max_mm": {"single": 1200, "wide": 1800},
        "clip_below_sheet_top_mm": 10,
        "notch_mm": [6, 12],
        "lattice_notch_mm": [12, 40],
        "screws_per_joint": 4,
        "hinge_screws": 6,
        "hinge_from_top_mm": 200,
        "hinge_from_bottom_mm": 200,
    },
    "retrofit": {"extension_overlap_mm": 40},
    "allowances": {"screw": "5%", "concrete": "10%"},
    "components": {},
}

MEASURE_DOCUMENT = {
    "schema": "measure-2",
    "label": "Thirty metres with a gate",
    "system": "bench",
    "runs": [
        {
            "id": "A",
            "length_mm": 30_000,
            "height_mm": 1800,
            "form": "auto",
            "levels": [[0, 0], [11_000, -240], [30_000, -900]],
            "gates": [{"id": "A-G1", "from_mm": 9_000, "opening_mm": 1_000, "kind": "single", "height_mm": 1800}],
        }
    ],
}


def job(metres: int, form: Form, seed: int) -> Measure:
    """One run with a station every five metres on rolling ground, and a gate at nine metres of every kilometre."""
    dice = random.Random(seed)  # noqa: S311 - ground, not secrets
    length, level, stations = metres * 1000, 0, [Station(0, 0)]
    for at in range(5_000, length + 1, 5_000):
        level += dice.randint(-60, 60)
        stations.append(Station(at, level))
    gates = tuple(
        Gate(f"A-G{number}", at, 1_000, GateKind.SINGLE, 1800)
        for number, at in enumerate(range(9_000, length - 2_000, 1_000_000), 1)
    )
    run = Run("A", length, 1800, MeasureBasis.OUTSIDE_FACES, levels=tuple(stations), form=form, gates=gates)
    return Measure(f"{metres} m", "round", (run,))


def milliseconds(metres: int, form: Form) -> tuple[float, int]:
    """(median processor time, bays) of take-offs of fresh jobs."""
    times, bays = [], 0
    for seed in range(REPEATS):
        fresh = job(metres, form, seed + metres)
        began = time.process_time()
        taken = take_off(fresh, ROUND_SIZES)
        times.append((time.process_time() - began) * 1000)
        bays = len(taken.runs[0].bays)
    return median(times), bays


def commands(folder: str) -> Iterator[tuple[str, float]]:
    """`manage.py takeoff` from the shell and back, median of three: with a system document, and with a business's catalogue."""
    measure, system = Path(folder, "measure.json"), Path(folder, "system.json")
    measure.write_text(json.dumps(MEASURE_DOCUMENT))
    system.write_text(json.dumps(SYSTEM_DOCUMENT))
    yield "--system", _command(str(measure), "--system", str(system))
    database = {"DATABASE_URL": f"sqlite:///{folder}/bench.sqlite3", "BAYWRIGHT_DEMO": "1"}
    _manage("migrate", "--verbosity", "0", **database)
    answers = (
        "--name",
        "Bench Fences",
        "--place",
        "Tern Bay",
        "--country",
        "NZ",
        "--time-zone",
        "UTC",
        "--currency",
        "NZD",
    )
    tax = ("--tax-name", "Tax", "--tax-rate", "15", "--owner", "bench@example.test", "--password-stdin")
    _manage("start_business", *answers, *tax, typed="a long sentence that no one else would choose\n", **database)
    measure.write_text(json.dumps(MEASURE_DOCUMENT | {"system": STARTER_SYSTEM}))
    yield "the catalogue", _command(str(measure), **database)


def _command(*arguments: str, **environment: str) -> float:
    times = []
    for _ in range(3):
        began = time.perf_counter()
        _manage("takeoff", *arguments, "--json", **environment)
        times.append((time.perf_counter() - began) * 1000)
    return median(times)


def _manage(*arguments: str, typed: str = "", **environment: str) -> None:
    command = [sys.executable, "manage.py", *arguments]
    subprocess.run(
        command, cwd=ROOT, check=True, capture_output=True, text=True, input=typed, env={**os.environ, **environment}
    )


def row(*cells: object) -> None:
    print(f"| {' | '.join(map(str, cells))} |")


def main() -> None:
    """Prints the table the README shows."""
    row("job", "form", "bays", "ms", "target ms", "share of it")
    row("---", "---", "---:", "---:", "---:", "---:")
    for form in FORMS:
        milliseconds(30, form)  # the first run of a program pays for what the others find ready
        for metres, target in TARGETS:
            spent, bays = milliseconds(metres, form)
            row(f"{metres} m with gates", form.value, bays, f"{spent:.1f}", f"{target:.0f}", f"{spent / target:.0%}")
    with tempfile.TemporaryDirectory() as folder:
        try:
            for means, spent in commands(folder):
                share = f"{spent / COMMAND_TARGET:.0%}"
                row(f"`manage.py takeoff`, {means}", "auto", "", f"{spent:.0f}", f"{COMMAND_TARGET:.0f}", share)
        except subprocess.CalledProcessError as failed:
            sys.exit(f"manage.py {failed.cmd[2]} did not run: {failed.stderr.strip().splitlines()[-1]}")


if __name__ == "__main__":
    main()
