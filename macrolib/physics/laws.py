"""Where moves come from: acceleration laws, integrated in sympy, and the closed forms that follow.

Over one piece of a move the acceleration follows a law of tau = time / duration of the piece. The law is
integrated twice, and the end conditions fix its constants. Ramps are made of such pieces, moves of ramps.
Everything that ramps.py computes with is compiled from these steps on first use, and kept.
"""

import functools
import math
from collections import namedtuple

import numpy as np
import sympy

from macrolib.formula import Symbol
from macrolib.physics import symbols as sy

__all__ = ["SHAPES", "derivation"]

_tau = sy.tau
_c = sympy.symbols("c_0:4", real=True)
# The acceleration over one piece, up to the constants that the end conditions fix.
ACCELERATION = {
    "rectangle": _c[0],
    "rising": _c[0] * _tau,
    "half-sine": _c[0] * sympy.sin(sympy.pi * _tau),
    "versed-sine": _c[0] * (1 - sympy.cos(2 * sympy.pi * _tau)),
    "cycloidal": _c[0] * sympy.sin(2 * sympy.pi * _tau),
    "minimum-jerk": sum(c * _tau**n for n, c in enumerate(_c)),
}
_PIECES = {"rectangle": ("rectangle",), "half-sine": ("half-sine",), "versed-sine": ("versed-sine",),
           "triangle": ("rising", "falling")}
SHAPES = tuple(_PIECES)
WHOLE = ("cycloidal", "minimum-jerk")
_CHOICE = {"minimum-jerk": "The mean square jerk is least when the sixth derivative of the travel is zero, "
                           "so the acceleration is a cubic (Flash and Hogan 1985, from memory)",
           "falling": "The acceleration of the rising piece, run backwards"}
_min, _max, _cbrt = (sympy.Function(name) for name in ("min", "max", "cbrt"))


class Step(namedtuple("Step", "words equation")):
    """One step of a derivation: what is done, in words, and the sympy equation that it gives."""

    @property
    def latex(self):
        """The equation as TeX, with the signs of the symbols."""
        names = {s: s.tex for s in self.equation.free_symbols if isinstance(s, Symbol)}
        return sympy.latex(self.equation, symbol_names=names)


def derivation(kind):
    """The steps from the acceleration law to the closed form: a list of Step, with .words, .equation, .latex.

    kind: 'trapezoid', 'jerk-limited', 'minimum-jerk', 'cycloidal', or one of SHAPES, the shapes of a ramp.
    """
    if kind in WHOLE:
        return list(law(kind).steps)
    if kind == "jerk-limited":
        return [*law("rising").steps, *law("falling").steps, *jerk_limited().steps]
    shape = checked_shape("kind", "rectangle" if kind == "trapezoid" else kind)
    return [step for piece in _PIECES[shape] for step in law(piece).steps] + limited(shape, shape, True).steps


def checked_shape(name, shape):
    """The shape; ValueError unless it is one of SHAPES."""
    if shape not in SHAPES:
        raise ValueError(f"{name} is {shape!r}; allowed: {', '.join(SHAPES)}")
    return shape


# --- one piece

_Law = namedtuple("_Law", "steps travel speed acceleration jerk")


@functools.cache
def law(name):
    """A piece: the steps, then travel, speed, acceleration, jerk against tau, for a unit change in a unit time."""
    given = law("rising").acceleration.subs(_tau, 1 - _tau) if name == "falling" else ACCELERATION[name]
    speed = sympy.integrate(given, (_tau, 0, _tau))
    travel = sympy.integrate(speed, (_tau, 0, _tau))
    ends = {"the speed at the end is 1": (speed, 1, 1)} if name not in WHOLE else {
        "the travel at the end is 1": (travel, 1, 1), "the speed at the end is 0": (speed, 1, 0),
        "the acceleration at the start is 0": (given, 0, 0), "the acceleration at the end is 0": (given, 1, 0)}
    conditions = {words: sympy.Eq(curve.subs(_tau, at), value) for words, (curve, at, value) in ends.items()}
    conditions = {words: equation for words, equation in conditions.items() if equation is not sympy.true}
    found = sympy.solve(list(conditions.values()), _c, dict=True)[0] if conditions else {}
    curves = [sympy.expand(curve.subs(found)) for curve in (travel, speed, given)]
    curves.append(sympy.diff(curves[2], _tau))
    steps = [Step(_CHOICE.get(name, "The shape of the acceleration is chosen"), sympy.Eq(sy.unit_acceleration, given)),
             Step("Integrated once, the speed", sympy.Eq(sy.unit_speed, speed)),
             Step("Integrated twice, the travel", sympy.Eq(sy.unit_travel, travel)),
             *(Step("Condition: " + words, equation) for words, equation in conditions.items()),
             *(Step("This fixes the constant", sympy.Eq(*pair)) for pair in found.items()),
             *(Step(f"So the {symbol.name.removeprefix('unit_')} is", sympy.Eq(symbol, curve)) for symbol, curve
               in zip((sy.unit_travel, sy.unit_speed, sy.unit_acceleration, sy.unit_jerk), curves))]
    return _Law(steps, *curves)


