"""Selection of the wind method that a strength request names."""

from __future__ import annotations

from collections.abc import Mapping

from fencing.model.measure import StrengthRequest
from fencing.strength.wind import GivenPressure, WindMethod
from fencing.strength.wind_as_nzs import CLIMATE, TERRAIN, AsNzs, calculate_regional_speed_m_s, calculate_site_speed_m_s
from fencing.strength.wind_asce import Asce
from fencing.strength.wind_en import En

Inputs = Mapping[str, str | int | bool]


def read_number(inputs: Inputs, key: str, default: float) -> float:
    """Return a numeric input in the unit that its key names [e.g. kPa], or the default.

    >>> read_number({"end_factor": "1.5"}, "end_factor", 2.0), read_number({}, "end_factor", 2.0)
    (1.5, 2.0)
    """
    return float(inputs.get(key, default))


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
    made = {
        "given_pressure": _build_given,
        "as-nzs-1170.2": _build_as_nzs,
        "en-1991-1-4": _build_en,
        "asce-7": _build_asce,
    }
    return made[request.method](request.inputs)


def _build_given(inputs: Inputs) -> WindMethod:
    pressure = float(inputs["pressure_kpa"]) * 1000
    return GivenPressure(pressure, read_number(inputs, "end_factor", 2.0), read_number(inputs, "footing_factor", 1.0))


def _build_as_nzs(inputs: Inputs) -> WindMethod:
    footing = read_number(inputs, "footing_factor", 1.0)
    if "speed_m_s" in inputs:
        return AsNzs(float(inputs["speed_m_s"]), footing)
    region = str(inputs["wind_region"])
    regional = calculate_regional_speed_m_s(region, int(inputs["return_period_years"])) * CLIMATE.get(region, 1.0)
    site = calculate_site_speed_m_s(
        regional,
        read_number(inputs, "direction_multiplier", 1.0),
        TERRAIN[str(inputs["terrain_category"])],
        read_number(inputs, "shielding_multiplier", 1.0),
        read_number(inputs, "topography_multiplier", 1.0),
    )
    return AsNzs(site, footing)


def _build_en(inputs: Inputs) -> WindMethod:
    orography, footing = read_number(inputs, "orography", 1.0), read_number(inputs, "footing_factor", 1.0)
    return En(float(inputs["speed_m_s"]), str(inputs["terrain_category"]), orography, footing)


def _build_asce(inputs: Inputs) -> WindMethod:
    topography, footing = read_number(inputs, "topography_multiplier", 1.0), read_number(inputs, "footing_factor", 0.6)
    return Asce(float(inputs["speed_m_s"]), str(inputs["exposure_category"]), topography, footing)
