"""How often, how fast and how well fence orders are cut: writes its tables into docs/benchmarks.md.

Run with ``make bench-cutting``. Every class runs in a process of its own, so that its memory is its own. Times are processor
time of the search alone, one core, without the start of Python: other work on the machine does not count. ``proved`` counts
orders whose plan is proved to be the cheapest possible.
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

from fencing.cutting import Demand
from fencing.cutting.direct import search_here
from fencing.cutting.plans import Status
from tests.benchmarks import fence_orders as orders
from tests.fencing.cutting.arc_flow import arc_flow

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "benchmarks.md"
BEGIN, END = "<!-- bench-cutting: begin -->", "<!-- bench-cutting: end -->"

CLASSES: tuple[tuple[orders.OrderClass, int, float, str], ...] = (
    (orders.SMALL, 200, 10.0, "200/200 ≤ 0.1 s, median < 10 ms"),
    (orders.BAYS_20, 200, 10.0, "200/200 ≤ 1 s, median < 30 ms"),
    (orders.RAKED_20, 200, 10.0, "≥ 195/200 ≤ 2 s, 200/200 ≤ 10 s"),
    (orders.RAKED_50, 20, 10.0, "≥ 90 % ≤ 10 s, gap ≤ 0.02 % else"),
    (orders.ESTATE, 20, 10.0, "≥ 95 % ≤ 10 s"),
    (orders.JOBS_50, 3, 30.0, "≥ 80 % ≤ 60 s, gap ≤ 10 ppm always"),
    (orders.JOBS_200, 2, 30.0, "gap ≤ 5 ppm in 30 s, ≥ 30 % proved ≤ 60 s"),
)
FLOWS, FLOW_SECONDS = 8, 10.0
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


def first_fit(asked: Demand) -> int:
    """First-fit decreasing on the one stock length that comes out cheapest, remnants left aside."""
    costs = []
    for stock in asked.stock:
        if stock.have is not None or stock.usable < asked.pieces[0][0]:
            continue
        room: list[int] = []
        for length, count in asked.pieces:
            for _ in range(count):
                place = next((p for p, left in enumerate(room) if left >= length + asked.kerf), None)
                if place is None:
                    room.append(stock.usable + asked.kerf)
                    place = len(room) - 1
                room[place] -= length + asked.kerf
        costs.append(len(room) * stock.cost)
    return min(costs)


def compare() -> dict[str, object]:
    """Cost and time beside two other ways, on the same orders: 100 for first-fit, the first few for the flow model."""
    asked = [orders.order(kind, seed) for seed in range(50) for kind in (orders.SMALL, orders.BAYS_20)]
    own, times, fits, fit_times, flow_times = [], [], [], [], []
    proved = 0
    for number, one in enumerate(asked):
        begun = process_time()
        own.append(search_here(one, 10_000_000).cost)
        times.append(process_time() - begun)
        begun = process_time()
        fits.append(first_fit(one))
        fit_times.append(process_time() - begun)
        if number < FLOWS:
            begun = process_time()
            proved += arc_flow(one, FLOW_SECONDS) is not None
            flow_times.append(process_time() - begun)
    extra = [100 * (fit / cost - 1) for fit, cost in zip(fits, own, strict=True) if cost]
    return {
        "own": median(times),
        "own_20": median(times[:FLOWS]),
        "fit": median(fit_times),
        "extra": mean(extra),
        "most_extra": max(extra),
        "flow": median(flow_times),
        "proved": proved,
    }


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


def apart(name: str) -> dict[str, Sequence[float]]:
    """One class in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_cutting", name]
    answer = subprocess.run(command, cwd=ROOT, capture_output=True, check=True, text=True)
    found: dict[str, Sequence[float]] = json.loads(answer.stdout)
    return found


def main(arguments: Sequence[str]) -> None:
    if arguments == ["compare"]:
        print(json.dumps(compare()))
        return
    if arguments:
        kind, count, seconds, _ = CLASSES[int(arguments[0])]
        print(json.dumps(measure(kind, count, seconds)))
        return
    lines = [
        BEGIN,
        f"Python {platform.python_version()}, processor time of one core ({platform.machine()}).",
        "",
        "| class | proved | of these within | median | p95 | longest | worst gap | memory | lengths / pieces | goal |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for place, (kind, _, _, goal) in enumerate(CLASSES):
        lines.append(row(kind, goal, apart(str(place))))
        print(lines[-1], flush=True)
        write([*lines, END])
    write([*lines, "", *comparison(apart("compare")), END])


def write(lines: Sequence[str]) -> None:
    """Put the lines where the page keeps them."""
    text = PAGE.read_text(encoding="utf-8")
    before, after = text.split(BEGIN)[0], text.split(END)[1]
    PAGE.write_text(before + "\n".join(lines) + after, encoding="utf-8")


def comparison(found: dict[str, Sequence[float]]) -> list[str]:
    """Sentences about the other ways."""
    own, fit, flow = (float(str(found[key])) for key in ("own_20", "fit", "flow"))
    return [
        f"On 100 of these orders (50 small, 50 of 20 bays) first-fit decreasing on its best single stock length, "
        f"without remnants, takes {1000 * fit:.1f} ms and costs {float(str(found['extra'])):.1f} % more on average, "
        f"{float(str(found['most_extra'])):.0f} % at worst.",
        f"The flow model (HiGHS as SciPy ships it, stopped after {FLOW_SECONDS:g} s by the clock) proves "
        f"{found['proved']} of the first {FLOWS}, median {flow:.2f} s of the processor; "
        f"this search takes {1000 * own:.0f} ms there, {flow / own:.0f} times less.",
    ]


if __name__ == "__main__":
    main(sys.argv[1:])
