"""Moves from rest to rest: derived in sympy from their acceleration, then evaluated from that derivation.

A move is made of pieces. Over one piece the acceleration follows a law of tau = time / duration of
the piece; the law is integrated twice, and the end conditions fix its constants. `derivation(kind)`
shows the steps, and every Move computes with the results of the same steps: polynomial
coefficients, compiled functions and closed forms are taken from sympy on first use and kept.

Ramps are named by the shape of their acceleration: rectangle (constant acceleration), half-sine,
versed-sine, triangle. Whole moves: minimum-jerk (quintic) and cycloidal. Rest to rest only.
"""

import functools
import math
from collections import namedtuple

import numpy as np
import sympy

from macrolib.formula import Formula
from macrolib.physics import symbols as sy

__all__ = ["Move", "SHAPES", "cycloidal", "derivation", "minimum_jerk", "ramps_by_limit", "ramps_by_time",
           "s_curve", "trapezoid", "trapezoid_speed"]

_tau = sy.tau
_c = sympy.symbols("c_0:4", real=True)
# The acceleration over one piece, up to the constants that the end conditions fix.
_ACCELERATION = {
    "rectangle": _c[0],
    "rising": _c[0] * _tau,
    "half-sine": _c[0] * sympy.sin(sympy.pi * _tau),
    "versed-sine": _c[0] * (1 - sympy.cos(2 * sympy.pi * _tau)),
    "cycloidal": _c[0] * sympy.sin(2 * sympy.pi * _tau),
    "minimum-jerk": sum(c * _tau**n for n, c in enumerate(_c)),
}
_WHOLE = ("cycloidal", "minimum-jerk")
_PIECES = {"rectangle": ("rectangle",), "half-sine": ("half-sine",), "versed-sine": ("versed-sine",),
           "triangle": ("rising", "falling")}
SHAPES = tuple(_PIECES)
_WHY = {"minimum-jerk": "The mean square jerk is least when the sixth derivative of travel is zero: "
                        "the acceleration is a cubic (Flash and Hogan 1985, from memory)",
        "falling": "The acceleration of the rising piece, run backwards"}
_min, _max, _cbrt = (sympy.Function(name) for name in ("min", "max", "cbrt"))
_UNITS = {"distance": "m", "speed": "m/s", "acceleration": "m/s^2", "acceleration_out": "m/s^2", "jerk": "m/s^3",
          "duration": "s", "ramp_in": "s", "ramp_out": "s", "frame_rate": "frame/s", "t": "s", "x": "m"}

trapezoid_speed = Formula(
    sy.speed, (sy.acceleration * sy.duration
               - sympy.sqrt(sy.acceleration**2 * sy.duration**2 - 4 * sy.acceleration * sy.distance)) / 2,
    (sy.distance, sy.acceleration, sy.duration),
    source="the slower root of duration = distance / speed + speed / acceleration",
    limits="the duration is at least 2 sqrt(distance / acceleration)")


class Step(namedtuple("Step", "words equation")):
    """One step of a derivation: what is done, in words, and the sympy equation that results."""

    @property
    def latex(self):
        """The equation as TeX, with the signs of the glossary."""
        names = {s: s.tex for s in self.equation.free_symbols if hasattr(s, "tex")}
        return sympy.latex(self.equation, symbol_names=names)


# --- derivation: one piece

_Law = namedtuple("_Law", "steps travel speed acceleration jerk")


