"""Limits of a screening: the wind method that a request names, the soil and the sections of the posts."""

from __future__ import annotations

from dataclasses import dataclass

from fencing.model.measure import StrengthRequest
from fencing.model.system import System
from fencing.strength.footing import Inputs, SoilInputs, read_number
from fencing.strength.section import SteelSection, calculate_channel, calculate_square_tube, pair_channels
from fencing.strength.wind import GivenPressure, WindMethod
from fencing.strength.wind_as_nzs import CLIMATE, TERRAIN, AsNzs, calculate_regional_speed_m_s, calculate_site_speed_m_s
from fencing.strength.wind_asce import Asce
from fencing.strength.wind_en import En


def build_wind_method(request: StrengthRequest) -> WindMethod:
    """Build the method of a checked request.

    Args:
        request: as :func:`fencing.reading.strength.read_strength` gives it.

    Returns:
        The method, ready to give zones of net pressure [Pa].

    Raises:
        KeyError: a method or input that the reader would have refused.

    Source: each method's own module.

    Example:
        >>> build_wind_method(StrengthRequest("given_pressure", {"pressure_kpa": "0.60"})).title
        'stated net wind pressure'
    """
    inputs = request.inputs
    match request.method:
        case "given_pressure":
            pressure, end = float(inputs["pressure_kpa"]) * 1000, read_number(inputs, "end_factor", 2.0)
            return GivenPressure(pressure, end, read_number(inputs, "footing_factor", 1.0))
        case "as-nzs-1170.2":
            return AsNzs(_find_site_speed_m_s(inputs), read_number(inputs, "footing_factor", 1.0))
        case "en-1991-1-4":
            orography, footing = read_number(inputs, "orography", 1.0), read_number(inputs, "footing_factor", 1.0)
            return En(float(inputs["speed_m_s"]), str(inputs["terrain_category"]), orography, footing)
        case "asce-7":
            hill, footing = (
                read_number(inputs, "topography_multiplier", 1.0),
                read_number(inputs, "footing_factor", 0.6),
            )
            return Asce(float(inputs["speed_m_s"]), str(inputs["exposure_category"]), hill, footing)
        case _:
            raise KeyError(request.method)


def _find_site_speed_m_s(inputs: Inputs) -> float:
    """Return the design speed as stated, or from the region, the return period and the multipliers of the site [m/s]."""
    if "speed_m_s" in inputs:
        return float(inputs["speed_m_s"])
    region = str(inputs["wind_region"])
    return calculate_site_speed_m_s(
        calculate_regional_speed_m_s(region, int(inputs["return_period_years"])) * CLIMATE.get(region, 1.0),
        read_number(inputs, "direction_multiplier", 1.0),
        TERRAIN[str(inputs["terrain_category"])],
        read_number(inputs, "shielding_multiplier", 1.0),
        read_number(inputs, "topography_multiplier", 1.0),
    )


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits of a screening: method, soil, sections, and the open share of the lattice."""

    method: WindMethod
    ground: SoilInputs
    system: System

    @property
    def lattice_factor(self) -> float:
        """The pressure on lattice as a share of that on a solid face [0 to 1]; without a known open area it counts as solid.

        Source: the method.

        Example: half open, so 1 - (1 - 0.5)^2:

            >>> from dataclasses import replace
            >>> from decimal import Decimal
            >>> from fencing.model.example_system import ROUND_SIZES
            >>> from fencing.strength.footing import find_soil_inputs
            >>> from fencing.strength.wind import GivenPressure
            >>> half_open = replace(ROUND_SIZES, lattice_open_area_ratio=Decimal("0.5"))
            >>> Limits(GivenPressure(600.0), find_soil_inputs({}, "clay"), half_open).lattice_factor
            0.75
        """
        open_area_ratio = self.system.lattice_open_area_ratio
        return self.method.find_porosity_factor(1 - float(open_area_ratio)) if open_area_ratio is not None else 1.0

    def find_section(self, kind: str) -> tuple[str, SteelSection] | None:
        """Return the section of a kind of post [mm] if the system states it. A square post counts as its tube alone.

        >>> from dataclasses import replace
        >>> from decimal import Decimal
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> from fencing.strength.footing import find_soil_inputs
        >>> from fencing.strength.wind import GivenPressure
        >>> from fencing.model.system import Profile, Steel
        >>> steel = Steel(Decimal(350), Decimal("0.9"), square=Profile(Decimal(60), Decimal(2)))
        >>> limits = Limits(GivenPressure(600.0), find_soil_inputs({}, "clay"), replace(ROUND_SIZES, steel=steel))
        >>> limits.find_section("square")[0], limits.find_section("line")
        ('square tube 60 x 2 mm', None)
        """
        steel = self.system.steel
        profile = None if steel is None else (steel.square if kind == "square" else steel.channel)
        if profile is None:
            return None
        depth, thickness = float(profile.depth), float(profile.thickness)
        if kind == "square":
            return f"square tube {depth:g} x {thickness:g} mm", calculate_square_tube(depth, thickness)
        single = calculate_channel(depth, float(profile.flange), thickness, float(profile.lip))
        shape = f"channel {depth:g} x {float(profile.flange):g} x {thickness:g} mm"
        return (f"two of {shape}", pair_channels(single)) if kind == "line" else (shape, single)

    def calculate_capacity_nm(self, section: SteelSection) -> float:
        """Return capacity factor x yield x elastic modulus [N.m].

        Source: limit state design, local buckling not checked.

        Example: 0.9 x 350 MPa x 10000 mm3 = 3150 N.m:

            >>> from dataclasses import replace
            >>> from decimal import Decimal
            >>> from fencing.model.example_system import ROUND_SIZES
            >>> from fencing.strength.footing import find_soil_inputs
            >>> from fencing.strength.wind import GivenPressure
            >>> from fencing.model.system import Steel
            >>> rolled = replace(ROUND_SIZES, steel=Steel(Decimal(350), Decimal("0.9")))
            >>> limits = Limits(GivenPressure(600.0), find_soil_inputs({}, "clay"), rolled)
            >>> round(limits.calculate_capacity_nm(SteelSection(0, 0, 0, 10_000, 0, 0)), 6)
            3150.0
        """
        steel = self.system.steel
        assert steel is not None  # noqa: S101  (a section is only known with its steel)
        return float(steel.capacity_factor) * float(steel.yield_mpa) * section.zx_mm3 / 1000
