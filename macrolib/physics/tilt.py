"""Tilt: how far focus drifts when axis, sensor and subject plane are not parallel, and what a slope asks for."""

from sympy import tan

from macrolib.formula import Formula, Symbol
from macrolib.physics.symbols import distance, tilt_angle

__all__ = ["misalignment"]

_GEOMETRY = "geometry of a right-angled triangle"
misalignment = Formula(
    Symbol("misalignment", "m", "change of the focus distance over the travel, to be kept below the depth of field",
           "e_f", least=0),
    distance * tan(tilt_angle), (distance, tilt_angle), _GEOMETRY,
    "focus set in the middle of the travel, so that the ends are half of it in front and behind")
