"""Moves from rest to rest: one Move for all, evaluated from the derivations in laws.py.

Ramps are named by the shape of their acceleration: rectangle (constant acceleration), half-sine, versed-sine,
triangle. A trapezoid has rectangles for ramps; a jerk-limited move has triangles, cut off where the acceleration
meets its limit. Whole moves are minimum-jerk (quintic) and cycloidal. Rest to rest only.
"""

import functools
import math
from collections import namedtuple

import numpy as np

from macrolib.physics import laws
from macrolib.physics import symbols as sy
from macrolib.physics.laws import SHAPES, derivation

__all__ = ["Move", "SHAPES", "cycloidal", "derivation", "minimum_jerk", "ramps_by_limit", "ramps_by_time", "s_curve",
           "trapezoid"]

# acceleration is the mean over the piece (of a whole move: distance over duration squared), before and reached the
# speed and travel at its start, rate 1 / duration, scale the travel that the law's unit travel stands for.
_Piece = namedtuple("_Piece", "law duration acceleration")
_Span = namedtuple("_Span", "law curves start duration rate scale before reached")


class Move:
    """One move from rest to rest, or an array of moves; made by the functions below, not by hand.

    distance (m), duration, ramp_in, cruise, ramp_out (s), peak_speed (m/s), peak_acceleration (m/s^2),
    peak_jerk (m/s^3, infinite where the acceleration jumps) and rms_acceleration are floats, or arrays of the
    shape of the moves; peaks are magnitudes. A whole move has no cruise: its halves count as ramps.

    Times and places broadcast against the moves as numpy does: for n moves, times of shape (n,) give each move
    its own time, and times of shape (k, 1) or (k, n) give k times for each. Scalars give floats.
    """

    def __init__(self, kind, distance, duration, peak_speed, ramps, cruise, peak_acceleration, peak_jerk):
        self.kind, self.distance, self.duration, self.peak_speed = kind, distance, duration, peak_speed
        self.peak_acceleration, self.peak_jerk, self.cruise = peak_acceleration, peak_jerk, cruise
        self._ramps = ramps  # the pieces of the ramp in, then of the ramp out seen from the end unless it is alike

    def __repr__(self):
        if np.ndim(self.distance):
            return f"<{np.size(self.distance)} moves, {self.kind}>"
        return f"<move, {self.kind}: {self.distance:g} m in {self.duration:g} s>"

    def __getitem__(self, where):
        """Some of an array of moves, chosen as numpy chooses from an array of their shape."""
        def some(x):
            return np.broadcast_to(x, np.shape(self.duration))[where]

        ramps = [[_Piece(p.law, some(p.duration), some(p.acceleration)) for p in ramp] for ramp in self._ramps]
        return Move(self.kind, some(self.distance), some(self.duration), some(self.peak_speed), ramps, some(self.cruise),
                    some(self.peak_acceleration), some(self.peak_jerk))

    @property
    def ramp_in(self):
        """Duration of the ramp in, s."""
        return self.duration / 2 if self.kind in laws.WHOLE else sum(p.duration for p in self._ramps[0])

    @property
    def ramp_out(self):
        """Duration of the ramp out, s."""
        return self.duration / 2 if self.kind in laws.WHOLE else sum(p.duration for p in self._ramps[-1])

    @property
    def knots(self):
        """Times at which the law of the acceleration changes, s, along the first axis; from 0 to the duration."""
        parts = [p.duration for p in self._ramps[0]]
        if self.kind not in laws.WHOLE:
            parts += [self.cruise, *(p.duration for p in self._ramps[-1][::-1])]
        return np.cumsum(np.stack([np.zeros(np.shape(self.distance)), *parts]), axis=0)

    @property
    def rms_acceleration(self):
        """Root of the mean square acceleration over the move, m/s^2."""
        ramps = self._ramps if self.kind in laws.WHOLE else (self._ramps[0], self._ramps[-1])
        total = sum(laws.curves(p.law).mean_square * p.acceleration**2 * p.duration for ramp in ramps for p in ramp)
        return _plain(np.sqrt(total / _nonzero(self.duration)))

    def in_time(self, duration):
        """The same move made faster or slower, so that it takes this duration (s, above 0)."""
        distance, wanted = _checked(self.distance, duration=duration)
        r = _nonzero(_if_moving(distance, wanted / _nonzero(self.duration)))
        ramps = [[_Piece(p.law, p.duration * r, p.acceleration / r**2) for p in ramp] for ramp in self._ramps]
        return Move(self.kind, distance, self.duration * r, self.peak_speed / r, ramps, self.cruise * r,
                    self.peak_acceleration / r**2, self.peak_jerk / r**3)

    def position(self, t):
        """Travel since the start at time t (s), m: 0 before the start, the distance after the end."""
        late, first, last = self._from_the_ends(t, _travel)
        return self._signed(np.where(late, abs(self.distance) - last, first))

    def speed(self, t):
        """Speed at time t (s), m/s, negative for a negative distance; 0 before the start and after the end."""
        late, first, last = self._from_the_ends(t, _speed)
        return self._signed(np.where(late, last, first))

    def acceleration(self, t):
        """Acceleration at time t (s), m/s^2; 0 before the start and after the end."""
        late, first, last = self._from_the_ends(t, functools.partial(_in_force, "acceleration", 2))
        return self._signed(np.where(late, -last, first) * self._moving(t))

    def jerk(self, t):
        """Jerk at time t (s), m/s^3, without the impulses at jumps of the acceleration."""
        late, first, last = self._from_the_ends(t, functools.partial(_in_force, "jerk", 3))
        return self._signed(np.where(late, last, first) * self._moving(t))

    def time_at(self, x):
        """Time (s) at which the travel is x (m, from 0 to the distance); the inverse of position.

        A closed form where the piece has one, else Newton's iteration to the precision of floats.
        """
        whole, travel = abs(self.distance), self._signed(_floats("x", "m", x))
        if np.any(np.abs(travel - whole / 2) > (0.5 + 1e-12) * whole):
            raise ValueError("x is a place outside the move; allowed: from 0 to the distance of the move")
        half = whole / 2 if len(self._spans) == 1 else self._spans[0][-1].reached + self.peak_speed * self.cruise / 2
        late = travel > half
        travel = np.maximum(np.where(late, whole - travel, travel), 0)
        first = _time_from_rest(self._spans[0], travel)
        last = first if len(self._spans) == 1 else _time_from_rest(self._spans[1], travel)
        return _plain(np.where(late, self.duration - last, first))

    def _from_the_ends(self, t, curve):
        """Where t is late, and the curve seen from the start and seen from the end.

        Seen from its end a move starts like any other: half of the pieces do, and both ends are exact.
        """
        t = _floats("t", "s", t)
        late = t > (self.duration / 2 if len(self._ramps) == 1 else self.ramp_in + self.cruise / 2)
        inner = np.maximum(np.where(late, self.duration - t, t), 0)
        first = curve(self._spans[0], inner)
        return late, first, first if len(self._ramps) == 1 else curve(self._spans[1], inner)

    def _moving(self, t):
        return (np.asarray(t) >= 0) & (t <= np.asarray(self.duration))

    def _signed(self, values):
        return _plain(values if np.all(np.asarray(self.distance) >= 0) else values * np.sign(self.distance))

    @functools.cached_property
    def _spans(self):
        """The pieces of each ramp in their places, inwards from its end of the move, then the cruise."""
        sides = []
        for ramp in self._ramps:
            start = before = reached = 0.0
            spans = []
            for law, duration, mean in ramp:
                curves, scale = laws.curves(law), np.multiply(mean, duration**2)  # numpy's, so that 0 / 0 is no error
                spans.append(_Span(law, curves, start, duration, 1 / _nonzero(duration), scale, before, reached))
                reached = reached + before * duration + scale * curves.travel(1.0)
                start, before = start + duration, before + mean * duration * curves.speed(1.0)
            if self.kind not in laws.WHOLE:
                spans.append(_Span(None, None, start, self.cruise, 0.0, 0.0, before, reached))
            sides.append(spans)
        return sides