@functools.cache
def _law(name):
    """The piece as a _Law: its steps, and its curves against tau for a unit change over a unit time."""
    given = _law("rising").acceleration.subs(_tau, 1 - _tau) if name == "falling" else _ACCELERATION[name]
    speed = sympy.integrate(given, (_tau, 0, _tau))
    travel = sympy.integrate(speed, (_tau, 0, _tau))
    ends = [(travel, 1, 1), (speed, 1, 0), (given, 0, 0), (given, 1, 0)] if name in _WHOLE else [(speed, 1, 1)]
    conditions = [sympy.Eq(curve.subs(_tau, at), value) for curve, at, value in ends]
    conditions = [c for c in conditions if c is not sympy.true]
    found = sympy.solve(conditions, _c, dict=True)[0] if conditions else {}
    travel, speed, acceleration = (sympy.expand(curve.subs(found)) for curve in (travel, speed, given))
    jerk = sympy.diff(acceleration, _tau)
    steps = [Step(_WHY.get(name, "The shape of the acceleration is chosen"), sympy.Eq(sy.unit_acceleration, given)),
             *(Step("It is to end like this", c) for c in conditions),
             *(Step("which fixes the constant", sympy.Eq(*pair)) for pair in found.items()),
             Step("Acceleration", sympy.Eq(sy.unit_acceleration, acceleration)),
             Step("Integrated once: speed", sympy.Eq(sy.unit_speed, speed)),
             Step("Integrated twice: travel", sympy.Eq(sy.unit_travel, travel)),
             Step("Differentiated: jerk", sympy.Eq(sy.unit_jerk, jerk))]
    return _Law(steps, travel, speed, acceleration, jerk)


def _largest(expression):
    """The largest magnitude over the piece, exactly."""
    turning = sympy.solveset(sympy.diff(expression, _tau), _tau, sympy.Interval(0, 1))
    points = {0, 1, *(turning if turning.is_finite_set else ())}
    return sympy.simplify(sympy.Max(*(sympy.Abs(expression.subs(_tau, point)) for point in points)))


_Ramp = namedtuple("_Ramp", "pieces peak jerk travel")


@functools.cache
def _ramp(shape):
    """Of a ramp to speed 1 in time 1: its pieces, peak acceleration, peak jerk (infinite at a jump), travel."""
    pieces = _PIECES[shape]
    laws, share = [_law(name) for name in pieces], sympy.Rational(1, len(pieces))
    travel = sum(share**2 * (number + law.travel.subs(_tau, 1)) for number, law in enumerate(laws))
    jumps = laws[0].acceleration.subs(_tau, 0) != 0 or laws[-1].acceleration.subs(_tau, 1) != 0
    return _Ramp(pieces, _largest(laws[0].acceleration), sympy.oo if jumps else _largest(laws[0].jerk) / share, travel)


# --- derivation: whole moves as closed forms

_Closed = namedtuple("_Closed", "steps scalar array")


def _closed(steps, arguments, definitions, results):
    """Compile the definitions, in their order, for floats and for arrays; they also are the last steps."""
    def compiled(own, module):
        return sympy.lambdify(arguments, results, [own, module], cse=lambda wanted: (definitions, wanted))

    return _Closed([*steps, *(Step("Closed form", sympy.Eq(*pair)) for pair in definitions)],
                   compiled({"min": min, "max": max, "cbrt": math.cbrt}, "math"),
                   compiled({"min": np.minimum, "max": np.maximum, "cbrt": np.cbrt}, "numpy"))


def _positive(equation, unknown):
    """The positive root, with cube roots under their own name."""
    root = next(r for r in sympy.solve(equation, unknown) if r.subs(dict.fromkeys(r.free_symbols, 1)).is_positive)
    third = sympy.Rational(1, 3)
    return root.replace(lambda e: e.is_Pow and e.exp == third, lambda e: _cbrt(e.base))


@functools.cache
def _limited(shape_in, shape_out, alike):
    """Ramp in, cruise, ramp out under limits of speed and acceleration."""
    D, V, v, tc = sy.distance, sy.speed, sy.peak_speed, sy.cruise_time
    a_in, a_out = sy.acceleration, sy.acceleration if alike else sy.acceleration_out
    (into, out) = _ramp(shape_in), _ramp(shape_out)
    t_in, t_out = into.peak * v / a_in, out.peak * v / a_out
    ramps = sympy.simplify(v * (into.travel * t_in + out.travel * t_out))
    free = _positive(sympy.Eq(D, ramps), v)
    steps = [Step("The ramp in reaches the speed at its peak acceleration after", sympy.Eq(sy.ramp_in, t_in)),
             Step("the ramp out likewise", sympy.Eq(sy.ramp_out, t_out)),
             Step("Both ramps and the cruise make the distance", sympy.Eq(D, ramps + v * tc)),
             Step("Without cruise, the distance alone sets the speed", sympy.Eq(v, free))]
    definitions = [(v, _min(V, free)), (sy.ramp_in, t_in), (sy.ramp_out, t_out),
                   (tc, _max(0, (D - ramps) / v)), (sy.duration, sy.ramp_in + tc + sy.ramp_out)]
    return _closed(steps, (D, V, a_in) if alike else (D, V, a_in, a_out), definitions,
                   (sy.duration, v, sy.ramp_in, sy.ramp_out, tc))


