"""``manage.py cutplan``: a plan on standard output, or every fault on standard error and exit 2. No database."""

from __future__ import annotations

import json
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import psutil
import pytest
from django.core.management import call_command

ROOT = Path(__file__).resolve().parents[2]
GOOD = {
    "kerf_mm": 3,
    "pieces": [[2238, 8]],
    "stock": [{"length_mm": 6000, "price": "31.20", "quantity_available": None}],
}


def run(document: Any, folder: Path, *more: str) -> tuple[int, str, str]:
    """Exit code, standard output and standard error of the command."""
    file = folder / "demand.json"
    file.write_text(document if isinstance(document, str) else json.dumps(document))
    out, err = StringIO(), StringIO()
    try:
        call_command("cutplan", str(file), *more, stdout=out, stderr=err)
    except SystemExit as stopped:
        return int(str(stopped.code)), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def test_the_contracts_example_gives_the_contracts_plan(tmp_path: Path) -> None:
    code, out, _ = run(GOOD, tmp_path)
    bar = {"stock_mm": 6000, "price": "31.20", "count": 4, "cuts": [[2238, 2]], "offcut_mm": 1518, "keep": True}
    plan = {
        "schema": "cutplan-2",
        "result": "optimal",
        "cost": "124.80",
        "lower_bound": "124.80",
        "gap_ppm": 0,
        "bars": [bar],
    }
    assert (code, json.loads(out)) == (0, plan)


def test_every_fault_has_its_line_and_the_exit_is_2(tmp_path: Path) -> None:
    code, out, err = run({**GOOD, "kerf_mm": -1, "pieces": [[0, 1]], "stok": []}, tmp_path)
    assert (code, out) == (2, "")
    assert [line.split(":")[0] for line in err.splitlines()] == ["/stok", "/kerf_mm", "/pieces/0/0"]


@pytest.mark.parametrize("text", ["", "not json", "x" * 2_000_001, "[1]"])
def test_what_is_no_document_is_refused(text: str, tmp_path: Path) -> None:
    code, out, err = run(text, tmp_path)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1


def test_an_infeasible_demand_is_an_answer_not_a_refusal(tmp_path: Path) -> None:
    code, out, _ = run({**GOOD, "pieces": [[7000, 1]]}, tmp_path)
    assert code == 0
    assert json.loads(out)["unplaced_pieces"] == [[7000, 1]]


@pytest.mark.parametrize("name", ["nowhere.json", "two\nlines.json", "nul\0"])
def test_a_file_that_is_not_there_is_refused_in_one_line(name: str) -> None:
    err = StringIO()
    with pytest.raises(SystemExit) as stopped:
        call_command("cutplan", name, stderr=err)
    assert stopped.value.code == 2
    assert err.getvalue().startswith(f"/: {name!r} cannot be read: ")
    assert err.getvalue().count("\n") == 1


def test_a_plan_can_be_checked_again_without_the_solver(tmp_path: Path) -> None:
    code, out, err = run(GOOD, tmp_path, "--check")
    assert (code, json.loads(out)["cost"]) == (0, "124.80")
    assert err == "no plan costs less than 124.80: added up again without a solver\n"


@pytest.mark.parametrize(
    "wrong",
    [
        {"pieces": [[2238, 10**9]]},
        {"pieces": [[1 + place, 1] for place in range(100_000)]},
        {"kerf_mm": 7000},
        {"stock": [{"length_mm": -6000, "price": "-1", "quantity_available": None}]},
        {"pieces": [[0, 1], [-1, 1]]},
    ],
    ids=["a milliard of pieces", "a hundred thousand lengths", "kerf beyond stock", "negative stock", "no length"],
)
def test_a_person_at_a_prompt_is_refused_within_a_second_of_the_processor(
    wrong: dict[str, Any], tmp_path: Path
) -> None:
    file = tmp_path / "demand.json"
    file.write_text(json.dumps({**GOOD, **wrong}))
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    data = subprocess.run([sys.executable, ROOT / "manage.py", "cutplan", file], capture_output=True, check=False)
    spent = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before.ru_utime
    assert (data.returncode, data.stdout) == (2, b"")
    assert data.stderr.startswith(b"/")
    assert spent < 1


def as_started_by_hand(command: list[str]) -> subprocess.Popen[bytes]:
    """Start a command that can be interrupted: in a run started with ``&`` the shell has every child ignore SIGINT."""
    return subprocess.Popen(
        command,
        cwd=ROOT,
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )


@pytest.fixture
def started_in_the_background() -> Iterator[None]:
    """Ignore SIGINT, as a shell does for ``make test &``."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("started_in_the_background")
def test_whoever_interrupts_it_gets_neither_a_traceback_nor_a_worker_left_over(tmp_path: Path) -> None:
    demand = tmp_path / "demand.json"
    pieces = [[300 + 5003 * place % 5599, 200] for place in range(1000)]  # 1000 lengths: not proved in half a minute
    demand.write_text(json.dumps({**GOOD, "pieces": pieces}))
    command = [sys.executable, "manage.py", "cutplan", str(demand), "--seconds", "60"]
    with as_started_by_hand(command) as asked:
        workers: list[psutil.Process] = []
        while not workers and asked.poll() is None:
            time.sleep(0.05)
            workers = psutil.Process(asked.pid).children()
        asked.send_signal(signal.SIGINT)
        out, err = asked.communicate(timeout=120)  # ends a hang, not a slow machine
    assert (asked.returncode, out, err) == (130, b"", b"")
    assert psutil.wait_procs(workers, timeout=120)[1] == []
