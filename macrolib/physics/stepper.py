"""A two-phase stepping motor: torque against speed, natural frequency, lag, and the motion that microsteps make.

`holding_torque` is the data sheet's value, both phases on at rated current. `simulate` and `ripple` take it for the
torque at the current that is set: `peak_torque` of it. Speeds of rotation are in turns/s, also the corner speed.
"""

import dataclasses
import math
from collections import namedtuple

import numpy as np
import sympy
from sympy import pi, sqrt

from macrolib.formula import Formula, Symbol
from macrolib.physics import symbols as s
from macrolib.physics.vibration import relative_transmissibility, transmissibility

__all__ = ["natural_frequency", "swing_frequency", "peak_torque", "microstep_torque", "load_lag", "position_error",
           "inertia_ratio", "corner_speed", "torque_at_speed", "ripple", "simulate"]

_ANGLE = "torque T_h sin(p_r times the angle behind)"

# --- at rest
natural_frequency = Formula(s.frequency, sqrt(s.rotor_teeth * s.holding_torque / s.inertia) / (2 * pi),
                            (s.rotor_teeth, s.holding_torque, s.inertia),
                            "stiffness p_r T_h over inertia; D. W. Jones, Control of Stepping Motors, 'Resonance'",
                            "small swings, without damping")
peak_torque = Formula(Symbol("peak_torque", "N m", "largest torque at the current that is set", r"\hat T", above=0),
                      s.holding_torque * s.peak_current / (sqrt(2) * s.rated_current),
                      (s.holding_torque, s.peak_current, s.rated_current),
                      "both phases on at rated current add at a right angle: sqrt(2) times the torque of one phase",
                      "iron not saturated; with peak_current = rated_current it is the torque with one phase on")
microstep_torque = Formula(Symbol("microstep_torque", "N m", "torque once the command is one microstep ahead", "T_1",
                                  least=0), s.holding_torque * sympy.sin(pi / (2 * s.microsteps)),
                           (s.holding_torque, s.microsteps), _ANGLE)
load_lag = Formula(Symbol("load_lag", "rad", "angle by which the rotor lags behind under load", r"\varphi_L"),
                   sympy.asin(s.load_torque / s.holding_torque) / s.rotor_teeth,
                   (s.load_torque, s.holding_torque, s.rotor_teeth), f"{_ANGLE}; Acarnley, Stepping Motors, ch. 3",
                   "load at most the holding torque")
position_error = Formula(Symbol("position_error", "rad", "largest error of the rest position", r"\varphi_e", least=0),
                         (s.detent_torque / s.holding_torque + s.gain_mismatch / 2 + sqrt(2) * s.phase_offset
                          + sympy.asin(s.friction_torque / s.holding_torque)) / s.rotor_teeth,
                         (s.detent_torque, s.gain_mismatch, s.phase_offset, s.friction_torque, s.holding_torque,
                          s.rotor_teeth), f"{_ANGLE}, first order in each cause; the amplitudes add in the worst case",
                         "detent well below the holding torque; friction at most the holding torque")
inertia_ratio = Formula(Symbol("inertia_ratio", "1", "load over rotor inertia", "r_J", least=0),
                        s.load_inertia / s.rotor_inertia, (s.load_inertia, s.rotor_inertia), "definition")


def swing_frequency(frequency, swing):
    """Frequency (Hz) of free swings of this amplitude; `swing` is in electrical radians (rotor teeth times angle).

    A pendulum's law: f / f_n = pi / (2 K(sin^2(swing / 2))), by the arithmetic-geometric mean of 1 and cos(swing / 2).
    Arrays broadcast; ValueError unless 0 <= swing < pi and frequency > 0. No damping.
    """
    frequency, swing = np.asarray(frequency, float), np.asarray(swing, float)
    if not ((swing >= 0) & (swing < np.pi)).all() or not ((frequency > 0) & np.isfinite(frequency)).all():
        raise ValueError("swing must be at least 0 and below pi, frequency above 0")
    one, other = np.ones_like(swing), np.cos(swing / 2)
    for _ in range(6):  # each round doubles the digits
        one, other = (one + other) / 2, np.sqrt(one * other)
    return (frequency * one)[()]


