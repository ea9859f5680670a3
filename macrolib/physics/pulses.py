"""When the pulses of a move are due, and what timers and short arithmetic make of it.

pulse_times serves the plans. The rest is the textbook case of the literature: constant acceleration from rest in
pulses/s^2, a timer that counts ticks, pulse n when the travel is n pulses, interval n from pulse n to pulse n + 1.
Sources: an application note on linear speed control of stepper motors (AVR446) and D. Austin, "Generate
stepper-motor speed profiles in real time", Embedded Systems Programming, January 2005.
"""

import math
from collections import namedtuple

import numpy as np
import sympy

from macrolib.formula import Formula, Symbol
from macrolib.physics import symbols as sy

__all__ = ["FIRST_INTERVAL", "exact_intervals", "integer_intervals", "pulse_ceiling", "pulse_times",
           "recurrence_intervals", "speed_grain", "stall_rate", "whole_ticks"]

_CHUNK = 1 << 15  # pulses a time: what is computed stays in the processor's cache, and memory stays small
# The first exact interval times this makes the recurrence meet the exact ramp later on: the limit of
# 1 / (2 sqrt(n)) over the product of (4k - 1) / (4k + 1) for k up to n, which is Gamma(n + 3/4) / Gamma(n + 5/4)
# over its value at n = 0. The literature rounds it to 0.676.
FIRST_INTERVAL = math.gamma(3 / 4) / (2 * math.gamma(5 / 4))

_interval = Formula(
    Symbol("interval", "1", "timer ticks from one pulse to the next", "c_n", above=0),
    sy.timer_frequency * sympy.sqrt(2 / sy.pulse_acceleration)
    / (sympy.sqrt(sy.pulse_number + 1) + sympy.sqrt(sy.pulse_number)),
    (sy.pulse_number, sy.pulse_acceleration, sy.timer_frequency),
    source="travel = acceleration time^2 / 2, in the form that does not cancel")
stall_rate = Formula(
    sy.pulse_rate, sympy.cbrt(sy.timer_frequency * sy.pulse_acceleration * 2**sy.fraction_bits),
    (sy.timer_frequency, sy.pulse_acceleration, sy.fraction_bits),
    source="where twice the exact interval equals 4n + 1, so that the whole quotient is zero",
    limits="truncated division without the remainder; the stall itself comes about a tenth below")
speed_grain = Formula(
    Symbol("speed_grain", "1", "relative change of speed when an interval changes by one tick", r"\epsilon", least=0),
    sy.pulse_rate / sy.timer_frequency, (sy.pulse_rate, sy.timer_frequency), source="definition")
pulse_ceiling = Formula(
    sy.pulse_rate, sy.processor_frequency / sy.cycles_per_pulse, (sy.processor_frequency, sy.cycles_per_pulse),
    source="definition", limits="the processor does nothing else")


def pulse_times(move, travel_per_pulse):
    """Times (s) of the pulses of one move, an array, for a travel per pulse in m.

    Pulse k = 1, 2, ... is due when the travel passes (k - 1/2) times the travel per pulse, in either
    direction, so that the carriage is never more than half a pulse from the wanted place.
    """
    if np.ndim(move.distance):
        raise ValueError(f"pulse_times takes one move, not an array of {np.size(move.distance)}")
    if not 0 < travel_per_pulse < math.inf:
        raise ValueError(f"travel_per_pulse is {travel_per_pulse:g} m; allowed: finite numbers above 0")
    times = np.empty(math.floor(abs(move.distance) / travel_per_pulse + 0.5))
    step = math.copysign(travel_per_pulse, move.distance)
    for first in range(0, times.size, _CHUNK):
        part = times[first:first + _CHUNK]
        travel = (np.arange(first, first + part.size) + 0.5) * step
        part[:] = move.time_at(np.clip(travel, min(move.distance, 0), max(move.distance, 0)))
    return times


def exact_intervals(count, acceleration, timer_frequency):
    """The first `count` intervals in timer ticks, not rounded: acceleration in pulses/s^2, timer in Hz."""
    return _interval(np.arange(_whole(count)), acceleration, timer_frequency)


def recurrence_intervals(count, acceleration, timer_frequency, corrected=True):
    """The same from the equal-acceleration recurrence c_n = c_(n-1) - 2 c_(n-1) / (4 n + 1), not rounded.

    The first interval is the exact one times FIRST_INTERVAL; with corrected=False it is the exact one, and
    every later interval comes out too long by 1 / FIRST_INTERVAL. Relative error: about 3 / (32 n^3).
    """
    n = np.arange(1, _whole(count))
    first = _interval(0, acceleration, timer_frequency) * (FIRST_INTERVAL if corrected else 1.0)
    return first * np.concatenate([[1.0], np.cumprod(1 - 2 / (4 * n + 1))])


def integer_intervals(count, acceleration, timer_frequency, carry=False, fraction_bits=0):
    """The recurrence in whole numbers, as a small controller computes it: intervals in ticks.

    Each interval is a whole number of 2^-fraction_bits ticks and each quotient is truncated. With carry, the
    remainder of a division is added to the next one; without, the intervals stop shrinking near stall_rate.
    """
    unit = 2 ** _whole(fraction_bits, "fraction_bits", 0)
    interval, rest = round(_interval(0, acceleration, timer_frequency) * FIRST_INTERVAL * unit), 0
    intervals = [interval]
    for n in range(1, _whole(count)):
        shorter, left = divmod(2 * interval + rest, 4 * n + 1)
        rest = left if carry else 0
        interval -= shorter
        intervals.append(interval)
    if interval < 1:
        raise ValueError("the last interval is less than one unit; allowed: a faster timer, a lower acceleration, "
                         "fewer pulses or more fraction bits")
    return np.array(intervals) / unit


def whole_ticks(intervals, carry=True):
    """Intervals rounded to whole ticks: with carry each pulse stays within half a tick of its time.

    Without carry every interval is rounded by itself, and the errors of equal intervals add up.
    """
    intervals = np.asarray(intervals, float)
    return np.diff(np.rint(np.cumsum(intervals)), prepend=0.0) if carry else np.rint(intervals)


IntervalErrors = namedtuple("IntervalErrors", "interval time position")


def interval_errors(intervals, acceleration, timer_frequency):
    """What intervals (ticks) do to the ramp from rest: arrays over the intervals, actual minus exact.

    interval: relative error of each interval; time (s): of the pulse that ends it; position (pulses): of the
    carriage at that pulse. Acceleration in pulses/s^2, timer in Hz. Times count from standstill: the corrected
    recurrence is early by a constant 0.338 of the first exact interval, because its own first one is short.
    """
    intervals = np.asarray(intervals, float)
    exact = exact_intervals(intervals.size, acceleration, timer_frequency)
    pulses, times = np.arange(1, intervals.size + 1), np.cumsum(intervals) / timer_frequency
    return IntervalErrors(intervals / exact - 1, times - np.sqrt(2 * pulses / acceleration),
                          pulses - acceleration * times**2 / 2)


def _whole(number, name="count", least=1):
    if isinstance(number, bool) or not isinstance(number, (int, np.integer)) or number < least:
        raise ValueError(f"{name} is {number!r}; allowed: whole numbers of at least {least}")
    return int(number)
