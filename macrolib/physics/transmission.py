"""Screws, belts, racks and gears: travel, torque, efficiency, inertia, whirling and buckling.

Everything is SI; `travel_per_turn` is per turn of the motor, so a gear is already in it, and all inertias
of a sum are seen from the motor. Friction is Coulomb friction: one coefficient, no dependence on speed.
"""

import functools
from collections import namedtuple

import numpy as np
import sympy
from sympy import pi

from macrolib.formula import Formula, Symbol
from macrolib.physics import symbols as s

__all__ = ["back_efficiency", "back_torque", "buckling_load", "cold_drag", "collar_torque", "drive_force",
           "lowering_torque", "pitch_travel", "pulse_rate", "raising_torque", "reflected_inertia", "required_torque",
           "screw_efficiency", "trapezoidal_thread", "travel_per_pulse", "usual_back_efficiency", "whirling_speed"]

STEEL = {"elastic_modulus": 206e9, "density": 7850.0}  # N/m^2, kg/m^3: the usual values of ball screw catalogues
STANDARD_GRAVITY = 9.80665  # m/s^2, by definition (3rd CGPM, 1901)
_SUPPORTS = ("fixed-free", "supported-supported", "fixed-supported", "fixed-fixed")
_SCREWS = "derived from the forces on the unrolled thread; Shigley's Mechanical Engineering Design, ch. 8-2"

# --- from turns to travel
pitch_travel = Formula(s.travel_per_turn, s.pitch_count * s.pitch / s.gear_ratio,
                       (s.pitch_count, s.pitch, s.gear_ratio),
                       "definition of the lead (ISO 2902) and of the pitch of a belt (ISO 5296)",
                       "screws: starts and pitch; belts: teeth of the pulley and pitch")
rack_travel = Formula(s.travel_per_turn, pi * s.pitch_count * s.gear_module / s.gear_ratio,
                      (s.pitch_count, s.gear_module, s.gear_ratio), "definition of the module")
travel_per_pulse = Formula(Symbol("travel_per_pulse", "m", "travel for one pulse", "q", above=0),
                           s.travel_per_turn / s.pulses_per_turn, (s.travel_per_turn, s.pulses_per_turn), "definition")
pulse_rate = Formula(Symbol("pulse_rate", "pulse/s", "pulses per second", "f_p", least=0),
                     s.speed * s.pulses_per_turn / s.travel_per_turn, (s.speed, s.travel_per_turn, s.pulses_per_turn),
                     "definition")


# --- power screws
def _thread_torque(sense):
    """Torque that pushes the load up (sense 1) or that the load needs against it on the way down (sense -1).

    One turn of the thread, unrolled, is a slope: pi d_m along, the lead up. The flank carries N; friction along the
    slope is mu N / cos(flank angle). Balance up: N (along - sense mu' lead) = F; along: N (lead + sense mu' along).
    """
    along, grip = pi * s.mean_diameter, s.friction / sympy.cos(s.flank_angle)
    return s.axial_load * s.mean_diameter / 2 * (s.lead + sense * grip * along) / (along - sense * grip * s.lead)


_thread = (s.mean_diameter, s.lead, s.friction, s.flank_angle)
_turns = "the screw turns: friction times lead is below pi times mean diameter times cos(flank angle)"
raising_torque = Formula(Symbol("raising_torque", "N m", "torque that raises the load", "T_R", least=0),
                         _thread_torque(1), (s.axial_load, *_thread), _SCREWS, _turns)
lowering_torque = Formula(Symbol("lowering_torque", "N m", "torque that lowers the load; below 0: it sinks", "T_L"),
                          -_thread_torque(-1), (s.axial_load, *_thread), _SCREWS, "without the collar")
collar_torque = Formula(Symbol("collar_torque", "N m", "friction torque of the thrust collar", "T_c", least=0),
                        s.axial_load * s.friction * s.collar_diameter / 2,
                        (s.axial_load, s.friction, s.collar_diameter),
                        "Shigley's Mechanical Engineering Design, ch. 8-2, from memory", "uniform wear")
_ideal = s.axial_load * s.lead / (2 * pi)  # torque of a screw without friction
screw_efficiency = Formula(s.efficiency, sympy.cancel(_ideal / raising_torque.expression), _thread,
                           "Mott: Machine Elements in Mechanical Design, eq. 17-7", _turns)
back_efficiency = Formula(s.back_efficiency, sympy.cancel(-lowering_torque.expression / _ideal), _thread,
                          "work at the shaft over work of the sinking load", "zero or less: the thread locks itself")
usual_back_efficiency = Formula(s.back_efficiency, 2 - 1 / s.efficiency, (s.efficiency,),
                                "same loss both ways; common practice", "ball screws and belts, efficiency above 0.5")
preload_torque = Formula(Symbol("preload_torque", "N m", "drag of a preloaded ball nut", "T_p", least=0),
                         s.preload_force * s.lead / (40 * pi) * sympy.sqrt(pi * s.mean_diameter / s.lead),
                         (s.preload_force, s.lead, s.mean_diameter),
                         "JIS B 1192, from memory: 0.05 F l / (2 pi sqrt(tan lead angle))", "ball screws")

