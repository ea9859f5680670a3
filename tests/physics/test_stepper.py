"""The stepping motor: brute force, an independent integrator, the closed form, step halving, bad input."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.special import ellipk

from macrolib.formula import Formula, check_dimensions
from macrolib.physics import stepper, transmission, vibration

FORMULAS = [f for f in vars(stepper).values() if isinstance(f, Formula)]
WINDING = {"voltage": 24.0, "peak_current": 1.5 * math.sqrt(2), "resistance": 1.65, "inductance": 2.8e-3,
           "holding_torque": 0.40, "rated_current": 1.5, "rotor_teeth": 50}
# A motor with an 8 mm screw and 1.5 kg: 233.65 Hz; 1 mm/s is 1/8 turn/s, one degree at the shaft 22.22 um.
MOTOR = {"rotor_teeth": 50, "holding_torque": 0.40, "inertia": 9.28e-6, "damping_ratio": 0.05}
SLOW, DETENT = 1 / 8, {"detent_torque": 0.02}
DEGREE = math.pi / 180


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda f: f.__name__)
def test_units_agree_and_the_source_is_named(formula):
    check_dimensions(formula)
    assert formula.source


# --- at rest

def test_one_and_two_phases_on():
    """At the rated current one phase gives 1/sqrt(2) of the holding torque; so does a sine of that amplitude."""
    assert stepper.peak_torque(0.4, 1.5, 1.5) == pytest.approx(0.4 / math.sqrt(2))
    assert stepper.peak_torque(0.4, 1.5 * math.sqrt(2), 1.5) == pytest.approx(0.4)


@given(holding=st.floats(0.01, 5), microsteps=st.sampled_from([1, 2, 4, 8, 16, 32, 64, 128, 256]))
def test_microstep_torque_is_the_torque_of_the_lag(holding, microsteps):
    torque = stepper.microstep_torque(holding, microsteps)
    assert stepper.load_lag(torque, holding, 50) == pytest.approx(math.pi / (2 * 50 * microsteps))
    assert 0 < torque <= holding


def test_a_load_above_the_holding_torque_is_refused():
    with pytest.raises(ValueError, match="at most the holding torque"):
        stepper.load_lag(0.5, 0.4, 50)
    assert stepper.load_lag(-0.1, 0.4, 50) == -stepper.load_lag(0.1, 0.4, 50)


@given(swing=st.floats(0, 3.1))
def test_large_swings_are_slower_by_the_elliptic_integral(swing):
    expected = math.pi / (2 * ellipk(math.sin(swing / 2) ** 2))
    assert stepper.swing_frequency(1.0, swing) == pytest.approx(expected, rel=1e-10)


def test_a_free_swing_integrated():
    """45 electrical degrees: time of a quarter swing, by an independent integrator."""
    swing, square = math.pi / 4, (2 * math.pi * 233.65) ** 2
    crossing = lambda t, y: y[0]  # noqa: E731
    crossing.terminal = True
    run = solve_ivp(lambda t, y: (y[1], -square * math.sin(y[0])), (0, 1), (swing, 0), events=crossing, rtol=1e-11, atol=1e-9)
    assert 1 / (4 * run.t_events[0][0]) == pytest.approx(stepper.swing_frequency(233.65, swing), rel=1e-7)


def test_swing_frequency_refuses():
    for frequency, swing in ((0, 1), (100, math.pi), (100, -0.1), (math.nan, 1)):
        with pytest.raises(ValueError, match="swing"):
            stepper.swing_frequency(frequency, swing)
    assert stepper.swing_frequency(np.ones((2, 1)), np.zeros(3)).shape == (2, 3)


def test_ratios_and_travel():
    assert stepper.inertia_ratio(2.43e-6, 5.4e-6) == pytest.approx(0.45)
    assert stepper.shaft_travel(DEGREE, 8e-3) == pytest.approx(22.22e-6, rel=1e-3)


# --- torque against speed

def _brute_force(speed, voltage, peak_current, resistance, inductance, holding_torque, rated_current, rotor_teeth):
    """Largest torque over a fine grid of all current vectors that keep both limits."""
    omega = 2 * np.pi * speed
    constant = holding_torque / (math.sqrt(2) * rated_current)
    amount = np.linspace(0, 1, 501)[:, None] * peak_current
    current = amount * np.exp(1j * np.linspace(-np.pi, np.pi, 2001))
    volts = abs(constant * omega + (resistance + 1j * rotor_teeth * omega * inductance) * current)
    return (constant * current.real)[volts <= voltage * (1 + 1e-9)].max(initial=0)


@settings(max_examples=40, deadline=None)
@given(speed=st.floats(0.01, 100), voltage=st.floats(5, 60), current=st.floats(0.3, 4), resistance=st.floats(0.3, 20),
       inductance=st.floats(3e-4, 2e-2), holding=st.floats(0.05, 3))
def test_no_current_vector_gives_more_torque(speed, voltage, current, resistance, inductance, holding):
    winding = (voltage, current, resistance, inductance, holding, 1.5, 50)
    full = stepper.peak_torque(holding, current, 1.5)
    assert stepper.torque_at_speed(speed, *winding) == pytest.approx(_brute_force(speed, *winding), abs=0.006 * full)


@settings(max_examples=60, deadline=None)
@given(voltage=st.floats(3, 80), current=st.floats(0.1, 8), resistance=st.floats(0.1, 30), inductance=st.floats(1e-4, 3e-2),
       holding=st.floats(0.02, 10), rated=st.floats(0.2, 8), teeth=st.sampled_from([12, 50, 100]))
def test_torque_never_rises_and_never_jumps(voltage, current, resistance, inductance, holding, rated, teeth):
    winding = (voltage, current, resistance, inductance, holding, rated, teeth)
    speeds = np.concatenate([[0], np.geomspace(1e-4, 1e3, 4000)])
    torque = stepper.torque_at_speed(speeds, *winding)
    full = stepper.peak_torque(holding, current, rated)
    assert (np.diff(torque) <= 1e-12 * full).all() and (torque >= 0).all()
    # where it falls most between two speeds, a finer look finds steps that shrink: no jump
    worst = np.argmin(np.diff(torque))
    finer = stepper.torque_at_speed(np.linspace(speeds[worst], speeds[worst + 1], 2001), *winding)
    assert abs(np.diff(finer)).max() <= 0.03 * full + 1e-12


def test_the_corner_is_where_the_supply_is_used_up():
    corner = stepper.corner_speed(**WINDING)
    omega, constant = 2 * math.pi * corner, 0.4 / (math.sqrt(2) * 1.5)
    volts = complex(1.65 * WINDING["peak_current"] + constant * omega, 50 * omega * 2.8e-3 * WINDING["peak_current"])
    assert abs(volts) == pytest.approx(24, rel=1e-12)
    full = stepper.torque_at_speed(corner * (1 - 1e-9), **WINDING)
    assert full == pytest.approx(0.4) and stepper.torque_at_speed(0, **WINDING) == pytest.approx(0.4)
    assert stepper.torque_at_speed(corner * (1 + 1e-6), **WINDING) == pytest.approx(full, rel=1e-3)
    assert stepper.torque_at_speed(corner * 1.1, **WINDING) < full


def test_a_supply_too_weak_for_the_current():
    weak = WINDING | {"voltage": 2.0}
    with pytest.raises(ValueError, match="at least resistance times peak current"):
        stepper.corner_speed(**weak)
    assert stepper.torque_at_speed(0, **weak) == pytest.approx(0.4 * 2 / 1.65 / WINDING["peak_current"])
    assert stepper.torque_at_speed(1e5, **weak) == pytest.approx(0, abs=1e-4)


def test_torque_at_speed_broadcasts_and_refuses():
    assert isinstance(stepper.torque_at_speed(5, **WINDING), float)
    grid = stepper.torque_at_speed(np.linspace(0, 20, 5)[:, None], **WINDING | {"voltage": np.array([12.0, 24, 36])})
    assert grid.shape == (5, 3)
    assert (np.diff(grid, axis=1) >= 0).all()
    for name, wrong in [("speed", -1.0), *((n, 0.0) for n in WINDING)]:
        with pytest.raises(ValueError, match="rotation" if name == "speed" else name):
            stepper.torque_at_speed(**{"speed": 5.0} | WINDING | {name: wrong})


# --- simulated motion

def _independent(speed, microsteps, span, *, rotor_teeth, holding_torque, inertia, damping_ratio, detent_torque=0.0,
                 friction=0.0, friction_speed=1.0):
    """RMS of position and speed about the path, by scipy's DOP853 from pulse to pulse, over the last electrical cycles."""
    omega, natural = 2 * math.pi * speed, math.sqrt(rotor_teeth * holding_torque / inertia)
    pulse, micro = 1 / (4 * rotor_teeth * microsteps * speed), math.pi / (2 * rotor_teeth * microsteps)
    y, samples = [0.0, omega], []
    count = math.ceil(span / pulse / (4 * microsteps)) * 4 * microsteps
    for k in range(2 * count):
        def slope(t, y, command=k * micro):
            torque = (holding_torque * math.sin(rotor_teeth * (command - y[0])) - friction * math.tanh(y[1] / friction_speed)
                      - detent_torque * math.sin(4 * rotor_teeth * y[0]))
            return y[1], torque / inertia - 2 * damping_ratio * natural * (y[1] - omega)
        ts = np.linspace(k * pulse, (k + 1) * pulse, math.ceil(pulse / 4e-5) + 10)
        run = solve_ivp(slope, (ts[0], ts[-1]), y, method="DOP853", t_eval=ts, rtol=1e-9, atol=1e-11)
        y = run.y[:, -1]
        if k >= count:
            samples.append((run.y - [omega * ts, np.full_like(ts, omega)])[:, :-1])
    return np.std(np.concatenate(samples, axis=1), axis=1)


