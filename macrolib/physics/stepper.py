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
from macrolib.physics.vibration import base_response, relative_transmissibility

__all__ = ["corner_speed", "inertia_ratio", "load_lag", "microstep_torque", "natural_frequency", "peak_torque",
           "position_error", "ripple", "shaft_travel", "simulate", "torque_at_speed"]

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
shaft_travel = Formula(Symbol("shaft_travel", "m", "carriage travel for an angle at the motor", "x_s"),
                       s.shaft_angle * s.travel_per_turn / (2 * pi), (s.shaft_angle, s.travel_per_turn), "definition")


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


# --- the motion that microsteps make
Ripple = namedtuple("Ripple", "position_rms position_peak_to_peak speed_rms doubt holds")
_DOUBT = 0.03  # estimated relative error up to which the closed form counts as holding
_MOTOR = {"speed": s.rotation, "microsteps": s.microsteps, "rotor_teeth": s.rotor_teeth, "inertia": s.inertia,
          "holding_torque": s.holding_torque, "damping_ratio": s.damping_ratio, "detent_torque": s.detent_torque,
          "friction_torque": s.friction_torque, "load_torque": s.load_torque, "gain_mismatch": s.gain_mismatch,
          "phase_offset": s.phase_offset}


def _broadcast(**values):
    """The values as flat float arrays of one length, checked against their symbols, and their common shape."""
    arrays = [np.asarray(v, float) for v in values.values()]
    for name, x in zip(values, arrays):
        symbol, low = _MOTOR[name], 1e-9 if name in ("speed", "damping_ratio") else _MOTOR[name].low
        bad = x[~((low <= x) & (x <= symbol.high))]
        if bad.size:
            also = "above 0" if name in ("speed", "damping_ratio") else symbol.allowed
            raise ValueError(f"{name} is {bad[0]:g} {symbol.unit}; allowed: {also}")
    if (np.rint(values["microsteps"]) != values["microsteps"]).any():
        raise ValueError("microsteps must be whole numbers")
    shape = np.broadcast_shapes(*(x.shape for x in arrays))
    return {name: np.broadcast_to(x, shape).ravel() for name, x in zip(values, arrays)}, shape


def ripple(speed, microsteps, *, rotor_teeth, holding_torque, inertia, damping_ratio, detent_torque=0.0,
           gain_mismatch=0.0, phase_offset=0.0, structure=None):
    """Closed form of the ripple about a steady speed, as a Ripple: position in rad, speed in rad/s, doubt, holds.

    speed in turns/s, the rest as in `simulate`; arrays broadcast. The linear motor answers to the staircase of commands
    (a sawtooth about the straight line), to detent, mismatch and offset, each a series of sines whose mean squares add;
    peak to peak, pulses and slower causes add. structure=(frequency in Hz, damping ratio): the ripple behind that mode.
    doubt estimates the relative error (large swings, a resonance near, detent near it or twice as fast, detent under
    coarse pulses); where `holds` is False it may be more than 2 %: use `simulate` there.
    Not in it: friction, current resolution, rise time. Derived from Newton's second law; ValueError for bad values.
    """
    v, shape = _broadcast(speed=speed, microsteps=microsteps, rotor_teeth=rotor_teeth, holding_torque=holding_torque,
                          inertia=inertia, damping_ratio=damping_ratio, detent_torque=detent_torque,
                          gain_mismatch=gain_mismatch, phase_offset=phase_offset)
    natural = natural_frequency(v["rotor_teeth"], v["holding_torque"], v["inertia"])
    frequencies, amplitudes = _causes(v, natural)
    ratio = frequencies / natural
    behind = relative_transmissibility(ratio, v["damping_ratio"])
    sines = amplitudes * behind / ratio**2 * np.exp(-1j * np.angle(1 - ratio**2 + 2j * v["damping_ratio"] * ratio))
    if structure is not None:
        sines = sines * base_response(frequencies / structure[0], structure[1])
    doubt, squares = _doubt(v, ratio, amplitudes, behind), [np.abs(x * sines) ** 2 for x in (1, 2 * np.pi * frequencies)]
    doubt = np.maximum(*((x * doubt).sum(axis=0) / x.sum(axis=0) / 2 for x in squares))
    position, velocity = (np.sqrt(x.sum(axis=0) / 2) for x in squares)
    return Ripple(*(x.reshape(shape)[()] for x in (position, _extent(sines), velocity, doubt, doubt < _DOUBT)))