def _locals(spans, t):
    """Each piece with the time spent in it until t: none before it, all of its duration after it."""
    for span in spans:
        local = t if span is spans[0] else np.maximum(t - span.start, 0)
        yield span, local if span is spans[-1] else np.minimum(local, span.duration)


def _travel(spans, t):
    total = 0.0
    for span, local in _locals(spans, t):
        if span.law:
            part = span.curves.travel(local * span.rate)
            part *= span.scale
            total = total + part
        if span is not spans[0]:
            total += span.before * local
    return total


def _speed(spans, t):
    return sum(span.scale * span.rate * span.curves.speed(local * span.rate)
               for span, local in _locals(spans, t) if span.law)


def _in_force(name, order, spans, t):
    """Acceleration or jerk of the piece that t lies in; at a change of piece, of the earlier one."""
    value = 0.0
    for span, local in _locals(spans, t):
        here = span.scale * span.rate**order * getattr(span.curves, name)(local * span.rate) if span.law else 0.0
        value = here if span is spans[0] else np.where(t > span.start, here, value)
    return value


def _time_from_rest(spans, travel):
    time = 0.0
    with np.errstate(all="ignore"):  # each piece is asked everywhere; what lies outside it is not taken
        for span in spans:
            local = travel if span is spans[0] else np.maximum(travel - span.reached, 0)
            time = np.where(travel > span.reached, span.start + _time_in_piece(span, local), time)
    return time


