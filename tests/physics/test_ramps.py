"""Moves keep their promises: limits, smoothness, symmetry, scaling, inverse; and they follow from their derivation."""

import math

import numpy as np
import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st

from macrolib.physics import laws, ramps
from macrolib.physics import symbols as sy

EPS = np.finfo(float).eps
NODES, WEIGHTS = np.polynomial.legendre.leggauss(16)
KINDS = ["trapezoid", "jerk-limited", "minimum-jerk", "cycloidal", *ramps.SHAPES]


def log(low, high):
    """Numbers of every size between two powers of ten."""
    return st.floats(low, high).map(lambda e: 10.0**e)


distances, speeds, accelerations, jerks, times = log(-6, 1), log(-5, 0), log(-4, 2), log(-3, 5), log(-2, 3)
shapes = st.sampled_from(ramps.SHAPES)
limited = st.one_of(
    st.builds(ramps.trapezoid, distances, speeds, accelerations),
    st.builds(ramps.s_curve, distances, speeds, accelerations, jerks),
    st.builds(ramps.ramps_by_limit, distances, speeds, accelerations, shapes))
whole = st.one_of(st.builds(ramps.minimum_jerk, distances, times), st.builds(ramps.cycloidal, distances, times))
uneven = st.one_of(
    st.builds(ramps.ramps_by_limit, distances, speeds, accelerations, shapes, accelerations, shapes),
    st.builds(lambda d, t, i, o, s, z: ramps.ramps_by_time(d, i * t, o * t, duration=t, shape=s, shape_out=z),
              distances, times, st.floats(0.01, 0.5), st.floats(0.01, 0.5), shapes, shapes))
even = st.one_of(limited, whole)
moves = st.one_of(even, uneven)
always = settings(deadline=None, max_examples=60)


def grid(move, count=1001):
    return np.sort(np.concatenate([np.linspace(0, move.duration, count), move.knots]))


def integral(function, start, end):
    return (end - start) / 2 * np.sum(WEIGHTS * function((start + end) / 2 + (end - start) / 2 * NODES))


@always
@given(moves)
def test_position_never_runs_back_and_ends_exactly(move):
    x = move.position(grid(move))
    assert np.diff(x).min() >= -8 * EPS * move.distance
    assert move.position(0.0) == 0 and move.position(move.duration) == move.distance
    assert move.position(-1.0) == 0 and move.position(2 * move.duration + 1) == move.distance


@always
@given(moves)
def test_at_rest_before_and_after(move):
    outside = np.array([-1.0, -1e-12, move.duration * (1 + 1e-12) + 1e-12, 2 * move.duration + 1])
    for curve in (move.speed, move.acceleration, move.jerk):
        assert (curve(outside) == 0).all()
    assert move.speed(np.array([0.0, move.duration])) == pytest.approx([0, 0], abs=1e-12 * move.peak_speed)


@always
@given(moves)
def test_each_curve_is_the_integral_of_the_next(move):
    for start, end in zip(move.knots[:-1], move.knots[1:]):
        if end - start < 1e-6 * move.duration:
            continue
        inner = start + 1e-3 * (end - start), end - 1e-3 * (end - start)
        for lower, upper, scale in ((move.position, move.speed, move.distance),
                                    (move.speed, move.acceleration, move.peak_speed),
                                    (move.acceleration, move.jerk, move.peak_acceleration)):
            change = lower(inner[1]) - lower(inner[0])
            assert change == pytest.approx(integral(upper, *inner), rel=1e-9, abs=1e-9 * scale)


@always
@given(moves)
def test_continuous_to_the_order_promised(move):
    """Position and speed always; acceleration unless the peak jerk is infinite, and then it does jump."""
    near = 1e-9 * move.duration
    before, after = move.knots[1:-1] - near, move.knots[1:-1] + near
    assert (np.abs(move.position(after) - move.position(before)).max(initial=0)
            <= 2.1 * near * move.peak_speed + 1e-14 * move.distance)
    assert (np.abs(move.speed(after) - move.speed(before)).max(initial=0)
            <= 2.1 * near * move.peak_acceleration + 1e-12 * move.peak_speed)
    first = min(near, 1e-6 * move.ramp_in, 1e-6 * move.ramp_out)
    jumps = np.abs(move.acceleration(np.array([first, move.duration - first])))
    if math.isfinite(move.peak_jerk):
        assert jumps.max() <= 1.1 * near * move.peak_jerk
        assert (np.abs(move.acceleration(after) - move.acceleration(before)).max(initial=0)
                <= 2.1 * near * move.peak_jerk + 1e-9 * move.peak_acceleration)
    else:
        ratio = move.ramp_in / move.ramp_out
        assert jumps.max() > 0.3 * move.peak_acceleration * min(ratio, 1 / ratio)