def _extent(sines):
    """Peak to peak of the four slow sines over a cycle and of the pulses' series over a pulse, added."""
    slow, fast = np.zeros((9, sines.shape[1]), complex), np.concatenate((0 * sines[:1], sines[4:]))
    slow[[4, 8, 2, 1]] = sines[:4] * np.array([[-1], [1], [1], [np.exp(0.75j * np.pi)]])  # how they begin a cycle
    return sum(np.ptp(np.fft.irfft(-0.5j * x, n, axis=0, norm="forward"), axis=0)
               for x, n in ((slow, 128), (fast, 2 ** math.ceil(math.log2(4 * len(fast))))))


def _doubt(v, ratio, amplitudes, behind):
    """Estimated relative error of each sine's mean square; real errors are mostly well inside it."""
    gain = behind / ratio**2
    # The torque is the sine of the angle behind the command: its slope falls with that angle, the more so where
    # the resonance is near. The detent makes the stiffness go up and down, slowly (no matter) or not.
    softer, share = v["rotor_teeth"] ** 2 * ((amplitudes * behind) ** 2).sum(axis=0) / 4, v["detent_torque"] / v["holding_torque"]
    # Twice as fast as the rotor's own swings and stronger than the damping, it makes them grow by themselves (Mathieu).
    grows = share**2 > 0.8 * (v["damping_ratio"] ** 2 + (1 - ratio[0] / 2) ** 2)
    jump = (np.pi / (2 * v["microsteps"])) ** 2 / 12  # energy of one jump: 1 - cos against half the square
    doubt = 2 * gain * (softer + share * np.minimum(1, 3 * ratio)) + jump + (v["microsteps"] == 1) * (share > 0) + 2 * grows
    doubt[:2] += 8 / v["microsteps"] ** 2 * [[1], [4]]  # coarse pulses leave out places at which the detent would act
    return doubt


def _causes(v, natural):
    """Frequencies (Hz) and amplitudes (rad) of the sines in the position that the motor seeks, one row each."""
    cycle, share = v["rotor_teeth"] * v["speed"], v["detent_torque"] / v["holding_torque"]
    pulses = 4 * v["microsteps"] * cycle
    apart = np.max(natural / pulses, initial=0)
    if apart > 2000:
        raise ValueError(f"speed is too low for a series: pulses come {apart:.3g} natural periods apart; allowed: 2000")
    k = np.arange(1, 30 + math.ceil(10 * apart))[:, None]
    # the detent shifts the rest position by solutions of x = -share sin(4 (angle + x)): first two terms of their series
    electrical = np.stack((share * (1 - 2 * share**2), 2 * share**2,
                           v["gain_mismatch"] / 2, np.sqrt(2) * v["phase_offset"]))
    electrical = np.concatenate((electrical, 1 / (2 * v["microsteps"] * k)))
    times = np.broadcast_to(np.array([4, 8, 2, 1])[:, None], (4, cycle.size))
    return np.concatenate((times * cycle, k * pulses)), electrical / v["rotor_teeth"]


