"""Choice of form and layout: every way to build a run, and the way that is chosen.

Rule: docs/rules.md. Fewest stops first. Then the cheapest if there are prices; otherwise the first form, the fewest bays and
the fewest rails to cut. Between equals the order of the lists in ``measure-2.json`` decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from fencing.model.faults import InvalidDocument, Notice, Severity
from fencing.model.fence import Post, RunOption
from fencing.model.measure import FORMS, LAYOUTS, Form, Layout, Run
from fencing.model.system import System
from fencing.quantities.comparison_prices import EstimateWork, PriceList, estimate_cost
from fencing.quantities.count import calculate_concrete, count_half_caps, count_run
from fencing.quantities.tally import Tally
from fencing.set_out.bays import inspect_bay
from fencing.set_out.gates import inspect_gate
from fencing.set_out.ground import Ground
from fencing.set_out.posts import build_post, inspect_posts
from fencing.set_out.run import NO_ENDS, Draft, Ends, set_out


@dataclass(frozen=True, slots=True)
class BuildOption:
    """One way to build a run, with the figures that the choice depends on."""

    draft: Draft
    must_fix_count: int
    cuts: int
    cost: Decimal | None


def inspect_run(draft: Draft, posts: Sequence[Post], system: System) -> list[Notice]:
    """Return every notice of one run: its bays, gates and posts, in that order. Lengths in texts are [mm].

    Source: house rule.

    Example: a level run on level ground has no notices:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> run = TWO_BAYS.runs[0]
        >>> draft = set_out(run, Form.LEVEL, Layout.FROM_START, Ground((0,), (0,)), ROUND_SIZES)
        >>> inspect_run(draft, [build_post(post, ROUND_SIZES) for post in draft.uprights], ROUND_SIZES)
        []
    """
    notices = [notice for bay in draft.bays for notice in inspect_bay(bay, system)]
    for gate in draft.gates:
        notices += inspect_gate(gate, draft.run.length, draft.ground, system)
    return notices + inspect_posts(posts, system)


def build_options(
    run: Run,
    ground: Ground,
    system: System,
    prices: PriceList | None,
    ends: Ends = NO_ENDS,
    pointer: str = "",
    *,
    forms: Iterable[Form] = FORMS,
    layouts: Iterable[Layout] = LAYOUTS,
) -> list[BuildOption]:
    """Set out and cost every combination of ``forms`` and ``layouts`` for one run.

    Args:
        run: the measured run.
        ground: the ground under it.
        system: the fence system [lengths in mm].
        prices: the business's prices, or None.
        ends: ids of corner posts shared with neighbours.
        pointer: JSON Pointer of the run, for faults.
        forms, layouts: forms and layouts to try, in order of preference between equals.

    Returns:
        The options in the order tried: for each form, every layout with enough bays for the run's taper.

    Raises:
        InvalidDocument: gates or a taper that fit no layout tried.

    Source: house rule.

    Example: three forms, five layouts:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> len(build_options(TWO_BAYS.runs[0], Ground((0,), (0,)), ROUND_SIZES, None))
        15
    """
    layouts, built, errors = list(layouts), list[BuildOption](), list[InvalidDocument]()
    for form in forms:
        for layout in layouts:
            try:
                draft = set_out(run, form, layout, ground, system, ends, pointer)
            except InvalidDocument as error:  # a taper may need more bays than this layout has
                errors.append(error)
            else:
                built.append(_build_option(draft, system, prices))
    if not built:
        raise errors[0]
    return built


def _build_option(draft: Draft, system: System, prices: PriceList | None) -> BuildOption:
    posts = [build_post(post, system) for post in draft.uprights]
    must_fix_count = sum(notice.severity is Severity.STOP for notice in inspect_run(draft, posts, system))
    cuts = sum(bay.count_cut_rails(system.rails.stock) for bay in draft.bays)
    return BuildOption(
        draft, must_fix_count, cuts, _estimate_option(draft, posts, cuts, system, prices) if prices else None
    )


def _estimate_option(
    draft: Draft, posts: Sequence[Post], cuts: int, system: System, prices: PriceList
) -> Decimal | None:
    tally = Tally()
    count_run(tally, draft.run, posts, draft.bays, draft.gates, system)
    count_half_caps(tally, [(posts, draft.run.finishes)])
    _, mix = calculate_concrete(posts, system)
    quantities = [*tally.quantities(system), *([mix] if mix else [])]
    raked = sum(bay.slope > 0 for bay in draft.bays)
    return estimate_cost(
        prices, tally.pieces(system), quantities, EstimateWork(len(posts), len(draft.bays), raked, cuts, draft.run.soil)
    )


def choose_option(candidates: Sequence[BuildOption]) -> BuildOption:
    """Return the option to build. Costs [the business's currency] decide only if every option has one.

    Rule: see the module.

    Source: house rule.

    Example: no option has a must-fix notice, so the first form wins, with its first layout of the fewest bays and cuts:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> candidates = build_options(TWO_BAYS.runs[0], Ground((0,), (0,)), ROUND_SIZES, None)
        >>> choose_option(candidates).draft.form.value, len(choose_option(candidates).draft.bays)
        ('level', 2)
    """
    priced = all(option.cost is not None for option in candidates)

    def rank(numbered: tuple[int, BuildOption]) -> tuple[int, Decimal, int, int, int, int]:
        index, option = numbered
        form = FORMS.index(option.draft.form)
        cost = option.cost if priced and option.cost is not None else Decimal(0)
        return option.must_fix_count, cost, form, len(option.draft.bays), option.cuts, index

    return min(enumerate(candidates), key=rank)[1]


def choose_draft(
    run: Run, ground: Ground, system: System, prices: PriceList | None, ends: Ends, pointer: str
) -> tuple[Draft, tuple[RunOption, ...]]:
    """Return the draft to build for a run, and its options (none if the measure states both form and layout).

    Args:
        run: the measured run [lengths in mm].
        ground: the ground under it.
        system: the fence system.
        prices: the business's prices, or None.
        ends: ids of corner posts shared with neighbours.
        pointer: JSON Pointer of the run, for faults.

    Raises:
        InvalidDocument: gates or a taper that fit no allowed layout.

    Source: house rule.

    Example: form and layout are stated, so there are no options:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> draft, others = choose_draft(TWO_BAYS.runs[0], Ground((0,), (0,)), ROUND_SIZES, None, NO_ENDS, "/runs/0")
        >>> draft.form.value, others
        ('level', ())
    """
    if run.form is not Form.AUTO and run.layout is not Layout.AUTO:
        return set_out(run, run.form, run.layout, ground, system, ends, pointer), ()
    candidates = build_options(
        run,
        ground,
        system,
        prices,
        ends,
        pointer,
        forms=FORMS if run.form is Form.AUTO else (run.form,),
        layouts=LAYOUTS if run.layout is Layout.AUTO else (run.layout,),
    )
    chosen = choose_option(candidates)
    return chosen.draft, list_options(candidates, chosen)


def list_options(candidates: Sequence[BuildOption], chosen: BuildOption) -> tuple[RunOption, ...]:
    """Return the options for the take-off, in the order tried; costs are decimal strings [the business's currency].

    Source: house rule.

    Example:
        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> candidates = build_options(TWO_BAYS.runs[0], Ground((0,), (0,)), ROUND_SIZES, None)
        >>> [option.chosen for option in list_options(candidates, candidates[0])].count(True)
        1
    """
    return tuple(
        RunOption(
            form=option.draft.form,
            layout=option.draft.layout,
            bays=len(option.draft.bays),
            must_fix_count=option.must_fix_count,
            cost=None if option.cost is None else f"{option.cost:f}",
            chosen=option is chosen,
        )
        for option in candidates
    )
