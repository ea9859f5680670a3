"""Jog: a mark is met within the tolerance by a hand that is late, no other speed is quicker, the limits are kept."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from macrolib import read_rig, read_shot
from macrolib.planning import film
from macrolib.planning.jog import jog

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
RIG = read_rig(DATA / "rigs" / "field-belt.toml")
SHOTS = {path.stem: read_shot(path) for path in sorted((DATA / "shots").glob("*.toml"))}
A = 10.0  # m/s^2, the most that a jog uses; this motor has more


def test_two_keys_against_numbers_worked_by_hand():
    found = jog(SHOTS["wing-case"], RIG, 60e-3)
    assert found.finest_move == pytest.approx(10e-3 / 200 / 32) and found.finest_pixels == pytest.approx(1.5625 * 1.2 / 3.7)
    # 10 px of 3.7 um at 1.2:1 are 30.8 um; a hand that is 0.25 s late may go 0.123 mm/s
    assert found.fine_speed == pytest.approx(10 * 3.7e-6 / 1.2 / 0.25, rel=1e-3)
    # without ramps D / v + v t / v_f is least at v = sqrt(D v_f / t), where both terms are equal
    assert found.coarse_speed == pytest.approx(math.sqrt(60e-3 * found.fine_speed / 0.25), rel=0.02)
    assert found.time == pytest.approx(2 * 60e-3 / found.coarse_speed, rel=0.03)
    assert found.fine_distance == pytest.approx(0.25 * found.coarse_speed)
    assert found.release == pytest.approx(0.25 * found.coarse_speed + found.coarse_speed**2 / (2 * A), rel=1e-3)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(list(SHOTS)), st.floats(1e-4, 0.3), st.floats(1, 100), st.floats(0.05, 1), st.floats(0, 1))
def test_a_late_hand_meets_the_mark(name, distance, tolerance, reaction, late):
    found = jog(SHOTS[name], RIG, distance, tolerance, reaction)
    stop = late * reaction * found.coarse_speed + found.coarse_speed**2 / (2 * A)  # travel after the key should be let go
    assert stop <= found.release * (1 + 1e-6)
    assert found.release - stop <= found.fine_distance * (1 + 1e-3) or found.fine_distance == pytest.approx(distance)
    over = late * reaction * found.fine_speed + found.fine_speed**2 / (2 * A)
    assert film.pixels_moved(SHOTS[name], RIG, over) <= tolerance * (1 + 1e-6)
    pulses_per_second = found.coarse_speed / found.finest_move
    assert found.fine_speed <= found.coarse_speed and pulses_per_second <= 0.95 * 0.8 * 40e3 * (1 + 1e-9)
    assert found.time == pytest.approx(found.coarse_time + found.fine_time) and found.time > 0


@pytest.mark.parametrize("name", SHOTS)
def test_no_other_coarse_speed_is_quicker(name):
    found, t = jog(SHOTS[name], RIG, 50e-3), 0.25
    for v in np.geomspace(found.fine_speed, 0.95 * 0.8 * 40e3 * found.finest_move, 60):
        rest = min(v * t, 50e-3)
        assert found.time <= (50e-3 - rest) / v + rest / found.fine_speed + (v + found.fine_speed) / A + 1e-4 * found.time


def test_finer_microsteps_set_finer_and_a_wider_tolerance_is_quicker():
    fine = dataclasses.replace(RIG, driver=dataclasses.replace(RIG.driver, microsteps=64))
    assert jog(SHOTS["wing-case"], fine, 0.06).finest_pixels == pytest.approx(jog(SHOTS["wing-case"], RIG, 0.06).finest_pixels / 2)
    times = [jog(SHOTS["wing-case"], RIG, 0.06, tolerance).time for tolerance in (2, 10, 50)]
    assert times == sorted(times, reverse=True)


@pytest.mark.parametrize("wrong", [{"distance": 0}, {"distance": math.inf}, {"reaction": 0}, {"tolerance": 0.4}, {"tolerance": math.nan}])
def test_refused(wrong):
    with pytest.raises(ValueError, match="0.507 px"):
        jog(SHOTS["wing-case"], RIG, **{"distance": 0.06, **wrong})


def test_a_motor_too_weak_to_move_is_said():
    weak = dataclasses.replace(RIG, motor=dataclasses.replace(RIG.motor, holding_torque=5e-3))
    with pytest.raises(ValueError, match="limits.torque_factor of 2.*motor.holding_torque"):
        jog(SHOTS["wing-case"], weak, 0.06)