Thread = namedtuple("Thread", "mean_diameter nut_major_diameter screw_minor_diameter nut_minor_diameter")
_PITCHES = (1.5, *range(2, 11), *range(12, 25, 2), *range(28, 45, 4))  # mm, ISO 2904


def trapezoidal_thread(diameter, pitch):
    """Basic diameters (m) of the trapezoidal thread Tr diameter x pitch after ISO 2904; arrays broadcast.

    Returns a Thread: mean_diameter, nut_major_diameter, screw_minor_diameter, nut_minor_diameter. `pitch` is from
    thread to thread, not the lead. ValueError for a pitch that ISO 2904 does not list, or that leaves no core.
    Threads after the older DIN 103 have another clearance from 6 mm on. The clearance steps are partly from memory.
    """
    diameter, pitch = np.broadcast_arrays(np.asarray(diameter, float), np.asarray(pitch, float))
    listed = np.isclose(pitch[..., None], np.array(_PITCHES) * 1e-3, rtol=1e-6, atol=0).any(axis=-1)
    if not listed.all():
        allowed = ", ".join(f"{p:g}" for p in _PITCHES)
        raise ValueError(f"pitch is {pitch[~listed][0] * 1e3:g} mm; ISO 2904 lists {allowed} mm")
    clearance = np.select([pitch < 1.75e-3, pitch < 5.5e-3, pitch < 13e-3], [0.15e-3, 0.25e-3, 0.5e-3], 1e-3)
    minor = diameter - pitch - 2 * clearance
    bad = ~(np.isfinite(diameter) & (minor > 0))
    if bad.any():
        raise ValueError(f"diameter is {diameter[bad][0] * 1e3:g} mm; it must be finite and leave a core in the thread")
    parts = diameter - pitch / 2, diameter + 2 * clearance, minor, diameter - pitch
    return Thread(*(p if p.shape else float(p) for p in parts))


# --- inertia seen from the motor
reflected_inertia = Formula(Symbol("reflected_inertia", "kg m^2", "moved mass, seen from the motor", "J_m", least=0),
                            s.mass * (s.travel_per_turn / (2 * pi)) ** 2, (s.mass, s.travel_per_turn),
                            "equal kinetic energy")
geared_inertia = Formula(Symbol("geared_inertia", "kg m^2", "what turns behind a gear, from the motor", "J_g", above=0),
                         s.inertia / s.gear_ratio**2, (s.inertia, s.gear_ratio), "equal kinetic energy")
cylinder_inertia = Formula(s.inertia, pi * s.density * s.length * s.diameter**4 / 32,
                           (s.density, s.length, s.diameter),
                           "integral of r^2 dm over a round bar")

# --- whirling and buckling of a round bar
_sound = sympy.sqrt(s.elastic_modulus / s.density)
beam_whirling = Formula(Symbol("whirling_speed", "turn/s", "speed at which the bar whirls", "n_w", above=0),
                        s.support_root**2 * s.diameter * _sound / (8 * pi * s.length**2),
                        (s.support_root, s.diameter, s.length, s.elastic_modulus, s.density),
                        "Euler-Bernoulli beam, first mode: root^2 sqrt(E I / (rho A)) / (2 pi L^2)", "slender bars")
beam_buckling = Formula(Symbol("buckling_load", "N", "axial load at which the bar buckles", "F_b", above=0),
                        s.support_root**2 * pi * s.elastic_modulus * s.diameter**4 / (64 * s.length**2),
                        (s.support_root, s.diameter, s.length, s.elastic_modulus),
                        "Euler: root^2 E I / L^2", "slender bars")


@functools.cache
def _support_root(support, buckling):
    """Lowest root of the determinant of the end conditions: of a vibrating bar, or of one under axial load."""
    if support not in _SUPPORTS:
        raise ValueError(f"support is {support!r}; allowed: {', '.join(_SUPPORTS)}")
    x, z = sympy.symbols("x z", positive=True)
    shapes = [sympy.sin(x * z), sympy.cos(x * z)]
    shapes += [z, sympy.Integer(1)] if buckling else [sympy.sinh(x * z), sympy.cosh(x * z)]
    sideways = x**2 if buckling else 0  # at a free end the axial load pushes along the deflected bar
    ends = {"fixed": lambda w: (w, w.diff(z)), "supported": lambda w: (w, w.diff(z, 2)),
            "free": lambda w: (w.diff(z, 2), w.diff(z, 3) + sideways * w.diff(z))}
    columns = [[c.subs(z, place) for place, end in enumerate(support.split("-")) for c in ends[end](w)] for w in shapes]
    determinant = sympy.lambdify(x, sympy.Matrix(columns).det(), "math")
    low = next(k / 10 for k in range(10, 100) if determinant(k / 10) * determinant((k + 1) / 10) <= 0)
    high = low + 0.1
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if determinant(low) * determinant(middle) <= 0 else (middle, high)
    return middle


