"""A move as straight pieces of interval against pulse number: additions only, for any shape of ramp.

The interval before pulse k is a smooth curve over k. It is cut into pieces in which each interval differs from the one
before by the same amount, so that a controller needs one addition a pulse. All numbers are whole multiples of 1/65536 of a
timer tick; a piece ends when its last pulse is due, to within half a tick, and the next one begins with what is left.
"""

from collections import namedtuple

import numpy as np

from macrolib.physics import pulses

__all__ = ["Segment", "fit", "intervals"]

TIMER = 2e6  # Hz: a clock of 16 MHz over 8
INTERVAL_ERROR, TIME_ERROR = 2e-3, 2e-6  # relative, and s: what a piece may be off by
_UNIT, _SLICE, _REST, _WORD = 1 << 16, 0x8000 << 16, 0x2000 << 16, (1 << 32) - 1
_LONGEST, _MOST_SLICES = 0xFFFF, 255
_MOST_PULSES = 1 << 24  # what is fitted in a minute and in less than 1 GB

class Piece(namedtuple("Piece", "count slices start change")):
    """`count` intervals, each of `slices` times 0x8000 ticks and start, start - change, ... modulo 2^32 in 1/65536 tick."""

    @property
    def last(self):
        """The last interval of the piece, without its slices."""
        return (self.start - (self.count - 1) * self.change) & _WORD


class Segment(namedtuple("Segment", "pieces cruise out way pulses")):
    """One move for the controller: pieces, index of the first piece after the ramp in and of the first in the ramp out, way
    (1 or -1), number of pulses."""

    @property
    def fastest(self):
        """Largest pulse rate of the move, 1/s."""
        return TIMER * _UNIT / min(min(p.start, p.last) + p.slices * _SLICE for p in self.pieces)


def fit(move, travel_per_pulse, timer_frequency=TIMER, interval_error=INTERVAL_ERROR, time_error=TIME_ERROR):
    """A Segment for a Move; travel per pulse in m, timer in Hz, largest relative error of an interval, of a time in s.

    ValueError for a move without pulses or with more than _MOST_PULSES, with an interval too long for the counter, or with a ramp
    in that is longer than half of the move: an early stop runs the ramp in backwards.
    """
    if abs(move.distance) > _MOST_PULSES * travel_per_pulse:
        raise ValueError(f"the move has {abs(move.distance) / travel_per_pulse:,.0f} pulses; allowed: {_MOST_PULSES:,}")
    times = pulses.pulse_times(move, travel_per_pulse)
    if not times.size:
        raise ValueError("the move is shorter than half a pulse: there is nothing to send")
    half = times.size // 2
    ramp_in = int(np.searchsorted(times, move.ramp_in))
    if ramp_in > half + 1:
        raise ValueError(f"the ramp in takes {ramp_in} of {times.size} pulses; allowed: half, so that a stop can run it backwards")
    ramp_in = max(min(ramp_in, half), 1)
    ramp_out = max(int(np.searchsorted(times, move.duration - move.ramp_out)), ramp_in)
    due = times * (timer_frequency * _UNIT)
    made, marks, errors = [], [], (interval_error, time_error * timer_frequency * _UNIT)
    first = done = 0
    for end in (1, ramp_in, ramp_out, times.size):
        while first < end:
            piece, spent = _longest(due, first, min(end - first, _LONGEST), done, errors)
            made.append(piece)
            first, done = first + piece.count, done + spent
        marks.append(len(made))
    return Segment(tuple(made), marks[1], marks[2], -1 if move.distance < 0 else 1, times.size)


def _longest(due, first, most, done, errors):
    """The longest piece from pulse `first` that keeps the errors, and the time that it takes in 1/65536 tick."""
    good, count = _piece(due, first, 1, done, errors), 2
    if good is None:
        ticks = np.diff(due, prepend=0)[first] / _UNIT
        raise ValueError(f"the interval before pulse {first + 1} does not fit the timer: {ticks:,.0f} ticks; "
                         f"allowed: 1 to {(_MOST_SLICES * _SLICE + 0xFFFE0000) // _UNIT:,}. Start harder, or use a slower timer")
    bad = most + 1
    while good[0].count + 1 < bad:
        count = min(2 * good[0].count, most) if bad > most else (good[0].count + bad) // 2
        found = _piece(due, first, count, done, errors)
        good, bad = (found, bad) if found else (good, count)
    return good


def _piece(due, first, count, done, errors):
    """(Piece, time in 1/65536 tick) of this length, or None where it does not keep the errors or fit the counter."""
    ends = due[first:first + count]
    exact = np.diff(ends, prepend=due[first - 1] if first else 0.0)
    change = round((exact[0] - exact[-1]) / (count - 1)) if count > 1 else 0
    pairs = count * (count - 1) // 2
    start = (round(ends[-1]) - done + change * pairs + count // 2) // count
    values = start - change * np.arange(count)
    longest, shortest = int(values.max()), int(values.min())
    slices = max(0, -((0xFFFE0000 - longest) // _SLICE))
    if slices > _MOST_SLICES or shortest - slices * _SLICE < (_REST if slices else _UNIT):
        return None
    if count > 1 and (np.any(abs(values - exact) > errors[0] * exact) or np.any(abs(done + np.cumsum(values) - ends) > errors[1])):
        return None
    return Piece(count, slices, start - slices * _SLICE, change & _WORD), count * start - change * pairs


def intervals(segment, stop_after=None):
    """Intervals in timer ticks, as the C computes them, bit for bit: an array of whole numbers.

    stop_after: the intervals that have been sent when an early stop begins; None runs to the end.
    """
    return np.fromiter(_run(segment, stop_after), np.int64)


def _run(segment, stop_after):
    pieces, place, fraction, sent, back, stop = segment.pieces, 0, 0, 0, False, len(segment.pieces) - 1
    left, slices, value, change = pieces[0]
    value = (value + change) & _WORD
    while left or place != stop:
        if left:
            value = (value - change) & _WORD
        else:
            place += -1 if back else 1
            left, slices, value, change = pieces[place]
            if back:
                value, change = pieces[place].last, -change
        left -= 1
        total = (value + fraction) & _WORD
        fraction = total & 0xFFFF
        yield (total >> 16) + 0x8000 * slices
        sent += 1
        if sent == stop_after and not back and place < segment.out:
            if place >= segment.cruise:
                place, left = segment.out - 1, 0
            elif place == 0:
                stop, left = 0, 0
            else:
                back, stop, left, change = True, 1, pieces[place].count - left - 1, -change
