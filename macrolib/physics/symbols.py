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
pitch_count = Symbol("pitch_count", "1", "starts of a screw, teeth of a pulley or pinion", "z", above=0)
pitch = Symbol("pitch", "m", "distance from thread to thread, or from belt tooth to belt tooth", "P", above=0)
gear_module = Symbol("gear_module", "m", "module of a rack: its pitch over pi", r"m_g", above=0)
gear_ratio = Symbol("gear_ratio", "1", "motor turns for one turn of the driven shaft", "i", above=0)
axial_load = Symbol("axial_load", "N", "load along the screw", "F", least=0)
mean_diameter = Symbol("mean_diameter", "m", "mean (pitch) diameter of the thread", "d_m", above=0)
lead = Symbol("lead", "m", "travel for one turn of the screw: starts times pitch", "l", above=0)
friction = Symbol("friction", "1", "coefficient of friction", r"\mu", least=0)
flank_angle = Symbol("flank_angle", "rad", "half the thread angle (15 deg: trapezoidal)", r"\alpha",
                     least=0, below=pi / 2)
collar_diameter = Symbol("collar_diameter", "m", "mean diameter of the thrust collar", "d_c", above=0)
efficiency = Symbol("efficiency", "1", "work at the carriage over work at the motor shaft", r"\eta", above=0, most=1)
back_efficiency = Symbol("back_efficiency", "1", "efficiency when the load drives; 0 or less: it cannot", r"\eta_b",
                         most=1)
mass = Symbol("mass", "kg", "moved mass", "m", least=0)
diameter = Symbol("diameter", "m", "diameter of the bar (of a screw: its root)", "d", above=0)
length = Symbol("length", "m", "length of the bar or of the free belt", "L", above=0)
support_root = Symbol("support_root", "1", "lowest root of the beam's equation for its supports", r"\beta", above=0)
elastic_modulus = Symbol("elastic_modulus", "N/m^2", "modulus of elasticity", "E", above=0)
density = Symbol("density", "kg/m^3", "mass of one cubic metre", r"\rho", above=0)
inertia = Symbol("inertia", "kg m^2", "moment of inertia, rotor and load together where both turn", "J", above=0)
momentary_acceleration = Symbol("momentary_acceleration", "m/s^2", "acceleration now, with its sign", "a")
slope = Symbol("slope", "rad", "slope of the rail; above 0 where forward is up", r"\theta",
               least=-pi / 2, most=pi / 2)
direction = Symbol("direction", "1", "1 forward, -1 backward, 0 at rest", r"\sigma", least=-1, most=1)
gravity = Symbol("gravity", "m/s^2", "acceleration of free fall", "g", least=0)
drag_force = Symbol("drag_force", "N", "friction whatever the load: seals, guide preload, cable", "F_0", least=0)
force = Symbol("force", "N", "force along the rail, with its sign", "F")
drag_torque = Symbol("drag_torque", "N m", "torque that turns the drive unloaded: nut, bearings", "T_0", least=0)
preload_force = Symbol("preload_force", "N", "axial preload of a ball nut", "F_p", least=0)
strain_stiffness = Symbol("strain_stiffness", "N", "belt force for a strain of one (data sheet)", r"c_b", above=0)
stiffness = Symbol("stiffness", "N/m", "force for one metre of give", "k", above=0)
temperature = Symbol("temperature", "K", "temperature of the rig", r"\vartheta", above=0)
reference_temperature = Symbol("reference_temperature", "K", "temperature of a given value", r"\vartheta_0", above=0)
doubling_drop = Symbol("doubling_drop", "K", "cooling that doubles the drag of the grease", r"\Delta_2", above=0)

# --- vibration
frequency = Symbol("frequency", "Hz", "undamped natural frequency", "f_n", above=0)
damping_ratio = Symbol("damping_ratio", "1", "damping over critical damping", r"\zeta", least=0, below=1)
start_amplitude = Symbol("start_amplitude", "m", "amplitude at the start, zero to peak", "A_0", least=0)
tolerance = Symbol("tolerance", "m", "amplitude that may remain, zero to peak", r"A_t", above=0)
frequency_ratio = Symbol("frequency_ratio", "1", "frequency of the shaking over the natural frequency", "r", least=0)

# --- screen
shutter_angle = Symbol("shutter_angle", "rad", "share of the frame time that exposes, 2 pi for all of it", r"\theta_s",
                       above=0, most=2 * pi)
frame_rate = Symbol("frame_rate", "fps", "video frames per second", "f_v", above=0)
exposure_time = Symbol("exposure_time", "s", "time for which a frame is exposed", "t_e", above=0)
sensor_width = Symbol("sensor_width", "m", "width of the picture at the sensor", "W", above=0)
crossing_time = Symbol("crossing_time", "s", "time in which the subject crosses the picture width", "t_c", above=0)

# --- tilt, following, power
angle_range = {"least": 0, "below": pi / 2}  # for angles that tilt something by less than a right angle
tilt_angle = Symbol("tilt_angle", "rad", "angle between the rail and the plane of the subject", r"\varepsilon",
                    **angle_range)
