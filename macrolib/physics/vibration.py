"""Vibration: ring-down, what a ramp leaves, floors and footfalls, and how long to wait.

One mode, viscous damping below critical. Amplitudes are zero to peak unless a name says peak to peak;
`frequency` is the undamped natural frequency in Hz. A camera on a rail answers to the acceleration of the
carriage; what blurs is the motion of camera and subject against each other.
"""

import math

import numpy as np
from sympy import Abs, Max, Min, Rational, cos, exp, log, pi, sin, sinc, sqrt

from macrolib.formula import Formula, Symbol
from macrolib.physics import symbols as s

__all__ = ["base_response", "excited_frequencies", "exposure_smear", "footfall_amplitude", "footfall_ring", "footfall_wait",
           "image_vibration", "log_decrement", "press_stiffness", "ramp_residual", "relative_transmissibility", "residual_vibration",
           "ring_down_time", "settling_time", "spring_frequency", "thermal_drift", "transmissibility",
           "whole_period_ramps", "zero_vibration_shaper"]

_RAO = "Rao, Mechanical Vibrations, 5th ed. (section number from memory)"
_STEADY = "steady sine, one mode, viscous damping below critical; infinite at resonance without damping"
_w = 2 * pi * s.frequency
_zeta, _r = s.damping_ratio, s.frequency_ratio
_GAUSS = np.polynomial.legendre.leggauss(16)  # nodes and weights

# --- one mode that rings, and how to say its damping
log_decrement = Formula(
    Symbol("log_decrement", "1", "logarithm of the ratio of one peak to the next of the same sign", r"\delta", least=0),
    2 * pi * _zeta / sqrt(1 - _zeta**2), (_zeta,), f"{_RAO}, section 2.6")
quality_factor = Formula(Symbol("quality_factor", "1", "Q; the loss factor is 1/Q", "Q", above=0), 1 / (2 * _zeta),
                         (_zeta,), f"{_RAO}, section 3.4; exact as a definition, the peak is higher by zeta^2/2")
half_power_edge = Formula(
    Symbol("half_power_edge", "1", "frequency ratio at which the amplitude is 1/sqrt(2) of the peak", r"r_h", above=0),
    sqrt(1 - 2 * _zeta**2 + 2 * s.edge * _zeta * sqrt(1 - _zeta**2)), (_zeta, s.edge),
    "derived from the amplitude of a mass driven by a steady force", "damping ratio below 0.38, so that both exist")
bandwidth_damping = Formula(_zeta, s.bandwidth / (2 * s.frequency), (s.bandwidth, s.frequency),
                            f"{_RAO}, section 3.4", "light damping: 0.3 % high at a damping ratio of 0.05")
ring_down_time = Formula(
    Symbol("ring_down_time", "s", "time until the envelope of a free decay is down at the tolerance", "t_s", least=0),
    log(Max(1, s.start_amplitude / s.tolerance)) / (_w * _zeta),
    (s.start_amplitude, s.tolerance, s.frequency, _zeta), f"{_RAO}, section 2.6", "free decay with some damping")

# --- a base that shakes
transmissibility = Formula(
    Symbol("transmissibility", "1", "motion of the mass over the motion of its base", "T_a", least=0),
    sqrt((1 + (2 * _zeta * _r)**2) / ((1 - _r**2)**2 + (2 * _zeta * _r)**2)), (_r, _zeta), f"{_RAO}, section 3.6",
    _STEADY)
relative_transmissibility = Formula(
    Symbol("relative_transmissibility", "1", "motion of the mass against its base, over the base's", "T_r", least=0),
    _r**2 / sqrt((1 - _r**2)**2 + (2 * _zeta * _r)**2), (_r, _zeta), f"{_RAO}, section 3.6", _STEADY)
FLOOR_CRITERIA = {name: round(rate * 25.4e-9, 12) for name, rate in (
    ("workshop", 32000), ("office", 16000), ("residential day", 8000), ("operating theatre", 4000), ("VC-A", 2000),
    ("VC-B", 1000), ("VC-C", 500), ("VC-D", 250), ("VC-E", 125))}
"""Floor criteria: root mean square velocity (m/s) in any third of an octave from 8 Hz up, published in micro-inches a
second (ISO and VC curves, from an ASHRAE lecture by Moiseev; the rows residential, theatre and VC-E from memory)."""
sine_amplitude = Formula(s.amplitude, sqrt(2) * s.rms_velocity / (2 * pi * s.vibration_frequency),
                         (s.rms_velocity, s.vibration_frequency), "derivative of a sine", "one sine, zero to peak")
