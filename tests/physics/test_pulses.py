"""Pulses come when the travel says so; intervals follow the ramp as far as their arithmetic allows."""

import math
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from macrolib.physics import pulses, ramps

always = settings(deadline=None, max_examples=60)
accelerations = st.floats(1, 5).map(lambda e: 10**e)
timers = st.sampled_from([1e6, 2e6, 16e6])
MAKERS = [lambda d: ramps.trapezoid(d, 0.004, 0.02), lambda d: ramps.s_curve(d, 0.004, 0.02, 0.2),
          lambda d: ramps.minimum_jerk(d, 3.0), lambda d: ramps.cycloidal(d, 3.0),
          lambda d: ramps.ramps_by_limit(d, 0.004, 0.02, "versed-sine", 0.1, "half-sine")]


@always
@given(st.sampled_from(MAKERS), st.floats(1e-5, 0.05), st.floats(1e-7, 1e-3))
def test_pulses_are_due_at_half_pulses_of_travel(make, distance, travel):
    move = make(distance)
    times = pulses.pulse_times(move, travel)
    k = np.arange(1, times.size + 1)
    assert times.size == math.floor(distance / travel + 0.5)
    assert np.abs(move.position(times) - np.minimum((k - 0.5) * travel, distance)).max(initial=0) <= 1e-12 * distance
    assert (np.diff(times) >= 0).all() and (times >= 0).all() and (times <= move.duration).all()


@always
@given(st.sampled_from(MAKERS), st.integers(1, 400))
def test_the_carriage_is_never_more_than_half_a_pulse_away(make, count):
    travel = 3e-6
    move = make(count * travel)
    times = pulses.pulse_times(move, travel)
    t = np.linspace(0, move.duration, 501)
    carriage = np.searchsorted(times, t, side="right") * travel
    assert times.size == count
    assert np.abs(carriage - move.position(t)).max() <= travel / 2 + 1e-9 * travel


@pytest.mark.parametrize("make", MAKERS)
def test_the_way_back_has_the_same_times(make):
    assert (pulses.pulse_times(make(-0.01), 1e-6) == pulses.pulse_times(make(0.01), 1e-6)).all()


def test_many_pulses_do_not_depend_on_the_pieces_they_are_computed_in():
    move = ramps.trapezoid(1.0, 0.2, 0.1)
    times = pulses.pulse_times(move, 1e-5)
    assert times.size == 100_000 > 3 * pulses._CHUNK
    assert (times == move.time_at((np.arange(100_000) + 0.5) * 1e-5)).all()


def test_no_distance_no_pulse():
    assert pulses.pulse_times(ramps.trapezoid(0, 1, 1), 1e-6).size == 0
    assert pulses.pulse_times(ramps.trapezoid(0.49e-6, 1, 1), 1e-6).size == 0
    assert pulses.pulse_times(ramps.trapezoid(0.51e-6, 1, 1), 1e-6).size == 1


def test_memory_is_that_of_the_result():
    move, travel = ramps.minimum_jerk(1.0, 10.0), 1e-6
    pulses.pulse_times(move, 1e-4)
    tracemalloc.start()
    times = pulses.pulse_times(move, travel)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert times.nbytes == 8_000_000 and most < times.nbytes + 5e6


@pytest.mark.parametrize(("make", "words"), [
    (lambda: pulses.pulse_times(ramps.trapezoid([1.0, 2.0], 1, 1), 1e-3), "one move, not an array of 2"),
    (lambda: pulses.pulse_times(ramps.trapezoid(1, 1, 1), 0), "travel_per_pulse is 0 m"),
    (lambda: pulses.pulse_times(ramps.trapezoid(1, 1, 1), math.nan), "travel_per_pulse is nan m"),
    (lambda: pulses.exact_intervals(0, 1, 1), "count is 0"),
    (lambda: pulses.exact_intervals(2.5, 1, 1), "count is 2.5"),
    (lambda: pulses.exact_intervals(True, 1, 1), "count is True"),
    (lambda: pulses.recurrence_intervals(10, -1, 1e6), "pulse_acceleration is -1"),
    (lambda: pulses.integer_intervals(10, 100, 0), "timer_frequency is 0"),
    (lambda: pulses.integer_intervals(10, 100, 1e6, fraction_bits=-1), "fraction_bits is -1"),
    (lambda: pulses.integer_intervals(10, 1e12, 1e3), "less than one unit"),
    (lambda: pulses.interval_errors([], 100, 1e6), "count is 0"),
    (lambda: pulses.stall_rate(2e6, 500, 65), "fraction_bits is 65"),
])
def test_what_is_refused(make, words):
    with pytest.raises(ValueError) as refused:
        make()
    assert words in str(refused.value)


@always
@given(st.integers(1, 3000), accelerations, timers)
def test_exact_intervals_add_up_to_the_ramp(count, acceleration, timer):
    intervals = pulses.exact_intervals(count, acceleration, timer)
    n = np.arange(1, count + 1)
    assert np.cumsum(intervals) == pytest.approx(timer * np.sqrt(2 * n / acceleration), rel=1e-12)
    errors = pulses.interval_errors(intervals, acceleration, timer)
    assert np.abs(errors.interval).max() <= 1e-12 and np.abs(errors.position).max() <= 1e-9