@pytest.mark.parametrize(("speed", "microsteps", "more"), [
    (SLOW, 2, {}), (SLOW, 8, DETENT), (5 * SLOW, 4, DETENT), (5 * SLOW, 2, {"friction": 0.02})])
def test_an_independent_integrator_agrees(speed, microsteps, more):
    """Within 0.2 %: full harmonics, large swings, near resonance, and with friction."""
    ours = {"friction_torque": more["friction"]} if "friction" in more else more
    motion = stepper.simulate(speed, microsteps, **MOTOR, **ours)
    if "friction" in more:
        more = more | {"friction_speed": float(motion.friction_speed)}
    position, velocity = _independent(speed, microsteps, 0.16, **MOTOR, **more)
    assert motion.position_rms == pytest.approx(position, rel=2e-3)
    assert motion.speed_rms == pytest.approx(velocity, rel=2e-3)


def test_the_closed_form_agrees_off_resonance():
    speeds, settings_ = np.array([0.5, 1, 3, 7, 20])[:, None] * SLOW, np.array([16, 32, 64, 128, 256])
    motion, ripple = stepper.simulate(speeds, settings_, **MOTOR), stepper.ripple(speeds, settings_, **MOTOR)
    assert ripple.holds.sum() >= 20
    for found, formula in ((motion.position_rms, ripple.position_rms), (motion.speed_rms, ripple.speed_rms)):
        np.testing.assert_allclose(found[ripple.holds], formula[ripple.holds], rtol=0.01)