def _time_in_piece(span, travel):
    if span.law is None:
        return travel / span.before
    curves, (power, factor) = span.curves, span.curves.power or (0, 0)
    if power == 2:  # constant acceleration: the form of the root that does not cancel; fmax where 0 / 0 is at rest
        share, before = travel / span.scale, span.before * span.duration / span.scale
        return np.fmax(2 * share / (before + np.sqrt(before**2 + 4 * factor * share)), 0) * span.duration
    if power == 3:  # constant jerk from rest
        return np.cbrt(travel / (factor * span.scale)) * span.duration
    if curves.mirrored and curves.mirrored[0] == 3:  # constant jerk, back from its end: the cubic's root by a sine
        c = curves.mirrored[1] * span.scale * span.rate**3
        m = np.sqrt((span.before + span.scale * span.rate * curves.speed(1.0)) / (3 * c))
        rest = span.before * span.duration + span.scale * curves.travel(1.0) - travel
        return span.duration - 2 * m * np.sin(np.arcsin(rest / (2 * c * m**3)) / 3)
    return laws.unit_time(span.law, travel / span.scale) * span.duration


# --- making moves

def trapezoid(distance, speed, acceleration):
    """Constant acceleration, cruise, equal deceleration; a triangle where the distance is too short for the speed.

    distance in m (negative mirrors the move, zero gives one of no duration), speed in m/s and acceleration in
    m/s^2, above 0; arrays broadcast. Source: derivation('trapezoid').
    """
    return ramps_by_limit(distance, speed, acceleration)


