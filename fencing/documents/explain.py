"""Texts for people about a take-off: explanation of a quantity, cut list and summary."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from fencing.buying.purchase_lines import plain
from fencing.documents.takeoff_document import suggest_changes_if_small
from fencing.model.faults import find_nearest, join_words
from fencing.model.fence import PLACES, BreakdownLine, BuiltRun, Concrete, Piece, Quantity, RunOption
from fencing.model.roles import BAG, CUT_ROLES, ROLES, name_role
from fencing.model.system import System
from fencing.quantities.take_off import TakeOff
from fencing.quantities.tally import find_allowance
from fencing.strength.document import describe_change, interpret
from fencing.strength.screening import DISCLAIMER, OUTCOME_TEXTS, ScreeningOutcome, screen

UNITS = {"C62": "", "MTR": " m", "MTQ": " m³", "KGM": " kg"}
MAX_LENGTHS = 12
MAX_NAMES = 24


class UnknownComponent(ValueError):
    """Error for a name that is not needed in the job; the text lists what is needed."""


def explain(taken: TakeOff, name: str) -> tuple[str, ...]:
    """Explain every quantity of a role or component.

    Args:
        taken: the take-off.
        name: a role (``screw``), a family (``cap``), a word for it (``screws``) or a component's name; any case.

    Returns:
        One paragraph for each quantity [sale units], in the order of the take-off.

    Raises:
        UnknownComponent: the job needs nothing with that name.

    Source: house rule.

    Example:
        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> from fencing.quantities.take_off import take_off
        >>> explain(take_off(TWO_BAYS, ROUND_SIZES), "rails")[0]
        'Rails: 4. Needed: 4, that is 2 for bottom rails; 2 for top rails. Cut to 4 of 2355 mm.'
    """
    rows = [row for row in taken.quantities if name.casefold() in _list_names(row)]
    if not rows:
        raise UnknownComponent(_describe_unknown(taken, name))
    return tuple(_write_paragraph(row, taken) for row in rows)


def _list_names(row: Quantity) -> set[str]:
    """Return every name of a quantity."""
    names = {row.role, ROLES[row.role].family, name_role(row.role), name_role(row.role, 1), row.component or row.role}
    return {name.casefold() for name in names}


def _describe_unknown(taken: TakeOff, name: str) -> str:
    roles = dict.fromkeys(row.role for row in taken.quantities)
    known = [*roles, *dict.fromkeys(row.component for row in taken.quantities if row.component)]
    needed = f"this job needs {join_words(known, 'and')}" if known else "this job needs nothing"
    if name in ROLES:
        role = ROLES[name]
        verb = "is" if role.singular == role.plural else "are"
        return f"there {verb} no {role.plural} in this job; {needed}"
    like = find_nearest(name, known)
    hint = f"did you mean {like}? " if like else ""
    return f"{name[:80]!r} is not known here; {hint}{needed}"


def _write_paragraph(row: Quantity, taken: TakeOff) -> str:
    name = name_role(row.role, row.total)
    finish = f" ({row.finish})" if row.finish else ""
    component = f" [{row.component}]" if row.component else ""
    sentences = [
        f"{name[0].upper()}{name[1:]}{finish}{component}: {_format_amount(row.total, row.unit)}{_describe_bags(row, taken)}."
    ]
    reasons = "; ".join(_explain_line(line, row) for line in row.breakdown)
    sentences.append(f"Needed: {_format_amount(row.net, row.unit)}, that is {reasons}.")
    if row.allowance:
        extra = _format_amount(row.allowance, row.unit)
        sentences.append(f"The allowance of {_describe_allowance(row.role, taken.system)} adds {extra}.")
    return " ".join([*sentences, *_describe_lengths(row, taken.pieces)])


def _format_amount(number: Decimal, unit: str) -> str:
    return f"{number:.3f}{UNITS[unit]}" if unit == "MTQ" else f"{plain(number)}{UNITS.get(unit, f' {unit}')}"


def _describe_bags(row: Quantity, taken: TakeOff) -> str:
    if row.role != BAG:
        return ""
    bags = taken.concrete.bags
    if bags is None:
        return " (how many bags that is depends on their yield, which the system does not state)"
    return (
        f", in {bags} {'bag' if bags == 1 else 'bags'} that yield {plain(taken.system.bag_yield or Decimal(0))} m³ each"
    )


def _explain_line(line: BreakdownLine, row: Quantity) -> str:
    net, unit = _format_amount(line.net, row.unit), UNITS.get(row.unit, "")
    singular, plural = PLACES.get(line.element_type, (line.element_type, line.element_type))
    if row.role in CUT_ROLES or line.element_type not in PLACES:
        return f"{net} for {plural if line.count > 1 or line.element_type not in PLACES else f'one {singular}'}"
    if line.count == 1:
        taken = "" if line.per_element == line.net else f", taken as {net}"
        return f"{plain(line.per_element)}{unit} at one {singular}{taken}"
    makes = "" if line.per_element == 1 else f" makes {net}"
    return f"{plain(line.per_element)}{unit} at each of {line.count} {plural}{makes}"


def _describe_allowance(role: str, system: System) -> str:
    rule = find_allowance(role, system)
    return f"{plain(rule.percent)} %" if rule.percent else f"{rule.each} of each kind"


def _describe_lengths(row: Quantity, pieces: Sequence[Piece]) -> list[str]:
    own = [piece for piece in pieces if (piece.role, piece.finish) == (row.role, row.finish)]
    if not own:
        return []
    cut = [f"{piece.count} of {_describe_size(piece)}" for piece in own[:MAX_LENGTHS]]
    more = len(own) - MAX_LENGTHS
    return [f"Cut to {'; '.join(cut)}{f'; and {more} more sizes' if more > 0 else ''}."]


def _describe_size(piece: Piece) -> str:
    return f"{piece.length} mm" if piece.width is None else f"{piece.length} x {piece.width} mm"


def write_cut_list(taken: TakeOff) -> str:
    """Return a text table of all pieces to cut [mm], grouped by material, longest first, one line for each length.

    Source: house rule.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> write_cut_list(take_off(TWO_BAYS, ROUND_SIZES)).splitlines()[0]
    '2 square posts'
    """
    lines: list[str] = []
    for role, finish in dict.fromkeys((piece.role, piece.finish) for piece in taken.pieces):
        own = [piece for piece in taken.pieces if (piece.role, piece.finish) == (role, finish)]
        count = sum(item.count for item in own)
        component = f" [{own[0].component}]" if own[0].component else ""
        heading = f"{count} {name_role(role, count)}{f', {finish}' if finish else ''}{component}"
        lines += ["", heading, f"  {'pieces':>6}  {'mm':>6}  {'wide':>5}  for", *map(_write_row, own)]
    return "\n".join(lines[1:]) if lines else "nothing to cut"


def _write_row(piece: Piece) -> str:
    named = list(dict.fromkeys(piece.used_at))
    more = f" and {len(named) - 8} more" if len(named) > 8 else ""
    return f"  {piece.count:>6}  {piece.length:>6}  {piece.width or '':>5}  {', '.join(named[:8])}{more}"


def write_summary(taken: TakeOff) -> str:
    """Return a summary of the job: its runs [mm], needed quantities and notices. Source: house rule.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> write_summary(take_off(TWO_BAYS, ROUND_SIZES)).splitlines()[1]
    'Run A: 4800 mm, level, from_start, 3 posts, 2 bays'
    """
    lines = [taken.measure.label]
    for run in taken.runs:
        lines += [_summarise_run(run), *_compare_options(run.options)]
    lines += [f"Retrofit {row.id}: {_count_word(len(row.bays), 'bay')}" for row in taken.retrofits]
    lines += ["", "Needed, with allowances:", *map(_write_quantity, taken.quantities), *_write_concrete(taken.concrete)]
    if taken.measure.strength is not None:
        lines += ["", *_summarise_screening(taken)]
    if taken.notices:
        lines += ["", "Notices:"]
        lines += [f"  {notice.severity}: {notice.element}: {notice.text} [{notice.code}]" for notice in taken.notices]
    return "\n".join(lines)


def _summarise_run(run: BuiltRun) -> str:
    gates = f", {_count_word(len(run.gates), 'gate')}" if run.gates else ""
    posts, bays = _count_word(len(run.posts), "post"), _count_word(len(run.bays), "bay")
    return f"Run {run.id}: {run.length} mm, {run.form}, {run.layout}, {posts}, {bays}{gates}"


def _write_quantity(row: Quantity) -> str:
    finish = f" ({row.finish})" if row.finish else ""
    return f"  {_format_amount(row.total, row.unit):>9} {name_role(row.role, row.total)}{finish}"


def _write_concrete(concrete: Concrete) -> list[str]:
    if not concrete.holes:
        return []
    bags = "" if concrete.bags is None else f", {_count_word(concrete.bags, 'bag')}"
    return [f"Concrete: {concrete.total:.3f} m³ in {_count_word(concrete.holes, 'hole')}{bags}"]


def _compare_options(options: Sequence[RunOption]) -> list[str]:
    """Return the chosen option, and the best option of every other form (or layout, if the form was given)."""
    if not options:
        return []
    chosen = next(option for option in options if option.chosen)
    cost = f", {Decimal(chosen.cost):.2f}" if chosen.cost else ""
    others = [
        f"    {other.form}, {other.layout}: {_describe_difference(other, chosen)}"
        for other in _find_best_others(options, chosen)
    ]
    return [f"  chosen: {chosen.form}, {chosen.layout}{cost}", *others]


def _find_best_others(options: Sequence[RunOption], chosen: RunOption) -> list[RunOption]:
    """Return the best option of every form that was not chosen (or layout, if the form was given)."""
    by_form = len({option.form for option in options}) > 1

    def kind(option: RunOption) -> str:
        return option.form if by_form else option.layout

    best: dict[str, RunOption] = {}
    for option in sorted(options, key=lambda item: (item.must_fix_count, Decimal(item.cost or 0))):
        best.setdefault(kind(option), option)
    best.pop(kind(chosen), None)
    return list(best.values())


def _describe_difference(option: RunOption, chosen: RunOption) -> str:
    if option.must_fix_count > chosen.must_fix_count:
        return _count_word(option.must_fix_count, "must-fix notice")
    if option.cost is None or chosen.cost is None:
        return _count_word(option.bays, "bay")
    more = Decimal(option.cost) - Decimal(chosen.cost)
    return f"{more:.2f} dearer" if more else "the same cost"


def _summarise_screening(taken: TakeOff) -> list[str]:
    """Return a summary of the strength screening: posts by outcome, and suggested changes."""
    screening = screen(taken)
    lines = [f"Strength screening ({screening.method.title}): {OUTCOME_TEXTS[screening.outcome]}."]
    for outcome in ScreeningOutcome:
        own = dict.fromkeys(post.case.post for post in screening.posts if post.outcome is outcome)
        if own:
            needs = [post.needed for post in screening.posts if post.outcome is outcome and post.needed]
            deepest = f" (embedment needed up to {max(needs)} mm)" if needs else ""
            lines.append(f"  {outcome}: {_join_posts(list(own))}{deepest}")
    lines += [f"  height of the existing fence not stated: {name}" for name in screening.unscreened]
    lines += [f"  suggested change: {describe_change(change)}" for change in suggest_changes_if_small(screening)]
    return [*lines, *(f"  {text}" for text in interpret(screening)), f"  {DISCLAIMER}"]


def _join_posts(posts: list[str]) -> str:
    more = len(posts) - MAX_NAMES
    return ", ".join(posts) if more <= 0 else f"{', '.join(posts[:MAX_NAMES])} and {more} more"


def _count_word(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