@always
@given(moves)
def test_peaks_are_reached_and_not_passed(move):
    t = grid(move, 4001)
    for curve, peak in ((move.speed, move.peak_speed), (move.acceleration, move.peak_acceleration)):
        assert np.abs(curve(t)).max() <= peak * (1 + 1e-9)
    centre = np.concatenate([a + (b - a) * np.linspace(0, 1, 201) for a, b in zip(move.knots[:-1], move.knots[1:])])
    assert np.abs(move.speed(centre)).max() == pytest.approx(move.peak_speed, rel=1e-4)
    assert np.abs(move.acceleration(centre)).max() == pytest.approx(move.peak_acceleration, rel=1e-4)
    if math.isfinite(move.peak_jerk):
        assert np.abs(move.jerk(centre)).max() == pytest.approx(move.peak_jerk, rel=1e-3)
    square = sum(integral(lambda t: move.acceleration(t)**2, a, b) for a, b in zip(move.knots[:-1], move.knots[1:]))
    coarse = EPS * move.duration / min(move.ramp_in, move.ramp_out)  # a short ramp at the end of a long move
    assert move.rms_acceleration == pytest.approx(math.sqrt(square / move.duration), rel=1e-6 + 2 * coarse)


@always
@given(distances, speeds, accelerations, jerks, shapes)
def test_limits_are_kept_and_one_of_them_binds(d, v, a, j, shape):
    for move in (ramps.trapezoid(d, v, a), ramps.s_curve(d, v, a, j), ramps.ramps_by_limit(d, v, a, shape)):
        assert move.peak_speed <= v and move.peak_acceleration <= a
        assert move.ramp_in + move.cruise + move.ramp_out == pytest.approx(move.duration, rel=1e-14)
        assert move.peak_speed == v or move.cruise <= 1e-12 * move.duration
    assert ramps.s_curve(d, v, a, j).peak_jerk == j
    assert ramps.trapezoid(d, v, a).duration <= ramps.s_curve(d, v, a, j).duration * (1 + 1e-14)


@always
@given(moves, st.lists(st.floats(0, 1), min_size=1, max_size=40))
def test_time_at_is_the_inverse_of_position(move, shares):
    x = np.array([0.0, *shares, 1.0]) * move.distance
    t = move.time_at(x)
    assert np.abs(move.position(t) - x).max() <= 1e-12 * move.distance
    assert t[0] == 0 and t[-1] == move.duration
    assert (t >= 0).all() and (t <= move.duration).all()
    assert move.time_at(float(x[1])) == pytest.approx(t[1], rel=1e-14)


@pytest.mark.parametrize("move", [ramps.s_curve(1, 1, 2, 5), ramps.cycloidal(1, 2.0), ramps.minimum_jerk(1, 2.0),
                                  ramps.ramps_by_limit(1, 1, 3, "versed-sine")], ids=lambda m: m.kind)
def test_time_at_near_the_very_ends(move):
    x = np.array([5e-324, 1e-300, 1e-100, 1e-30, 1e-18, 1e-15, 1e-12])
    assert (np.abs(move.position(move.time_at(x)) - x) <= 1e-15).all()
    assert np.abs(move.position(move.time_at(1 - x)) - (1 - x)).max() <= 1e-15


@always
@given(even)
def test_even_moves_are_symmetric_in_time(move):
    t = np.linspace(0, move.duration, 101)
    mirrored = move.distance - move.position(move.duration - t)
    assert mirrored == pytest.approx(move.position(t), abs=1e-14 * move.distance)
    assert move.speed(move.duration - t) == pytest.approx(move.speed(t), abs=1e-12 * move.peak_speed)
    assert move.ramp_in == move.ramp_out


@always
@given(distances, speeds, accelerations, shapes, accelerations, shapes)
def test_ramps_that_differ_change_places_when_time_runs_back(d, v, a, shape, a_out, shape_out):
    there = ramps.ramps_by_limit(d, v, a, shape, a_out, shape_out)
    back = ramps.ramps_by_limit(d, v, a_out, shape_out, a, shape)
    assert there.duration == pytest.approx(back.duration, rel=1e-13)
    t = np.linspace(0, 1, 101) * there.duration
    assert there.position(t) == pytest.approx(d - back.position(there.duration - t), abs=1e-12 * d)


