"""The tally: pieces and counted things gathered with the place each is needed at, then summed in a fixed order."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_CEILING, Decimal

from fencing.piece import Piece, Quantity, Why
from fencing.prices import PIECE_ROLES
from fencing.roles import RANK
from fencing.system import Allowance, System

Finish = tuple[str, str | None]
"""A role and its finish."""


class Tally:
    """What is needed and why, gathered while bays, posts and gates are walked.

    >>> tally = Tally()
    >>> tally.piece("rail", "slate", 2388, "A-1", "bottom rails")
    >>> tally.count("screw", "slate", "rail ends", 2, each=2)
    >>> [(row.role, str(row.net)) for row in tally.reasons_in_order()]
    [('rail', '1'), ('screw', '4')]
    """

    def __init__(self) -> None:
        self._pieces: dict[tuple[str, str | None, int, int | None], list[str]] = {}
        self._reasons: dict[Finish, dict[tuple[str, int], int]] = {}

    def count(self, role: str, colour: str | None, place: str, places: int = 1, each: int = 1) -> None:
        """``places`` more places of ``each`` pieces."""
        rows = self._reasons.setdefault((role, colour), {})
        rows[place, each] = rows.get((place, each), 0) + places

    def piece(
        self, role: str, colour: str | None, length: int, where: str, place: str, width: int | None = None
    ) -> None:
        """One more piece ``length`` mm long, for the bay, post or gate ``where``."""
        self._pieces.setdefault((role, colour, length, width), []).append(where)
        self.count(role, colour, place)

    def pieces(self, system: System) -> tuple[Piece, ...]:
        """All pieces, longest first within a role and finish; ``where`` names one place for each piece."""
        keys = sorted(self._pieces, key=lambda key: (RANK[key[0]], key[1] or "", -key[2], -(key[3] or 0)))
        return tuple(
            Piece(role, system.components.get(role), colour, length, width, len(where), tuple(where))
            for role, colour, length, width in keys
            for where in (self._pieces[role, colour, length, width],)
        )

    def reasons_in_order(self) -> Iterable[Quantity]:
        """Quantities without allowance, in the order lists are printed; ``why`` in the order places were met."""
        for role, colour in sorted(self._reasons, key=lambda key: (RANK[key[0]], key[1] or "")):
            rows = self._reasons[role, colour]
            why = tuple(
                Why(place, count, Decimal(each), Decimal(count * each)) for (place, each), count in rows.items()
            )
            net = sum((row.net for row in why), Decimal(0))
            yield Quantity(role, None, colour, "C62", net, Decimal(0), net, why)

    def quantities(self, system: System) -> tuple[Quantity, ...]:
        """All counted things with the system's allowances; what the cutting plan accounts for has none."""
        return tuple(with_allowance(row, system, Decimal(1)) for row in self.reasons_in_order())


def allowance_for(role: str, system: System) -> Allowance:
    """The allowance of a role: its own, otherwise its family's (``cap`` serves ``cap.pair``), otherwise none."""
    none = Allowance()
    if role in PIECE_ROLES:
        return none
    return system.allowances.get(role) or system.allowances.get(role.split(".")[0], none)


def with_allowance(row: Quantity, system: System, quantum: Decimal) -> Quantity:
    """``row`` with its component, and its allowance rounded up to ``quantum``.

    >>> from decimal import Decimal
    >>> (Decimal(312) * 5 / 100).quantize(Decimal(1), ROUND_CEILING)  # 5 % of 312 screws is 15.6
    Decimal('16')
    """
    rule = allowance_for(row.role, system)
    extra = (row.net * rule.percent / 100).quantize(quantum, ROUND_CEILING) + rule.each
    component = system.components.get(row.role)
    return Quantity(row.role, component, row.colour, row.unit, row.net, extra, row.net + extra, row.why)