def test_the_closed_form_is_within_2_percent_where_it_says_that_it_holds():
    """Random motors with detent, full steps to 256, resonances included."""
    rng = np.random.default_rng(7)
    n = 150
    holding, microsteps, speed = 10 ** rng.uniform(-1, 0, n), 2 ** rng.integers(0, 9, n), 10 ** rng.uniform(-1.3, 0.3, n)
    motor = {"rotor_teeth": 50, "holding_torque": holding, "inertia": holding * 10 ** rng.uniform(-5.2, -4.2, n),
             "damping_ratio": rng.uniform(0.03, 0.2, n), "detent_torque": holding * rng.choice([0, 0.01, 0.03, 0.05, 0.1], n)}
    motion, ripple = stepper.simulate(speed, microsteps, **motor), stepper.ripple(speed, microsteps, **motor)
    error = np.maximum(abs(ripple.position_rms / motion.position_rms - 1), abs(ripple.speed_rms / motion.speed_rms - 1))
    assert ripple.holds.sum() > 45 and motion.in_step[ripple.holds].all()
    assert error[ripple.holds].max() < 0.02
    assert np.nanmax(error[~ripple.holds]) > 0.2  # it is not said for nothing


@pytest.mark.parametrize("structure", [None, (40.0, 0.08)], ids=["motor", "behind a mode"])
def test_peak_to_peak_of_the_closed_form(structure):
    """Random motors with detent: within 3 % where it holds; up to a doubt of 0.1 within 10 %."""
    rng = np.random.default_rng(3)
    n = 60
    holding, microsteps, speed = 10 ** rng.uniform(-1, 0, n), 2 ** rng.integers(1, 8, n), 10 ** rng.uniform(-0.8, 0.4, n)
    motor = {"rotor_teeth": 50, "holding_torque": holding, "inertia": holding * 10 ** rng.uniform(-5.2, -4.6, n),
             "damping_ratio": rng.uniform(0.05, 0.2, n), "detent_torque": holding * rng.choice([0.02, 0.05, 0.08], n)}
    motion = stepper.simulate(speed, microsteps, structure=structure, **motor)
    ripple = stepper.ripple(speed, microsteps, structure=structure, **motor)
    error = ripple.position_peak_to_peak / motion.picture_peak_to_peak - 1
    assert ripple.holds.sum() > 10 and abs(error[ripple.holds]).max() < 0.03
    near = (ripple.doubt < 0.1) & ~ripple.holds
    assert near.sum() > 10 and abs(error[near]).max() < 0.1