@functools.cache
def _jerk_limited():
    """Jerk up, constant acceleration, jerk down, cruise and back: all four regimes in one closed form."""
    D, V, A, J = sy.distance, sy.speed, sy.acceleration, sy.jerk
    v, a, tj, ta, tc = sy.peak_speed, sy.peak_acceleration, sy.jerk_time, sy.constant_time, sy.cruise_time
    rising = _law("rising")
    top, slope = rising.acceleration.subs(_tau, 1), _largest(rising.jerk)
    up = sympy.solve(sympy.Eq(J, slope / top * a / tj), tj)[0]
    gained = sympy.Eq(v, 2 * a / top * tj + a * ta)
    middle = sympy.solve(gained, ta)[0]
    short = gained.subs(ta, 0).subs(tj, up)
    from_distance = _positive(sympy.Eq(D, 2 * tj * short.rhs).subs(tj, up), a)
    from_speed = _positive(short, a)
    free = _positive(sympy.expand(a * (D - v * (2 * tj + middle))), v)
    steps = [Step("Jerk brings the acceleration up in the time", sympy.Eq(tj, up)),
             Step("The speed gained in one ramp", gained),
             Step("Two ramps, each at half the speed on average, and the cruise", sympy.Eq(D, v * (2 * tj + ta + tc))),
             Step("With neither constant acceleration nor cruise, the distance sets the acceleration",
                  sympy.Eq(a, from_distance)),
             Step("Without cruise, the distance sets the speed", sympy.Eq(v, free)),
             Step("Without constant acceleration, the speed sets the acceleration", sympy.Eq(a, from_speed))]
    a_1, t_1 = sympy.symbols("a_1 t_1", positive=True)
    definitions = [(a_1, _min(A, from_distance)), (t_1, up.subs(a, a_1)), (v, _min(V, free.subs({a: a_1, tj: t_1}))),
                   (a, _min(a_1, from_speed)), (tj, up), (ta, _max(0, middle)),
                   (tc, _max(0, D / v - (2 * tj + ta))), (sy.duration, 4 * tj + 2 * ta + tc)]
    return _closed(steps, (D, V, A, J), definitions, (sy.duration, v, a, tj, ta, tc))


def derivation(kind):
    """The steps from the acceleration law to the closed form, as a list of Step(words, equation) with .latex.

    kind: 'trapezoid', 'jerk-limited', 'minimum-jerk', 'cycloidal', or the shape of a ramp from SHAPES.
    """
    if kind in _WHOLE:
        return list(_law(kind).steps)
    if kind == "jerk-limited":
        return [*_law("rising").steps, *_law("falling").steps, *_jerk_limited().steps]
    shape = _shape("kind", "rectangle" if kind == "trapezoid" else kind)
    return [step for name in _PIECES[shape] for step in _law(name).steps] + _limited(shape, shape, True).steps


# --- numbers from the derivation

_Curves = namedtuple("_Curves", "travel speed acceleration jerk mean_square power mirrored")


@functools.cache
def _curves(name):
    """A piece as numbers: four functions of tau, the mean square acceleration, and what time_at needs."""
    law, back = _law(name), 1 - _tau
    mean_square = float(sympy.integrate(sympy.expand(law.acceleration**2), (_tau, 0, 1)))
    mirrored = _tau * law.speed.subs(_tau, 1) - law.travel.subs(_tau, 1) + law.travel.subs(_tau, back)
    return _Curves(*(_function(curve) for curve in law[1:]), mean_square, _power(law.travel), _power(mirrored))


