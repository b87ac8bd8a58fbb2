"""Drawings of a take-off as SVG text: plan, elevation, set-out strips, details. One unit is one millimetre of paper."""