def test_peak_to_peak_of_known_shapes():
    """A slow staircase with much damping is a sawtooth one microstep high; fine microsteps leave the sine of the detent."""
    stairs = stepper.ripple(0.002, 4, **MOTOR | {"damping_ratio": 0.95})
    assert stairs.position_peak_to_peak == pytest.approx(math.pi / 2 / 50 / 4, rel=0.01)
    detent = stepper.ripple(0.01, 1000, **MOTOR, **DETENT)
    assert detent.position_peak_to_peak == pytest.approx(2 * math.sqrt(2) * detent.position_rms, rel=0.02)


def test_detent_twice_as_fast_as_the_rotor_swings_makes_them_grow():
    """Mathieu's equation: growth where the detent's share is above the damping ratio, and nothing of it below."""
    speed = 2 * stepper.natural_frequency(50, 0.4, 9.28e-6) / 200
    weak, strong = (stepper.simulate(speed, 64, **MOTOR, detent_torque=0.4 * share).position_rms for share in (0.035, 0.08))
    closed = [stepper.ripple(speed, 64, **MOTOR, detent_torque=0.4 * share) for share in (0.035, 0.08)]
    assert weak == pytest.approx(closed[0].position_rms, rel=0.02) and closed[0].doubt < 0.1
    assert strong > 10 * closed[1].position_rms and closed[1].doubt > 0.5


def test_limits_of_the_closed_form():
    """Fast pulses: 1.4712 s f_n^2 / f_pulse; slow ones that ring out: s sqrt(w_n / (4 zeta T)) (own derivation)."""
    natural = stepper.natural_frequency(50, 0.4, 9.28e-6)
    microstep, rate = math.pi / (2 * 50 * 256), 200 * 256 * 2.0
    fast = stepper.ripple(2.0, 256, **MOTOR).speed_rms
    assert fast == pytest.approx(math.sqrt(2) * math.pi**2 / math.sqrt(90) * microstep * natural**2 / rate, rel=1e-3)
    slow = stepper.ripple(0.001, 16, **MOTOR).speed_rms
    ringing = math.pi / (2 * 50 * 16) * math.sqrt(2 * math.pi * natural * 200 * 16 * 0.001 / (4 * 0.05))
    assert slow == pytest.approx(ringing, rel=0.01)


