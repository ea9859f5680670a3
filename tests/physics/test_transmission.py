"""Screws, belts and gears: derivation, energy, limits, bad input."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from macrolib.formula import Formula, check_dimensions
from macrolib.physics import transmission as t

FORMULAS = [f for f in vars(t).values() if isinstance(f, Formula)]
FLANK = math.radians(15)
mu = st.floats(0.0, 0.4)
diameters, leads = st.floats(4e-3, 50e-3), st.floats(0.5e-3, 12e-3)
MOVE = {"mass": 2.4, "inertia": 6.5e-6, "travel_per_turn": 2e-3, "efficiency": 0.4}


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda f: f.__name__)
def test_units_agree_and_the_source_is_named(formula):
    check_dimensions(formula)
    assert formula.source


@pytest.mark.parametrize("formula", [f for f in FORMULAS if f not in (t.raising_torque, t.screw_efficiency)],
                         ids=lambda f: f.__name__)
def test_formulas_broadcast_and_refuse(formula):
    values = {s.name: 0.5 if s.low <= 0.5 <= s.high else s.low for s in formula.symbols}
    single = formula(**values)
    assert isinstance(single, float)
    first = formula.names[0]
    both = formula(**values | {first: np.full((3, 1), values[first])})
    assert both.shape == (3, 1)
    np.testing.assert_allclose(both, single, rtol=1e-14)
    with pytest.raises(ValueError, match=first):
        formula(**values | {first: math.nan})
    with pytest.raises(TypeError, match="missing"):
        formula(**{n: x for n, x in values.items() if n != first})


# --- from turns to travel

@given(speed=st.floats(0, 0.1), travel=st.floats(1e-4, 0.2), pulses=st.integers(50, 100_000))
def test_a_pulse_rate_times_the_travel_of_a_pulse_is_the_speed(speed, travel, pulses):
    rate = t.pulse_rate(speed, travel, pulses)
    assert rate * t.travel_per_pulse(travel, pulses) == pytest.approx(speed, rel=1e-12)


def test_gears_divide_the_travel_and_twice_the_inertia():
    assert t.pitch_travel(20, 2.5e-3, 5) == pytest.approx(10e-3)
    assert t.rack_travel(20, 1e-3, 1) == pytest.approx(math.pi * 20e-3)
    assert t.geared_inertia(25e-7, 5) == pytest.approx(1e-7)
    # a mass behind the same gear, by either way: through the travel for a motor turn, or through pulley and gear
    assert t.reflected_inertia(2, 10e-3) == pytest.approx(t.geared_inertia(t.reflected_inertia(2, 50e-3), 5))


# --- power screws

@given(diameter=diameters, lead=leads, friction=mu, flank=st.floats(0, 0.6))
def test_torque_follows_the_friction_angle(diameter, lead, friction, flank):
    """Independent form: a load pushed up a slope of the lead angle needs tan(lead angle + friction angle)."""
    slope, grip = math.atan2(lead, math.pi * diameter), math.atan(friction / math.cos(flank))
    assume(slope + grip < 1.5)
    up = t.raising_torque(100, diameter, lead, friction, flank)
    down = t.lowering_torque(100, diameter, lead, friction, flank)
    assert up == pytest.approx(100 * diameter / 2 * math.tan(slope + grip), rel=1e-9)
    assert down == pytest.approx(100 * diameter / 2 * math.tan(grip - slope), rel=1e-9, abs=1e-12)


def test_the_exact_flank_in_the_normal_section_changes_less_than_one_in_ten_thousand():
    """Normal of the flank in space: its tangent is the flank's times the cosine of the lead angle (Tr30x6)."""
    lead_angle = math.atan(6 / (math.pi * 27))
    normal = math.atan(math.tan(FLANK) * math.cos(lead_angle))
    exact, usual = (t.raising_torque(1, 27e-3, 6e-3, 0.15, a) for a in (normal, FLANK))
    assert abs(exact / usual - 1) < 1e-3
    assert abs(math.cos(normal) / math.cos(FLANK) - 1) < 2e-4


