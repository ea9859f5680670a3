"""The traverse plan: marks, ramps, frames, takes, checks that can fail, mends that hold when applied."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from macrolib import plan, read_rig, read_shot
from macrolib.files import AUTO
from macrolib.planning import common
from macrolib.planning.checks import FAILS, HOLDS, NOT_COMPUTED, TIGHT, apply
from macrolib.shot import shot_text
from tests.planning.mended import assert_mended

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
SHOT, RIG = read_shot(DATA / "shots" / "wing-case.toml"), read_rig(DATA / "rigs" / "field-belt.toml")
PUSH, UPRIGHT = read_shot(DATA / "shots" / "seed-tray-push-in.toml"), read_rig(DATA / "rigs" / "lab-ball-screw.toml")


def changed(holder, **tables):
    return dataclasses.replace(holder, **{t: dataclasses.replace(getattr(holder, t), **keys) for t, keys in tables.items()})


@pytest.mark.parametrize("shot", [SHOT, PUSH], ids=["sideways", "axial"])
def test_the_demos_hold(shot):
    assert plan(shot, RIG).verdict == HOLDS


def quick(**more):
    return changed(SHOT, traverse={"speed": 40e-3, "acceleration": 0.5, **more})


BREAK = {
    "motion of the picture": (quick(), RIG),
    "frame rate of the camera": (changed(SHOT, traverse={"frame_rate": 40.0}), RIG),
    "focus along the move": (SHOT, changed(RIG, rail={"misalignment": 0.1})),
    "shift of focus in a frame": (changed(PUSH, traverse={"duration": 0.4}), RIG),
    "magnification of the lens": (changed(SHOT, picture={"magnification": 2.0}), RIG),
    "aperture of the lens": (changed(SHOT, picture={"f_number": 32.0}), RIG),
    "blur within an exposure": (changed(SHOT, limits={"blur": 2.0}), RIG),
    "depth of the subject": (changed(SHOT, subject={"depth": 2e-3}), RIG),
    "ringing after the ramp": (changed(SHOT, traverse={"acceleration": 2.0, "ramp": "trapezoid"}), RIG),
    "reaches its speed": (changed(SHOT, traverse={"speed": 20e-3, "acceleration": 3e-3}), RIG),
    "travel within the rail": (changed(SHOT, traverse={"start_mark": 2e-3, "ramps": "outside", "run_up": 12e-3}), RIG),
    "pulse rate under the ceiling": (changed(SHOT, traverse={"speed": 5e-3}), changed(RIG, controller={"pulse_ceiling": 3e3})),
    "pulse rate under the ceiling ": (SHOT, changed(RIG, rail={"homing_speed": 80e-3})),
    "torque ": (SHOT, changed(RIG, rail={"homing_speed": 0.9}, supply={"voltage": 7.0})),
    "torque": (changed(SHOT, traverse={"acceleration": 90.0, "speed": 20e-3}), RIG),
    "stays when power is off": (SHOT, changed(UPRIGHT, motor={"detent_torque": 5e-3}, lens={"lowest_magnification": 1.0})),
    "stays at hold current": (SHOT, changed(UPRIGHT, driver={"hold_current_share": 0.02})),
    "quiet at the start": (changed(quick(), waits={"settling_wait": 0.0}), changed(RIG, stand={"damping_ratio": 0.001})),
    "quiet after the last footfall": (changed(SHOT, waits={"wait_before_move": 0.0}),
                                      changed(RIG, floor={"footfall_amplitude": 9e-3, "damping_ratio": 1e-4})),
    "speed off the resonances": (changed(SHOT, traverse={"speed": 2.4e-3}), RIG),
    "ripple of the motor": (SHOT, changed(RIG, motor={"detent_torque": 13e-3})),
    "speed off the motor's resonances": (changed(SHOT, traverse={"speed": 8.5e-3}), RIG),
    "shutter shock": (SHOT, changed(RIG, camera={"shutter": "mechanical", "shutter_shock": 80e-6})),
    "quiet subject": (changed(SHOT, subject={"natural_frequency": 6.0, "damping_ratio": 0.002}, waits={"wait_before_move": 0.0}),
                      changed(RIG, floor={"footfall_amplitude": 9e-3})),
    "sway in the draught": (changed(SHOT, subject={"natural_frequency": 6.0, "sway": 2e-3}), RIG),
    "lens stiffer than the stand": (SHOT, changed(RIG, lens={"support_stiffness": 1e3})),
    "time allowed": (changed(SHOT, traverse={"takes": 60}), RIG),
    "motor current": (SHOT, changed(RIG, driver={"peak_current": 3.0})),
    "motor temperature": (SHOT, changed(RIG, motor={"thermal_resistance": 60.0})),
    "inertia ratio": (SHOT, changed(RIG, motor={"rotor_inertia": 2e-7})),
    "driver current": (SHOT, changed(RIG, driver={"largest_current": 0.5})),
    "battery": (SHOT, changed(RIG, supply={"energy": 300.0})),
    "supply power": (SHOT, changed(UPRIGHT, supply={"power_limit": 2.0})),
}


def test_every_check_has_a_case_in_which_it_fails():
    shocked = changed(RIG, camera={"shutter": "mechanical", "shutter_shock": 1e-6}, driver={"largest_current": 2.0})
    stalk = changed(SHOT, limits={"blur": 5.0}, subject={"natural_frequency": 6.0, "damping_ratio": 0.02, "sway": 1e-6})
    plans = [plan(stalk, shocked, mends=False), plan(PUSH, RIG, mends=False), plan(SHOT, UPRIGHT, mends=False)]
    assert {c.name for p in plans for c in p.checks} == {name.strip() for name in BREAK}


@pytest.mark.parametrize("slope", [-0.05, 0.05])
def test_misalignment_and_slope_add_up_whatever_their_signs(slope):
    skew = changed(RIG, rail={"misalignment": 0.05})
    check = plan(changed(SHOT, subject={"slope": slope}), skew, mends=False).check("focus along the move")
    assert check.figure == pytest.approx(24e-3 * math.tan(0.1))


def test_an_angle_beyond_the_right_one_is_judged_and_not_refused():
    made = plan(changed(SHOT, subject={"slope": -1.2}), changed(RIG, rail={"misalignment": 0.5}), mends=False)
    assert made.check("focus along the move").state == FAILS


def test_a_slope_that_is_too_steep_is_mended():
    shot = changed(SHOT, subject={"slope": 0.1})
    mend = plan(shot, RIG).check("focus along the move").mend
    assert mend.key == "shot.subject.slope" and plan(*apply(shot, RIG, mend.key, mend.value)).check("focus along the move").state == HOLDS


@pytest.mark.parametrize("name", BREAK)
def test_check_fails_and_its_mend_makes_it_hold(name):
    assert_mended(*BREAK[name], name.strip())


TIMED = {"motion of the picture": {"duration": 8.0}, "speed off the resonances": {"duration": 10.8},
         "ringing after the ramp": {"duration": 8.0, "ramp": "trapezoid", "ramp_frames": 1}, "time allowed": {"duration": 660.0}}


@pytest.mark.parametrize("name", TIMED)
def test_a_mend_keeps_to_the_key_of_a_pair_that_is_given(name):
    shot = changed(SHOT, traverse=TIMED[name])
    mend = plan(shot, RIG).check(name).mend
    again, rig = apply(shot, RIG, mend.key, mend.value)
    assert again.traverse.faults() == [] and plan(again, rig, mends=False).check(name).state == HOLDS


DOUBLED = [({"speed": 1e-3, "duration": 30.0}, ("speed", "duration")),
           ({"acceleration": 1e-2, "ramp_frames": 20}, ("acceleration", "ramp_frames")),
           ({"ramp": "minimum-jerk", "acceleration": 1e-2}, ("acceleration", "minimum-jerk")),
           ({"ramp": "cycloidal", "ramp_frames": 20}, ("ramp_frames", "cycloidal"))]


@pytest.mark.parametrize("keys, named", DOUBLED)
def test_two_keys_for_one_thing_are_refused_with_what_to_delete(keys, named, tmp_path):
    shot = changed(SHOT, traverse=keys)
    (tmp_path / "shot.toml").write_text(shot_text(shot))
    for use in (lambda: read_shot(tmp_path / "shot.toml"), lambda: plan(shot, RIG)):
        with pytest.raises(ValueError, match="delete") as caught:
            use()
        assert all(name in str(caught.value) for name in named)


def test_missing_data_are_not_computed():
    made = plan(SHOT, changed(RIG, stand={"natural_frequency": None}, carriage={"natural_frequency": None}), mends=False)
    assert made.check("quiet at the start").state == NOT_COMPUTED and made.check("ringing after the ramp").state == NOT_COMPUTED
    assert sum("preset" in note for note in made.notes) == 3


@pytest.mark.parametrize("ramp", ["minimum-jerk", "cycloidal", "trapezoid"])
def test_places_that_are_reached_at_rest_need_no_way_to_brake(ramp):
    made = plan(changed(SHOT, traverse={"ramp": ramp, "speed": 3e-3, "start_mark": -4e-3, "end_mark": 20e-3}), RIG, mends=False)
    check = made.check("travel within the rail")  # the take-up begins a little before the start mark
    assert check.state == HOLDS and check.limit == 0 and check.figure == pytest.approx(1e-3 - 1.5 * RIG.transmission.backlash, abs=2e-6)


@pytest.mark.parametrize("marks, stop", [((380e-3, 400e-3), 405e-3), ((20e-3, 0.0), -5e-3)])
def test_an_end_mark_that_is_passed_at_speed_leaves_the_way_to_brake(marks, stop):
    keys = {"ramps": "outside", "ramp": "jerk-limited", "speed": 4e-3, "start_mark": marks[0], "end_mark": marks[1]}
    for seconds, state in ((1.8, HOLDS), (2.2, TIGHT), (2.6, FAILS)):  # a ramp of 4 mm/s takes 2 mm for each second
        made = plan(changed(SHOT, traverse={**keys, "ramp_frames": round(24 * seconds)}), RIG, mends=False)
        check = made.check("travel within the rail")
        assert check.state == state
        assert (check.limit == 0) == (state == FAILS), "what lies beyond the stop is said first"
        if state != FAILS:
            assert check.figure == pytest.approx(abs(stop - marks[1])) and check.limit == pytest.approx(2e-3 * seconds, rel=0.02)


moves = {"start": st.floats(0.02, 0.35), "end": st.floats(0.02, 0.35), "ramps": st.sampled_from(["inside", "outside"]),
         "ramp": st.sampled_from(["auto", "trapezoid", "jerk-limited", "half-sine", "versed-sine"]), "rate": st.sampled_from([24.0, 60.0])}


@settings(max_examples=50, deadline=None)
@given(**moves, speed=st.one_of(st.just(AUTO), st.floats(5e-4, 0.03)), acceleration=st.one_of(st.just(AUTO), st.floats(2e-3, 0.5)))
def test_marks_frames_and_speed_are_kept(start, end, ramps, ramp, rate, speed, acceleration):
    assume(abs(end - start) > 1e-3)
    keys = {"start_mark": start, "end_mark": end, "ramps": ramps, "ramp": ramp, "frame_rate": rate, "speed": speed,
            "acceleration": acceleration}
    made = plan(changed(SHOT, traverse=keys), RIG, mends=False)
    q = made["travel_per_pulse"]
    pulses, times = made.schedule["position_pulses"][1], made.schedule["time"][1]
    sense = math.copysign(1, end - start)
    assert (sense * np.diff(pulses) >= 0).all() and np.allclose(np.diff(times), 1 / rate)
    assert times[-1] <= made["duration"] * (1 + 1e-9) and times[-1] > made["duration"] - 1.01 / rate
    assert sense * (start - made["start_position"]) >= -q and sense * (made["end_position"] - end) >= -q
    if ramps == "inside":
        assert abs(made["start_position"] - start) <= q and abs(made["end_position"] - end) <= q
    else:  # the speed is constant between the marks
        places, speeds = made.schedule["position"][1], np.abs(made.schedule["speed"][1])
        between = (sense * (places - start) >= q) & (sense * (end - places) >= q)
        assert np.allclose(speeds[between], made["speed"], rtol=1e-6)
    assert np.abs(made.schedule["speed"][1]).max() <= made["speed"] * (1 + 1e-9)


@settings(max_examples=30, deadline=None)
@given(duration=st.floats(4, 60), ramps=moves["ramps"], ramp=moves["ramp"])
def test_a_given_duration_is_kept_from_mark_to_mark(duration, ramps, ramp):
    made = plan(changed(SHOT, traverse={"duration": duration, "ramps": ramps, "ramp": ramp}), RIG, mends=False)
    between = made["duration"] - (2 * made["ramp_time"] if ramps == "outside" else 0)
    assert between == pytest.approx(duration, rel=2e-3)


@pytest.mark.parametrize("ramp", ["minimum-jerk", "cycloidal"])
def test_whole_moves(ramp):
    made = plan(changed(SHOT, traverse={"ramp": ramp, "duration": 10.0}), RIG, mends=False)
    assert made["duration"] == pytest.approx(10.0)
    assert "reaches its speed" not in {check.name for check in made.checks}, "a whole move always does"
    asked = plan(changed(SHOT, traverse={"ramp": ramp, "speed": made["speed"]}), RIG, mends=False)
    for name in ("speed off the resonances", "ripple of the motor", "speed off the motor's resonances"):
        assert asked.check(name).figure == pytest.approx(made.check(name).figure), "judged at the peak of the speed"
    bare = changed(RIG, stand={"natural_frequency": None}, carriage={"natural_frequency": None})
    assert not any("the acceleration is the preset" in note for note in plan(made.shot, bare, mends=False).notes)
    with pytest.raises(ValueError, match="no constant speed"):
        plan(changed(SHOT, traverse={"ramp": ramp, "ramps": "outside"}), RIG)


def test_ramp_in_video_frames():
    made = plan(changed(SHOT, traverse={"ramp_frames": 48, "speed": 3e-3, "ramp": "half-sine"}), RIG, mends=False)
    assert made["ramp_frames"] == pytest.approx(48) and made["ramp_time"] == pytest.approx(2.0)


def test_an_automatic_ramp_lasts_whole_periods_of_the_slowest_mode():
    made = plan(SHOT, RIG, mends=False)
    damped = RIG.stand.natural_frequency * math.sqrt(1 - RIG.stand.damping_ratio**2)
    assert made["ramp_time"] * damped == pytest.approx(round(made["ramp_time"] * damped), abs=1e-6)


def test_takes_and_return_runs_add_up():
    one, three = (plan(changed(SHOT, traverse={"takes": n}), RIG, mends=False) for n in (1, 3))
    again = one["duration"] + one["return_time"] + one["settling_wait"]
    assert three["total_time"] - one["total_time"] == pytest.approx(2 * again)


@pytest.mark.parametrize("takes", [1, 3])
def test_the_energy_counts_every_move(takes):
    made = plan(changed(SHOT, traverse={"takes": takes}), RIG, mends=False)
    runs = sum(step[3] for step in made.approach) + takes * made["duration"] + (takes - 1) * made["return_time"]
    still, full = made["total_time"] - runs, 1.2**2 * 2.6  # W in both phases, at 0.6 of the current when still
    energy = (full * (runs + 0.6**2 * still) + (0.5 + 0.3 + 3.5 + 8.0) * made["total_time"]) / 0.88
    assert made["energy"] == pytest.approx(energy) and made.check("battery").figure == pytest.approx(energy)


def test_the_return_run_takes_up_the_backlash():
    for marks in ((60e-3, 84e-3), (84e-3, 60e-3)):
        made = plan(changed(SHOT, traverse={"start_mark": marks[0], "end_mark": marks[1]}), RIG, mends=False)
        what, start, end, _ = made.approach[-1]
        assert what == "backlash take-up"
        sense = math.copysign(1, marks[1] - marks[0])
        assert sense * (end - start) * made["travel_per_pulse"] >= RIG.transmission.backlash


@pytest.mark.parametrize("keys", [{}, {"duration": 5.0}, {"ramp": "cycloidal"}, {"ramps": "outside"}])
@pytest.mark.parametrize("end", [60e-3, 60e-3 + 0.4 * 1.5625e-6])
def test_marks_on_one_pulse_are_refused(end, keys):
    with pytest.raises(ValueError, match="traverse.start_mark and traverse.end_mark must differ, by a pulse of 1.56 um"):
        plan(changed(SHOT, traverse={"end_mark": end, **keys}), RIG)


@pytest.mark.parametrize("tables, says", [
    ({"traverse": {"speed": 1e-9, "acceleration": 1e-3}}, "video frames: raise traverse.speed or"),
    ({"limits": {"image_speed": 1e-4}}, "video frames: raise limits.image_speed or"),
    ({"traverse": {"duration": 9e5}}, "video frames: shorten traverse.duration or"),
    ({"traverse": {"speed": 9.0}}, "last [^ ]* s to 9e.03 mm/s: give a traverse.acceleration, or lower traverse.speed"),
    ({"limits": {"image_speed": 9e4}, "waits": {"tolerance": 1e-3}}, "give a traverse.acceleration, or lower limits.image_speed"),
    ({"traverse": {"speed": 9e-3, "acceleration": 1e-6}}, "raise traverse.acceleration, or lower traverse.speed"),
    ({"traverse": {"ramp_frames": 90_000}}, "lower traverse.ramp_frames"),
    ({"traverse": {"duration": 7.0, "acceleration": 1e-9}}, "raise traverse.acceleration, or lengthen traverse.duration"),
])
def test_what_is_refused_names_the_key_that_asks_for_it(tables, says):
    with pytest.raises(ValueError, match=says):
        plan(changed(SHOT, **tables), RIG)


@pytest.mark.parametrize("rig", [{"motor": {"holding_torque": 1e-3}}, {"supply": {"voltage": 0.2}}])
@pytest.mark.parametrize("keys", [{"speed": 2e-3}, {}, {"duration": 12.0}])
def test_a_motor_without_torque_fails_the_check_of_torque_and_is_not_refused(rig, keys):
    weak = changed(RIG, **rig)
    made = plan(changed(SHOT, traverse=keys), weak)
    check = made.check("torque")
    assert check.state == FAILS and check.mend.key in ("rig.motor.holding_torque", "rig.supply.voltage")
    assert plan(*apply(made.shot, weak, check.mend.key, check.mend.value), mends=False).check("torque").state == HOLDS


@pytest.mark.parametrize("homing", [10e-3, 80e-3])
def test_runs_without_film_are_judged_and_set(homing):
    made = plan(SHOT, changed(RIG, rail={"homing_speed": homing}), mends=False)
    travel, acceleration = 60e-3 - 58 * made["travel_per_pulse"], made["acceleration"]  # the way to before the start is the longest
    assert made["return_speed"] == pytest.approx(math.sqrt(acceleration * travel))
    rate, torque = made.check("pulse rate under the ceiling"), made.check("torque")
    fastest = max(homing, made["return_speed"])
    assert rate.figure == pytest.approx(fastest / made["travel_per_pulse"])
    assert "homing" in rate.why if homing == fastest else "the way to the start or back" in rate.why
    assert torque.figure / torque.limit == pytest.approx(
        common.torque_available(RIG, fastest) / common.torque_needed(RIG, fastest, acceleration), rel=1e-6)


def test_the_return_run_keeps_within_the_torque_of_the_motor():
    soft = changed(RIG, supply={"voltage": 2.0}, driver={"peak_current": 0.4})
    shot = changed(SHOT, traverse={"start_mark": 300e-3, "end_mark": 324e-3, "acceleration": 0.05, "speed": 1e-3})
    made = plan(shot, soft, mends=False)
    top = 0.9 * 0.8 * 40e3 * made["travel_per_pulse"]
    assert common.acceleration_for_torque(soft, top, 2.0) < 0.05 and made["return_speed"] < 0.95 * top
    assert made.check("torque").state == HOLDS