# --- torque against speed of a current-chopped motor with sinusoidal currents
_omega = 2 * pi * s.rotation
_constant = s.holding_torque / (sqrt(2) * s.rated_current)  # torque of a phase per ampere = back-EMF per rad/s
_back_emf, _reactance = _constant * _omega, s.rotor_teeth * _omega * s.inductance
_impedance = sqrt(s.resistance**2 + _reactance**2)
_winding = (s.voltage, s.peak_current, s.resistance, s.inductance, s.holding_torque, s.rated_current, s.rotor_teeth)
_CHOPPER = "phasors of the winding: U = back-EMF + (R + j p_r w L) I; Acarnley, Stepping Motors, ch. 5 (shape)"
_reached = s.voltage**2 - (s.resistance * s.peak_current + _back_emf) ** 2 - (_reactance * s.peak_current) ** 2
_voltage_torque = Formula(Symbol("voltage_torque", "N m", "torque with the voltage as the only limit", "T_U"),
                          _constant * (s.voltage / _impedance - s.resistance * _back_emf / _impedance**2),
                          (s.rotation, *_winding[:1], *_winding[2:]), _CHOPPER)
_voltage_current = sqrt(s.voltage**2 - 2 * s.voltage * _back_emf * s.resistance / _impedance
                        + _back_emf**2) / _impedance
# where both limits bind: u is the cosine of the angle between the back-EMF and the voltage across the impedance
_u = ((s.voltage**2 - (s.peak_current * _impedance) ** 2 - _back_emf**2)
      / (2 * s.peak_current * _back_emf * _impedance))
_both_torque = (_constant * s.peak_current
                * (_u * s.resistance + sqrt(sympy.Max(0, 1 - _u**2)) * _reactance) / _impedance)
_regions = sympy.lambdify((s.rotation, *_winding), (_reached, _voltage_current - s.peak_current, _both_torque),
                          "numpy", cse=True)


def _corner():
    """The speed at which the voltage that the current needs reaches the supply's: the larger root of a quadratic."""
    a, b, c = (-sympy.expand(_reached).coeff(s.rotation, power) for power in (2, 1, 0))
    return (sqrt((b / 2) ** 2 - a * c) - b / 2) / a


corner_speed = Formula(Symbol("corner_speed", "turn/s", "speed up to which the full torque is there", "n_c", least=0),
                       _corner(), _winding, _CHOPPER,
                       "the supply can push the peak current: voltage at least resistance times peak current")


def torque_at_speed(speed, voltage, peak_current, resistance, inductance, holding_torque, rated_current, rotor_teeth):
    """Largest torque (N m) at a speed (turns/s) with the current and the voltage both within their limits.

    Three regions, continuous and never rising: the current limit up to `corner_speed`; then both limits; then the
    voltage alone, once the best current is below the limit. 0 where the motor cannot pull any more. SI, all broadcast;
    ValueError for what is not above 0 (speed: at least 0). Sinusoidal currents, no saturation, no iron or friction
    loss, no mid-band instability: take half of it. Source: see `corner_speed`.
    """
    winding = (resistance, inductance, holding_torque, rated_current, rotor_teeth)
    by_current = peak_torque(holding_torque, peak_current, rated_current)
    by_voltage = _voltage_torque(speed, voltage, *winding)
    values = (np.asarray(x, float) for x in (speed, voltage, peak_current, *winding))
    with np.errstate(divide="ignore", invalid="ignore"):  # at rest there is no back-EMF; that region is not chosen
        reached, excess, by_both = _regions(*values)
    torque = np.where(reached >= 0, by_current, np.where(excess <= 0, by_voltage, by_both))
    return np.maximum(torque, 0)[()] if np.ndim(torque) else float(max(torque, 0))