def test_halving_the_step_changes_less_than_one_percent():
    everything = MOTOR | DETENT | {"current_bits": 8, "gain_mismatch": 0.02, "phase_offset": 0.01, "rise_time": 2.5e-4,
                                   "friction_torque": 0.02, "load_torque": 0.05, "structure": (60.0, 0.1)}
    speeds, settings_ = np.array([2, 10])[:, None] * SLOW, [2, 64]
    coarse = stepper.simulate(speeds, settings_, **everything)
    fine = stepper.simulate(speeds, settings_, refine=2, **everything)
    for name in ("position_rms", "speed_rms", "position_peak_to_peak", "picture_rms", "picture_speed_rms"):
        np.testing.assert_allclose(getattr(coarse, name), getattr(fine, name), rtol=0.01, err_msg=name)
    np.testing.assert_allclose(coarse.lag, fine.lag, rtol=0.02)  # a current that rises within a step comes late by a bit
    np.testing.assert_allclose(coarse.time_step / fine.time_step, 2, rtol=0.3)


# An earlier simulation of the same motor with another program (4 us steps): deg and deg/s at the shaft, 1 mm/s.
@pytest.mark.parametrize(("microsteps", "more", "position", "velocity"), [
    (2, {}, 0.392, 437.8), (4, {}, None, 263.7), (8, {}, None, 231.8), (16, {}, None, 33.50), (32, {}, None, 6.141),
    (64, {}, None, 1.443), (2, DETENT, 0.471, 560), (16, DETENT, None, 34.7), (32, DETENT, None, 8.99),
    (128, DETENT, 0.0410, 6.57)])
def test_an_earlier_simulation(microsteps, more, position, velocity):
    motion = stepper.simulate(SLOW, microsteps, **MOTOR, **more)
    assert motion.speed_rms / DEGREE == pytest.approx(velocity, rel=3e-3)
    if position:
        assert motion.position_rms / DEGREE == pytest.approx(position, rel=2e-3)


def test_lag_under_load_and_rest_position_errors():
    motion = stepper.simulate(SLOW, 128, load_torque=[0.0, 0.1, 0.2], **MOTOR)
    np.testing.assert_allclose(motion.lag[1:], [stepper.load_lag(x, 0.4, 50) for x in (0.1, 0.2)], rtol=1e-3)
    assert abs(motion.lag[0]) < 1e-6
    # slow motion runs through all rest positions: its RMS is the amplitude of each cause over sqrt(2)
    for cause, value, limit in (("detent_torque", 0.02, 0.01), ("gain_mismatch", 0.02, 0.02), ("phase_offset", 0.01, 0.02)):
        expected = stepper.position_error(**{"detent_torque": 0.0, "gain_mismatch": 0.0, "phase_offset": 0.0,
                                             "friction_torque": 0.0, "holding_torque": 0.4, "rotor_teeth": 50, cause: value})
        found = stepper.simulate(SLOW / 4, 256, **MOTOR, **{cause: value}).position_rms
        assert found * math.sqrt(2) == pytest.approx(expected, rel=limit), cause
        assert found == pytest.approx(stepper.ripple(SLOW / 4, 256, **MOTOR, **{cause: value}).position_rms, rel=limit)
    assert stepper.position_error(0, 0, 0, 0.1, 0.4, 50) == pytest.approx(stepper.load_lag(0.1, 0.4, 50))


def test_friction_makes_the_rotor_lag_and_damps_it():
    rubbing, free = (stepper.simulate(SLOW, 8, friction_torque=f, **MOTOR) for f in (0.02, 0.0))
    assert rubbing.speed_rms < 0.5 * free.speed_rms
    smooth = stepper.simulate(SLOW, 128, friction_torque=0.02, **MOTOR)
    assert smooth.lag == pytest.approx(stepper.load_lag(0.02, 0.4, 50), rel=0.02)