@always
@given(distances, speeds, accelerations, jerks, log(-2, 2), log(-2, 2))
def test_scaling(d, v, a, j, k, r):
    """k times the lengths and r times the times: the same move in other units."""
    u = np.linspace(0, 1, 33)
    for one, other in ((ramps.trapezoid(d, v, a), ramps.trapezoid(d * k, v * k / r, a * k / r**2)),
                       (ramps.s_curve(d, v, a, j), ramps.s_curve(d * k, v * k / r, a * k / r**2, j * k / r**3))):
        assert other.duration == pytest.approx(one.duration * r, rel=1e-12)
        assert other.rms_acceleration == pytest.approx(one.rms_acceleration * k / r**2, rel=1e-12)
        scaled = k * one.position(u * one.duration)
        assert other.position(u * other.duration) == pytest.approx(scaled, abs=1e-12 * d * k)


@always
@given(distances, speeds, accelerations, jerks, shapes)
def test_negative_distance_mirrors(d, v, a, j, shape):
    makers = (lambda d: ramps.trapezoid(d, v, a), lambda d: ramps.s_curve(d, v, a, j),
              lambda d: ramps.minimum_jerk(d, 2.0), lambda d: ramps.cycloidal(d, 2.0),
              lambda d: ramps.ramps_by_limit(d, v, a, shape, 2 * a))
    for make in makers:
        there, back = make(d), make(-d)
        t = np.linspace(-0.1, 1.1, 49) * there.duration
        for name in ("duration", "peak_speed", "peak_acceleration", "peak_jerk", "rms_acceleration"):
            assert getattr(there, name) == getattr(back, name)
        for name in ("position", "speed", "acceleration", "jerk"):
            assert (getattr(there, name)(t) == -getattr(back, name)(t)).all()
        assert back.time_at(-0.3 * d) == there.time_at(0.3 * d)


@pytest.mark.parametrize("make", [
    lambda d: ramps.trapezoid(d, 1, 2), lambda d: ramps.s_curve(d, 1, 2, 3), lambda d: ramps.minimum_jerk(d, 4),
    lambda d: ramps.cycloidal(d, 4), lambda d: ramps.ramps_by_limit(d, 1, 2, "half-sine", 3, "triangle"),
    lambda d: ramps.ramps_by_time(d, 0.1, speed=1), lambda d: ramps.ramps_by_time(d, 0.1, duration=1)])
def test_zero_distance_is_a_move_of_no_duration(make):
    for move in (make(0), make(0.0), make(np.zeros(3)), make(np.array([0.0, 1.0]))):
        still = np.asarray(move.distance) == 0
        for name in ("duration", "ramp_in", "cruise", "ramp_out", "peak_speed", "peak_acceleration", "peak_jerk",
                     "rms_acceleration"):
            assert (np.asarray(getattr(move, name))[still] == 0).all(), name
        for name in ("position", "speed", "acceleration", "jerk"):
            assert (np.asarray(getattr(move, name)(0.0))[still] == 0).all(), name
            assert (np.asarray(getattr(move, name)(1.0))[still] == 0).all(), name
        assert (np.asarray(move.time_at(np.zeros(np.shape(move.distance))))[still] == 0).all()
        assert (np.asarray(move.in_time(5.0).duration)[still] == 0).all()
    with pytest.raises(ValueError, match="outside the move"):
        make(0).time_at(1e-9)


def test_arrays_of_moves_give_what_single_moves_give():
    rng = np.random.default_rng(3)
    d, v, a = rng.uniform(-2, 2, 40), *10 ** rng.uniform(-1, 1, (2, 40))
    d[5] = 0
    makers = (ramps.trapezoid, lambda d, v, a: ramps.s_curve(d, v, a, a), lambda d, v, a: ramps.minimum_jerk(d, a),
              lambda d, v, a: ramps.ramps_by_limit(d, v, a, "half-sine", 2 * a, "triangle"))
    for make in makers:
        together, singles = make(d, v, a), [make(*map(float, x)) for x in zip(d, v, a)]
        for name in ("duration", "peak_speed", "peak_acceleration", "peak_jerk", "rms_acceleration", "ramp_in",
                     "cruise"):
            assert getattr(together, name) == pytest.approx([getattr(m, name) for m in singles], rel=1e-14), name
        t = np.linspace(0.013, 0.979, 7)[:, None] * together.duration
        for name in ("position", "speed", "acceleration", "jerk"):
            found, wanted = getattr(together, name)(t), [getattr(m, name)(t[:, n]) for n, m in enumerate(singles)]
            assert found.shape == (7, 40)
            assert found == pytest.approx(np.transpose(wanted), rel=1e-9, abs=1e-12), name
        x = together.position(t)
        assert together.position(together.time_at(x)) == pytest.approx(x, abs=2e-12)