def ramps_by_limit(distance, speed, acceleration, shape="rectangle", acceleration_out=None, shape_out=None):
    """Ramp in, cruise, ramp out: the fastest such move within a speed (m/s) and a peak acceleration (m/s^2).

    shape is one of SHAPES, that of the acceleration. The ramp out is like the ramp in unless acceleration_out or
    shape_out say otherwise. Where the distance is short, the speed is not reached; arrays broadcast.
    """
    shape_out = laws.checked_shape("shape_out", shape_out or laws.checked_shape("shape", shape))
    limits = {} if acceleration_out is None else {"acceleration_out": acceleration_out}
    distance, *limits = _checked(distance, speed=speed, acceleration=acceleration, **limits)
    closed = laws.limited(shape, shape_out, acceleration_out is None)
    duration, v, ramp_in, ramp_out, cruise = _solved(closed, distance, *limits)
    peaks = [limit * (distance != 0) for limit in limits[1:]]
    ramps = [(shape, ramp_in, peaks[0]), (shape_out, ramp_out, peaks[-1])]
    return _ramped(distance, duration, v, cruise, *ramps[:1 if acceleration_out is None and shape == shape_out else 2])


def ramps_by_time(distance, ramp_in, ramp_out=None, *, speed=None, duration=None, shape="rectangle", shape_out=None,
                  frame_rate=None):
    """Ramp in, cruise, ramp out, with the times of the ramps (s) and either the speed (m/s) or the duration (s).

    With frame_rate (frame/s) the ramps are counted in video frames. The ramp out is like the ramp in unless ramp_out
    or shape_out say otherwise. ValueError where the ramps do not fit into the move; arrays broadcast.
    """
    if (speed is None) == (duration is None):
        raise ValueError("give either speed or duration, not both")
    shape_out = laws.checked_shape("shape_out", shape_out or laws.checked_shape("shape", shape))
    given = {"duration": duration} if speed is None else {"speed": speed}
    distance, given, *times, rate = _checked(distance, **given, ramp_in=ramp_in,
                                             ramp_out=ramp_in if ramp_out is None else ramp_out,
                                             frame_rate=1.0 if frame_rate is None else frame_rate)
    times = [_if_moving(distance, time / rate) for time in times]
    covered = sum(float(laws.ramp(s).travel) * time for s, time in zip((shape, shape_out), times))
    moving = abs(distance) / given - covered if speed is not None else given - sum(times)
    if np.any((moving < -1e-12 * sum(times)) & (np.asarray(distance) != 0)):
        raise ValueError(f"the ramps take {np.max(sum(times)):g} s and leave {np.min(moving):g} s for the cruise; "
                         "allowed: shorter ramps, a longer duration or a lower speed")
    cruise = _if_moving(distance, np.maximum(moving, 0.0))
    v = _if_moving(distance, given) if speed is not None else abs(distance) / _nonzero(cruise + covered)
    ramps = [(s, time, float(laws.ramp(s).peak) * v / _nonzero(time)) for s, time in zip((shape, shape_out), times)]
    return _ramped(distance, sum(times) + cruise, v, cruise,
                   *ramps[:1 if ramp_out is None and shape == shape_out else 2])


def _ramped(distance, duration, v, cruise, *ramps):
    pieces, jerks = [], []
    for shape, time, _ in ramps:
        ramp, mean = laws.ramp(shape), v / _nonzero(time)
        pieces.append([_Piece(law, time / len(ramp.pieces), mean) for law in ramp.pieces])
        jerks.append(_if_moving(distance, float(ramp.jerk) * _nonzero(mean / _nonzero(time))))
    (first, _, a), (last, _, a_out) = ramps[0], ramps[-1]
    kind = "trapezoid" if first == last == "rectangle" else first if first == last else f"{first} in, {last} out"
    if len(ramps) == 2:
        a, jerks[0] = (_plain(np.maximum(*pair)) for pair in ((a, a_out), jerks))
    return Move(kind, distance, duration, v, pieces, cruise, a, jerks[0])