def _largest(curve):
    """The largest magnitude over the piece, exactly."""
    turning = sympy.solveset(sympy.diff(curve, _tau), _tau, sympy.Interval(0, 1))
    points = {0, 1, *(turning if turning.is_finite_set else ())}
    return sympy.simplify(sympy.Max(*(sympy.Abs(curve.subs(_tau, point)) for point in points)))


@functools.cache
def peaks(kind):
    """Peak speed, acceleration and jerk of a whole move of unit distance in unit time."""
    return [float(_largest(curve)) for curve in law(kind)[2:]]


_Ramp = namedtuple("_Ramp", "pieces peak jerk travel")


@functools.cache
def ramp(shape):
    """A ramp to unit speed in unit time: its pieces, peak acceleration, peak jerk (infinite at a jump), travel."""
    laws, share = [law(piece) for piece in _PIECES[shape]], sympy.Rational(1, len(_PIECES[shape]))
    travel = sum(share**2 * (number + piece.travel.subs(_tau, 1)) for number, piece in enumerate(laws))
    jumps = laws[0].acceleration.subs(_tau, 0) != 0 or laws[-1].acceleration.subs(_tau, 1) != 0
    return _Ramp(_PIECES[shape], _largest(laws[0].acceleration),
                 sympy.oo if jumps else _largest(laws[0].jerk) / share, travel)


# --- whole moves as closed forms

_Closed = namedtuple("_Closed", "steps scalar array")


def _closed(steps, arguments, definitions, results):
    """Compile the definitions, in their order, for floats and for arrays; they are the last steps as well."""
    def compiled(own, module):
        return sympy.lambdify(arguments, results, [own, module], cse=lambda wanted: (definitions, wanted))

    return _Closed([*steps, *(Step(f"Closed form: {pair[0].meaning}", sympy.Eq(*pair)) for pair in definitions)],
                   compiled({"min": min, "max": max, "cbrt": math.cbrt}, "math"),
                   compiled({"min": np.minimum, "max": np.maximum, "cbrt": np.cbrt}, "numpy"))


def _positive(equation, unknown):
    return next(r for r in sympy.solve(equation, unknown) if r.subs(dict.fromkeys(r.free_symbols, 1)).is_positive)


@functools.cache
def limited(shape_in, shape_out, alike):
    """Ramp in, cruise, ramp out under limits of speed and acceleration; alike: one acceleration for both ramps."""
    D, v, tc = sy.distance, sy.peak_speed, sy.cruise_time
    a_in, a_out = sy.acceleration, sy.acceleration if alike else sy.acceleration_out
    t_in, t_out = ramp(shape_in).peak * v / a_in, ramp(shape_out).peak * v / a_out
    ramps = sympy.simplify(v * (ramp(shape_in).travel * t_in + ramp(shape_out).travel * t_out))
    free = _positive(sympy.Eq(D, ramps), v)
    steps = [Step("The ramp in reaches the speed, at its peak acceleration, after", sympy.Eq(sy.ramp_in, t_in)),
             Step("The ramp out takes", sympy.Eq(sy.ramp_out, t_out)),
             Step("Both ramps and the cruise make the distance", sympy.Eq(D, ramps + v * tc)),
             Step("Without a cruise the distance alone sets the speed", sympy.Eq(v, free))]
    definitions = [(v, _min(sy.speed, free)), (sy.ramp_in, t_in), (sy.ramp_out, t_out),
                   (tc, _max(0, (D - ramps) / v)), (sy.duration, sy.ramp_in + tc + sy.ramp_out)]
    return _closed(steps, (D, sy.speed, a_in) if alike else (D, sy.speed, a_in, a_out), definitions,
                   (sy.duration, v, sy.ramp_in, sy.ramp_out, tc))