@given(diameter=diameters, lead=leads, friction=mu)
def test_work_of_the_load_over_work_of_the_motor(diameter, lead, friction):
    assume(friction * lead < 0.9 * math.pi * diameter * math.cos(FLANK))
    efficiency = t.screw_efficiency(diameter, lead, friction, FLANK)
    assert efficiency * 2 * math.pi * t.raising_torque(80, diameter, lead, friction, FLANK) == pytest.approx(80 * lead)
    back = t.back_efficiency(diameter, lead, friction, FLANK)
    assert back * 80 * lead == pytest.approx(-2 * math.pi * t.lowering_torque(80, diameter, lead, friction, FLANK), abs=1e-9)
    locks = friction / math.cos(FLANK) >= lead / (math.pi * diameter)
    assert (back <= 1e-12) if locks else (back >= -1e-12)
    assert back <= efficiency + 1e-12


def test_without_friction_nothing_is_lost():
    assert t.screw_efficiency(10e-3, 2e-3, 0, FLANK) == t.back_efficiency(10e-3, 2e-3, 0, FLANK) == 1
    assert t.usual_back_efficiency(1.0) == 1


@pytest.mark.parametrize(("lead", "efficiency", "back"), [(2e-3, 0.36, None), (4e-3, 0.52, 0.14), (8e-3, 0.66, 0.54)])
def test_typical_8_mm_screws(lead, efficiency, back):
    """Tr8, friction 0.15: lead 2 mm locks itself, 4 mm turns back a little, 8 mm falls (own calculation)."""
    thread = t.trapezoidal_thread(8e-3, 2e-3).mean_diameter, lead, 0.15, FLANK
    assert t.screw_efficiency(*thread) == pytest.approx(efficiency, abs=0.005)
    if back is None:
        assert t.back_efficiency(*thread) < 0
    else:
        assert t.back_efficiency(*thread) == pytest.approx(back, abs=0.005)


def test_a_screw_that_jams_says_so():
    with pytest.raises(ValueError, match="friction times lead"):
        t.raising_torque(100, 5e-3, 40e-3, 0.5, FLANK)
    with pytest.raises(ValueError, match="friction times lead"):
        t.screw_efficiency(5e-3, 40e-3, 0.5, FLANK)


def test_threads_broadcast_and_refuse():
    thread = t.trapezoidal_thread(np.array([[8e-3], [10e-3]]), np.array([1.5e-3, 2e-3]))
    assert thread.mean_diameter.shape == (2, 2)
    assert isinstance(t.trapezoidal_thread(0.01, 0.002).mean_diameter, float)
    for diameter, pitch, said in ((0.01, 2.1e-3, "2.1 mm; ISO 2904"), (0.008, 8e-3, "diameter is 8 mm"),
                                  (math.nan, 2e-3, "diameter is nan"), (0.01, math.inf, "ISO 2904")):
        with pytest.raises(ValueError, match=said):
            t.trapezoidal_thread(diameter, pitch)


# --- bars

VIBRATION = {"fixed-free": lambda x: math.cos(x) * math.cosh(x) + 1, "supported-supported": math.sin,
             "fixed-supported": lambda x: math.tan(x) - math.tanh(x), "fixed-fixed": lambda x: math.cos(x) * math.cosh(x) - 1}
BUCKLING = {"fixed-free": math.cos, "supported-supported": math.sin, "fixed-supported": lambda x: math.tan(x) - x,
            "fixed-fixed": lambda x: math.cos(x / 2) ** 2 - 1 + math.sin(x) / 2}
BRACKETS = {"fixed-free": (1, 2), "supported-supported": (3, 4), "fixed-supported": (3.6, 4.6), "fixed-fixed": (4.5, 5.5)}


