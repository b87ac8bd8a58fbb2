"""Strength screening: wind on the fence, moment at the foot of a post, its section and its footing.

A screening compares a fence with the limits of a published method. It never states that a fence is safe and does not
replace a licensed engineer. Inside this package loads are floats in SI units, given in the name: ``_pa``, ``_n``, ``_nm``,
``_m``, ``_mm``, ``_mm3``; lengths that come from the take-off stay integer millimetres.
"""
