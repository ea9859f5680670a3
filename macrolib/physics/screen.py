"""Motion on screen: frames, shutter, image speed, blur within a frame."""

from sympy import pi

from macrolib.formula import Formula
from macrolib.formula import Symbol as _Symbol
from macrolib.physics import symbols as s

__all__ = ["crossing_speed", "exposure_time", "image_speed"]

_FRAME = "geometry: one frame time is one turn of the shutter"
exposure_time = Formula(s.exposure_time, s.shutter_angle / (2 * pi * s.frame_rate), (s.shutter_angle, s.frame_rate),
                        _FRAME)
image_speed = Formula(
    _Symbol("image_speed", "px/frame", "pixels that the picture moves from one frame to the next", "u", least=0),
    s.speed * s.magnification / (s.pixel_pitch * s.frame_rate), (s.speed, s.magnification, s.pixel_pitch, s.frame_rate),
    "geometry: the image moves m times as fast as the carriage", "a sideways move")
crossing_speed = Formula(
    s.speed, s.sensor_width / (s.magnification * s.crossing_time), (s.sensor_width, s.magnification, s.crossing_time),
    "geometry: the picture is W/m wide in the subject", "a sideways move")