@pytest.mark.parametrize("support", VIBRATION)
def test_whirling_and_buckling_follow_the_known_equations(support):
    """The factors come out of a determinant; here of the equations that textbooks give for each support."""
    root = brentq(VIBRATION[support], *BRACKETS[support], xtol=1e-14)
    by_hand = root**2 / (2 * math.pi * 0.3**2) * math.sqrt(206e9 * (8e-3) ** 2 / 16 / 7850)
    assert t.whirling_speed(8e-3, 0.3, support) == pytest.approx(by_hand, rel=1e-12)
    bracket = {"fixed-free": (1, 2), "fixed-fixed": (5.5, 7)}.get(support, BRACKETS[support])
    root = brentq(BUCKLING[support], *bracket, xtol=1e-14)
    by_hand = root**2 * 206e9 * math.pi * (8e-3) ** 4 / 64 / 0.3**2
    assert t.buckling_load(8e-3, 0.3, support) == pytest.approx(by_hand, rel=1e-12)


@given(diameter=diameters, length=st.floats(0.05, 2), scale=st.floats(0.5, 2))
def test_whirling_and_buckling_scale(diameter, length, scale):
    for f, power in ((t.whirling_speed, 1), (t.buckling_load, 4)):
        one = f(diameter, length, "fixed-supported")
        assert f(scale * diameter, length, "fixed-supported") == pytest.approx(scale**power * one)
        assert f(diameter, scale * length, "fixed-supported") == pytest.approx(one / scale**2)


def test_supports_are_named_and_arrays_broadcast():
    assert t.whirling_speed(np.array([8e-3, 10e-3]), 0.3, "fixed-free").shape == (2,)
    order = [t.buckling_load(8e-3, 0.3, s) for s in ("fixed-free", "supported-supported", "fixed-supported", "fixed-fixed")]
    assert order == sorted(order)
    for f in (t.whirling_speed, t.buckling_load):
        with pytest.raises(ValueError, match="fixed-free, supported-supported"):
            f(8e-3, 0.3, "clamped")
        with pytest.raises(ValueError, match="length"):
            f(8e-3, 0, "fixed-free")


# --- required torque

@given(top=st.floats(1e-4, 0.1), time=st.floats(0.05, 2), slope=st.floats(0, 1.5), inertia=st.floats(1e-7, 1e-4))
def test_energy_is_conserved_without_friction(top, time, slope, inertia):
    """Work of the motor over a ramp = kinetic energy of all that moves + gain in height."""
    acceleration, n = top / time, 4001
    speed = np.linspace(0, top, n)
    torque = t.required_torque(speed, np.full(n, acceleration), mass=2, inertia=inertia, travel_per_turn=4e-3,
                               efficiency=1, slope=slope)
    work = np.trapezoid(torque * 2 * np.pi * speed / 4e-3, dx=time / (n - 1))
    kinetic = 2 * top**2 / 2 + inertia * (2 * np.pi * top / 4e-3) ** 2 / 2
    height = top * time / 2 * math.sin(slope)
    assert work == pytest.approx(kinetic + 2 * t.STANDARD_GRAVITY * height, rel=1e-6)


@given(speed=st.floats(1e-4, 0.1), acceleration=st.floats(-1, 1), friction=mu, drag=st.floats(0, 10))
def test_a_level_rail_needs_the_same_both_ways(speed, acceleration, friction, drag):
    extra = {"friction": friction, "drag_force": drag, "drag_torque": 0.01, "back_efficiency": 0.1}
    forth = t.required_torque(speed, acceleration, **MOVE, **extra)
    back = t.required_torque(-speed, -acceleration, **MOVE, **extra)
    assert forth == pytest.approx(-back, rel=1e-12, abs=1e-15)


def test_up_down_and_at_rest_on_an_upright_rail():
    upright = MOVE | {"slope": math.pi / 2, "back_efficiency": 0.1}
    weight = 2.4 * t.STANDARD_GRAVITY * 2e-3 / (2 * math.pi)
    up, rest, down = t.required_torque([1e-3, 0, -1e-3], 0, **upright)
    assert up == pytest.approx(weight / 0.4)
    assert rest == down == pytest.approx(weight * 0.1)  # held back by the motor, gently
    # a thread that locks itself holds without the motor, and must be driven down
    locked = t.required_torque([1e-3, 0, -1e-3], 0, **upright | {"back_efficiency": -0.7})
    assert locked[1] == 0
    assert locked[2] == pytest.approx(-0.7 * weight)


