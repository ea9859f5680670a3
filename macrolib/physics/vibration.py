"""Vibration: ring-down, floors, what a ramp leaves, and how long to wait."""

import numpy as np
from sympy import Max, log, pi, sqrt

from macrolib.formula import Formula, Symbol
from macrolib.physics.symbols import damping_ratio, frequency, frequency_ratio, start_amplitude, tolerance

__all__ = ["log_decrement", "relative_transmissibility", "ring_down_time", "settling_time", "transmissibility"]

_RAO = "Rao, Mechanical Vibrations, 5th ed."
_zeta, _r = damping_ratio, frequency_ratio

log_decrement = Formula(
    Symbol("log_decrement", "1", "logarithm of the ratio of one peak to the next of the same sign", r"\delta", least=0),
    2 * pi * _zeta / sqrt(1 - _zeta**2), (_zeta,), f"{_RAO}, section 2.6", "viscous damping below critical")
transmissibility = Formula(
    Symbol("transmissibility", "1", "motion of the mass over the motion of its base", "T_a", least=0),
    sqrt((1 + (2 * _zeta * _r)**2) / ((1 - _r**2)**2 + (2 * _zeta * _r)**2)), (_r, _zeta), f"{_RAO}, section 3.6",
    "steady sine, one mode, viscous damping below critical; infinite at resonance without damping")
relative_transmissibility = Formula(
    Symbol("relative_transmissibility", "1", "motion of the mass against its base, over the base's", "T_r", least=0),
    _r**2 / sqrt((1 - _r**2)**2 + (2 * _zeta * _r)**2), (_r, _zeta), f"{_RAO}, section 3.6",
    "steady sine, one mode, viscous damping below critical; infinite at resonance without damping")
ring_down_time = Formula(
    Symbol("ring_down_time", "s", "time until the envelope of a free decay is down at the tolerance", "t_s", least=0),
    log(Max(1, start_amplitude / tolerance)) / (2 * pi * frequency * _zeta),
    (start_amplitude, tolerance, frequency, _zeta), f"{_RAO}, section 2.6", "free decay of one mode with some damping")


def settling_time(start_amplitude, tolerance, frequency, damping_ratio):
    """Seconds until the envelope A e^(-zeta w t) is down at the tolerance; 0 if it starts there.

    Amplitudes zero to peak in one unit (m, or px for both), frequency in Hz; all broadcast. Without
    damping a vibration above the tolerance never settles: the answer is infinite. Source: ring_down_time.
    """
    zeta = np.asarray(damping_ratio)
    if zeta.all():
        return ring_down_time(start_amplitude, tolerance, frequency, damping_ratio)
    damped = ring_down_time(start_amplitude, tolerance, frequency, np.where(zeta == 0, 0.5, zeta))
    never = (zeta == 0) & (np.asarray(start_amplitude) > tolerance)
    return np.where(never, np.inf, damped)[()]
