"""Benchmark of cutting plans for fence orders: writes its tables into docs/benchmarks.md.

Run with ``make bench-cutting``; ``python -m tests.benchmarks.bench_cutting quick`` prints a tenth of it and writes nothing.
Every class runs in a process of its own, so that its memory is its own. Times are processor time of the search alone, one
core, without the start of Python: other work on the machine does not count. ``proved`` counts orders whose plan is proved to
be the cheapest possible.
"""

from __future__ import annotations

import json
import platform
import resource
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from statistics import mean, median
from time import process_time
from typing import Any

from fencing.cutting import Demand
from fencing.cutting.plan_model import Status
from fencing.cutting.worker_process import search_here
from tests.benchmarks import fence_orders as orders
from tests.benchmarks import rivals

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "benchmarks.md"
BEGIN, END = "<!-- bench-cutting: begin -->", "<!-- bench-cutting: end -->"

CLASSES: tuple[tuple[orders.OrderClass, int, float, str], ...] = (
    (orders.SMALL, 200, 10.0, "200/200 ≤ 0.1 s, median < 10 ms"),
    (orders.BAYS_20, 200, 10.0, "200/200 ≤ 1 s, median < 30 ms"),
    (orders.RAKED_20, 200, 10.0, "≥ 195/200 ≤ 2 s, 200/200 ≤ 10 s"),
    (orders.RAKED_50, 20, 10.0, "≥ 90 % ≤ 10 s, gap ≤ 0.02 % else"),
    (orders.ESTATE, 20, 10.0, "≥ 95 % ≤ 10 s"),
    (orders.LONG_RAKED, 10, 10.0, "gap ≤ 100 ppm in 10 s, ≤ 20 ppm preferred"),
    (orders.JOBS_50, 5, 30.0, "≥ 80 % ≤ 60 s, gap ≤ 10 ppm always"),
    (orders.JOBS_200, 3, 30.0, "gap ≤ 5 ppm in 30 s, ≥ 30 % proved ≤ 60 s"),
)
BESIDE = ((orders.SMALL, 40), (orders.BAYS_20, 30), (orders.RAKED_20, 30))
"""Input of the other methods too."""
LIMIT_S = 2.0
WAYS = {
    "ours": "this search",
    "first_fit": "first-fit decreasing, `binpacking`: the best single stock length, no remnants",
    "arc_flow": "flow along the bar, HiGHS",
    "assignment": "assignment to bars, CP-SAT of `ortools`",
}
LIMITS = (0.1, 1.0, 2.0, 10.0, 60.0)


def measure(kind: orders.OrderClass, count: int, seconds: float) -> dict[str, object]:
    """Times, gaps and memory of the first ``count`` orders of a class. The work allowed stands for the seconds."""
    search_here(orders.order(orders.SMALL, 10_000), 1_000_000)  # loads the solver
    times, gaps, lengths, pieces = [], [], [], []
    for seed in range(count):
        asked = orders.order(kind, seed)
        begun = process_time()
        plan = search_here(asked, int(seconds * 1_000_000))
        times.append(process_time() - begun)
        gaps.append(0 if plan.status is Status.OPTIMAL else max(1, plan.gap_ppm))
        lengths.append(len(asked.pieces))
        pieces.append(asked.count)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    return {"times": times, "gaps": gaps, "lengths": lengths, "pieces": pieces, "memory": memory}


def ours(asked: Demand, seconds: float) -> rivals.Answer:
    """Our own search; the work allowed stands for the seconds."""
    plan = search_here(asked, int(seconds * 1_000_000))
    return rivals.Answer(plan.cost, plan.status is Status.OPTIMAL)


