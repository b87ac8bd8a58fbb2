"""``manage.py cutplan DEMAND.json`` without Django: it needs no database, and a refusal is there in a fraction of a second."""

from __future__ import annotations

import json
from argparse import ArgumentParser, Namespace
from collections.abc import Sequence
from functools import partial
from typing import TextIO

from fencing.cutting import Budget, CutPlan, plan_cuts, read_demand
from fencing.model.faults import InvalidDocument
from shared.common.command_io import read_source, run_command

HELP = "Make the cheapest cutting plan of a demand and print it as JSON."
MAX_BYTES = 2_000_000
REFUSED, UNPROVED = 2, 3


def add_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("demand", metavar="DEMAND.json", help="what to cut from what; - reads standard input")
    parser.add_argument("--seconds", type=float, default=10.0, help="when to give the best plan so far (0.1 to 600)")
    parser.add_argument(
        "--check",
        action="store_true",
        help="check the plan and its proof again without a solver; what that finds goes to standard error",
    )


def quick(arguments: Sequence[str]) -> int | None:
    """Answer the command; None where Django's own options are asked for."""
    parser = ArgumentParser(prog="manage.py cutplan", description=HELP, allow_abbrev=False)
    add_arguments(parser)
    known, unknown = parser.parse_known_args(arguments)
    if unknown:
        return None
    return run_command(partial(run, known))


def run(asked: Namespace, out: TextIO, err: TextIO) -> int:
    """Plan what was asked; the exit code."""
    seconds = min(600.0, max(0.1, asked.seconds))
    try:
        demand = read_demand(read_source(asked.demand, MAX_BYTES))
    except InvalidDocument as refused:
        err.writelines(f"{fault.pointer or '/'}: {fault.text}\n" for fault in refused.faults)
        return REFUSED
    plan = plan_cuts(demand, Budget(int(seconds * 1_000_000), seconds))
    out.write(json.dumps(plan.document(), ensure_ascii=False) + "\n")
    return _checked(plan, err) if asked.check else 0


def _checked(plan: CutPlan, err: TextIO) -> int:
    """Print the result of the independent checker; return 3 if it finds a fault."""
    from fencing.cutting.plan_checker import check

    verdict = check(plan)
    err.writelines(f"fault: {fault}\n" for fault in verdict.faults)
    if verdict.proved is not None:
        how = f"{verdict.taken} steps rest on a solver's word" if verdict.taken else "added up again without a solver"
        err.write(f"no plan costs less than {plan.money(min(verdict.proved, plan.bound))}: {how}\n")
    return UNPROVED if verdict.faults else 0