footfall_amplitude = Formula(
    Symbol("footfall_amplitude", "m", "amplitude of the floor after a footfall, zero to peak", "A_f", least=0),
    s.start_amplitude * (s.measured_distance / s.operator_distance)**s.spreading,
    (s.start_amplitude, s.measured_distance, s.operator_distance, s.spreading),
    "power law; ground waves fall with an exponent of 0.5 or more (Bull. Seism. Soc. Am. 100, 1528, 2010)",
    "slab on the ground; a floor on joists moves as a whole, with an exponent near 0")

# --- in the picture
image_vibration = Formula(
    Symbol("image_vibration", "px", "motion of the picture, peak to peak", r"u_{pp}", least=0),
    2 * s.amplitude * s.magnification / s.pixel_pitch, (s.amplitude, s.magnification, s.pixel_pitch),
    "geometry: the picture moves m times as far", "motion along the picture")
exposure_smear = Formula(
    Symbol("exposure_smear", "m", "motion within one exposure, peak to peak, at the worst moment", "y_e", least=0),
    2 * s.amplitude * sin(pi * Min(s.vibration_frequency * s.exposure_time, Rational(1, 2))),
    (s.amplitude, s.vibration_frequency, s.exposure_time), "derived: a sine about its fastest point")

# --- stiffness, shocks and slow drift
press_stiffness = Formula(s.stiffness, s.force / s.deflection, (s.force, s.deflection), "definition of stiffness",
                          "press and look: a known weight, the give seen in the picture")
spring_frequency = Formula(s.frequency, sqrt(s.stiffness / s.mass) / (2 * pi), (s.stiffness, s.mass),
                           f"{_RAO}, section 2.2", "mass of the support far below that of what it holds")
beam_frequency = Formula(s.frequency, pi / 2 * sqrt(5 * s.gravity / (384 * s.deflection)), (s.deflection, s.gravity),
                         "uniform beam on two supports: first mode over the give at its middle under its own weight",
                         "floors and rails that carry their own weight")
shock_amplitude = Formula(s.start_amplitude, s.impulse / (s.mass * _w), (s.impulse, s.mass, s.frequency),
                          "momentum of the shutter goes into the mass, then into the spring",
                          "a shock far shorter than the period")
thermal_drift = Formula(
    Symbol("thermal_drift", "m", "lengthening since the warming began", r"\Delta L"),
    s.length * s.expansion * s.temperature_rise * (1 - exp(-s.elapsed_time / s.time_constant)),
    (s.length, s.expansion, s.temperature_rise, s.elapsed_time, s.time_constant),
    "linear expansion; one heat capacity and one heat path", "steady heating from then on")

# --- what a ramp leaves
ramp_residual = Formula(
    Symbol("ramp_residual", "m", "envelope of the ring at the end of a ramp of constant acceleration", "A_r", least=0),
    s.acceleration / (_w**2 * sqrt(1 - _zeta**2))
    * sqrt(1 - 2 * exp(-_zeta * _w * s.ramp_time) * cos(_w * s.ramp_time * sqrt(1 - _zeta**2))
           + exp(-2 * _zeta * _w * s.ramp_time)),
    (s.acceleration, s.ramp_time, s.frequency, _zeta), "derived: two steps of acceleration, superposed",
    "rest before the ramp")
undamped_residual = Formula(
    Symbol("undamped_residual", "m", "amplitude of the ring after a jerk-limited move", "A_m", least=0),
    s.distance * Abs(sinc(_w * s.distance / s.speed / 2) * sinc(_w * s.speed / s.acceleration / 2)
                      * sinc(_w * s.acceleration / s.jerk / 2)),
    (s.distance, s.speed, s.acceleration, s.jerk, s.frequency), "derived: Fourier transform of the acceleration",
    "no damping; speed and acceleration both reach their limits, so distance/speed >= speed/acceleration >= "
    "acceleration/jerk")


def base_response(frequency_ratio, damping_ratio):
    """Complex answer of a mass to a steady sine of its base, its size `transmissibility`, its angle how late it is; broadcasts."""
    late = np.angle(1 - frequency_ratio**2 / (1 + 2j * damping_ratio * frequency_ratio))
    return transmissibility(frequency_ratio, damping_ratio) * np.exp(-1j * late)


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
    return _plain(np.where(never, np.inf, damped))


