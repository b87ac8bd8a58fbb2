"""Comparison of quoted, ordered and used materials by role, with their costs."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from quotes.jobs.hooks import Ordered, ordered_for
from quotes.jobs.models import Job
from quotes.jobs.queries import used_by_role
from quotes.quoting.content import Build
from quotes.quoting.json_values import JsonObject
from quotes.quoting.queries import agreed_build
from shared.common.money import minor_digits, rounded
from shared.common.problems import Problem

ZERO = Decimal(0)


def compare_built(job: Job) -> JsonObject:
    """Return a row for each role of material that was quoted, ordered or used, and the totals.

    Rule: quoted is the cost of the accepted build. Used is costed at the unit cost of the orders, or of the quote if
    nothing was ordered. Totals are the sums of the rows.
    """
    build = agreed_build(job)
    if build is None:
        raise Problem("conflict", "This job has no accepted quote yet.")
    quoted, ordered, used = _quoted(build), ordered_for(job), used_by_role(job)
    digits = minor_digits(job.business.currency)
    rows = [
        _row(role, quoted.get(role), ordered.get(role), used.get(role), digits)
        for role in dict.fromkeys([*quoted, *sorted(ordered), *sorted(used)])
    ]
    totals = {name: format(sum((Decimal(row[name]) for row in rows), ZERO), "f") for name in MONEY}
    return {"job": job.ref, "currency": job.business.currency, "rows": rows, "totals": totals}


MONEY = ("quoted_cost", "ordered_cost", "used_cost", "used_minus_quoted")


def _quoted(build: Build) -> dict[str, Ordered]:
    found: dict[str, Ordered] = {}
    for line in build.costing:
        if line.role:
            before = found.get(line.role, Ordered(ZERO, ZERO))
            found[line.role] = Ordered(before.quantity + line.quantity, before.cost + line.cost)
    return found


def _row(role: str, quoted: Ordered | None, ordered: Ordered | None, used: Decimal | None, digits: int) -> JsonObject:
    basis = ordered if ordered and ordered.quantity else quoted
    each = Fraction(basis.cost) / Fraction(basis.quantity) if basis and basis.quantity else Fraction(0)
    used_cost = rounded(Fraction(used or ZERO) * each, digits)
    quoted_cost = quoted.cost if quoted else ZERO
    return {
        "role": role,
        "quoted": _count(quoted.quantity if quoted else None),
        "ordered": _count(ordered.quantity if ordered else None),
        "used": _count(used),
        "quoted_cost": format(quoted_cost, "f"),
        "ordered_cost": format(ordered.cost if ordered else ZERO, "f"),
        "used_cost": format(used_cost, "f"),
        "used_minus_quoted": format(used_cost - quoted_cost if used is not None else ZERO, "f"),
    }


def _count(quantity: Decimal | None) -> str | None:
    return None if quantity is None else format(quantity.normalize(), "f")
