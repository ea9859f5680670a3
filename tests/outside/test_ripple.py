"""A fact of the trade, common practice with no source: at high magnification 400 pulses a turn shake the picture, 25,600 do not.

The rig: the bench screw of the data (2 mm a turn, 1.8 degrees, detent 5 % of the torque that is set), its camera held stiffly,
three times life size, pixels of 4.4 um.
"""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from macrolib import read_rig
from macrolib.planning.ripple import motor_ripple, natural_frequency

BENCH = read_rig(Path(__file__).resolve().parents[2] / "notebooks" / "data" / "rigs" / "bench-screw.toml")
PIXELS = 3.0 / 4.4e-6  # px at the sensor for a metre of travel
COARSE, FINE = 2, 128  # microsteps: 400 and 25,600 pulses a turn


def rig(microsteps, detent=True, stiff=True):
    carriage = dataclasses.replace(BENCH.carriage, natural_frequency=None if stiff else BENCH.carriage.natural_frequency)
    return dataclasses.replace(BENCH, driver=dataclasses.replace(BENCH.driver, microsteps=microsteps), carriage=carriage,
                               motor=dataclasses.replace(BENCH.motor, detent_torque=BENCH.motor.detent_torque * detent))


def shake(speed, microsteps, **how):
    """px, peak to peak, at the sensor."""
    return motor_ripple(rig(microsteps, **how), speed).picture * PIXELS


def test_the_detent_is_realistic():
    strength = BENCH.motor.holding_torque / np.sqrt(2)  # peak current = rated current
    assert BENCH.driver.peak_current == BENCH.motor.rated_current
    assert 0.04 < BENCH.motor.detent_torque / strength < 0.06


@pytest.mark.parametrize("speed", [0.3e-3, 0.5e-3, 1e-3])
def test_400_pulses_shake_visibly_and_25600_are_smooth(speed):
    assert shake(speed, COARSE) > 1 > shake(speed, FINE)


def test_with_detent_the_two_differ_by_tens_not_by_millions():
    with_detent, without = (shake(1e-3, COARSE, detent=d) / shake(1e-3, FINE, detent=d) for d in (True, False))
    print(f"ratio of the two settings at 1 mm/s: {with_detent:.3g} with detent, {without:.3g} without")
    assert 8 < with_detent < 40 and without > 1e5


def test_where_it_stops_being_true():
    """Where full steps meet the rotor's natural frequency fine pulses shake as much as coarse ones; without detent they would not."""
    meets = natural_frequency(BENCH) * BENCH.travel_per_turn / 200
    assert meets == pytest.approx(2.19e-3, rel=0.01)
    near = 0.9 * meets  # at the very resonance 400 pulses a turn lose steps
    assert shake(near, FINE) > 1 and shake(near, FINE) > 0.3 * shake(near, COARSE)
    assert shake(near, FINE, detent=False) < 0.05


def test_where_it_stops_being_true_for_a_soft_mount():
    """The same where full steps meet the camera on its carriage, here 48 Hz: 0.48 mm/s."""
    meets = BENCH.carriage.natural_frequency * BENCH.travel_per_turn / 200
    assert shake(meets, FINE, stiff=False) > 5 and shake(meets, FINE) < 1


def test_where_both_are_smooth():
    """Far above the resonance the rotor no longer follows the full steps: neither setting shakes by a pixel."""
    assert shake(12e-3, FINE) < shake(12e-3, COARSE) < 0.2