def test_friction_too_sharp_for_the_step_is_said():
    """So much friction at so low a speed that its jump at standstill cannot be followed: smoothed more, and stable."""
    friction = np.array([0.2, 0.02, 0.0])
    motion = stepper.simulate(SLOW, 16, friction_torque=friction, **MOTOR)
    assert motion.friction_resolved.tolist() == [False, True, True]
    assert np.isfinite(motion.speed_rms).all() and motion.friction_speed[2] == 0
    assert (motion.friction_speed[:2] * 9.28e-6 / friction[:2] >= 0.999 * motion.time_step[:2]).all()
    assert 0.8 < motion.lag[0] / stepper.load_lag(0.2, 0.4, 50) < 0.98  # smoothed friction is weaker


def test_fewer_bits_of_current_make_it_rougher():
    speeds = [stepper.simulate(SLOW, 128, current_bits=b, **MOTOR).speed_rms for b in (3, 5, 7, 9, None)]
    assert speeds == sorted(speeds, reverse=True)
    assert speeds[0] > 20 * speeds[-1]


def test_slow_currents_soften_the_steps():
    slow, quick = (stepper.simulate(SLOW, 2, rise_time=r, **MOTOR).speed_rms for r in (8e-3, 0.0))
    assert slow < 0.9 * quick
    assert stepper.simulate(SLOW, 2, rise_time=5e-5, **MOTOR).speed_rms == pytest.approx(quick, rel=0.01)


def test_the_structure_between_motor_and_picture():
    """Simulated behind the mode = the closed form times its transmissibility; a soft mode hides the pulses."""
    soft, stiff = (40.0, 0.05), (1500.0, 0.05)
    behind_soft, behind_stiff = (stepper.simulate(SLOW, [16, 64], structure=s, **MOTOR) for s in (soft, stiff))
    for structure, motion in ((soft, behind_soft), (stiff, behind_stiff)):
        ripple = stepper.ripple(SLOW, [16, 64], structure=structure, **MOTOR)
        np.testing.assert_allclose(motion.picture_rms, ripple.position_rms, rtol=0.01)
        np.testing.assert_allclose(motion.picture_speed_rms, ripple.speed_rms, rtol=0.01)
    assert behind_soft.picture_rms[0] < 0.02 * behind_soft.position_rms[0]
    assert behind_stiff.picture_rms[0] > behind_stiff.position_rms[0]  # 400 pulses/s, below its own resonance


def test_what_is_recorded_is_what_is_measured():
    motion = stepper.simulate([SLOW, 2 * SLOW], 16, record=True, structure=(60.0, 0.05), **MOTOR, **DETENT)
    assert motion.times.shape == motion.motor.shape == motion.picture.shape
    np.testing.assert_allclose(np.nanstd(motion.motor, axis=0), motion.position_rms, rtol=2e-3)
    np.testing.assert_allclose(np.nanstd(motion.picture, axis=0), motion.picture_rms, rtol=2e-3)
    span = np.nanmax(motion.motor, axis=0) - np.nanmin(motion.motor, axis=0)
    np.testing.assert_allclose(span, motion.position_peak_to_peak, rtol=0.01)
    assert stepper.simulate(SLOW, 16, **MOTOR).motor is None


def test_a_rotor_that_slips_counts_as_not_computed():
    """Full steps at the resonance with little damping and a load: it falls out of step."""
    motion = stepper.simulate([200 / 200, SLOW], [1, 16], load_torque=[0.39, 0.0], **MOTOR | {"damping_ratio": 0.02})
    assert motion.in_step.tolist() == [False, True]
    assert math.isnan(motion.speed_rms[0]) and math.isfinite(motion.speed_rms[1])


