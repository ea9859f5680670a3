"""Motion on screen: frames and shutter, image speed and blur, crossing time, axial moves, flicker.

Sideways moves shift the picture; axial moves (a push-in) change its depth and scale. Shutter angles are
in radians (180 degrees is pi), frame rates in frames per second: 23.976 is 24000/1001. What motion leaves of the
contrast, and how the scale of a plane changes with the distance, is in `optics`.
"""

from sympy import Abs, Rational, floor, pi, sinc

from macrolib.formula import Formula, Symbol
from macrolib.physics import symbols as s

__all__ = ["CROSSING_FRAMES", "axial_shift", "crossing_speed", "crossing_time", "exposure_time", "flicker",
           "frame_blur", "image_acceleration", "image_speed"]

CROSSING_FRAMES = 168
"""Frames for one picture width: a starting value, no limit. It is the 7 s that camera makers advise for a pan at 24
frames per second with a 180 degree shutter, on a picture about 2000 px wide. To keep it at another frame rate keeps the
px per frame; that is a choice. Brighter, larger or sharper screens ask for more."""

_SHUTTER = "definition: the shutter turns once a frame"
_IMAGE = "geometry: the picture moves m times as fast as the carriage"

# --- frames and shutter
exposure_time = Formula(s.exposure_time, s.shutter_angle / (2 * pi * s.frame_rate), (s.shutter_angle, s.frame_rate),
                        _SHUTTER)
crossing_time = Formula(s.crossing_time, s.crossing_frames / s.frame_rate, (s.crossing_frames, s.frame_rate),
                        "definition of the frame rate")
ramp_acceleration = Formula(s.acceleration, s.speed * s.frame_rate / s.ramp_frames,
                            (s.speed, s.frame_rate, s.ramp_frames), "definition: full speed after so many frames",
                            "constant acceleration; the ramp is half as long as the same frames at full speed")

# --- sideways moves
image_speed = Formula(s.image_speed, s.speed * s.magnification / (s.pixel_pitch * s.frame_rate),
                      (s.speed, s.magnification, s.pixel_pitch, s.frame_rate), _IMAGE, "a sideways move")
image_acceleration = Formula(
    Symbol("image_acceleration", "px/frame^2", "change of the image speed from frame to frame", r"\dot u", least=0),
    s.acceleration * s.magnification / (s.pixel_pitch * s.frame_rate**2),
    (s.acceleration, s.magnification, s.pixel_pitch, s.frame_rate), _IMAGE, "a sideways move")
crossing_speed = Formula(s.speed, s.sensor_width / (s.magnification * s.crossing_time),
                         (s.sensor_width, s.magnification, s.crossing_time),
                         "geometry: the picture shows W/m of the subject", "a sideways move")
frame_blur = Formula(Symbol("frame_blur", "px", "streak of a point within one frame", "b_v", least=0),
                     s.image_speed * s.shutter_angle / (2 * pi), (s.image_speed, s.shutter_angle), _SHUTTER,
                     "constant speed during the exposure")
skew = Formula(Symbol("skew", "px", "shift between the first and the last line of a rolling shutter", "k_r", least=0),
               s.image_speed * s.frame_rate * s.readout_time, (s.image_speed, s.frame_rate, s.readout_time),
               "geometry: the picture moves on while the lines are read", "constant speed along the lines")

# --- axial moves
axial_shift = Formula(
    Symbol("axial_shift", "m/frame", "shift of the focused plane from frame to frame", "z_v", least=0),
    s.speed / s.frame_rate, (s.speed, s.frame_rate), "definition of the frame rate",
    "the whole camera moves; a plane stays sharp for depth of field / axial_shift frames")
radial_blur = Formula(
    Symbol("radial_blur", "px", "streak of a point away from the centre in an axial move", "b_r", least=0),
    s.image_radius * s.speed * s.exposure_time / s.pupil_distance,
    (s.image_radius, s.speed, s.exposure_time, s.pupil_distance),
    "derived: size in the picture goes with 1/distance to the entrance pupil", "travel short against the distance")
breathing = Formula(
    Symbol("breathing", "1", "change of the magnification when lens and sensor move apart", r"\Delta m"),
    (s.sensor_shift - s.lens_shift) / s.focal_length, (s.sensor_shift, s.lens_shift, s.focal_length),
    "Newton's lens equation: m = (image distance - f) / f", "fixed focal length; focus by rail changes nothing")

# --- lamps that flicker
flicker = Formula(Symbol("flicker", "1", "swing of the frames' brightness about their mean", "F", least=0),
                  s.modulation * Abs(sinc(pi * s.lamp_frequency * s.exposure_time)),
                  (s.modulation, s.lamp_frequency, s.exposure_time), "mean of a sine over the exposure",
                  "sine-shaped light; none where the exposure is a whole number of light pulses")
flicker_beat = Formula(Symbol("flicker_beat", "Hz", "frequency at which flicker is seen in the video", "f_b", least=0),
                       Abs(s.lamp_frequency - s.frame_rate * floor(s.lamp_frequency / s.frame_rate + Rational(1, 2))),
                       (s.lamp_frequency, s.frame_rate), "sampling theorem (aliasing)", "0: every frame gets the same")