@dataclasses.dataclass(frozen=True)
class Motion:
    """What `simulate` found; arrays of the common shape. Angles in rad at the motor shaft, speeds in rad/s.

    lag: mean angle behind the path; picture_...: behind the structure's mode, the motor's own without one;
    in_step: False where the rotor slipped (its other numbers are NaN); friction_speed: speed below which friction was
    smoothed; friction_resolved: that is under a fifth of the rotor's speed; time_step in s.
    times, motor, picture (first axis: samples): the recorded deviation from the path, None unless record=True.
    """

    position_rms: np.ndarray
    position_peak_to_peak: np.ndarray
    speed_rms: np.ndarray
    picture_rms: np.ndarray
    picture_peak_to_peak: np.ndarray
    picture_speed_rms: np.ndarray
    lag: np.ndarray
    in_step: np.ndarray
    friction_speed: np.ndarray
    friction_resolved: np.ndarray
    time_step: np.ndarray
    times: np.ndarray | None = None
    motor: np.ndarray | None = None
    picture: np.ndarray | None = None


def simulate(speed, microsteps, *, rotor_teeth, holding_torque, inertia, damping_ratio, detent_torque=0.0,
             friction_torque=0.0, load_torque=0.0, gain_mismatch=0.0, phase_offset=0.0, current_bits=None,
             rise_time=0.0, structure=None, refine=1, record=False, progress=None):
    """Steady motion of the rotor driven through the microstep table, as a Motion; all settings and speeds at once.

    speed (turns/s), microsteps and the motor's values broadcast: speed[:, None] with microsteps gives a map.
    holding_torque: at the current that is set (`peak_torque`); damping_ratio: of the motor about the steady speed;
    detent_torque: amplitude, four periods in a cycle; friction_torque: Coulomb; gain_mismatch: of phase b;
    phase_offset: of both, over the peak current. For all alike: current_bits (each phase's magnitude has 2^bits - 1
    levels), rise_time (s for a current from 0 to the peak), structure (frequency in Hz, damping ratio) of the mode
    between motor and picture. refine divides the time step. progress(share) is called now and then.

    Runge-Kutta of order four, whole steps a pulse, about 30 a natural period; measured over whole electrical cycles
    after the start has rung out. The step limits how sharp friction can be: see Motion.
    Not in it: back-EMF (mid-band instability), stick-slip of the guide, chopper ripple, backlash. The peak to peak of
    pulses shorter than a step is not seen. ValueError for bad values and for runs of more than two million steps.
    """
    v, shape = _broadcast(speed=speed, microsteps=microsteps, rotor_teeth=rotor_teeth, holding_torque=holding_torque,
                          inertia=inertia, damping_ratio=damping_ratio, detent_torque=detent_torque,
                          friction_torque=friction_torque, load_torque=load_torque, gain_mismatch=gain_mismatch,
                          phase_offset=phase_offset)
    _check_options(current_bits, rise_time, structure, refine)
    return _motion(_Run(v, current_bits, rise_time, structure, refine), shape, record, progress)


def _check_options(current_bits, rise_time, structure, refine):
    if current_bits is not None and current_bits not in range(1, 33):
        raise ValueError(f"current_bits is {current_bits!r}; allowed: None, or 1 to 32")
    if not 0 <= rise_time < math.inf:
        raise ValueError(f"rise_time is {rise_time!r} s; allowed: at least 0")
    if structure is not None and not (0 < structure[0] < math.inf and 0 < structure[1] < 1):
        raise ValueError(f"structure is {structure!r}; allowed: a frequency above 0 Hz, a damping ratio in 0 to 1")
    if not 1 <= refine <= 1000:
        raise ValueError(f"refine is {refine!r}; allowed: 1 to 1000")