def _function(curve):
    if not curve.is_polynomial(_tau):
        return sympy.lambdify(_tau, curve, "numpy", cse=True)
    first, *rest = (float(c) for c in sympy.Poly(curve, _tau).all_coeffs())

    def horner(x):  # in place after the first product: arrays of times are long
        y = first * x
        y += rest[0]
        for c in rest[1:]:
            y *= x
            if c:
                y += c
        return y
    return horner if rest else lambda x: first


def _power(curve):
    """(exponent, factor) when the curve is a single power of tau, else None."""
    curve = sympy.expand(curve)
    terms = sympy.Poly(curve, _tau).terms() if curve.is_polynomial(_tau) else ()
    return (terms[0][0][0], float(terms[0][1])) if len(terms) == 1 else None


@functools.cache
def _table(name):
    tau = np.linspace(0, 1, 4097)
    return _curves(name).travel(tau), tau


def _unit_time(name, travel):
    """tau at which a piece that starts at rest has made this travel (1-D array, above 0).

    Newton's iteration, kept inside the neighbouring cells of a table so that it cannot run away. It is
    quadratic: the step after one of 1e-8 of tau is below what floats hold.
    """
    curves, (travels, taus) = _curves(name), _table(name)
    tau = np.interp(travel, travels, taus)
    low, high = np.maximum(tau - taus[1], 0), np.minimum(tau + taus[1], 1)
    for _ in range(60):
        with np.errstate(all="ignore"):
            new = tau - (curves.travel(tau) - travel) / curves.speed(tau)
        new = np.minimum(np.fmax(new, low), high)
        done = (np.abs(new - tau) <= 1e-8 * tau).all()
        tau = new
        if done:
            break
    return tau


# --- checks

def _shape(name, shape):
    if shape not in SHAPES:
        raise ValueError(f"{name} is {shape!r}; allowed: {', '.join(SHAPES)}")
    return shape


def _floats(name, x):
    """A number or array as float or float array; TypeError unless it holds numbers, ValueError unless finite."""
    x = np.asarray(x)
    if x.dtype.kind not in "iuf":
        raise TypeError(f"{name} is {x.dtype}; give a number or an array of numbers in {_UNITS[name]}")
    if not np.isfinite(x).all():
        raise ValueError(f"{name} is {x[~np.isfinite(x)].flat[0]} {_UNITS[name]}; allowed: finite numbers")
    return x.astype(float, copy=False)


def _checked(distance, **limits):
    """Distance and limits as floats, or as arrays of one shape if any is an array; limits are above 0."""
    values = {"distance": distance, **limits}
    if not all(type(x) is float or type(x) is int for x in values.values()):
        values = {name: _floats(name, x) for name, x in values.items()}
        if any(x.ndim for x in values.values()):
            for name in limits:
                if not (values[name] > 0).all():
                    _refuse(name, values[name][~(values[name] > 0)].flat[0])
            return np.broadcast_arrays(*values.values())
    values = {name: float(x) for name, x in values.items()}
    for name, x in values.items():
        if not (0 < x < math.inf or name == "distance" and math.isfinite(x)):
            _refuse(name, x)
    return list(values.values())


def _refuse(name, x):
    allowed = "any finite number" if name == "distance" else "finite numbers above 0"
    raise ValueError(f"{name} is {x:g} {_UNITS[name]}; allowed: {allowed}")


def _solved(closed, distance, *limits):
    """The results of a closed form; zeros where the distance is zero."""
    if isinstance(distance, np.ndarray):
        zero = distance == 0
        none = zero.any()
        with np.errstate(all="ignore"):
            results = closed.array(np.where(zero, 1.0, np.abs(distance)) if none else np.abs(distance), *limits)
        good = np.isfinite(results[0]).all() and (results[0] > 0).all()
        results = [np.where(zero, 0.0, r) for r in results] if none else results
    else:
        try:
            results = closed.scalar(abs(distance) or 1.0, *limits)
            good = 0 < results[0] < math.inf
        except (ArithmeticError, ValueError):
            good = False
        results = results if distance or not good else [0.0] * len(results)
    if not good:
        raise ValueError("distance and limits are so far apart that floats cannot hold the duration of the move")
    return results