def test_shapes():
    one, many = ramps.s_curve(1, 1, 2, 3), ramps.s_curve(np.ones((4, 1)), 1, 2, 3)
    for name in ("position", "speed", "acceleration", "jerk", "time_at"):
        assert type(getattr(one, name)(0.5)) is float
        assert getattr(one, name)(np.full((2, 3), 0.5)).shape == (2, 3)
        assert getattr(many, name)(0.5).shape == (4, 1)
        assert getattr(many, name)(np.full(6, 0.5)).shape == (4, 6)
    assert type(one.rms_acceleration) is float and many.rms_acceleration.shape == (4, 1)
    assert one.knots.shape == (8,) and many.knots.shape == (8, 4, 1)
    assert "jerk-limited: 1 m" in repr(one) and "4 moves" in repr(many)
    with pytest.raises(ValueError, match="broadcast"):
        many.position(np.zeros((3, 2)))


def test_without_a_jerk_limit_that_matters_it_is_a_trapezoid():
    smooth, hard = ramps.s_curve(0.1, 0.02, 0.05, 1e9), ramps.trapezoid(0.1, 0.02, 0.05)
    t = np.linspace(0, hard.duration, 101)
    assert smooth.duration == pytest.approx(hard.duration, rel=1e-9)
    assert smooth.position(t) == pytest.approx(hard.position(t), abs=1e-9)


def test_two_triangles_are_a_jerk_limited_move_that_misses_its_acceleration():
    by_shape, by_jerk = ramps.ramps_by_time(1.0, 0.8, speed=1.0, shape="triangle"), ramps.s_curve(1, 1, 100, 4 / 0.8**2)
    t = np.linspace(0, by_shape.duration, 101)
    assert by_shape.position(t) == pytest.approx(by_jerk.position(t), abs=1e-14)
    assert by_shape.peak_jerk == pytest.approx(by_jerk.peak_jerk)


def test_a_cycloidal_move_is_two_half_sine_ramps():
    ramped, one = ramps.ramps_by_time(0.2, 1.5, duration=3.0, shape="half-sine"), ramps.cycloidal(0.2, 3.0)
    t = np.linspace(0, 3, 101)
    assert ramped.position(t) == pytest.approx(one.position(t), abs=1e-15)
    assert (ramped.peak_acceleration, ramped.peak_jerk) == pytest.approx((one.peak_acceleration, one.peak_jerk))


@always
@given(moves, log(-3, 4))
def test_the_same_move_in_another_time(move, duration):
    other, u = move.in_time(duration), np.linspace(0, 1, 33)
    assert other.duration == pytest.approx(duration, rel=1e-15)
    assert other.position(u * duration) == pytest.approx(move.position(u * move.duration), abs=1e-12 * move.distance)
    assert other.peak_acceleration == pytest.approx(move.peak_acceleration * (move.duration / duration) ** 2)
    assert np.abs(other.speed(grid(other))).max() <= other.peak_speed * (1 + 1e-9)


@always
@given(distances, times, st.floats(0.01, 0.5), st.floats(0.01, 0.5), shapes, shapes)
def test_a_move_by_distance_and_total_time(d, t, i, o, shape, shape_out):
    move = ramps.ramps_by_time(d, i * t, o * t, duration=t, shape=shape, shape_out=shape_out)
    assert move.duration == pytest.approx(t, rel=1e-14)
    again = ramps.ramps_by_time(d, i * t, o * t, speed=move.peak_speed, shape=shape, shape_out=shape_out)
    assert again.duration == pytest.approx(t, rel=1e-12)


