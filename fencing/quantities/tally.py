"""Tally of pieces and counted items with the elements that need them, summed in a fixed order."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_CEILING, Decimal

from fencing.model.fence import BreakdownLine, Piece, Quantity
from fencing.model.roles import CUT_ROLES, RANK, ROLES
from fencing.model.system import Allowance, System

Finish = tuple[str, str | None]
"""Role and finish."""


class Tally:
    """Needed pieces and quantities with their reasons, filled while bays, posts and gates are counted.

    >>> tally = Tally()
    >>> tally.piece("rail", "slate", 2388, "A-1", "bottom rails")
    >>> tally.count("screw", "slate", "rail ends", 2, each=2)
    >>> [(row.role, str(row.net)) for row in tally.reasons_in_order()]
    [('rail', '1'), ('screw', '4')]
    """

    def __init__(self) -> None:
        self._pieces: dict[tuple[str, str | None, int, int | None], list[str]] = {}
        self._reasons: dict[Finish, dict[tuple[str, int], int]] = {}

    def count(self, role: str, finish: str | None, place: str, places: int = 1, each: int = 1) -> None:
        """Add ``places`` elements with ``each`` pieces [0 or more].

        >>> tally = Tally()
        >>> tally.count("screw", None, "rail ends", 4, each=2)
        >>> [str(row.net) for row in tally.reasons_in_order()]
        ['8']
        """
        rows = self._reasons.setdefault((role, finish), {})
        rows[place, each] = rows.get((place, each), 0) + places

    def piece(
        self, role: str, finish: str | None, length: int, where: str, place: str, width: int | None = None
    ) -> None:
        """Add a piece of ``length`` [mm] for the bay, post or gate ``where``; it is counted under ``place``.

        >>> tally = Tally()
        >>> tally.piece("rail", None, 2388, "A-1", "top rails")
        >>> [(row.breakdown[0].element_type, row.breakdown[0].count) for row in tally.reasons_in_order()]
        [('top rails', 1)]
        """
        self._pieces.setdefault((role, finish, length, width), []).append(where)
        self.count(role, finish, place)

    def pieces(self, system: System) -> tuple[Piece, ...]:
        """Return all pieces [mm], longest first within a role and finish, with one ``used_at`` for each piece.

        Source: house rule.

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> tally = Tally()
        >>> for length, bay in ((2100, "A-2"), (2388, "A-1"), (2388, "A-3")):
        ...     tally.piece("rail", None, length, bay, "top rails")
        >>> [(piece.length, piece.count, piece.used_at) for piece in tally.pieces(ROUND_SIZES)]
        [(2388, 2, ('A-1', 'A-3')), (2100, 1, ('A-2',))]
        """
        keys = sorted(self._pieces, key=lambda key: (RANK[key[0]], key[1] or "", -key[2], -(key[3] or 0)))
        return tuple(
            Piece(role, system.components.get(role), finish, length, width, len(where), tuple(where))
            for role, finish, length, width in keys
            for where in (self._pieces[role, finish, length, width],)
        )

    def reasons_in_order(self) -> Iterable[Quantity]:
        """Yield the quantities [pieces] without allowance, in the order of printed lists; ``breakdown`` in the order of counting.

        >>> tally = Tally()
        >>> tally.count("screw", None, "caps", each=2)
        >>> tally.count("rail", None, "top rails")
        >>> [row.role for row in tally.reasons_in_order()]
        ['rail', 'screw']
        """
        for role, finish in sorted(self._reasons, key=lambda key: (RANK[key[0]], key[1] or "")):
            rows = self._reasons[role, finish]
            breakdown = tuple(
                BreakdownLine(place, count, Decimal(each), Decimal(count * each))
                for (place, each), count in rows.items()
            )
            net = sum((line.net for line in breakdown), Decimal(0))
            yield Quantity(role, None, finish, ROLES[role].unit, net, Decimal(0), net, breakdown)

    def quantities(self, system: System) -> tuple[Quantity, ...]:
        """Return all quantities [pieces] with the system's allowances; roles of a cutting plan have no allowance.

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> tally = Tally()
        >>> tally.count("screw", None, "caps", 156, each=2)
        >>> [(str(row.net), str(row.total)) for row in tally.quantities(ROUND_SIZES)]  # 5 % of 312 is 15.6, rounded up to 16
        [('312', '328')]
        """
        return tuple(add_allowance(row, system, Decimal(1)) for row in self.reasons_in_order())


def find_allowance(role: str, system: System) -> Allowance:
    """Return the allowance of a role, or of its family (``cap`` for ``cap.pair``), or no allowance [percent, pieces].

    Source: house rule.

    >>> from fencing.model.example_system import ROUND_SIZES
    >>> str(find_allowance("concrete.mix", ROUND_SIZES).percent), str(find_allowance("rail", ROUND_SIZES).percent)
    ('10', '0')
    """
    none = Allowance()
    if role in CUT_ROLES:
        return none
    return system.allowances.get(role) or system.allowances.get(ROLES[role].family, none)


def add_allowance(row: Quantity, system: System, quantum: Decimal) -> Quantity:
    """Return ``row`` with its component and its allowance, rounded up to ``quantum`` [sale units]. Source: common practice.

    >>> from fencing.model.example_system import ROUND_SIZES
    >>> row = Quantity("screw", None, None, "C62", Decimal(312), Decimal(0), Decimal(312), ())
    >>> str(add_allowance(row, ROUND_SIZES, Decimal(1)).allowance)  # 5 % of 312 screws is 15.6
    '16'
    """
    rule = find_allowance(row.role, system)
    extra = (row.net * rule.percent / 100).quantize(quantum, ROUND_CEILING) + rule.each
    component = system.components.get(row.role)
    return Quantity(row.role, component, row.finish, row.unit, row.net, extra, row.net + extra, row.breakdown)