def zero_vibration_shaper(frequency, damping_ratio, impulses=2):
    """(amplitudes, times) of impulses that leave no ring in this mode, each of shape (..., impulses).

    A command convolved with them keeps its end and comes later by times[-1]: half a damped period for two impulses
    (ZV), a whole one for three (ZVD, which forgives about 14 % of error in the frequency instead of 3 %; both for
    5 % of ring). Source: Singer and Seering 1990, J. Dyn. Syst. Meas. Control 112, 76; more impulses by convolution.
    """
    frequency, zeta = _checked((s.frequency, frequency), (_zeta, damping_ratio))
    if impulses not in (2, 3, 4):
        raise ValueError(f"impulses is {impulses!r}; allowed: 2, 3 or 4")
    k, root = np.arange(impulses), np.sqrt(1 - zeta**2)[..., None]
    ratio = np.exp(-np.pi * zeta[..., None] / root)
    share = np.array([math.comb(impulses - 1, n) for n in k]) * ratio**k / (1 + ratio)**(impulses - 1)
    return np.broadcast_arrays(share, k / (2 * frequency[..., None] * root))


def whole_period_ramps(speed, frequency, damping_ratio, count=4):
    """(times, left): ramps to `speed` (m/s) that last 1 ... count damped periods, and the ring each leaves.

    Both of shape (..., count): seconds, and metres of envelope at the ramp's end. Without damping nothing is left;
    with damping the ring of the ramp's beginning has decayed before its end answers it. Source: ramp_residual.
    """
    speed, frequency, zeta = (x[..., None] for x in _checked(
        (s.speed, speed), (s.frequency, frequency), (_zeta, damping_ratio)))
    times = np.arange(1, count + 1) / (frequency * np.sqrt(1 - zeta**2))
    return times, ramp_residual(speed / times, times, frequency, zeta)


def excited_frequencies(speed, travel_per_turn, full_steps_per_turn, microsteps, tooth_pitch=None):
    """Frequencies (Hz) with which a rig that moves at `speed` (m/s) shakes itself, as {cause: frequency}.

    Once a turn (bent screw, eccentric pulley); the electrical cycle of four full steps, its half and each full step
    (torque ripple); each pulse; each belt tooth if tooth_pitch (m) is given. All grow with the speed: the speed that
    sits on a natural frequency f is speed x f / frequency. Arguments broadcast. Source: geometry.
    """
    speed, travel, steps, micro = _checked((s.speed, speed), (s.travel_per_turn, travel_per_turn),
                                           (s.full_steps_per_turn, full_steps_per_turn), (s.microsteps, microsteps))
    turn = speed / travel
    found = {"turn": turn, "electrical cycle": turn * steps / 4, "half electrical cycle": turn * steps / 2,
             "full step": turn * steps, "pulse": turn * steps * micro}
    if tooth_pitch is not None:
        found["belt tooth"] = speed / _checked((s.pitch, tooth_pitch))[0]
    return {cause: _plain(x) for cause, x in found.items()}


def footfall_ring(time, footfall_amplitude, floor_frequency, floor_damping, stand_frequency, stand_damping,
                  two_bases=False):
    """Bound (m, zero to peak) on how camera and subject move against each other, a time (s) after a footfall.

    The floor rings down from footfall_amplitude (m); the stand follows and rings by itself, from rest. Frequencies in
    Hz; all broadcast. It never rises, and holds for every phase: floor-driven and own ring taken together. two_bases:
    camera and subject do not share the stand, and the floor under both adds in full. Source: derived (superposition
    of the floor's decay on the stand's response).
    """
    shake, f_1, zeta_1, f_2, zeta_2 = _checked(
        (s.start_amplitude, footfall_amplitude), (s.frequency, floor_frequency), (_zeta, floor_damping),
        (s.frequency, stand_frequency), (_zeta, stand_damping))
    floor, stand, tiny = _pole(f_1, zeta_1), _pole(f_2, zeta_2), 1e-300  # tiny: instead of a division by zero
    slower = np.maximum(np.minimum(-floor.real, -stand.real), tiny)
    # e^(p t) - e^(q t) is at most the sum of both, and at most |p - q| t times the slower one
    both, late = np.exp(floor.real * time) + np.exp(stand.real * time), np.maximum(time, 1 / slower)
    ring = sum(np.minimum(both / np.maximum(np.abs(p - stand), tiny), late * np.exp(-slower * late))
               for p in (floor, floor.conjugate()))
    return shake * (ring * np.abs(floor)**2 / (2 * stand.imag) + 2 * two_bases * np.exp(floor.real * time))