def test_ramps_counted_in_video_frames():
    move = ramps.ramps_by_time(0.03, 48, 24, speed=0.002, frame_rate=24, shape="versed-sine")
    assert (move.ramp_in, move.ramp_out) == (2.0, 1.0)
    assert move.speed(np.arange(49) / 24)[[0, 24, 48]] == pytest.approx([0, 0.001, 0.002])
    assert move.duration == pytest.approx(0.03 / 0.002 + (2.0 + 1.0) / 2)


def test_ramps_that_do_not_fit():
    for given_by in ({"speed": 1.0}, {"duration": 1.5}):
        with pytest.raises(ValueError, match="allowed: shorter ramps"):
            ramps.ramps_by_time(0.5, 1.0, **given_by)
    with pytest.raises(ValueError, match="either speed or duration"):
        ramps.ramps_by_time(0.5, 1.0, speed=1.0, duration=1.0)


@pytest.mark.parametrize(("make", "kind", "words"), [
    (lambda: ramps.trapezoid(1, -1, 1), ValueError, "speed is -1 m/s; allowed: finite numbers above 0"),
    (lambda: ramps.trapezoid(1, 0, 1), ValueError, "speed is 0 m/s"),
    (lambda: ramps.trapezoid(1, 1, math.inf), ValueError, "acceleration is inf m/s"),
    (lambda: ramps.trapezoid(math.nan, 1, 1), ValueError, "distance is nan m"),
    (lambda: ramps.s_curve(1, 1, 1, math.nan), ValueError, "jerk is nan"),
    (lambda: ramps.s_curve(np.ones(3), 1, [1, 0, 2], 1), ValueError, "acceleration is 0 m/s"),
    (lambda: ramps.s_curve("1 m", 1, 1, 1), TypeError, "distance is <U3; give a number"),
    (lambda: ramps.s_curve(True, 1, 1, 1), TypeError, "distance is bool"),
    (lambda: ramps.trapezoid(1e308, 1e-300, 1), ValueError, "floats cannot hold"),
    (lambda: ramps.s_curve(np.full(2, 1e308), 1e-300, 1, 1), ValueError, "floats cannot hold"),
    (lambda: ramps.minimum_jerk(1, 0), ValueError, "duration is 0 s"),
    (lambda: ramps.ramps_by_limit(1, 1, 1, "square"), ValueError, "shape is 'square'; allowed: rectangle, half-sine"),
    (lambda: ramps.ramps_by_limit(1, 1, 1, "triangle", 0.0), ValueError, "acceleration_out is 0"),
    (lambda: ramps.ramps_by_time(1, 0.1, -1, speed=1), ValueError, "ramp_out is -1 s"),
    (lambda: ramps.ramps_by_time(1, 0.1, speed=1, frame_rate=0), ValueError, "frame_rate is 0"),
    (lambda: ramps.trapezoid(1, 1, 1).position(math.nan), ValueError, "t is nan s"),
    (lambda: ramps.trapezoid(1, 1, 1).time_at(1.01), ValueError, "x is a place outside the move"),
    (lambda: ramps.trapezoid(-1, 1, 1).time_at(0.5), ValueError, "x is a place outside the move"),
    (lambda: ramps.trapezoid(1, 1, 1).in_time(-2), ValueError, "duration is -2 s"),
    (lambda: ramps.derivation("sigmoid"), ValueError, "kind is 'sigmoid'"),
])
def test_what_is_refused(make, kind, words):
    with pytest.raises(kind) as refused:
        make()
    assert words in str(refused.value)


# --- the derivation

@pytest.mark.parametrize("name", [*laws.ACCELERATION, "falling"])
def test_each_law_is_integrated_from_its_acceleration(name):
    law = laws.law(name)
    assert sympy.simplify(sympy.diff(law.travel, sy.tau) - law.speed) == 0
    assert sympy.simplify(sympy.diff(law.speed, sy.tau) - law.acceleration) == 0
    assert law.travel.subs(sy.tau, 0) == 0 and law.speed.subs(sy.tau, 0) == 0
    assert (law.travel if name in laws.WHOLE else law.speed).subs(sy.tau, 1) == 1


def test_minimum_jerk_is_derived_not_given():
    assert sympy.Poly(laws.law("minimum-jerk").travel, sy.tau).all_coeffs() == [6, -15, 10, 0, 0, 0]