# --- the move

_Piece = namedtuple("_Piece", "law duration acceleration")  # acceleration: its mean, so that nothing divides by 0 s
_Span = namedtuple("_Span", "law curves start duration rate scale before reached")  # a piece, placed; law None: cruise


class Move:
    """One move from rest to rest, or an array of moves; made by the functions below, not by hand.

    distance (m), duration, ramp_in, cruise, ramp_out (s), peak_speed (m/s), peak_acceleration (m/s^2),
    peak_jerk (m/s^3, infinite where the acceleration jumps) and rms_acceleration are floats, or arrays of
    the shape of the moves; peaks are magnitudes. A whole move has no cruise: its halves count as ramps.

    Times and places broadcast against the moves as numpy does: for n moves, times of shape (n,) give
    each move its own time, and times of shape (k, 1) or (k, n) give k times for each. Scalars give floats.
    """

    def __init__(self, kind, distance, duration, peak_speed, ramps, cruise, peak_acceleration, peak_jerk):
        self.kind, self.distance, self.duration, self.peak_speed = kind, distance, duration, peak_speed
        self.peak_acceleration, self.peak_jerk, self.cruise = peak_acceleration, peak_jerk, cruise
        self._ramps = ramps  # pieces from the start, and pieces from the end backwards; one of them if they are alike

    def __repr__(self):
        if np.ndim(self.distance):
            return f"<{np.size(self.distance)} moves, {self.kind}>"
        return f"<move, {self.kind}: {self.distance:g} m in {self.duration:g} s>"

    @property
    def ramp_in(self):
        """Duration of the ramp in, s."""
        return self.duration / 2 if self.kind in _WHOLE else sum(p.duration for p in self._ramps[0])

    @property
    def ramp_out(self):
        """Duration of the ramp out, s."""
        return self.duration / 2 if self.kind in _WHOLE else sum(p.duration for p in self._ramps[-1])

    @property
    def knots(self):
        """Times at which the law of the acceleration changes, s; first axis; from 0 to the duration."""
        parts = [p.duration for p in self._ramps[0]]
        if self.kind not in _WHOLE:
            parts += [self.cruise, *(p.duration for p in self._ramps[-1][::-1])]
        return np.cumsum(np.stack([np.zeros(np.shape(self.distance)), *parts]), axis=0)

    @property
    def rms_acceleration(self):
        """Root of the mean square acceleration over the move, m/s^2."""
        ramps = self._ramps if self.kind in _WHOLE or len(self._ramps) == 2 else self._ramps * 2
        total = sum(_curves(p.law).mean_square * p.acceleration**2 * p.duration for ramp in ramps for p in ramp)
        return _plain(np.sqrt(total / _nonzero(self.duration)))

    def in_time(self, duration):
        """The same move made faster or slower, so that it takes this duration (s, above 0)."""
        distance, wanted = _checked(self.distance, duration=duration)
        r = _plain(np.where(distance, wanted / _nonzero(self.duration), 1.0))
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
        """Acceleration at time t (s), m/s^2; 0 before the start and after the end; at a jump the earlier value."""
        late, first, last = self._from_the_ends(t, _acceleration)
        return self._signed(np.where(self._inside(t), np.where(late, -last, first), 0.0))

    def jerk(self, t):
        """Jerk at time t (s), m/s^3, without the impulses at jumps of the acceleration."""
        late, first, last = self._from_the_ends(t, _jerk)
        return self._signed(np.where(self._inside(t), np.where(late, last, first), 0.0))

    def time_at(self, x):
        """Time (s) at which the travel is x (m, between 0 and the distance); the inverse of position.

        Closed forms where the piece is a power of time, else Newton's iteration to machine precision.
        """
        travel, whole = _floats("x", x) * np.sign(self.distance), abs(self.distance)
        if not ((-1e-12 * whole <= travel) & (travel <= (1 + 1e-12) * whole)).all() or np.any((whole == 0) & (x != 0)):
            raise ValueError("x lies outside the move; allowed: from 0 m to the distance of the move")
        spans = self._spans
        late = travel > (whole / 2 if len(spans) == 1 else spans[0][-1].reached + self.peak_speed * self.cruise / 2)
        travel = np.clip(np.where(late, whole - travel, travel), 0, whole)
        first = _time_from_rest(spans[0], travel)
        last = first if len(spans) == 1 else _time_from_rest(spans[1], travel)
        return _plain(np.where(late, self.duration - last, first))

    def _inside(self, t):
        return (t >= np.zeros(())) & (t <= np.asarray(self.duration))

    def _signed(self, values):
        return _plain(values if self._forward else values * np.sign(self.distance))

    @functools.cached_property
    def _forward(self):
        return bool(np.all(np.asarray(self.distance) >= 0))

    @functools.cached_property
    def _spans(self):
        """The pieces of each ramp in their places, from its end of the move inwards, then the cruise."""
        sides = []
        for ramp in self._ramps:
            start = before = reached = 0.0
            spans = []
            for law, duration, mean in ramp:
                curves, scale = _curves(law), mean * duration**2
                spans.append(_Span(law, curves, start, duration, 1 / _nonzero(duration), scale, before, reached))
                reached = reached + before * duration + scale * curves.travel(1.0)
                start, before = start + duration, before + mean * duration * curves.speed(1.0)
            if self.kind not in _WHOLE:
                spans.append(_Span(None, None, start, self.cruise, 0.0, 0.0, before, reached))
            sides.append(spans)
        return sides

    def _from_the_ends(self, t, curve):
        """(late, curve of the first half, curve of the second half seen from the end).

        Seen from the end a move starts like any other: half the pieces do, and both ends are exact.
        """
        t = _floats("t", t)
        if len(self._ramps) == 1:
            late, inner = t > self.duration / 2, np.maximum(np.minimum(t, self.duration - t), 0)
            value = curve(self._spans[0], inner)
            return late, value, value
        late = t > self.ramp_in + self.cruise / 2
        inner = np.maximum(np.where(late, self.duration - t, t), 0)
        return late, curve(self._spans[0], inner), curve(self._spans[1], inner)


