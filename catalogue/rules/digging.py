"""Cost of digging a post hole: a rate up to a depth, one for each further 100 mm, and a factor for the diameter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

STEP_MM = 100
"""Step of depth [mm] that ``dig_deeper`` prices."""
ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class DigRate:
    """Rates of digging in a soil: ``hole`` up to ``included`` [mm], then ``deeper`` for each further 100 mm begun.

    ``included`` None: a hole costs the same however deep it is.
    """

    hole: Decimal
    included: int | None = None
    deeper: Decimal | None = None

    def steps(self, depth: int) -> int:
        """Return how many further 100 mm a hole of ``depth`` [mm] takes; the last one counts as soon as it is begun.

        >>> rock = DigRate(Decimal(112), 700, Decimal(19))
        >>> rock.steps(700), rock.steps(701), rock.steps(1490)
        (0, 1, 8)
        """
        return 0 if self.included is None else max(0, -(-(depth - self.included) // STEP_MM))

    def price(self, depth: int, factor: Decimal) -> Decimal:
        """Return what one hole of ``depth`` [mm] costs at the factor of its diameter.

        >>> DigRate(Decimal(112), 700, Decimal(19)).price(1490, Decimal("1.5"))  # (112 + 8 x 19) x 1.5
        Decimal('396.0')
        """
        return (self.hole + self.steps(depth) * (self.deeper or 0)) * factor


@dataclass(frozen=True, slots=True)
class HoleFactors:
    """Factors on digging by the diameter of the hole [mm], and on spoil by the soil it comes from."""

    diameters: Mapping[int, Decimal]
    bulking: Mapping[str, Decimal]

    def diameter(self, across: int) -> tuple[int, Decimal] | None:
        """Return the band of a diameter [mm] and its factor; (0, 1) where there are no bands, None beyond the widest.

        >>> HoleFactors({300: Decimal(1), 450: Decimal("1.35")}, {}).diameter(301)
        (450, Decimal('1.35'))
        """
        if not self.diameters:
            return 0, ONE
        band = min((band for band in self.diameters if band >= across), default=None)
        return None if band is None else (band, self.diameters[band])

    def loose(self, soil: str) -> Decimal:
        """Return how many times its volume in the ground a soil takes once it is dug: its own factor, or that of all soils.

        >>> HoleFactors({}, {"": Decimal("1.25"), "clay": Decimal("1.40")}).loose("sand")
        Decimal('1.25')
        """
        return self.bulking.get(soil, self.bulking.get("", ONE))


NO_FACTORS = HoleFactors({}, {})


def hole_factors(factors: Mapping[str, Decimal]) -> HoleFactors:
    """Return the factors that price rules hold by key.

    >>> hole_factors({"diameter.300": Decimal(1), "bulking": Decimal("1.25")}).bulking
    {'': Decimal('1.25')}
    """
    parts = [(*key.partition(".")[::2], factor) for key, factor in factors.items()]
    return HoleFactors(
        {int(finer): factor for name, finer, factor in parts if name == "diameter"},
        {finer: factor for name, finer, factor in parts if name == "bulking"},
    )


def dig_depths(choices: Mapping[str, str]) -> dict[str, int]:
    """Return the depth [mm] each digging rate includes, by the key of the rate, from the choices of labour rates.

    >>> dig_depths({"dig.clay": "700", "remove.asbestos": "hazardous"})
    {'dig.clay': 700}
    """
    return {key: int(depth) for key, depth in choices.items() if key.partition(".")[0] == "dig"}