@pytest.mark.parametrize("kind", KINDS)
def test_a_derivation_reads_from_law_to_result(kind):
    steps = ramps.derivation(kind)
    assert 7 <= len(steps) <= 40 and all(step.words and isinstance(step.equation, sympy.Eq) for step in steps)
    assert steps[0].equation.lhs == sy.unit_acceleration
    assert not any("peak" in step.latex or "tau_" in step.latex for step in steps)
    if kind not in laws.WHOLE:
        assert steps[-1].equation.lhs == sy.duration


def test_the_closed_form_shown_is_the_one_computed():
    """Putting numbers into the steps that are shown gives the move."""
    values = {sy.distance: 0.5, sy.speed: 20, sy.acceleration: 50, sy.jerk: 500}
    for step in ramps.derivation("jerk-limited"):
        if step.words.startswith("Closed form"):
            numbers = step.equation.rhs.subs(values)
            values[step.equation.lhs] = numbers.replace(sympy.Function("min"), sympy.Min).replace(
                sympy.Function("max"), sympy.Max).replace(sympy.Function("cbrt"), sympy.cbrt).evalf(30)
    move = ramps.s_curve(0.5, 20, 50, 500)
    assert move.duration == pytest.approx(float(values[sy.duration]), rel=1e-15)
    assert move.peak_speed == pytest.approx(float(values[sy.peak_speed]), rel=1e-15)


@pytest.fixture
def change_law():
    """Change the acceleration law that a derivation starts from; afterwards everything is derived anew."""
    before = dict(laws.ACCELERATION)

    def derive_anew():
        for found in vars(laws).values():
            if hasattr(found, "cache_clear"):
                found.cache_clear()

    def change(name, law):
        laws.ACCELERATION[name] = law
        derive_anew()

    yield change
    laws.ACCELERATION.update(before)
    derive_anew()


C, TAU = sympy.Symbol("c_0", real=True), sy.tau


def test_changing_the_acceleration_law_changes_the_trapezoid(change_law):
    d, v, a = 1.0, 0.5, 2.0
    before = ramps.trapezoid(d, v, a)
    change_law("rectangle", C * (2 - TAU))
    after = ramps.trapezoid(d, v, a)
    # peak over mean acceleration 4/3, share of the travel at full speed 5/9: integrated by hand
    ramp = 4 / 3 * v / a
    assert after.ramp_in == pytest.approx(ramp)
    assert after.duration == pytest.approx(d / v + 2 * ramp * (1 - 5 / 9))
    assert after.position(ramp) == pytest.approx(5 / 9 * v * ramp)
    assert after.acceleration(1e-9) == pytest.approx(a)
    assert before.duration == pytest.approx(d / v + v / a)
    assert after.position(after.time_at(0.01)) == pytest.approx(0.01, abs=1e-12)


@pytest.mark.parametrize(("name", "law", "make"), [
    ("rising", C * TAU**2, lambda: ramps.s_curve(1, 0.5, 1, 4)),
    ("half-sine", C * sympy.sin(sympy.pi * TAU) ** 2, lambda: ramps.ramps_by_limit(1, 0.5, 1, "half-sine")),
    ("minimum-jerk", C * sympy.sin(2 * sympy.pi * TAU), lambda: ramps.minimum_jerk(1, 2))])
def test_changing_another_law_changes_its_move(change_law, name, law, make):
    t = np.linspace(0, 2, 41)
    duration, before = make().duration, make().position(t)
    change_law(name, law)
    assert np.abs(make().position(t) - before).max() > 1e-3
    if name == "minimum-jerk":  # one sine period makes it the cycloidal move
        assert make().position(t) == pytest.approx(ramps.cycloidal(1, 2).position(t), abs=1e-15)
    else:
        assert make().duration != duration


@pytest.mark.parametrize("make", [lambda d: ramps.s_curve(d, 0.02, 0.1, 2.0), lambda d: ramps.cycloidal(d, 1.5),
                                  lambda d: ramps.ramps_by_limit(d, 0.02, 0.1, acceleration_out=0.05)])
def test_some_of_many_moves_are_these_moves(make):
    many, times = make(np.array([[0.001, 0.02], [-0.03, 0.5]])), np.linspace(0, 2, 9)
    for move, place in ((many[1, 0], (1, 0)), (many[[0], [1]], ([0], [1]))):
        alone = make(np.array([[0.001, 0.02], [-0.03, 0.5]])[place])
        assert move.duration == pytest.approx(alone.duration) and move.peak_jerk == pytest.approx(alone.peak_jerk)
        assert move.position(times[:, None]) == pytest.approx(alone.position(times[:, None]), abs=1e-15)