def _plain(values):
    return float(values) if np.ndim(values) == 0 else values


def _nonzero(x):
    return np.where(x, x, 1.0) if np.ndim(x) else x or 1.0


def _locals(spans, t):
    """Each piece with the time spent in it until t: nothing before it, all of its duration after it."""
    for number, span in enumerate(spans):
        local = np.maximum(t - span.start, 0) if number else t
        yield span, local if span is spans[-1] else np.minimum(local, span.duration)


def _travel(spans, t):
    total = 0.0
    for span, local in _locals(spans, t):
        if span.law:
            part = span.curves.travel(local * span.rate)
            part *= span.scale
            total = part if span is spans[0] else total + part
        if span is not spans[0]:
            total += span.before * local
    return total


def _speed(spans, t):
    return sum(span.scale * span.rate * span.curves.speed(local * span.rate)
               for span, local in _locals(spans, t) if span.law)


def _acceleration(spans, t):
    return _in_force(spans, t, lambda span, tau: span.scale * span.rate**2 * span.curves.acceleration(tau))


def _jerk(spans, t):
    return _in_force(spans, t, lambda span, tau: span.scale * span.rate**3 * span.curves.jerk(tau))


def _in_force(spans, t, curve):
    value = 0.0
    for span, local in _locals(spans, t):
        value = np.where((t > span.start) | (span is spans[0]), curve(span, local * span.rate) if span.law else 0.0, value)
    return value


def _time_from_rest(spans, travel):
    """Time until the travel, piece by piece; each element is computed in its own piece alone."""
    travel = np.asarray(travel)
    shape = np.broadcast_shapes(travel.shape, np.shape(spans[-1].duration))
    time, travel = np.zeros(shape).ravel(), np.broadcast_to(travel, shape).ravel()
    for span, following in zip(spans, [*spans[1:], None]):
        here = travel > _flat(span.reached, shape)
        if following:
            here &= travel <= _flat(following.reached, shape)
        if here.any():
            where = slice(None) if here.all() else here
            total = _flat(following.reached, shape, where) - _flat(span.reached, shape, where) if following else None
            mine = span._replace(**{n: _flat(getattr(span, n), shape, where) for n in span._fields[2:]})
            time[where] = mine.start + _time_in_piece(mine, travel[where] - mine.reached, total)
    return time.reshape(shape)


