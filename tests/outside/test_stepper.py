"""The stepping motor against the outside: published numbers, each with its source, and an independent calculation."""

import math

import numpy as np
import pytest

from macrolib.physics import stepper

WINDING = (1.5 * math.sqrt(2), 1.65, 2.8e-3, 0.40, 1.5, 50)  # amplitude, ohm, H, N m, rated A, teeth
MOTOR = {"rotor_teeth": 50, "holding_torque": 0.40, "inertia": 9.28e-6, "damping_ratio": 0.05}


def printed(value, digit):
    """A published number, right to half a unit of its last printed digit."""
    return pytest.approx(value, abs=0.5 * digit * (1 + 1e-9), rel=0)


# Share of the holding torque of one microstep, percent: the table of 'Microstepping: myths and realities', Machine
# Design (article seen, its table from memory).
@pytest.mark.parametrize(("microsteps", "percent", "digit"), [
    (1, 100, 0.01), (2, 70.71, 0.01), (4, 38.27, 0.01), (8, 19.51, 0.01), (16, 9.80, 0.01), (32, 4.91, 0.01),
    (64, 2.45, 0.01), (128, 1.23, 0.01), (256, 0.61, 0.01)])
def test_torque_of_one_microstep(microsteps, percent, digit):
    assert 100 * stepper.microstep_torque(1.0, microsteps) == printed(percent, digit)


def test_natural_frequency_from_a_measured_stiffness():
    """industrialmonitordirect, stepper resonance: 0.0032 N m for 0.3 deg and 4.8e-6 kg m^2 give 56.8 Hz.

    A stiffness is a torque of one radian: one 'tooth' and this torque.
    """
    assert stepper.natural_frequency(1, 0.0032 / math.radians(0.3), 4.8e-6) == printed(56.8, 0.1)


# Slowing of a pendulum with its amplitude, T / T_0: table of any mechanics text, from memory. The rotor is one,
# in electrical angle.
@pytest.mark.parametrize(("degrees", "slower"), [(10, 1.00191), (30, 1.01741), (45, 1.03997), (60, 1.07318), (90, 1.18034)])
def test_the_rotor_swings_like_a_pendulum(degrees, slower):
    assert 1 / stepper.swing_frequency(1.0, math.radians(degrees)) == printed(slower, 1e-5)


def test_step_angle_of_a_rotor_with_50_teeth():
    """Kosow, Electric Machinery and Transformers, 2nd ed., example 11-3, in FOSSEE Scilab Textbook Companion 1092: the
    full step is 90 deg over the teeth, 1.8 deg. In slow full steps the rotor is a sawtooth of that height."""
    step = math.radians(90 / 50)
    ripple = stepper.ripple(0.005, 4, **MOTOR | {"damping_ratio": 0.9})
    assert ripple.position_rms == pytest.approx(step / 4 / math.sqrt(12), rel=0.02)


def test_detent_of_a_data_sheet_motor():
    """42BYG228 (Mosaic data sheet): holding 2000 g cm, detent at most 220 g cm, 50 teeth.

    Its detent alone moves the rest positions by 0.13 deg, 7 % of a step: more than the 5 % step accuracy that other
    data sheets of the size state (42HS series), so that 220 is a limit and not a typical value.
    """
    holding, detent = (x * 9.80665e-5 for x in (2000, 220))
    error = stepper.position_error(detent, 0, 0, 0, holding, 50)
    assert math.degrees(error) == pytest.approx(0.126, abs=0.001)
    assert 0.05 < math.degrees(error) / 1.8 < 0.1


def test_holding_torque_of_two_phases_is_sqrt_2_times_that_of_one():
    """Acarnley, Stepping Motors, ch. 3, from memory. Trap: some data sheets state the one, some the other."""
    assert stepper.peak_torque(1.0, 1.0, 1.0) == printed(0.7071, 1e-4)


# --- an independent calculation (brute force over all current vectors, rad/s and N m) for a motor of 0.40 N m

@pytest.mark.parametrize(("voltage", "corner"), [(12, 27.73), (24, 62.37), (36, 96.66)])
def test_corner_speeds(voltage, corner):
    assert 2 * math.pi * stepper.corner_speed(voltage, *WINDING) == pytest.approx(corner, abs=0.015)


def test_corner_speed_at_the_rated_current_as_amplitude():
    assert 2 * math.pi * stepper.corner_speed(24, 1.5, *WINDING[1:]) == pytest.approx(78.93, abs=0.01)
    assert stepper.torque_at_speed(5.0, 24, 1.5, *WINDING[1:]) == printed(0.283, 0.001)


@pytest.mark.parametrize(("omega", "torque"), [(62.37, 0.4), (70, 0.3882), (80, 0.3572), (90, 0.3231), (100, 0.2915),
                                               (150, 0.1950), (200, 0.1464)])
def test_torque_beyond_the_corner(omega, torque):
    """Trap: going straight from the current limit to the voltage limit makes the torque jump up at the corner."""
    assert stepper.torque_at_speed(omega / (2 * math.pi), 24, *WINDING) == pytest.approx(torque, abs=1.2e-4)


def test_ripple_of_16_microsteps():
    """1 mm/s on an 8 mm lead: closed form 0.2916 um and 33.51 deg/s, another simulation 0.2915 um and 33.50 deg/s."""
    motion, ripple = stepper.simulate(1 / 8, 16, **MOTOR), stepper.ripple(1 / 8, 16, **MOTOR)
    assert 1e6 * stepper.shaft_travel(ripple.position_rms, 8e-3) == printed(0.2916, 1e-4)
    assert np.degrees(ripple.speed_rms) == printed(33.51, 0.01)
    assert 1e6 * stepper.shaft_travel(motion.position_rms, 8e-3) == pytest.approx(0.2915, rel=0.002)
    assert np.degrees(motion.speed_rms) == pytest.approx(33.50, rel=0.002)


@pytest.mark.parametrize(("amplitude", "frequency"), [(0.45, 231.40), (0.9, 224.67)])
def test_free_swings(amplitude, frequency):
    """Degrees at the shaft, Hz: integrated with scipy in another program."""
    natural = stepper.natural_frequency(50, 0.40, 9.28e-6)
    assert natural == pytest.approx(233.648, abs=2e-3)
    assert stepper.swing_frequency(natural, math.radians(50 * amplitude)) == pytest.approx(frequency, rel=1e-4)