class _Run:
    """The lanes of a simulation, one for each combination of speed, setting and motor, and how they move.

    A state is the deviation from the straight path (rad) and its rate, then the same behind the structure's mode.
    """

    def __init__(self, v, current_bits, rise_time, structure, refine):
        self.teeth, self.omega, self.structure = v["rotor_teeth"], 2 * np.pi * v["speed"], structure
        self.stiff, self.detent, self.load, self.friction = (
            v[n] / v["inertia"] for n in ("holding_torque", "detent_torque", "load_torque", "friction_torque"))
        self.natural = np.sqrt(self.teeth * self.stiff)
        self.rubs = self.friction.any()
        self.rise_time, mode = rise_time, 0.0 if structure is None else 2 * np.pi * structure[0]
        # rows: the motor's own damping and none, then what is added at the start, to the motor and to the structure
        self.damping = np.stack((2 * v["damping_ratio"] * self.natural, 0 * self.natural))
        self.extra = 1.4 * np.stack((self.natural, mode + 0 * self.natural))
        self.micro = v["microsteps"].astype(int)
        tables = [_currents(*lane, current_bits) for lane in zip(self.micro, v["gain_mismatch"], v["phase_offset"])]
        self.table = np.concatenate([np.empty((2, 0)), *tables], axis=1)
        self.offset = np.cumsum(4 * self.micro) - 4 * self.micro
        self._choose_steps(refine)

    def _choose_steps(self, refine):
        fastest = np.maximum(self.natural * np.sqrt(1 + 4 * self.detent / self.stiff), 2 * self.teeth * self.omega)
        calm, settle = 30 / self.natural, 12 / self.damping[0]
        if self.structure is not None:
            mode = 2 * np.pi * self.structure[0]
            fastest, calm = np.maximum(fastest, mode), np.maximum(calm, 30 / mode)
            settle = np.maximum(settle, 6 / (mode * self.structure[1]))
        longest = 0.2 / fastest
        sharp = np.full_like(longest, np.inf)  # the step that follows the jump of friction, a tenth of the speed wide
        np.divide(0.03 * self.omega, self.friction, out=sharp, where=self.friction > 0)
        longest = np.clip(sharp, longest / 6, np.minimum(longest, self.rise_time / 4 if self.rise_time else np.inf))
        pulse = np.pi / (2 * self.micro * self.teeth * self.omega)
        self.per_pulse = np.ceil(pulse / longest * refine).astype(int)
        self.step = pulse / self.per_pulse
        # tanh(speed / friction_speed) stands for the jump of friction: no stiffer than the step can follow
        self.friction_speed = np.where(self.friction > 0, np.maximum(0.1 * self.omega, self.friction * self.step), 1)
        self.cycle = 4 * self.micro * self.per_pulse
        self.measured = self.cycle * np.ceil(40 * np.pi / self.natural / (self.cycle * self.step)).astype(int)
        self.calm = np.ceil(calm / self.step).astype(int)
        self.total = int(np.max(self.calm + np.ceil(settle / self.step) + self.measured, initial=0))
        if self.total > 2_000_000:
            raise ValueError(f"the run needs {self.total} steps, two million are allowed: "
                             "raise the lowest speed or the damping, or lower refine")

    def slope(self, phase, y, currents, damping):
        """Rate of change of the state with the path at this electrical angle."""
        angle = phase + self.teeth * y[0]
        c, n = np.cos(angle), np.sin(angle)
        rate = self.stiff * (currents[1] * c - currents[0] * n) - damping[0] * y[1] - self.load
        rate -= 4 * self.detent * n * c * (c * c - n * n)  # sin(4 angle)
        if self.rubs:
            rate -= self.friction * np.tanh((self.omega + y[1]) / self.friction_speed)
        if self.structure is None:
            return np.stack((y[1], rate))
        mode = 2 * np.pi * self.structure[0]
        pull = mode * (mode * (y[0] - y[2]) + 2 * self.structure[1] * (y[1] - y[3])) - damping[1] * y[3]
        return np.stack((y[1], rate, y[3], pull))

    def walk(self):
        """Yield for each step its number, the states at its ends and the slopes there; the start is damped well."""
        y = np.zeros((2 if self.structure is None else 4, len(self.micro)))
        y[::2] = -np.arcsin(np.clip((self.load + self.friction) / self.stiff, -1, 1)) / self.teeth
        h, now = self.step, self.table[:, self.offset]
        turn = np.pi / (2 * self.micro) / self.per_pulse
        slew = h / self.rise_time if self.rise_time else np.inf
        for i in range(self.total):
            damping = self.damping + (i < self.calm) * self.extra
            phase = (i % self.cycle) * turn - np.pi / (4 * self.micro)  # the path runs midway between the commands
            change = self.table[:, self.offset + i // self.per_pulse % (4 * self.micro)] - now
            half, end = now + np.clip(change, -slew / 2, slew / 2), now + np.clip(change, -slew, slew)
            first = self.slope(phase, y, now if self.rise_time else end, damping)
            second = self.slope(phase + turn / 2, y + h / 2 * first, half, damping)
            third = self.slope(phase + turn / 2, y + h / 2 * second, half, damping)
            fourth = self.slope(phase + turn, y + h * third, end, damping)
            after = y + h / 6 * (first + 2 * (second + third) + fourth)
            fourth[::2] = after[1::2]
            yield i, y, after, first, fourth
            y, now = after, end


def _currents(microsteps, gain_mismatch, phase_offset, bits):
    angle = np.arange(4 * microsteps) * np.pi / (2 * microsteps)
    table = np.stack((np.cos(angle), np.sin(angle)))
    if bits is not None:
        table = np.rint(table * (2**bits - 1)) / (2**bits - 1)
    return table * [[1], [1 + gain_mismatch]] + phase_offset


def _measure(run, record, progress):
    """Mean, mean square, lowest and highest of every state, and the recorded deviations, over the measured steps."""
    begin = run.total - run.measured
    mean = square = np.zeros((2 if run.structure is None else 4, len(begin)))
    low, high, trace = np.inf + mean, -np.inf + mean, []
    for i, y, after, before_slope, after_slope in run.walk():
        if progress is not None and i % (run.total // 100 + 1) == 0:
            progress(i / run.total)
        if i < begin.min(initial=run.total):
            continue
        # the step as a sum of Legendre polynomials of the cubic through both ends and slopes
        on, rise, bend = i >= begin, run.step * (before_slope + after_slope), run.step * (after_slope - before_slope)
        third = (rise / 4 - (after - y) / 2) / 5
        middle, linear, quadratic = (y + after) / 2 - bend / 12, (after - y) / 2 - third, bend / 12
        mean = mean + on * middle
        square = square + on * (middle**2 + linear**2 / 3 + quadratic**2 / 5 + third**2 / 7)
        centre = middle - quadratic / 2
        low = np.where(on, np.minimum(low, np.minimum(y, centre)), low)
        high = np.where(on, np.maximum(high, np.maximum(y, centre)), high)
        if record:
            trace.append(np.where(on, y[::2], np.nan))
    mean, square = mean / run.measured, square / run.measured
    return mean, np.sqrt(np.maximum(square - mean**2, 0)), low, high, trace


def _motion(run, shape, record, progress):
    mean, rms, low, high, trace = _measure(run, record, progress)
    in_step = np.maximum(np.abs(low[0]), np.abs(high[0])) * run.teeth < np.pi
    kept = [np.where(in_step, x, np.nan).reshape(shape)[()] for x in (rms[0], high[0] - low[0], rms[1], rms[-2],
                                                                      high[-2] - low[-2], rms[-1], -mean[0])]
    resolved = run.friction_speed < 0.2 * run.omega if run.rubs else np.ones_like(in_step)
    smooth = np.where(run.friction > 0, run.friction_speed, 0)
    about = [x.reshape(shape)[()] for x in (in_step, smooth, resolved | (run.friction == 0), run.step)]
    if not record:
        return Motion(*kept, *about)
    trace = np.array(trace)
    times = np.arange(len(trace))[:, None] * run.step
    return Motion(*kept, *about, times.reshape(-1, *shape), trace[:, 0].reshape(-1, *shape),
                  trace[:, -1].reshape(-1, *shape))
