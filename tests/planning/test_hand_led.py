"""The hand-led plan: marks, lag, direction, checks that can fail, mends that hold when applied."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from macrolib import plan, read_rig, read_shot
from macrolib.planning.checks import HOLDS
from tests.planning.mended import assert_mended

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
SHOT, RIG = read_shot(DATA / "shots" / "seed-tray-hand-led.toml"), read_rig(DATA / "rigs" / "field-belt.toml")


def changed(holder, **tables):
    return dataclasses.replace(holder, **{t: dataclasses.replace(getattr(holder, t), **keys) for t, keys in tables.items()})


def test_the_demo_holds():
    assert plan(SHOT, RIG).verdict == HOLDS


BREAK = {
    "motion of the picture": (changed(SHOT, hand_led={"speed": 20e-3}), RIG),
    "lag behind the hand": (changed(SHOT, hand_led={"speed": 20e-3, "acceleration": 5e-3}), RIG),
    "travel within the rail": (changed(SHOT, hand_led={"overrun": 50e-3}), RIG),
    "pulse rate under the ceiling": (changed(SHOT, hand_led={"speed": 9e-3}), changed(RIG, controller={"pulse_ceiling": 4e3})),
    "torque": (changed(SHOT, hand_led={"acceleration": 90.0, "speed": 10e-3}), RIG),
    "time allowed": (changed(SHOT, limits={"time": 80.0}), RIG),
    "blur within an exposure": (changed(SHOT, limits={"blur": 2.0}), RIG),
    "ripple of the motor": (changed(SHOT, hand_led={"speed": 1.8e-3}), RIG),
    "speed off the motor's resonances": (changed(SHOT, hand_led={"speed": 8.5e-3}), RIG),
}


@pytest.mark.parametrize("name", BREAK)
def test_check_fails_and_its_mend_makes_it_hold(name):
    assert_mended(*BREAK[name], name)


@settings(max_examples=25, deadline=None)
@given(start=st.floats(0.02, 0.38), end=st.floats(0.02, 0.38), control=st.sampled_from(["same", "opposite"]),
       acceleration=st.floats(5e-3, 0.2))
def test_a_steady_hand_ends_on_the_mark_without_overshoot(start, end, control, acceleration):
    assume(abs(end - start) > 5e-3)
    made = plan(changed(SHOT, hand_led={"start_mark": start, "end_mark": end, "control": control, "acceleration": acceleration}),
                RIG, mends=False)
    places, q = made.schedule["position"][1], made["travel_per_pulse"]
    sense = np.sign(end - start)
    assert abs(places[0] - start) <= q and abs(places[-1] - end) <= q
    assert (sense * np.diff(places) >= -q).all() and (sense * (end - places) >= -q).all()
    assert np.abs(made.schedule["set_point"][1] - places).max() <= made["lag"] + q


def test_finer_microsteps_under_the_same_ceiling_are_slower():
    slow = changed(RIG, controller={"pulse_ceiling": 3e3})
    speeds = [plan(SHOT, changed(slow, driver={"microsteps": n}), mends=False)["speed"] for n in (8, 64, 256)]
    assert speeds[0] > speeds[1] > speeds[2]


def test_a_note_names_the_speeds_that_shake():
    """34 Hz of the camera on its carriage, 200 full steps a turn of 10 mm: 1.7 mm/s."""
    notes = " ".join(plan(SHOT, RIG, mends=False).notes)
    assert "1.7 mm/s (camera on its carriage)" in notes and "rotor" not in notes


@pytest.mark.parametrize("tables, says", [({"hand_led": {"speed": 1e-8}}, "raise hand_led.speed or"),
                                          ({"limits": {"image_speed": 1e-4}}, "raise limits.image_speed or")])
def test_too_many_frames_are_refused_with_the_key_that_asks_for_them(tables, says):
    with pytest.raises(ValueError, match=f"video frames: {says}"):
        plan(changed(SHOT, **tables), RIG)


def test_homing_is_judged():
    fast, name = changed(RIG, rail={"homing_speed": 80e-3}), "pulse rate under the ceiling"
    assert assert_mended(SHOT, fast, name).key == "rig.rail.homing_speed"
    assert plan(SHOT, fast, mends=False).check(name).why.endswith("the fastest is homing")


@pytest.mark.parametrize("home, way", [(0.0, 0.405), (0.3, 0.305)])
def test_homing_is_counted_from_the_farther_end_of_the_rail(home, way):
    made = plan(SHOT, changed(RIG, rail={"home_switch": home}), mends=False)
    assert made.approach[0][3] == pytest.approx(way / 10e-3)


@pytest.mark.parametrize("end", [40e-3, 40e-3 + 5e-7])
def test_marks_on_one_pulse_are_refused(end):
    with pytest.raises(ValueError, match="hand_led.end_mark must differ"):
        plan(changed(SHOT, hand_led={"end_mark": end}), RIG)