def _flat(x, shape, where=slice(None)):
    return np.broadcast_to(x, shape).ravel()[where] if np.ndim(x) else x


def _time_in_piece(span, travel, total):
    """Time from the start of a piece until its travel (1-D array, above 0)."""
    if span.law is None:
        return travel / span.before
    power, mirrored = span.curves.power, span.curves.mirrored
    if power and power[0] == 2:  # constant acceleration: the root that does not cancel
        a = power[1] * span.scale * span.rate**2
        return 2 * travel / (span.before + np.sqrt(span.before**2 + 4 * a * travel))
    if power and power[0] == 3:  # constant jerk from rest
        return np.cbrt(travel / (power[1] * span.scale)) / span.rate
    if mirrored and mirrored[0] == 3:  # constant jerk, seen from where it ends: sine form of the cubic's root
        c = mirrored[1] * span.scale * span.rate**3
        m = np.sqrt((span.before + span.scale * span.rate * span.curves.speed(1.0)) / (3 * c))
        return span.duration - 2 * m * np.sin(np.arcsin((total - travel) / (2 * c * m**3)) / 3)
    return _unit_time(span.law, travel / span.scale) / span.rate


# --- making moves

def trapezoid(distance, speed, acceleration):
    """Move with constant acceleration, cruise, equal deceleration; a triangle where the distance is short.

    distance in m (negative mirrors the move, zero gives one of no duration), speed in m/s and acceleration
    in m/s^2 above 0; arrays broadcast. Source: derivation('trapezoid').
    """
    return ramps_by_limit(distance, speed, acceleration)


def ramps_by_limit(distance, speed, acceleration, shape="rectangle", acceleration_out=None, shape_out=None):
    """Ramp in, cruise, ramp out: the fastest such move within speed (m/s) and peak acceleration (m/s^2).

    shape is one of SHAPES, that of the acceleration; the ramp out is like the ramp in unless
    acceleration_out or shape_out say otherwise. Where the distance is short, the speed is not reached.
    """
    shape_out = _shape("shape_out", shape_out or _shape("shape", shape))
    alike = acceleration_out is None
    limits = {"speed": speed, "acceleration": acceleration}
    if not alike:
        limits["acceleration_out"] = acceleration_out
    distance, *limits = _checked(distance, **limits)
    duration, v, ramp_in, ramp_out, cruise = _solved(_limited(shape, shape_out, alike), distance, *limits)
    return _ramped(distance, duration, v, (shape, ramp_in), cruise, None if alike and shape == shape_out
                   else (shape_out, ramp_out))


def ramps_by_time(distance, ramp_in, ramp_out=None, *, speed=None, duration=None, shape="rectangle", shape_out=None,
                  frame_rate=None):
    """Ramp in, cruise, ramp out, with ramps of given times (s) and either the speed (m/s) or the duration (s).

    With frame_rate (frame/s) the ramps are counted in video frames instead of seconds. The ramp out is like the
    ramp in unless ramp_out or shape_out say otherwise. ValueError where the ramps do not fit into the move.
    """
    if (speed is None) == (duration is None):
        raise ValueError("give either speed or duration, and not both")
    shape_out = _shape("shape_out", shape_out or _shape("shape", shape))
    alike = ramp_out is None and shape == shape_out
    given = {"duration": duration} if speed is None else {"speed": speed}
    limits = dict(given, ramp_in=ramp_in, ramp_out=ramp_in if ramp_out is None else ramp_out)
    distance, wanted, t_in, t_out, rate = _checked(distance, **limits, frame_rate=frame_rate or 1.0)
    t_in, t_out, moving = t_in / rate, t_out / rate, np.where(distance, 1.0, 0.0)
    covered_in, covered_out = (float(_ramp(s).travel) for s in (shape, shape_out))
    if speed is None:
        cruise = wanted - t_in - t_out
        v = abs(distance) / (cruise + covered_in * t_in + covered_out * t_out)
    else:
        v, cruise = wanted, abs(distance) / wanted - covered_in * t_in - covered_out * t_out
    if np.any((cruise < -1e-12 * (t_in + t_out)) & (moving > 0)):
        raise ValueError(f"the ramps do not fit: they leave {np.min(cruise):g} s for the cruise; allowed: shorter ramps, "
                         "a longer duration or a lower speed")
    cruise, t_in, t_out, v = (_plain(moving * x) for x in (np.maximum(cruise, 0.0), t_in, t_out, v))
    return _ramped(distance, t_in + cruise + t_out, v, (shape, t_in), cruise, None if alike else (shape_out, t_out))