def test_exact_intervals_are_those_of_the_move():
    """Shifted by half a pulse: the textbook counts pulse n at n, a plan its pulse k at k - 1/2."""
    move = ramps.trapezoid(1.0, 0.5, 0.25)
    acceleration = 0.25 / 1e-5
    found = np.diff(pulses.pulse_times(move, 0.5e-5)[::2])[:1000]  # every second of half pulses: at 1/4, 5/4, 9/4 ...
    n = np.arange(1000) + 0.25
    assert found == pytest.approx(np.sqrt(2 / acceleration) * (np.sqrt(n + 1) - np.sqrt(n)), rel=1e-11)
    whole = move.time_at(np.arange(1001) * 1e-5)
    assert np.diff(whole) * 1e6 == pytest.approx(pulses.exact_intervals(1000, acceleration, 1e6), rel=1e-10)


@always
@given(st.integers(2, 2000), accelerations, timers)
def test_the_recurrence_is_the_recurrence(count, acceleration, timer):
    c, n = pulses.recurrence_intervals(count, acceleration, timer), np.arange(1, count)
    assert c[1:] == pytest.approx(c[:-1] - 2 * c[:-1] / (4 * n + 1), rel=1e-12)
    plain = pulses.recurrence_intervals(count, acceleration, timer, corrected=False)
    assert plain * pulses.FIRST_INTERVAL == pytest.approx(c, rel=1e-15)
    assert plain[0] == pulses.exact_intervals(1, acceleration, timer)[0]


def test_the_corrected_recurrence_meets_the_ramp_and_the_plain_one_never_does():
    errors = pulses.interval_errors(pulses.recurrence_intervals(4000, 500, 2e6), 500, 2e6)
    assert abs(errors.interval[-1]) < 1e-8
    first = pulses.exact_intervals(1, 500, 2e6)[0] / 2e6
    assert errors.time[0] == pytest.approx((pulses.FIRST_INTERVAL - 1) * first)
    assert errors.time[-1] == pytest.approx(-0.33799 * first, rel=1e-3)
    assert errors.time[-1] == pytest.approx(errors.time[-2000], rel=1e-6)
    plain = pulses.interval_errors(pulses.recurrence_intervals(4000, 500, 2e6, corrected=False), 500, 2e6)
    assert plain.interval[-1] == pytest.approx(1 / pulses.FIRST_INTERVAL - 1, rel=1e-6)


@always
@given(accelerations, timers, st.booleans(), st.integers(0, 16))
def test_integers_with_enough_bits_are_the_recurrence(acceleration, timer, carry, bits):
    c = pulses.integer_intervals(300, acceleration, timer, carry, bits)
    assert (c * 2**bits == np.rint(c * 2**bits)).all()
    assert (np.diff(c) <= 0).all()
    if bits == 16 and pulses.stall_rate(timer, acceleration, bits) > 10 * timer / c[-1]:
        assert c == pytest.approx(pulses.recurrence_intervals(300, acceleration, timer), rel=2e-2)


@pytest.mark.parametrize(("acceleration", "timer", "bits"), [(500, 2e6, 0), (5000, 2e6, 0), (500, 16e6, 0),
                                                             (20000, 2e6, 4), (2000, 1e6, 2)])
def test_truncation_stalls_a_little_below_the_predicted_rate(acceleration, timer, bits):
    predicted = pulses.stall_rate(timer, acceleration, bits)
    count = int(4 * predicted**2 / (2 * acceleration))  # the pulses of an exact ramp to twice the rate
    truncated = pulses.integer_intervals(count, acceleration, timer, fraction_bits=bits)
    carried = pulses.integer_intervals(count, acceleration, timer, carry=True, fraction_bits=bits)
    assert truncated[-1] == truncated[-count // 3], "it runs at one speed from there on"
    assert 0.85 < timer / truncated[-1] / predicted < 1
    assert timer / carried[-1] == pytest.approx(2 * predicted, rel=0.02)


@always
@given(st.integers(1, 500), accelerations, timers)
def test_carrying_the_fraction_keeps_every_pulse_within_half_a_tick(count, acceleration, timer):
    exact = pulses.exact_intervals(count, acceleration, timer)
    carried, alone = pulses.whole_ticks(exact), pulses.whole_ticks(exact, carry=False)
    for ticks in (carried, alone):
        assert (ticks == np.rint(ticks)).all() and np.abs(ticks - exact).max() <= 1
    assert np.abs(np.cumsum(carried) - np.cumsum(exact)).max() <= 0.5 + 1e-6
    assert np.abs(alone - exact).max() <= 0.5


def test_equal_intervals_rounded_alone_drift():
    cruise = np.full(4000, 78.125)  # 25.6 kHz at a timer of 2 MHz
    assert pulses.whole_ticks(cruise).sum() == 312_500
    assert pulses.whole_ticks(cruise, carry=False).sum() == 312_000


def test_grain_and_ceiling():
    assert pulses.speed_grain(pulse_rate=25_600, timer_frequency=2e6) == pytest.approx(0.0128)
    assert pulses.pulse_ceiling(processor_frequency=16e6, cycles_per_pulse=200) == 80_000