@functools.cache
def jerk_limited():
    """Jerk up, constant acceleration, jerk down, cruise and back: all four regimes in one closed form."""
    D, v, a, tj, ta, tc = (sy.distance, sy.peak_speed, sy.peak_acceleration, sy.jerk_time, sy.constant_time,
                           sy.cruise_time)
    a_1 = Symbol("a_1", "m/s^2", "highest acceleration that the distance allows", "a_1", above=0)
    t_1 = Symbol("t_1", "s", "time in which jerk brings it up", "t_1", above=0)
    top, slope = law("rising").acceleration.subs(_tau, 1), _largest(law("rising").jerk)
    up = sympy.solve(sympy.Eq(sy.jerk, slope / top * a / tj), tj)[0]
    gained = sympy.Eq(v, 2 * a / top * tj + a * ta)
    middle = sympy.solve(gained, ta)[0]
    jerks_only = gained.subs(ta, 0).subs(tj, up)
    from_speed = _positive(jerks_only, a)
    from_distance = _cbrt(sympy.simplify(_positive(sympy.Eq(D, 2 * tj * jerks_only.rhs).subs(tj, up), a)**3))
    free = _positive(sympy.expand(a * (D - v * (2 * tj + middle))), v)
    steps = [Step("Jerk brings the acceleration up in the time", sympy.Eq(tj, up)),
             Step("The speed that one ramp gains", gained),
             Step("Two ramps, at half the speed on average, and the cruise", sympy.Eq(D, v * (2 * tj + ta + tc))),
             Step("With jerk alone, the distance sets the acceleration", sympy.Eq(a, from_distance)),
             Step("Without a cruise, the distance sets the speed", sympy.Eq(v, free)),
             Step("With jerk alone, the speed sets the acceleration", sympy.Eq(a, from_speed))]
    definitions = [(a_1, _min(sy.acceleration, from_distance)), (t_1, up.subs(a, a_1)),
                   (v, _min(sy.speed, free.subs({a: a_1, tj: t_1}))), (a, _min(a_1, from_speed)), (tj, up),
                   (ta, _max(0, middle)), (tc, _max(0, D / v - (2 * tj + ta))), (sy.duration, 4 * tj + 2 * ta + tc)]
    return _closed(steps, (D, sy.speed, sy.acceleration, sy.jerk), definitions, (sy.duration, v, a, tj, ta, tc))


# --- the numbers of a piece

_Curves = namedtuple("_Curves", "travel speed acceleration jerk mean_square power mirrored")


@functools.cache
def curves(name):
    """A piece as numbers: four functions of tau, the mean square acceleration, and its travel as a power of tau,
    seen from its start and back from its end: (exponent, factor), or None where it is no single power."""
    piece = law(name)
    mean_square = float(sympy.integrate(sympy.expand(piece.acceleration**2), (_tau, 0, 1)))
    mirrored = _tau * piece.speed.subs(_tau, 1) - piece.travel.subs(_tau, 1) + piece.travel.subs(_tau, 1 - _tau)
    return _Curves(*(_function(curve) for curve in piece[1:]), mean_square, _power(piece.travel), _power(mirrored))


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
    curve = sympy.expand(curve)
    terms = sympy.Poly(curve, _tau).terms() if curve.is_polynomial(_tau) else ()
    return (terms[0][0][0], float(terms[0][1])) if len(terms) == 1 else None


@functools.cache
def _table(name):
    tau = np.linspace(0, 1, 4097)
    return curves(name).travel(tau), tau


def unit_time(name, travel):
    """tau at which a piece that starts at rest has made this travel, an array above 0.

    Newton's iteration, kept inside the neighbouring cells of a table so that it cannot run away. It is quadratic:
    after a step of 1e-8 of tau the next one is below what floats hold. Near rest the travel itself is rounding;
    there the iteration ends once the travel fits.
    """
    travels, taus = _table(name)
    tau = np.interp(travel, travels, taus)
    low, high = np.maximum(tau - taus[1], 0), np.minimum(tau + taus[1], 1)
    for _ in range(60):
        excess = curves(name).travel(tau) - travel
        new = np.minimum(np.fmax(tau - excess / curves(name).speed(tau), low), high)
        new = np.where(np.abs(excess) <= 3e-17, tau, new)
        done = (np.abs(new - tau) <= 1e-8 * tau).all()
        tau = new
        if done:
            break
    return tau