def _ramped(distance, duration, v, ramp_in, cruise, ramp_out):
    ramps, accelerations, jerks = [], [], []
    for shape, time in (ramp_in, ramp_out) if ramp_out else (ramp_in,):
        pieces, peak, peak_jerk, _ = _ramp(shape)
        rate = v / _nonzero(time)
        ramps.append([_Piece(law, time / len(pieces), rate) for law in pieces])
        accelerations.append(float(peak) * rate)
        jerks.append(_jerk_of(float(peak_jerk), rate / _nonzero(time)))
    kind = "trapezoid" if ramp_in[0] == "rectangle" else ramp_in[0]
    if ramp_out and ramp_out[0] != ramp_in[0]:
        kind += f" in, {ramp_out[0]} out"
    a, j = (values[0] if len(values) == 1 else _plain(np.maximum(*values)) for values in (accelerations, jerks))
    return Move(kind, distance, duration, v, ramps, cruise, a, j)


def _jerk_of(peak, rate):
    with np.errstate(invalid="ignore"):
        return _plain(np.where(rate, peak * rate, 0.0))


def s_curve(distance, speed, acceleration, jerk):
    """Jerk-limited move: the fastest from rest to rest within speed (m/s), acceleration (m/s^2), jerk (m/s^3).

    One closed form for all four regimes, whether or not speed and acceleration reach their limits.
    Distance in m (negative mirrors, zero gives a move of no duration); limits above 0; arrays broadcast.
    """
    distance, *limits = _checked(distance, speed=speed, acceleration=acceleration, jerk=jerk)
    duration, v, a, tj, ta, cruise = _solved(_jerk_limited(), distance, *limits)
    j = limits[2] if isinstance(distance, float) and distance else np.where(distance, limits[2], 0.0)
    share = _mean_of_rising()
    pieces = [_Piece("rising", tj, share * a), _Piece("rectangle", ta, a), _Piece("falling", tj, share * a)]
    return Move("jerk-limited", distance, duration, v, [pieces], cruise, a, _plain(j))


@functools.cache
def _mean_of_rising():
    return float(1 / _law("rising").acceleration.subs(_tau, 1))


def minimum_jerk(distance, duration):
    """Whole move whose mean square jerk is least: a quintic in time. distance in m, duration in s above 0.

    A negative distance mirrors, zero gives a move of no duration; arrays broadcast.
    """
    return _whole("minimum-jerk", distance, duration)


def cycloidal(distance, duration):
    """Whole move with one sine period of acceleration. distance in m, duration in s above 0; arrays broadcast."""
    return _whole("cycloidal", distance, duration)


@functools.cache
def _peaks(kind):
    return [float(_largest(curve)) for curve in (_law(kind).speed, _law(kind).acceleration, _law(kind).jerk)]


def _whole(kind, distance, duration):
    distance, duration = _checked(distance, duration=duration)
    duration = _plain(np.where(distance, duration, 0.0))
    mean = abs(distance) / _nonzero(duration)
    v, a, j = (peak * mean / _nonzero(duration)**n for n, peak in enumerate(_peaks(kind)))
    piece = _Piece(kind, duration, mean / _nonzero(duration))
    return Move(kind, distance, duration, v, [[piece]], 0.0 * duration, a, j)