def footfall_wait(footfall_amplitude, tolerance, floor_frequency, floor_damping, stand_frequency, stand_damping,
                  two_bases=False):
    """Seconds after a footfall until footfall_ring is below the tolerance (m); infinite if undamped parts stay above."""
    small, f_1, _ = _checked((s.tolerance, tolerance), (s.frequency, floor_frequency), (_zeta, floor_damping))
    return _last_above(lambda t: footfall_ring(t, footfall_amplitude, floor_frequency, floor_damping, stand_frequency,
                                               stand_damping, two_bases), small, 1 / (2 * np.pi * f_1))


def residual_vibration(move, frequency, damping_ratio):
    """Envelope (m) of the camera's motion against the carriage at the end of a Move that began at rest.

    sqrt(z^2 + ((z' + zeta w z)/w_d)^2) of z'' + 2 zeta w z' + w^2 z = -acceleration(t), by superposition: the integral
    of acceleration(t) e^(p (T - t)) over the move, divided by w_d, with p = w (-zeta + i sqrt(1 - zeta^2)). Frequency
    (Hz), damping ratio and an array of moves broadcast. Gauss-Legendre between the knots of the move, with 16 points a
    period: good to 1e-12 of the largest ring on the way. Source: Duhamel's integral (Rao, ch. 4).
    """
    pole = _pole(*_checked((s.frequency, frequency), (_zeta, damping_ratio)))
    dims, moves = max(pole.ndim, np.ndim(move.duration)), np.shape(move.duration)
    knots = np.reshape(move.knots, (-1, *[1] * (dims - len(moves)), *moves))
    nodes, weights = (x.reshape(-1, *[1] * dims) for x in _GAUSS)
    highest, ring = np.max(np.abs(pole), initial=0) / (2 * np.pi), 0j * pole
    some = min(4096, max(1, 2**18 // max(1, np.size(move.duration))))  # panels at a time, so that memory stays small
    for start, end in zip(knots[:-1], knots[1:], strict=True):
        if not move.acceleration(start + (end - start) * (1 + nodes) / 2).any():
            continue  # a cruise shakes nothing
        panels = max(1, math.ceil(np.max(end - start, initial=0) * highest))
        half = (end - start) / (2 * panels)
        for first in range(0, panels, some):
            k = np.arange(first, min(first + some, panels)).reshape(-1, *[1] * dims)
            middle = start + half * (2 * k + 1)
            pushes = weights * half * move.acceleration(middle[:, None] + half * nodes)
            # the exponential of a sum is a product: few exponentials, and no large array in between
            within, rest = np.exp(-pole * (half * nodes)), np.exp(pole * (knots[-1] - middle))
            ring = ring + np.einsum("kj...,j...,k...->...", pushes, within, rest)
    return _plain(np.abs(ring) / pole.imag)


def _plain(x):
    return float(x) if np.ndim(x) == 0 else x


def _pole(frequency, zeta):
    return 2 * np.pi * frequency * (-zeta + 1j * np.sqrt(1 - zeta**2))


def _last_above(bound, limit, scale):
    """Last time at which a bound that never rises is above the limit: 0 if never, infinite if always."""
    end = scale + 0 * bound(scale)
    for _ in range(60):
        above = bound(end) > limit
        if not np.any(above):
            break
        end = np.where(above, 2 * end, end)
    start, late = 0 * end, end
    for _ in range(60):
        middle = (start + late) / 2
        above = bound(middle) > limit
        start, late = np.where(above, middle, start), np.where(above, late, middle)
    return _plain(np.where(bound(0 * end) <= limit, 0.0, np.where(bound(end) > limit, np.inf, late)))


def _checked(*pairs):
    """The values of (Symbol, value) pairs as float arrays, each within the range of its Symbol."""
    values = [np.asarray(x, float) for _, x in pairs]
    for (symbol, _), x in zip(pairs, values, strict=True):
        bad = x[~((symbol.low <= x) & (x <= symbol.high))]
        if bad.size:
            raise ValueError(f"{symbol.name} is {bad[0]:g} {symbol.unit}; allowed: {symbol.allowed}")
    return values