def compare(share: int = 1) -> dict[str, list[list[float]]]:
    """For each way and order of the first three classes: cost (-1 without a plan), processor time, and whether it is proved."""
    ways = (ours, rivals.first_fit, rivals.arc_flow, rivals.assignment)
    warm = orders.order(orders.SMALL, 10_000)
    found: dict[str, list[list[float]]] = {}
    for way in ways:
        way(warm, 1.0)  # loads the libraries
    for kind, count in BESIDE:
        for seed in range(count // share):
            asked = orders.order(kind, seed)
            for way in ways:
                begun = process_time()
                answer = way(asked, LIMIT_S)
                spent = process_time() - begun
                rows = found.setdefault(way.__name__, [])
                rows.append([-1 if answer.cost is None else answer.cost, spent, answer.proved])
                mine = found["ours"][len(rows) - 1]
                if answer.proved and mine[2] and answer.cost != mine[0]:
                    raise RuntimeError(f"{kind.name} {seed}: {way.__name__} proves {answer.cost}, ours {mine[0]}")
    return found


def row(kind: orders.OrderClass, goal: str, found: dict[str, Sequence[float]]) -> str:
    """One line of the table."""
    times, gaps = sorted(found["times"]), found["gaps"]
    proved = [time for time, gap in zip(found["times"], gaps, strict=True) if not gap]
    within = ", ".join(
        f"{sum(time <= limit for time in proved)} ≤ {limit:g} s" for limit in LIMITS if limit <= 10 or times[-1] > 10
    )
    p95 = times[min(len(times) - 1, int(0.95 * len(times)))]
    lengths, pieces = found["lengths"], found["pieces"]
    cells = (
        kind.name,
        f"{len(proved)} of {len(times)}",
        within,
        f"{1000 * median(times):.0f} ms",
        f"{p95:.2f} s",
        f"{times[-1]:.2f} s",
        f"{max(gaps):.0f} ppm",
        f"{found['memory']} MB",
        f"{min(lengths)}–{max(lengths)} / {min(pieces)}–{max(pieces)}",
        goal,
    )
    return "| " + " | ".join(cells) + " |"


def apart(*arguments: str) -> Any:
    """One class, or the comparison, in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_cutting", *arguments]
    answer = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, check=True, text=True)
    return json.loads(answer.stdout)


def main(arguments: Sequence[str]) -> None:
    quick = "quick" in arguments
    share = 10 if quick else 1
    wanted = [argument for argument in arguments if argument != "quick"]
    if wanted == ["compare"]:
        print(json.dumps(compare(share)))
        return
    if wanted:
        kind, count, seconds, _ = CLASSES[int(wanted[0])]
        print(json.dumps(measure(kind, max(1, count // share), seconds)))
        return
    lines = [
        BEGIN,
        f"Python {platform.python_version()}, processor time of one core ({platform.machine()}).",
        "",
        "| class | proved | of these within | median | p95 | longest | worst gap | memory | lengths / pieces | goal |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    more = ["quick"] if quick else []
    for place, (kind, _, _, goal) in enumerate(CLASSES):
        lines.append(row(kind, goal, apart(str(place), *more)))
        print(lines[-1], flush=True)
    beside = ["", *comparison(apart("compare", *more))]
    print("\n".join(beside))
    if not quick:
        write([*lines, *beside, END])


def write(lines: Sequence[str]) -> None:
    """Put the lines where the page keeps them."""
    text = PAGE.read_text(encoding="utf-8")
    before, after = text.split(BEGIN)[0], text.split(END)[1]
    PAGE.write_text(before + "\n".join(lines) + after, encoding="utf-8")


def comparison(found: dict[str, list[list[float]]]) -> list[str]:
    """A line for each way beside ours."""
    own = found["ours"]
    lines = [
        f"The same {len(own)} orders ("
        + ", ".join(f"{count} {kind.name.split(' (')[0]}" for kind, count in BESIDE)
        + f"), one thread, {LIMIT_S:g} s each:",
        "",
        "| way | proved | no plan | cost beside ours: mean, worst | median time | time beside ours: median, worst |",
        "|---|---|---|---|---|---|",
    ]
    for name, rows in found.items():
        costs = [row[0] / mine[0] for row, mine in zip(rows, own, strict=True) if row[0] >= 0]
        times = [row[1] / mine[1] for row, mine in zip(rows, own, strict=True)]
        cells = (
            WAYS[name],
            f"{sum(row[2] for row in rows):.0f}",
            f"{sum(row[0] < 0 for row in rows)}",
            f"{mean(costs):.4f}, {max(costs):.4f}",
            f"{1000 * median(row[1] for row in rows):.1f} ms",
            f"{median(times):.2g}, {max(times):.2g}",
        )
        lines.append("| " + " | ".join(cells) + " |")
    return lines


if __name__ == "__main__":
    main(sys.argv[1:])
