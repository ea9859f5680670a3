"""Vibration: closed forms against brute force, superposition, and an independent solver."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.signal import lsim

from macrolib.formula import Formula, check_dimensions
from macrolib.physics import ramps, vibration
from macrolib.physics.vibration import (
    bandwidth_damping, beam_frequency, excited_frequencies, exposure_smear, footfall_amplitude, footfall_wait,
    half_power_edge, image_vibration, log_decrement, press_stiffness, quality_factor, ramp_residual,
    relative_transmissibility, residual_vibration, ring_down_time, settling_time, shock_amplitude, sine_amplitude,
    spring_frequency, thermal_drift, transmissibility, undamped_residual, whole_period_ramps, zero_vibration_shaper)

FORMULAS = [f for n in vibration.__all__ if isinstance(f := getattr(vibration, n), Formula)]
frequencies, dampings = st.floats(0.5, 200), st.floats(0, 0.9)


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda f: f.result.name)
def test_units_fit_and_the_source_is_named(formula):
    check_dimensions(formula)
    assert formula.source


# --- ring-down

@settings(max_examples=50, deadline=None)
@given(st.floats(1e-9, 1e-2), st.floats(1e-9, 1e-2), frequencies, st.floats(1e-4, 0.9))
def test_the_envelope_is_at_the_tolerance_when_the_wait_ends(start, tolerance, frequency, damping):
    wait = settling_time(start, tolerance, frequency, damping)
    envelope = start * math.exp(-2 * math.pi * frequency * damping * wait)
    assert envelope == pytest.approx(min(start, tolerance), rel=1e-9)
    assert wait == 0 if start <= tolerance else wait > 0
    assert settling_time(2 * start, tolerance, frequency, damping) >= wait
    assert settling_time(start, tolerance, frequency, 1.1 * damping) <= wait


def test_without_damping_it_never_settles_unless_it_starts_below():
    assert settling_time(1e-5, 1e-6, 30, 0) == math.inf
    assert settling_time(1e-7, 1e-6, 30, 0) == 0
    waits = settling_time(np.array([1e-5, 1e-7]), 1e-6, 30, np.array([[0], [0.02]]))
    assert waits.shape == (2, 2) and np.isinf(waits).tolist() == [[True, False], [False, False]]
    assert waits[1, 0] == settling_time(1e-5, 1e-6, 30, 0.02) == ring_down_time(1e-5, 1e-6, 30, 0.02)
    assert type(settling_time(1e-5, 1e-6, 30, 0)) is float


def test_halving_takes_so_many_cycles():
    for damping in (0.005, 0.01, 0.02):  # 0.1103 / zeta periods for small damping
        assert settling_time(1, 0.5, 1, damping) * damping == pytest.approx(0.1103, abs=5e-5)


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 0.95))
def test_log_decrement_is_the_ratio_of_two_peaks(damping):
    period = 1 / math.sqrt(1 - damping**2)  # at 1 Hz
    assert log_decrement(damping) == pytest.approx(2 * math.pi * damping * period, rel=1e-12, abs=1e-300)
    assert log_decrement.solve_for("damping_ratio")(log_decrement(damping)) == pytest.approx(damping, rel=1e-9)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.001, 0.37))
def test_half_power_edges_lie_at_the_peak_over_root_two(damping):
    def response(r):
        return 1 / math.hypot(1 - r**2, 2 * damping * r)

    peak = 1 / (2 * damping * math.sqrt(1 - damping**2))
    assert response(half_power_edge(damping, -1)) == pytest.approx(peak / math.sqrt(2), rel=1e-9)
    assert response(half_power_edge(damping, 1)) == pytest.approx(peak / math.sqrt(2), rel=1e-9)


def test_the_bandwidth_gives_the_damping_back_nearly():
    edges = half_power_edge(0.05, np.array([-1, 1]))
    assert edges == pytest.approx([0.9461105, 1.0463627], abs=5e-8)
    assert bandwidth_damping(30 * float(np.diff(edges)[0]), 30) == pytest.approx(0.050126, abs=5e-7)
    assert quality_factor(0.05) == pytest.approx(1 / bandwidth_damping.solve_for("bandwidth")(0.05, 1))
    with pytest.raises(ValueError, match="0.38"):
        half_power_edge(0.5, -1)


# --- a base that shakes

@settings(max_examples=50, deadline=None)
@given(dampings)
def test_all_dampings_cross_at_root_two(damping):
    assert transmissibility(math.sqrt(2), damping) == pytest.approx(1, rel=1e-12)
    assert transmissibility(0, damping) == 1 and relative_transmissibility(0, damping) == 0


@settings(max_examples=50, deadline=None)
@given(st.floats(0.01, 10), st.floats(0.01, 0.9))
def test_transmissibilities_are_those_of_the_equation_of_motion(ratio, damping):
    relative = ratio**2 / (1 - ratio**2 + 2j * damping * ratio)  # z over y for y = e^(i r t), w = 1
    assert relative_transmissibility(ratio, damping) == pytest.approx(abs(relative), rel=1e-12)
    assert transmissibility(ratio, damping) == pytest.approx(abs(1 + relative), rel=1e-11)


def test_a_stiff_common_base_takes_most_of_the_floor_away():
    assert relative_transmissibility(8 / 40, 0.02) == pytest.approx(0.0417, abs=5e-5)
    with pytest.raises(ValueError, match="infinite at resonance"):
        relative_transmissibility(1, 0)
    assert relative_transmissibility.masked(np.array([0.5, 1.0]), 0).mask.tolist() == [False, True]


def test_floor_criterion_to_pixels():
    amplitude = sine_amplitude(50e-6, 8)
    assert amplitude == pytest.approx(1.407e-6, abs=5e-10)
    assert image_vibration(amplitude, 5, 4e-6) == pytest.approx(3.52, abs=5e-3)
    allowed = image_vibration.solve_for("amplitude")  # from a tolerance in pixels to one in metres
    assert image_vibration(allowed(image_vibration=0.5, magnification=5, pixel_pitch=4e-6), 5, 4e-6) == pytest.approx(0.5)


def test_distance_takes_the_footfall_down():
    assert footfall_amplitude(20e-6, 1, 4, 0.5) == pytest.approx(10e-6)
    assert footfall_amplitude(20e-6, 1, 4, 0) == 20e-6


# --- waiting after a footfall

def _last_excess(amplitude, tolerance, floor, stand, until, phases=8):
    """Last time at which the motion against the base exceeds the tolerance, over phases, by an independent solver."""
    (f_1, zeta_1), (f_2, zeta_2) = floor, stand
    pole = 2 * math.pi * f_1 * complex(-zeta_1, math.sqrt(1 - zeta_1**2))
    w = 2 * math.pi * f_2
    time, last = np.arange(0, until, 1 / (150 * max(f_1, f_2))), 0.0
    for phase in np.arange(phases) * math.pi / phases:
        shaking = amplitude * (pole**2 * np.exp(pole * time + 1j * phase)).real
        _, z, _ = lsim(([[0, 1], [-w**2, -2 * zeta_2 * w]], [[0], [-1]], [[1, 0]], [[0]]), shaking, time)
        above = np.flatnonzero(np.abs(z) > tolerance)
        last = max(last, time[above[-1]] if above.size else 0.0)
    return last


@pytest.mark.parametrize("floor", [(8, 0.03), (15, 0.01), (25, 0.06)])
@pytest.mark.parametrize("stand", [(8, 0.03), (15.2, 0.01), (40, 0.02)])
def test_the_wait_is_a_bound_and_not_far_above(floor, stand):
    wait = footfall_wait(30e-6, 0.4e-6, *floor, *stand)
    last = _last_excess(30e-6, 0.4e-6, floor, stand, 1.2 * wait)
    assert last <= wait <= 1.15 * last + 0.1


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 1e-3), st.floats(1e-8, 1e-4), st.floats(3, 40), st.floats(0.005, 0.1), st.floats(3, 80),
       st.floats(0.005, 0.1))
def test_the_wait_grows_with_the_footfall_and_shrinks_with_the_tolerance(a, tolerance, f_1, zeta_1, f_2, zeta_2):
    modes = f_1, zeta_1, f_2, zeta_2
    wait = footfall_wait(a, tolerance, *modes)
    assert 0 <= wait < math.inf
    assert footfall_wait(2 * a, tolerance, *modes) >= wait >= footfall_wait(a, 2 * tolerance, *modes)
    assert footfall_wait(a, tolerance, *modes, two_bases=True) >= wait


def test_the_wait_broadcasts_and_knows_its_edges():
    waits = footfall_wait(30e-6, 0.4e-6, np.array([8, 15.0]), 0.03, np.array([[15], [35], [60]]), 0.02)
    assert waits.shape == (3, 2)
    assert waits[1, 0] == footfall_wait(30e-6, 0.4e-6, 8, 0.03, 35, 0.02)
    assert footfall_wait(0, 0.4e-6, 8, 0, 35, 0) == 0
    assert footfall_wait(30e-6, 0.4e-6, 8, 0, 35, 0.02) == math.inf
    assert footfall_wait(3e-6, 0.4e-6, 8, 0, 35, 0.02) < math.inf  # so stiff that an undamped floor does not matter
    assert footfall_wait(30e-6, 0.4e-6, 8, 0.03, 35, 0) == math.inf
    with pytest.raises(ValueError, match="tolerance is 0 m; allowed: above 0"):
        footfall_wait(30e-6, 0, 8, 0.03, 35, 0.02)
    with pytest.raises(ValueError, match="damping_ratio is 1 1; allowed"):
        footfall_wait(30e-6, 1e-6, 8, 0.03, 35, 1.0)


# --- exposures, stiffness, shocks, drift

@settings(max_examples=50, deadline=None)
@given(st.floats(0.01, 3))
def test_smear_of_a_short_exposure_is_the_worst_over_all_phases(periods):
    starts = np.linspace(0, 1, 721)[:, None]
    motion = np.sin(2 * np.pi * (starts + periods * np.linspace(0, 1, 721)))
    worst = np.ptp(motion, axis=1).max()
    assert exposure_smear(1e-6, 20, periods / 20) * 1e6 == pytest.approx(worst, rel=2e-3)


def test_give_under_a_weight_gives_the_frequency():
    deflections = np.array([1e-5, 1e-3])
    stiff = press_stiffness(2.5 * 9.80665, deflections)
    assert spring_frequency(stiff, 2.5) == pytest.approx(15.76 / np.sqrt(deflections * 1e3), rel=1e-3)
    assert beam_frequency(deflections, 9.80665) == pytest.approx(17.75 / np.sqrt(deflections * 1e3), rel=1e-3)


def test_a_shock_starts_the_ring_that_the_equation_of_motion_has():
    impulse, mass, frequency = 2e-3, 1.5, 30.0
    w = 2 * math.pi * frequency
    found = solve_ivp(lambda t, y: [y[1], -w**2 * y[0]], (0, 1 / frequency), [0, impulse / mass], rtol=1e-10, atol=1e-14,
                      max_step=1e-4)
    assert shock_amplitude(impulse, mass, frequency) == pytest.approx(found.y[0].max(), rel=1e-4)


def test_drift_follows_the_warming():
    full = 0.3 * 11e-6 * 5
    assert thermal_drift(0.3, 11e-6, 5, 1e9, 1800) == pytest.approx(full)
    assert thermal_drift(0.3, 11e-6, 5, 1800, 1800) == pytest.approx(full * (1 - math.exp(-1)))
    assert thermal_drift(0.3, 11e-6, -5, 1800, 1800) == -thermal_drift(0.3, 11e-6, 5, 1800, 1800)


def test_what_a_moving_rig_excites():
    found = excited_frequencies(1e-3, 2e-3, 200, 16, tooth_pitch=2.5e-3)
    assert found == {"turn": 0.5, "electrical cycle": 25, "half electrical cycle": 50, "full step": 100, "pulse": 1600,
                     "belt tooth": 0.4}
    assert "belt tooth" not in excited_frequencies(1e-3, 2e-3, 200, 16)
    assert excited_frequencies(np.array([1e-3, 2e-3]), 2e-3, 200, 16)["pulse"].tolist() == [1600, 3200]
    with pytest.raises(ValueError, match="travel_per_turn is 0 m"):
        excited_frequencies(1e-3, 0, 200, 16)


# --- what a move leaves

def _by_steps(move, frequency, damping):
    """The same envelope for constant accelerations, each jump of the acceleration as one step response."""
    w = 2 * math.pi * frequency
    pole = w * complex(-damping, math.sqrt(1 - damping**2))
    a = move.peak_acceleration
    jumps = zip([0, move.ramp_in, move.ramp_in + move.cruise, move.duration], [a, -a, -a, a], strict=True)
    ring = sum(jump * (np.exp(pole * (move.duration - at)) - 1) / pole for at, jump in jumps)
    return abs(ring) / pole.imag


@settings(max_examples=60, deadline=None)
@given(st.floats(1e-4, 0.2), st.floats(1e-3, 0.05), st.floats(0.005, 0.5), st.floats(0.5, 60), dampings)
def test_residual_of_a_trapezoid_is_that_of_its_four_jumps(distance, speed, acceleration, frequency, damping):
    move = ramps.trapezoid(distance, speed, acceleration)
    largest = 4 * acceleration / (2 * math.pi * frequency)**2 / math.sqrt(1 - damping**2)
    assert residual_vibration(move, frequency, damping) == pytest.approx(
        _by_steps(move, frequency, damping), abs=1e-11 * largest, rel=1e-10)


@settings(max_examples=60, deadline=None)
@given(st.floats(1, 3), st.floats(1, 3), st.floats(0.05, 0.5), st.floats(0.5, 60))
def test_without_damping_it_is_the_product_of_three_sincs(cruise_ratio, ramp_ratio, jerk_time, frequency):
    acceleration = 0.05
    jerk, speed = acceleration / jerk_time, acceleration * ramp_ratio * jerk_time
    distance = speed * cruise_ratio * (speed / acceleration + acceleration / jerk)
    move = ramps.s_curve(distance, speed, acceleration, jerk)
    assert residual_vibration(move, frequency, 0) == pytest.approx(
        undamped_residual(distance, speed, acceleration, jerk, frequency), rel=1e-8, abs=1e-11 * distance)


@pytest.mark.parametrize("move", [ramps.minimum_jerk(0.02, 0.4), ramps.cycloidal(-0.02, 0.3)], ids=["quintic", "cycloidal"])
@pytest.mark.parametrize("damping", [0, 0.1])
def test_residual_of_smooth_moves_against_a_solver(move, damping):
    w, a = 2 * math.pi * 7, move.acceleration
    found = solve_ivp(lambda t, y: [y[1], -a(t) - 2 * damping * w * y[1] - w**2 * y[0]], (0, move.duration), [0, 0],
                      rtol=1e-11, atol=1e-15, max_step=0.005).y[:, -1]
    envelope = math.hypot(found[0], (found[1] + damping * w * found[0]) / (w * math.sqrt(1 - damping**2)))
    assert residual_vibration(move, 7, damping) == pytest.approx(envelope, rel=1e-7)


def test_residual_broadcasts_over_moves_and_frequencies():
    moves = ramps.trapezoid(np.array([0.01, 0.02, 0.04]), 0.008, 0.04)
    found = residual_vibration(moves, np.array([[5.0], [40.0]]), 0.02)
    one = ramps.trapezoid(0.02, 0.008, 0.04)
    assert found.shape == (2, 3)
    assert found[:, 1] == pytest.approx([residual_vibration(one, f, 0.02) for f in (5.0, 40.0)], rel=1e-9)
    assert residual_vibration(moves, np.ones((4, 1, 3)), np.full((2, 1), 0.1)).shape == (4, 2, 3)
    assert residual_vibration(ramps.trapezoid(0, 0.01, 0.01), 5, 0.1) == 0
    assert type(residual_vibration(one, 5, 0.1)) is float
    assert residual_vibration(ramps.trapezoid(-0.02, 0.008, 0.04), 5, 0.02) == pytest.approx(found[0, 1], rel=1e-12)
    with pytest.raises(ValueError, match="frequency is 0 Hz"):
        residual_vibration(one, 0, 0.1)


def test_a_mass_on_a_soft_spring_stays_behind_by_the_distance():
    assert residual_vibration(ramps.trapezoid(0.02, 0.008, 0.04), 1e-4, 0) == pytest.approx(0.02, rel=1e-5)


def _speed_ramp(shape, time):
    """A ramp to speed 1 as something with the parts of a Move that residual_vibration asks for."""
    return SimpleNamespace(duration=time, knots=np.array([0, time / 2, time]), acceleration=lambda t: shape(t / time) / time)


RAMPS = {  # acceleration over the ramp; what it leaves, as a share of speed / w, at x = ramp time times frequency
    "rectangle": (lambda x: 0 * x + 1, lambda x: abs(np.sinc(x))),
    "triangle": (lambda x: 2 - 4 * abs(x - 0.5), lambda x: np.sinc(x / 2)**2),
    "half sine": (lambda x: np.pi / 2 * np.sin(np.pi * x), lambda x: abs(np.cos(np.pi * x) / (1 - 4 * x**2))),
    "versed sine": (lambda x: 1 - np.cos(2 * np.pi * x), lambda x: abs(np.sinc(x) / (1 - x**2))),
}


@pytest.mark.parametrize("shape, share", RAMPS.values(), ids=RAMPS)
@pytest.mark.parametrize("x", [0.31, 1.2, 2.7, 4.45])
def test_what_a_speed_ramp_leaves(shape, share, x):
    frequency = 12.0
    left = residual_vibration(_speed_ramp(shape, x / frequency), frequency, 0)
    assert left * 2 * math.pi * frequency == pytest.approx(share(x), rel=1e-10)


@pytest.mark.parametrize("damping, share", [(0.01, 0.030), (0.02, 0.059), (0.05, 0.135)])
def test_whole_periods_leave_something_where_there_is_damping(damping, share):
    times, left = whole_period_ramps(0.01, 25, damping, 3)
    worst = 2 * 0.01 / times / (2 * math.pi * 25)**2  # half a period, the same acceleration, no damping
    assert left[0] / worst[0] == pytest.approx(share, abs=5e-4)
    assert (np.diff(left) < 0).all() and (left > 0).all()
    assert times == pytest.approx(np.arange(1, 4) / (25 * math.sqrt(1 - damping**2)))
    move = _speed_ramp(lambda x: 0.01 + 0 * x, times[1])
    assert left[1] == pytest.approx(residual_vibration(move, 25, damping), rel=1e-9)


def test_whole_periods_leave_nothing_only_without_damping():
    times, left = whole_period_ramps(0.01, np.array([25.0, 30.0]), 0)
    assert times.shape == left.shape == (2, 4)
    assert left == pytest.approx(0, abs=1e-12 * 0.01)
    assert ramp_residual(0.1, 0.5 / 25, 25, 0) == pytest.approx(2 * 0.1 / (2 * math.pi * 25)**2)


# --- shapers

@settings(max_examples=50, deadline=None)
@given(frequencies, st.floats(0, 0.7), st.integers(2, 4))
def test_a_shaper_cancels_its_own_mode(frequency, damping, impulses):
    amplitudes, times = zero_vibration_shaper(frequency, damping, impulses)
    pole = 2 * np.pi * frequency * (-damping + 1j * math.sqrt(1 - damping**2))
    assert amplitudes.sum() == pytest.approx(1, rel=1e-12) and (amplitudes > 0).all()
    assert abs(np.sum(amplitudes * np.exp(pole * (times[-1] - times)))) < 1e-12
    assert times[-1] == pytest.approx((impulses - 1) / (2 * frequency * math.sqrt(1 - damping**2)))


def test_a_shaper_forgives_so_much_detuning():
    for impulses, width in ((2, 0.0637), (3, 0.2871)):
        amplitudes, times = zero_vibration_shaper(1, 0, impulses)
        off = np.linspace(0.7, 1.3, 60001)
        left = np.abs(np.exp(-2j * np.pi * off[:, None] * times) @ amplitudes)
        assert left == pytest.approx(np.abs(np.cos(np.pi * off / 2))**(impulses - 1), abs=1e-12)
        assert np.ptp(off[left <= 0.05]) == pytest.approx(width, abs=1e-4)


def test_shapers_broadcast_and_refuse():
    amplitudes, times = zero_vibration_shaper(np.array([10.0, 20.0]), np.array([[0.0], [0.05], [0.1]]))
    assert amplitudes.shape == times.shape == (3, 2, 2)
    for wrong in (1, 5, 2.5, "two"):
        with pytest.raises(ValueError, match="allowed: 2, 3 or 4"):
            zero_vibration_shaper(10, 0.1, wrong)
    with pytest.raises(ValueError, match="damping_ratio is nan"):
        zero_vibration_shaper(10, math.nan)


def test_duhamel_by_quadrature_for_one_case():
    move, f, zeta = ramps.s_curve(0.003, 0.02, 0.1, 2.0), 9.0, 0.05
    w = 2 * math.pi * f
    damped = w * math.sqrt(1 - zeta**2)
    parts = [sum(quad(lambda t, wave=wave: move.acceleration(t) * math.exp(-zeta * w * (move.duration - t))
                      * wave(damped * (move.duration - t)), a, b)[0]
                 for a, b in zip(move.knots[:-1], move.knots[1:], strict=True) if b > a) for wave in (math.sin, math.cos)]
    assert residual_vibration(move, f, zeta) == pytest.approx(math.hypot(*parts) / damped, rel=1e-8)