def test_a_screw_by_its_thread_or_by_its_efficiencies_is_the_same():
    thread = (9e-3, 2e-3, 0.18, FLANK)
    rail = MOVE | {"efficiency": t.screw_efficiency(*thread), "back_efficiency": t.back_efficiency(*thread),
                   "slope": math.pi / 2}
    weight = 2.4 * t.STANDARD_GRAVITY
    assert t.required_torque(1e-3, 0, **rail) == pytest.approx(t.raising_torque(weight, *thread))
    assert t.required_torque(-1e-3, 0, **rail) == pytest.approx(-t.lowering_torque(weight, *thread))


def test_the_usual_back_efficiency_is_the_default():
    ball = MOVE | {"efficiency": 0.9, "slope": math.pi / 2}
    assert t.required_torque(-1e-3, 0, **ball) == t.required_torque(-1e-3, 0, back_efficiency=2 - 1 / 0.9, **ball)


def test_required_torque_refuses():
    for wrong, said in (({"mass": -1}, "mass"), ({"efficiency": 1.2}, "efficiency"), ({"inertia": math.nan}, "inertia"),
                        ({"slope": 2.0}, "slope"), ({"travel_per_turn": 0.0}, "travel_per_turn")):
        with pytest.raises(ValueError, match=said):
            t.required_torque(1e-3, 0.01, **MOVE | wrong)
    with pytest.raises(ValueError, match="momentary_acceleration"):
        t.required_torque(1e-3, math.inf, **MOVE)


@given(torques=st.lists(st.floats(-5, 5), min_size=1, max_size=6), part=st.floats(0.1, 0.9))
def test_rms_does_not_change_when_a_phase_is_cut_in_two(torques, part):
    durations = np.arange(1, len(torques) + 1, dtype=float)
    whole = t.rms_torque(torques, durations)
    cut = t.rms_torque([*torques, torques[-1]], [*durations[:-1], part * durations[-1], (1 - part) * durations[-1]])
    assert cut == pytest.approx(whole, abs=1e-12)
    assert whole <= max(abs(x) for x in torques) + 1e-12


def test_rms_refuses():
    for torques, durations in (([1, math.nan], 1), ([1, 2], -1), ([1, 2], 0), ([], []), ([1], math.inf)):
        with pytest.raises(ValueError, match="durations"):
            t.rms_torque(torques, durations)
    assert t.rms_torque([3, 0], [1, 3]) == pytest.approx(1.5)
    assert t.rms_torque(np.ones((2, 3)), 1).shape == (2,)


# --- small effects

def test_drag_doubles_for_each_so_many_kelvin_of_cold():
    assert t.cold_drag(0.02, 293.15, 293.15, 20) == pytest.approx(0.02)
    assert t.cold_drag(0.02, 263.15, 293.15, 15) == pytest.approx(0.08)


def test_belts_stretch_and_friction_leaves_a_dead_zone():
    stiffness = t.belt_stiffness(1e5, 0.5)  # a belt that 100 N stretch by one in a thousand
    assert t.stretch(100, stiffness) == pytest.approx(0.5e-3)
    assert t.stretch(-100, stiffness) == -t.stretch(100, stiffness)
    assert t.stretch(2, stiffness) == pytest.approx(10e-6)


def test_weight_at_the_motor_shaft_when_the_power_is_off():
    weight = t.drive_force(3.1, 0, math.pi / 2, 0, 0, 0, t.STANDARD_GRAVITY)
    assert t.back_torque(weight, 4e-3, t.usual_back_efficiency(0.9)) == pytest.approx(
        3.1 * 9.80665 * 4e-3 / (2 * math.pi) * (2 - 1 / 0.9))
