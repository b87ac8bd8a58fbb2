"""Why a quantity is what it is, and the cut list, as a person would say them."""

from __future__ import annotations

from collections.abc import Sequence

from fencing.piece import Piece, Quantity, Why
from fencing.reading.collecting import listed, nearest
from fencing.roles import ROLES
from fencing.system import Allowance, System
from fencing.takeoff import TakeOff
from fencing.writing import plain


class UnknownComponent(ValueError):
    """Asked about something the job does not need; the sentence names what it does need."""


def explain(taken: TakeOff, asked: str) -> tuple[str, ...]:
    """Say why every quantity of a role or component is what it is.

    Args:
        taken: the take-off.
        asked: a role (``screw``), a family (``cap``) or a component's name.

    Returns:
        One sentence-by-sentence paragraph for each quantity, in the order of the take-off.

    Raises:
        UnknownComponent: the job needs nothing of that name.

    Source: house rule.
    """
    rows = [row for row in taken.quantities if asked in (row.role, row.component) or row.role.startswith(f"{asked}.")]
    if not rows:
        raise UnknownComponent(_unknown(taken, asked))
    return tuple(_paragraph(row, taken.system) for row in rows)


def _unknown(taken: TakeOff, asked: str) -> str:
    known = list(dict.fromkeys(row.role for row in taken.quantities))
    if asked in ROLES:
        return f"this job needs no {ROLES[asked]}; it needs {listed(known, 'and')}"
    like = nearest(asked, known)
    hint = f"did you mean {like}? " if like else ""
    return f"{asked[:80]!r} is not known here; {hint}this job needs {listed(known, 'and')}"


def _paragraph(row: Quantity, system: System) -> str:
    name = ROLES.get(row.role, row.role)
    finish = f" ({row.colour})" if row.colour else ""
    sentences = [f"{name[0].upper()}{name[1:]}{finish}: {plain(row.total)}{_unit(row.unit)}."]
    reasons = "; ".join(_reason(why) for why in row.why)
    sentences.append(f"{plain(row.net)} {'is' if row.net == 1 else 'are'} needed: {reasons}.")
    if row.allowance:
        sentences.append(f"{_extra(row, system)} is {plain(row.allowance)} more.")
    return " ".join(sentences)


def _unit(unit: str) -> str:
    return {"C62": "", "MTR": " m", "MTQ": " m3", "KGM": " kg"}.get(unit, f" {unit}")


def _reason(why: Why) -> str:
    if why.each == 1:
        return f"{plain(why.net)} for {why.place}"
    return f"{plain(why.each)} at each of {why.count} {why.place} makes {plain(why.net)}"


def _extra(row: Quantity, system: System) -> str:
    allowance = system.allowances.get(row.role) or system.allowances.get(row.role.split(".")[0], Allowance())
    return f"{plain(allowance.percent)} % over" if allowance.percent else "The allowance"


def cut_list(taken: TakeOff) -> str:
    """Every piece to cut, grouped by material, longest first, as a text table."""
    lines: list[str] = []
    for role, colour in dict.fromkeys((piece.role, piece.colour) for piece in taken.pieces):
        own = [piece for piece in taken.pieces if (piece.role, piece.colour) == (role, colour)]
        name = ROLES.get(role, role)
        heading = f"{name[0].upper()}{name[1:]}{f', {colour}' if colour else ''}: {sum(one.count for one in own)}"
        lines += ["", heading, *_rows(sorted(own, key=lambda one: (-one.length, -(one.width or 0))))]
    return "\n".join(lines[1:])


def _rows(pieces: Sequence[Piece]) -> list[str]:
    return [
        f"  {piece.count:>5} x {piece.length:>6} mm{f' x {piece.width} wide' if piece.width else ''}  {_places(piece.where)}"
        for piece in pieces
    ]


def _places(where: Sequence[str]) -> str:
    named = list(dict.fromkeys(where))
    more = f" and {len(named) - 8} more" if len(named) > 8 else ""
    return ", ".join(named[:8]) + more


def summary(taken: TakeOff) -> str:
    """The job at a glance: its runs, what it needs, and what to look at."""
    lines = [taken.measure.label]
    for run in taken.runs:
        gates = f", {len(run.gates)} gates" if len(run.gates) > 1 else ", 1 gate" if run.gates else ""
        lines.append(f"Run {run.id}: {run.length} mm, {run.form}, {len(run.posts)} posts, {len(run.bays)} bays{gates}")
    lines += [f"Retrofit {row.id}: {len(row.bays)} bays" for row in taken.retrofits]
    lines += ["", "Needed, with allowances:"]
    for row in taken.quantities:
        finish = f" ({row.colour})" if row.colour else ""
        lines.append(f"  {plain(row.total):>9}{_unit(row.unit)} {ROLES.get(row.role, row.role)}{finish}")
    lines.append(f"Concrete: {taken.concrete.total:.3f} m3 in {taken.concrete.holes} holes")
    if taken.notices:
        lines += ["", "Notices:"]
        lines += [f"  {notice.level}: {notice.where}: {notice.text} [{notice.code}]" for notice in taken.notices]
    return "\n".join(lines)