def test_shapes_progress_and_a_scalar():
    shares = []
    motion = stepper.simulate(np.array([[SLOW], [2 * SLOW]]), [4, 8, 16], progress=shares.append, **MOTOR)
    assert motion.position_rms.shape == motion.in_step.shape == (2, 3)
    assert 50 <= len(shares) <= 101 and shares == sorted(shares)
    one = stepper.simulate(2 * SLOW, 8, **MOTOR)
    assert np.ndim(one.position_rms) == 0
    assert one.position_rms == pytest.approx(motion.position_rms[1, 1], rel=1e-4)
    assert stepper.simulate(np.empty(0), 8, **MOTOR).position_rms.shape == (0,)


@pytest.mark.parametrize(("wrong", "said"), [
    ({"speed": 0.0}, "speed is 0"), ({"speed": math.nan}, "speed"), ({"microsteps": 0}, "microsteps"),
    ({"microsteps": 2.5}, "whole"), ({"damping_ratio": 0.0}, "damping_ratio is 0"), ({"damping_ratio": 1.0}, "damping_ratio"),
    ({"inertia": -1e-6}, "inertia"), ({"detent_torque": -0.1}, "detent_torque"), ({"holding_torque": [0.4, 0.0]}, "holding"),
    ({"current_bits": 0}, "current_bits"), ({"rise_time": -1.0}, "rise_time"), ({"structure": (60.0, 0.0)}, "structure"),
    ({"refine": 0}, "refine"), ({"speed": 1e-5}, "two million")])
def test_simulate_refuses(wrong, said):
    with pytest.raises(ValueError, match=said):
        stepper.simulate(**{"speed": SLOW, "microsteps": 16} | MOTOR | wrong)


def test_ripple_refuses():
    with pytest.raises(ValueError, match="speed is too low"):
        stepper.ripple(1e-6, 1, **MOTOR)
    with pytest.raises(ValueError, match="damping_ratio"):
        stepper.ripple(SLOW, 16, **MOTOR | {"damping_ratio": 0.0})


# --- what the trade says: common practice, no source

@pytest.fixture(scope="module")
def seen():
    """Peak to peak at the sensor in px: 2 mm screw, 0.42 N m motor at its rated current as amplitude, 5 % detent,
    0.5 mm/s, magnification 3, pixels of 4.4 um; with 400 and with 25 600 pulses a turn, without and with detent."""
    inertia = 65e-7 + transmission.reflected_inertia(2.4, 2e-3)
    motor = {"rotor_teeth": 50, "holding_torque": stepper.peak_torque(0.42, 1.5, 1.5), "inertia": inertia, "damping_ratio": 0.05}

    def pixels(speed, microsteps, share):
        motion = stepper.simulate(speed / 2e-3, microsteps, detent_torque=share * 0.297, **motor)
        amplitude = stepper.shaft_travel(motion.position_peak_to_peak / 2, 2e-3)
        return vibration.image_vibration(amplitude, 3.0, 4.4e-6)

    return pixels


def test_400_pulses_a_turn_shake_the_picture_and_25600_do_not(seen):
    coarse, fine = seen(0.5e-3, np.array([2, 128]), 0.05)
    assert coarse > 1 > fine


def test_detent_sets_the_floor(seen):
    """Without detent 128 microsteps look a thousand times better than 2, with it some tens of times; above 30 nothing."""
    ideal, real = seen(0.5e-3, np.array([2, 128]), 0.0), seen(0.5e-3, np.array([2, 32, 128, 256]), 0.05)
    assert ideal[0] / ideal[1] > 1000
    assert 5 < real[0] / real[2] < 50
    assert real[2:] == pytest.approx(real[1], rel=0.1)


def test_at_the_detent_resonance_no_setting_is_smooth(seen):
    """Where four periods an electrical cycle meet the natural frequency, 25 600 pulses a turn shake the picture too."""
    inertia = 65e-7 + transmission.reflected_inertia(2.4, 2e-3)
    speed = stepper.natural_frequency(50, 0.297, inertia) / 200 * 2e-3
    coarse, fine = seen(speed, np.array([2, 128]), 0.05)
    assert fine > 1
    assert coarse / fine < 2
