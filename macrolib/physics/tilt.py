"""Tilt: how far focus runs off where rail, sensor and subject are not parallel, and what a slope changes.

The load along a slope is `transmission.drive_force` at rest. On a sloping subject, tilt rail and camera
together by its slope: the distance then stays the same.
"""

from sympy import atan, cos, tan

from macrolib.formula import Formula, Symbol
from macrolib.physics import symbols as s

__all__ = ["misalignment"]

_TRIANGLE = "geometry of a right-angled triangle"
misalignment = Formula(
    Symbol("misalignment", "m", "change of the focus distance along the travel", "e_f", least=0),
    s.distance * tan(s.tilt_angle), (s.distance, s.tilt_angle), _TRIANGLE,
    "at most the depth of field, with focus set in the middle of the travel")
sensor_misalignment = Formula(
    Symbol("sensor_misalignment", "m", "change of the focus distance across the picture", "e_s", least=0),
    s.sensor_width / s.magnification * tan(s.sensor_tilt), (s.sensor_width, s.magnification, s.sensor_tilt), _TRIANGLE,
    "angle measured at the subject; at most the depth of field, with focus set in the middle of the picture")
shim_height = Formula(Symbol("shim_height", "m", "thickness to put under the feet of one end", "h_s", least=0),
                      s.foot_spacing * tan(s.tilt_angle), (s.foot_spacing, s.tilt_angle), _TRIANGLE)
slope_travel = Formula(Symbol("slope_travel", "m", "travel along the slope", "D_s", least=0),
                       s.level_travel / cos(s.slope_angle), (s.level_travel, s.slope_angle), _TRIANGLE)
tipping_slope = Formula(
    Symbol("tipping_slope", "rad", "slope at which a rig that stands freely falls over", r"\theta_t", above=0),
    atan(s.foot_distance / s.mass_height), (s.foot_distance, s.mass_height),
    "statics: the weight passes through the lower feet", "at rest; stay far below it, or clamp the rig")
