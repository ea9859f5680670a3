"""The stack plan: frames, times, checks that can fail, mends that hold when applied."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from macrolib import plan, read_rig, read_shot
from macrolib.files import AUTO
from macrolib.physics import ramps
from macrolib.planning import checks, stillness
from macrolib.planning.checks import FAILS, HOLDS, NOT_COMPUTED, apply
from tests.planning.mended import assert_mended

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
SHOT, RIG = read_shot(DATA / "shots" / "moss-capsule.toml"), read_rig(DATA / "rigs" / "bench-screw.toml")
UPRIGHT = read_rig(DATA / "rigs" / "lab-ball-screw.toml")


def changed(holder, **tables):
    return dataclasses.replace(holder, **{t: dataclasses.replace(getattr(holder, t), **keys) for t, keys in tables.items()})


def test_the_demo_holds():
    assert plan(SHOT, RIG).verdict == HOLDS


# name of the check: a shot and a rig for which it fails
BREAK = {
    "sharpness at the frame edges": (changed(SHOT, stack={"spacing": 60e-6}), RIG),
    "aperture against the best": (changed(SHOT, picture={"f_number": 16.0}, stack={"spacing": 30e-6}), RIG),
    "position uncertainty against spacing": (changed(SHOT, stack={"spacing": 4e-6}), changed(RIG, driver={"microsteps": 1})),
    "room in front of the lens": (changed(SHOT, stack={"clearance_in_front": 40e-3}), RIG),
    "magnification of the lens": (changed(SHOT, picture={"magnification": 0.8}), RIG),
    "aperture of the lens": (changed(SHOT, picture={"f_number": 22.0}), RIG),
    "travel within the rail": (changed(SHOT, stack={"far_end": 0.2}), RIG),
    "pulse rate under the ceiling": (changed(SHOT, stack={"speed": 20e-3, "acceleration": 1.0}), RIG),
    "pulse rate under the ceiling ": (SHOT, changed(RIG, rail={"homing_speed": 20e-3})),
    "torque": (changed(SHOT, stack={"acceleration": 80.0, "speed": 5e-3}), RIG),
    "stays when power is off": (SHOT, changed(UPRIGHT, motor={"detent_torque": 5e-3})),
    "stays at hold current": (SHOT, changed(UPRIGHT, driver={"hold_current_share": 0.02})),
    "rail along the optical axis": (SHOT, changed(RIG, rail={"misalignment": 0.4})),
    "settling after a move": (changed(SHOT, stack={"acceleration": 5.0}, waits={"settling_wait": 0.01}), RIG),
    "quiet after the last footfall": (changed(SHOT, waits={"wait_before_move": 0.0}),
                                      changed(RIG, floor={"footfall_amplitude": 8e-3, "damping_ratio": 1e-4})),
    "shutter shock": (SHOT, changed(RIG, light={"kind": "lamp"}, camera={"shutter_shock": 80e-6})),
    "quiet subject": (changed(SHOT, subject={"natural_frequency": 6.0, "damping_ratio": 0.001}, waits={"wait_before_move": 0.0}),
                      changed(RIG, floor={"footfall_amplitude": 9e-3})),
    "sway in the draught": (changed(SHOT, subject={"natural_frequency": 6.0, "sway": 2e-3}), changed(RIG, light={"kind": "lamp"})),
    "lens stiffer than the stand": (SHOT, changed(RIG, lens={"support_stiffness": 1e3})),
    "drift with temperature": (SHOT, changed(RIG, rail={"warming": 90.0, "warming_time": 600.0})),
    "droop of the lens": (SHOT, changed(RIG, lens={"support_stiffness": 1e4})),
    "time allowed": (changed(SHOT, limits={"time": 120.0}), RIG),
    "subject stays still": (changed(SHOT, limits={"subject_still": 60.0}), RIG),
    "frames allowed": (changed(SHOT, limits={"frames": 20}), RIG),
    "motor current": (SHOT, changed(RIG, driver={"peak_current": 3.0})),
    "motor temperature": (SHOT, changed(RIG, motor={"thermal_resistance": 60.0})),
    "inertia ratio": (SHOT, changed(RIG, motor={"rotor_inertia": 2e-8})),
    "driver current": (SHOT, changed(RIG, driver={"largest_current": 0.5})),
    "driver voltage": (SHOT, changed(RIG, driver={"largest_voltage": 18.0})),
    "battery": (SHOT, changed(RIG, supply={"energy": 500.0})),
    "supply power": (SHOT, changed(RIG, supply={"power_limit": 2.0})),
}


def test_every_check_has_a_case_in_which_it_fails():
    stalk = changed(SHOT, subject={"natural_frequency": 6.0, "damping_ratio": 0.02, "sway": 1e-6})
    rigs = RIG, changed(RIG, supply={"energy": 3e5}, driver={"largest_current": 2.0, "largest_voltage": 30.0})
    named = {c.name for rig in rigs for c in plan(stalk, rig, mends=False).checks}
    assert named == {name.strip() for name in BREAK}


@pytest.mark.parametrize("name", BREAK)
def test_check_fails_and_its_mend_makes_it_hold(name):
    assert_mended(*BREAK[name], name.strip())


def test_a_stack_needs_plain_room_on_the_rail():
    """All its places are reached at rest, however fast the way to them is."""
    quick = plan(changed(SHOT, stack={"speed": 9e-3, "acceleration": 5e-3}), RIG, mends=False).check("travel within the rail")
    assert (quick.state, quick.figure, quick.limit) == (HOLDS, pytest.approx(3e-3), 0)
    low = changed(SHOT, stack={"near_end": -4e-3, "far_end": 1e-3})
    check = plan(low, RIG).check("travel within the rail")
    assert check.state == FAILS and plan(*apply(low, RIG, check.mend.key, check.mend.value)).check(check.name).state == HOLDS


@pytest.mark.parametrize("table, keys, names", [
    ("stand", {"natural_frequency": None}, ("settling after a move", "quiet after the last footfall")),
    ("stand", {"damping_ratio": None}, ("settling after a move", "quiet after the last footfall")),
    ("floor", {"footfall_amplitude": None}, ("quiet after the last footfall",)),
    ("floor", {"natural_frequency": None, "kind": "suspended concrete"}, ("quiet after the last footfall",)),
])
def test_missing_data_are_not_computed_and_the_preset_is_named(table, keys, names):
    made = plan(SHOT, changed(RIG, **{table: keys}))
    assert made.verdict == NOT_COMPUTED
    for name in names:
        assert made.check(name).state == NOT_COMPUTED and "preset" in made.check(name).why
    assert any("preset" in note for note in made.notes)


ends = st.floats(0.0, 0.17)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(near=ends, depth=st.floats(-8e-3, 8e-3), magnification=st.floats(1, 5), spacing=st.one_of(st.just(AUTO), st.floats(5e-6, 5e-4)),
       overlap=st.floats(0, 0.8), microsteps=st.sampled_from([1, 4, 16, 64]))
def test_frames_cover_the_depth_on_whole_pulses(near, depth, magnification, spacing, overlap, microsteps):
    shot = changed(SHOT, picture={"magnification": magnification},
                   stack={"near_end": near, "far_end": near + depth, "spacing": spacing, "overlap": overlap})
    rig = changed(RIG, driver={"microsteps": microsteps})
    made = plan(shot, rig, mends=False)
    q, places = made["travel_per_pulse"], made.schedule["position"][1]
    pulses = made.schedule["position_pulses"][1]
    assert np.issubdtype(pulses.dtype, np.integer) and np.allclose(pulses * q, places, rtol=0, atol=1e-15)
    low, high = min(near, near + depth), max(near, near + depth)
    assert places.min() <= low + q / 2 * (1 + 1e-9) and places.max() >= high - q / 2 * (1 + 1e-9)
    if len(places) > 1:
        steps = np.diff(places)
        assert np.allclose(steps, steps[0], atol=1e-12) and abs(steps[0]) > 0
        if spacing == AUTO:
            assert abs(steps[0]) <= max(made["sharp_depth"] * (1 - overlap), q) * (1 + 1e-9)
    times = np.ravel(np.column_stack([made.schedule[c][1] for c in ("arrive", "trigger", "expose", "ready")]))
    assert (np.diff(times) >= 0).all() and made.schedule["time_left"][1][-1] == 0


@settings(max_examples=30, deadline=None)
@given(first=st.integers(1, 100), length=st.integers(0, 60))
def test_resume_is_the_tail_of_the_whole(first, length):
    whole = plan(SHOT, RIG, mends=False)
    last = min(first + length, len(whole.schedule["frame"][1]))
    part = plan(changed(SHOT, stack={"first_frame": first, "last_frame": last}), RIG, mends=False)
    for column in ("frame", "position_pulses", "position"):
        assert np.array_equal(part.schedule[column][1], whole.schedule[column][1][first - 1:last])
    gaps, all_gaps = np.diff(part.schedule["trigger"][1]), np.diff(whole.schedule["trigger"][1])
    assert np.allclose(gaps, all_gaps[first - 1:last - 1])


def test_the_first_frame_waits_until_the_take_up_has_settled():
    """A move of 20 um in whole periods of a mode leaves nothing in it, the take-up of 37.5 um does."""
    mode = {"natural_frequency": 31.0, "damping_ratio": 0.01}
    rig = changed(RIG, stand=mode, carriage={"natural_frequency": None}, lens={"support_stiffness": None})
    shot = changed(SHOT, stack={"spacing": 20e-6, "acceleration": 20e-6 * 31.0**2 * (1 - 0.01**2), "speed": 5e-3}, waits={"tolerance": 0.1})
    made = plan(shot, rig, mends=False)
    arrive, trigger = (made.schedule[name][1] for name in ("arrive", "trigger"))
    waited = trigger[0] - arrive[0]
    assert waited > 0.3 > 10 * made["settling_wait"] and np.allclose((trigger - arrive)[1:], made["settling_wait"])
    left = stillness.Ringing.after_move(rig, ramps.trapezoid(37.5e-6, 5e-3, shot.stack.acceleration))
    check = made.check("settling after a move")
    assert check.state == HOLDS and left.amplitude(waited) <= stillness.tolerance(shot, rig) / 1.25 * (1 + 1e-9)
    hasty = plan(changed(shot, waits={"settling_wait": made["settling_wait"]}), rig, mends=False).check("settling after a move")
    assert hasty.state == FAILS and hasty.figure == pytest.approx(2 * 3.0 / 4.4e-6 * left.amplitude(made["settling_wait"]))


def test_the_energy_counts_every_move():
    made = plan(SHOT, UPRIGHT, mends=False)
    arrive, ready = (made.schedule[name][1] for name in ("arrive", "ready"))
    runs = sum(step[3] for step in made.approach) + (arrive[1:] - ready[:-1]).sum()
    motor, share = UPRIGHT.driver.peak_current**2 * UPRIGHT.motor.resistance, UPRIGHT.driver.hold_current_share
    rest = UPRIGHT.driver.idle_power + UPRIGHT.controller.idle_power + UPRIGHT.camera.power + UPRIGHT.light.power
    total = made["total_time"]
    energy = (motor * (runs + share**2 * (total - runs)) + rest * total) / UPRIGHT.supply.converter_efficiency
    assert made["energy"] == pytest.approx(energy) and made["mean_power"] == pytest.approx(energy / total)


def test_resume_outside_the_stack_is_refused():
    with pytest.raises(ValueError, match="within the stack of"):
        plan(changed(SHOT, stack={"first_frame": 5000}), RIG)


def test_frames_are_approached_from_one_side_after_the_take_up():
    up = plan(SHOT, RIG, mends=False)
    down = plan(changed(SHOT, stack={"near_end": 95.6e-3, "far_end": 92e-3}), RIG, mends=False)
    for made, sense in ((up, 1), (down, -1)):
        what, start, end, _ = made.approach[-1]
        assert what == "backlash take-up" and end == made.schedule["position_pulses"][1][0]
        assert sense * (end - start) * made["travel_per_pulse"] >= RIG.transmission.backlash
        assert (np.sign(np.diff(made.schedule["position_pulses"][1])) == sense).all()


def test_frame_cycle_counts_the_longest_of_write_recycle_and_pause():
    for keys, longest in (({"light": {"flash_recycle_time": 3.0}}, 3.0), ({"camera": {"write_time": 4.0}}, 4.0)):
        made = plan(SHOT, changed(RIG, **keys), mends=False)
        expected = made["settling_wait"] + RIG.camera.trigger_latency + SHOT.picture.exposure_time + longest
        assert made["frame_cycle"] == pytest.approx(expected, rel=1e-12)
    made = plan(changed(SHOT, stack={"pause": 9.0}), RIG, mends=False)
    assert made["frame_cycle"] == pytest.approx(made["settling_wait"] + RIG.camera.trigger_latency + SHOT.picture.exposure_time + 9.0)


@settings(max_examples=25, deadline=None)
@given(factor=st.floats(1.05, 3))
def test_settling_wait_follows_tolerance_magnification_and_damping(factor):
    rough = changed(SHOT, stack={"acceleration": 2.0})
    base = plan(rough, RIG, mends=False)["settling_wait"]
    def wait(shot, rig=RIG):
        return plan(shot, rig, mends=False)["settling_wait"]
    assert wait(changed(rough, waits={"tolerance": SHOT.waits.tolerance * factor})) < base
    more = min(0.9, RIG.stand.damping_ratio * factor)
    damped = changed(RIG, stand={"damping_ratio": more}, carriage={"damping_ratio": min(0.9, RIG.carriage.damping_ratio * factor)})
    assert wait(rough, damped) < base


def test_margin_of_a_zero_limit_is_the_difference():
    assert checks.Check("x", 0.0, 0.0, "1").state == HOLDS
    assert checks.Check("x", 0.1, 0.0, "1").state == FAILS
    assert checks.Check("x", 0.1, 0.0, "1", "at least").margin == pytest.approx(0.1)
    assert checks.Check("x", None, 1.0, "1").state == NOT_COMPUTED
    assert checks.Check("x", math.nan, 1.0, "1").state == NOT_COMPUTED


def test_a_stack_without_depth_is_one_frame():
    made = plan(changed(SHOT, stack={"near_end": 92e-3, "far_end": 92e-3}), RIG)
    assert list(made.schedule["frame"][1]) == [1]


def test_too_many_frames_are_refused():
    with pytest.raises(ValueError, match="frames"):
        plan(changed(SHOT, stack={"far_end": 9.0, "near_end": -9.0, "spacing": 1e-6}), RIG)


def test_measured_travel_is_used():
    from macrolib.rig import Measured
    rig = dataclasses.replace(RIG, measured=(("transmission.travel_per_turn", Measured(0.00201, 1e-7, "2030-01-01")),))
    assert plan(SHOT, rig, mends=False)["travel_per_pulse"] == pytest.approx(0.00201 / 3200)


@pytest.mark.parametrize("ramp", ["trapezoid", "jerk-limited", "minimum-jerk", "cycloidal", "half-sine", "versed-sine"])
def test_the_ramp_between_frames_is_the_one_that_the_shot_names(ramp):
    made = plan(changed(SHOT, stack={"ramp": ramp, "acceleration": 10e-3}), RIG, mends=False)
    move = made.moves["between frames"]
    assert move.distance == pytest.approx(made["spacing"]) and move.peak_acceleration <= 10e-3 * (1 + 1e-9)
    assert ("jerk" in made.settings) == (ramp not in ("trapezoid",) and math.isfinite(move.peak_jerk))