def s_curve(distance, speed, acceleration, jerk):
    """Jerk-limited move: the fastest from rest to rest within speed (m/s), acceleration (m/s^2) and jerk (m/s^3).

    One closed form for all four regimes, whether or not speed and acceleration reach their limits. distance in m
    (negative mirrors, zero gives a move of no duration), limits above 0; arrays broadcast.
    """
    distance, *limits = _checked(distance, speed=speed, acceleration=acceleration, jerk=jerk)
    duration, v, a, jerk_time, constant_time, cruise = _solved(laws.jerk_limited(), distance, *limits)
    mean = a / float(laws.ramp("triangle").peak)
    pieces = [_Piece("rising", jerk_time, mean), _Piece("rectangle", constant_time, a),
              _Piece("falling", jerk_time, mean)]
    peak_jerk = limits[2] * (distance != 0)
    return Move("jerk-limited", distance, duration, v, [pieces], cruise, a, peak_jerk)


def minimum_jerk(distance, duration):
    """Whole move whose mean square jerk is least, a quintic in time. distance in m, duration in s above 0.

    A negative distance mirrors, zero gives a move of no duration; arrays broadcast.
    """
    return _whole("minimum-jerk", distance, duration)


def cycloidal(distance, duration):
    """Whole move with one sine period of acceleration. distance in m, duration in s above 0; arrays broadcast."""
    return _whole("cycloidal", distance, duration)


def _whole(kind, distance, duration):
    distance, duration = _checked(distance, duration=duration)
    duration = _if_moving(distance, duration)
    per_time = 1 / _nonzero(duration)
    mean = abs(distance) * per_time
    v, a, j = (peak * mean * per_time**n for n, peak in enumerate(laws.peaks(kind)))
    return Move(kind, distance, duration, v, [[_Piece(kind, duration, mean * per_time)]], 0.0 * duration, a, j)


# --- checks

def _plain(values):
    return float(values) if np.ndim(values) == 0 else values


def _nonzero(x):
    return np.where(x, x, 1.0) if np.ndim(x) else x or 1.0


def _if_moving(distance, x):
    return np.where(distance, x, 0.0) if np.ndim(distance) else x if distance else 0.0


def _floats(name, unit, x):
    x = np.asarray(x)
    if x.dtype.kind not in "iuf":
        raise TypeError(f"{name} is {x.dtype}; give a number or an array of numbers in {unit}")
    if not np.isfinite(x).all():
        raise ValueError(f"{name} is {x[~np.isfinite(x)].flat[0]} {unit}; allowed: finite numbers")
    return x.astype(float, copy=False)


def _checked(distance, **limits):
    """The distance, finite, and the limits, above 0, as floats; as arrays of one shape if any is an array."""
    values = [distance, *limits.values()]
    for x in values[1:]:
        if type(x) is not float or not 0 < x < math.inf:
            break
    else:
        if type(distance) is float and math.isfinite(distance):
            return values  # plain numbers, without the cost of arrays
    values = [_floats(name, getattr(sy, name).unit, x) for name, x in zip(("distance", *limits), values)]
    values = np.broadcast_arrays(*values) if any(x.ndim for x in values) else [float(x) for x in values]
    for name, x in zip(limits, values[1:]):
        if not np.all(np.asarray(x) > 0):
            bad = np.ravel(x)[~(np.ravel(x) > 0)][0]
            raise ValueError(f"{name} is {bad:g} {getattr(sy, name).unit}; allowed: finite numbers above 0")
    return values


def _solved(closed, distance, *limits):
    """The results of a closed form for the distance's magnitude; zeros where it is zero."""
    if type(distance) is float:
        try:
            results = closed.scalar(abs(distance) or 1.0, *limits)
        except ArithmeticError:
            results = [math.nan]
        good, moves = 0 < results[0] < math.inf, distance
    else:
        with np.errstate(all="ignore"):
            results = closed.array(_nonzero(np.abs(distance)), *limits)
        good, moves = ((results[0] > 0) & (results[0] < math.inf)).all(), distance.all()
    if not good:
        raise ValueError("distance and limits are so far apart that floats cannot hold the move")
    return results if moves else [_if_moving(distance, r) for r in results]