def whirling_speed(diameter, length, support):
    """First whirling speed of a steel bar in turns/s, exact beam factors (catalogues take 0.8 of it).

    diameter (root) and length in m, arrays broadcast; support: "fixed-free", "supported-supported", "fixed-supported"
    or "fixed-fixed" (else ValueError). Uniform round bar without the nut; source: `beam_whirling`.
    """
    return beam_whirling(_support_root(support, False), diameter, length, **_steel(beam_whirling))


def buckling_load(diameter, length, support):
    """Axial load in N at which a steel bar buckles (Euler), exact (catalogues take 0.5 of it); as whirling_speed."""
    return beam_buckling(_support_root(support, True), diameter, length, **_steel(beam_buckling))


def _steel(formula):
    return {n: value for n, value in STEEL.items() if n in formula.names}


# --- force and torque at a moment of a move
drive_force = Formula(s.force, s.mass * (s.momentary_acceleration + s.gravity * sympy.sin(s.slope))
                      + s.direction * (s.friction * s.mass * s.gravity * sympy.cos(s.slope) + s.drag_force),
                      (s.mass, s.momentary_acceleration, s.slope, s.direction, s.friction, s.drag_force, s.gravity),
                      "Newton's second law along the slope, Coulomb friction")
drive_torque = Formula(Symbol("drive_torque", "N m", "torque at the motor for a force against the motion", "T_d"),
                       s.force * s.travel_per_turn / (2 * pi * s.efficiency),
                       (s.force, s.travel_per_turn, s.efficiency), "work of one turn over the efficiency")
turning_torque = Formula(Symbol("turning_torque", "N m", "torque for what turns, without the load", "T_J"),
                         2 * pi * s.inertia * s.momentary_acceleration / s.travel_per_turn
                         + s.direction * s.drag_torque,
                         (s.inertia, s.momentary_acceleration, s.travel_per_turn, s.direction, s.drag_torque),
                         "Newton's second law for rotation")
back_torque = Formula(Symbol("back_torque", "N m", "torque at the motor shaft from a force along the motion", "T_b"),
                      s.force * s.travel_per_turn * s.back_efficiency / (2 * pi),
                      (s.force, s.travel_per_turn, s.back_efficiency), "work of one turn times the back efficiency",
                      "power off: above the detent torque and the drag, the load runs down")
cold_drag = Formula(Symbol("cold_drag", "N m", "drag of a greased drive at another temperature", "T_t", least=0),
                    s.drag_torque * 2 ** ((s.reference_temperature - s.temperature) / s.doubling_drop),
                    (s.drag_torque, s.temperature, s.reference_temperature, s.doubling_drop),
                    "common practice, no source: grease stiffens by a constant factor per kelvin; measure yours")


def required_torque(speed, acceleration, *, mass, inertia, travel_per_turn, efficiency, back_efficiency=None,
                    slope=0.0, friction=0.0, drag_force=0.0, drag_torque=0.0):
    """Torque (N m, with sign) that the motor must give at moments of a move; arrays broadcast.

    speed (m/s) and acceleration (m/s^2) of the carriage carry their signs; slope > 0 where forward is up. inertia
    (kg m^2) is all that turns, seen from the motor, without the moved mass. Friction acts against the motion, at rest
    against the beginning one. Where the load pushes in the direction of motion the back efficiency counts (default
    2 - 1/efficiency); with zero speed and acceleration the result is the torque that holds the load, without help
    from friction of guide and seals. ValueError as the formulas, from which every term comes.
    """
    if back_efficiency is None:
        back_efficiency = usual_back_efficiency(efficiency)
    sense = np.where(np.asarray(speed) != 0, np.sign(speed), np.sign(acceleration))
    force = drive_force(mass, acceleration, slope, sense, friction, drag_force, STANDARD_GRAVITY)
    against = drive_torque(force, travel_per_turn, efficiency)
    along = back_torque(force, travel_per_turn, np.where(sense == 0, np.maximum(back_efficiency, 0), back_efficiency))
    turning = turning_torque(inertia, acceleration, travel_per_turn, sense, drag_torque)
    torque = np.where(force * sense > 0, against, along) + turning
    return torque if torque.shape else float(torque)


def rms_torque(torques, durations):
    """Root mean square (N m) of torques that each last so long (s), over the last axis; it sets the motor's heat."""
    torques, durations = np.broadcast_arrays(np.asarray(torques, float), np.asarray(durations, float))
    total = durations.sum(axis=-1)
    if not (np.isfinite(torques).all() and (durations >= 0).all() and (total > 0).all() and np.isfinite(total).all()):
        raise ValueError("torques must be finite and durations finite, at least 0, with a sum above 0")
    rms = np.sqrt((torques**2 * durations).sum(axis=-1) / total)
    return rms if rms.shape else float(rms)


# --- give of the drive
belt_stiffness = Formula(s.stiffness, s.strain_stiffness / s.length, (s.strain_stiffness, s.length), "Hooke's law",
                         "one free length; a closed loop adds its two spans")
stretch = Formula(Symbol("stretch", "m", "travel by which the drive gives way", "x_k"), s.force / s.stiffness,
                  (s.force, s.stiffness), "Hooke's law",
                  "with the friction at rest as force: half the dead zone in which the carriage can stop")
