"""The quantities that formulas share: one Symbol for one thing, with unit, meaning and range.

Names are the argument names of the functions; TeX follows the glossary.
"""

from math import pi

from macrolib.formula import Symbol

# --- travel and pulses
travel_per_turn = Symbol("travel_per_turn", "m", "carriage travel for one motor turn", r"s_1", above=0)
pulses_per_turn = Symbol("pulses_per_turn", "pulse", "driver pulses for one motor turn", r"n_1", above=0)
speed = Symbol("speed", "m/s", "speed of the carriage", "v", least=0)

# --- optics
magnification = Symbol("magnification", "1", "image size over object size, a magnitude", "m", above=0)
f_number = Symbol("f_number", "1", "marked f-number: focal length over entrance pupil", "N", above=0)
effective_f_number = Symbol("effective_f_number", "1", "effective f-number at this magnification", "N_e", above=0)
pupil_ratio = Symbol("pupil_ratio", "1", "exit over entrance pupil diameter", "P", above=0)
focal_length = Symbol("focal_length", "m", "focal length", "f", above=0)
blur_diameter = Symbol("blur_diameter", "m", "allowed blur diameter at the sensor", "c", above=0)
pixel_pitch = Symbol("pixel_pitch", "m", "pixel pitch of the sensor", "p", above=0)
wavelength = Symbol("wavelength", "m", "wavelength of the light", r"\lambda", above=0)

# --- ramps
distance = Symbol("distance", "m", "travel of the move", "D", above=0)
acceleration = Symbol("acceleration", "m/s^2", "acceleration of the carriage", "a", above=0)
jerk = Symbol("jerk", "m/s^3", "rate of change of acceleration", "j", above=0)
duration = Symbol("duration", "s", "duration of the move", "T", above=0)

# --- transmission and motor

# --- vibration
frequency = Symbol("frequency", "Hz", "undamped natural frequency", "f_n", above=0)
damping_ratio = Symbol("damping_ratio", "1", "damping over critical damping", r"\zeta", least=0, below=1)

# --- screen, tilt, following, power
angle_range = dict(least=0, below=pi / 2)  # for angles that tilt something by less than a right angle
