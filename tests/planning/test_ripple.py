"""Ripple of the motor in a plan: closed form against simulation, the mode between, bounded work, the map, the stored map."""

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.physics import stepper
from macrolib.planning import ripple
from macrolib.planning.checks import FAILS, HOLDS, NOT_COMPUTED
from macrolib.planning.film import pixels_moved
from tools import ripple_map as script

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
RIGS = {name: read_rig(DATA / "rigs" / f"{name}.toml") for name in ("bench-screw", "field-belt", "lab-ball-screw")}
BENCH, BELT = RIGS["bench-screw"], RIGS["field-belt"]
WING = read_shot(DATA / "shots" / "wing-case.toml")


def changed(holder, **tables):
    return dataclasses.replace(holder, **{t: dataclasses.replace(getattr(holder, t), **keys) for t, keys in tables.items()})


def both(rig, speed, mode):
    """(closed form, simulation): each motor and picture peak to peak, rms of the picture, and the doubt or in step."""
    values = ripple.motor(rig)
    key = speed / rig.travel_per_turn, rig.driver.microsteps, mode, *values.values()
    return np.array(ripple._closed(*key)), np.array(ripple._simulated(*key), float)


@pytest.mark.parametrize("name", RIGS)
def test_the_closed_form_that_plans_trust_agrees_with_the_simulation(name):
    """Where it is trusted: within 10 %, or 1 % of the rotor's own ripple where the mode leaves less than that."""
    errors = []
    for microsteps in (8, 32, 64):
        rig = changed(RIGS[name], driver={"microsteps": microsteps})
        for speed in np.geomspace(0.3e-3, 12e-3, 7):
            closed, simulated = both(rig, speed, ripple.structure(rig))
            if closed[3] < ripple.DOUBT:
                errors.append(abs(closed[1:3] - simulated[1:3]) / np.maximum(simulated[1:3], 0.1 * simulated[0]))
    print(f"{name}: the closed form is trusted at {len(errors)} of 21; worst errors {np.max(errors, axis=0)}")
    assert len(errors) >= 5 and np.max(errors) < 0.1


def test_behind_a_mode_as_simulated_with_it():
    """Filtered afterwards, or with the mode in the simulation: the same."""
    mode, values = (60.0, 0.1), ripple.motor(BELT)
    motion = stepper.simulate(0.2, 4, structure=mode, **values)
    _, found = both(changed(BELT, driver={"microsteps": 4}), 0.2 * BELT.travel_per_turn, mode)
    assert found[1] == pytest.approx(motion.picture_peak_to_peak, rel=0.01)
    assert found[2] == pytest.approx(motion.picture_rms, rel=0.01)


def test_micrometres_and_pixels():
    found = ripple.motor_ripple(BELT, 0.7e-3, WING)
    assert found.pixels == pytest.approx(found.picture * 1.2 / 3.7e-6) == pytest.approx(pixels_moved(WING, BELT, found.picture))
    assert found.rms_pixels / found.pixels == pytest.approx(found.rms / found.picture)
    assert ripple.motor_ripple(BELT, 0.7e-3).pixels is None
    assert found.picture > found.motor  # 14 Hz: the mode of 34 Hz lifts it
    stiff = ripple.motor_ripple(changed(BELT, carriage={"natural_frequency": None}), 0.7e-3)
    assert stiff.picture == pytest.approx(stiff.motor)


def test_slow_moves_ring_out_between_pulses_and_cost_no_more():
    slow, slower = (ripple.motor_ripple(changed(BENCH, driver={"microsteps": 1}), speed) for speed in (1e-5, 1e-12))
    assert slow == slower and slow.method == ripple.SIMULATION
    assert slow.motor > 1.5 * BENCH.travel_per_turn / 200  # a full step, and the swing beyond it


def test_out_of_step_fails_with_the_least_that_is_lost():
    rig = changed(BELT, driver={"microsteps": 1}, motor={"detent_torque": 20e-3})
    speed = 0.9 * ripple.natural_frequency(rig) * rig.travel_per_turn / 200
    found = ripple.motor_ripple(rig, speed, WING)
    assert not found.in_step and found.motor == pytest.approx(4 * rig.travel_per_turn / 200)
    check = ripple.ripple_checks(WING, rig, speed)[0]
    assert check.state == FAILS and "out of step" in check.why


def test_mends_are_looked_for_without_simulations(monkeypatch):
    calls, real = [], stepper.simulate
    monkeypatch.setattr(stepper, "simulate", lambda *a, **k: calls.append(a) or real(*a, **k))
    ripple._simulated.cache_clear()
    made = plan(changed(WING, traverse={"speed": 8.5e-3}), BELT)
    assert made.check("ripple of the motor").mend is not None or made.check("ripple of the motor").state == HOLDS
    assert made.check("speed off the motor's resonances").mend is not None
    assert len(calls) == 1
    plan(changed(WING, traverse={"speed": 8.5e-3}), BELT)
    assert len(calls) == 1  # kept for the next time
    left_out = ripple.ripple_checks(WING, BELT, 8.5e-3, simulate=False)[0]
    assert left_out.state == NOT_COMPUTED and "closed form" in left_out.why


def test_resonances_that_count():
    natural = ripple.natural_frequency(BELT)
    def nearest(speed, **more):
        return ripple.ripple_checks(WING, changed(BELT, **more), speed)[1]
    at = natural * BELT.travel_per_turn / 200
    assert nearest(at).figure == pytest.approx(0, abs=1e-9) and "full steps" in nearest(at).why
    assert nearest(1.25 * at).state == HOLDS and nearest(0.75 * at).state == HOLDS
    # twice as fast only where the detent is stronger than the damping
    assert nearest(2 * at).state == HOLDS and nearest(2 * at, motor={"detent_torque": 20e-3}).state == FAILS
    # pulses only where they are coarse enough to be seen
    for microsteps, seen in ((4, True), (64, True), (256, False)):
        assert (nearest(at / microsteps, driver={"microsteps": microsteps}).state == FAILS) == seen, microsteps
    assert "2 times the pulses" in nearest(at / 8, driver={"microsteps": 4}).why


def test_automatic_speeds_keep_off_the_motors_resonances():
    rig = changed(BELT, stand={"natural_frequency": None}, carriage={"natural_frequency": None})
    at = ripple.natural_frequency(rig) * rig.travel_per_turn / 200
    wide = changed(WING, waits={"tolerance": 5.0})
    found = ripple.quiet_speed(wide, rig, at)
    assert 0.7 * at < found < 0.81 * at
    assert [c.state for c in ripple.ripple_checks(wide, rig, found)] == [HOLDS, HOLDS]
    loud = changed(rig, motor={"detent_torque": 60e-3})  # no speed is quiet: off the resonance at least
    assert ripple.quiet_speed(WING, loud, at) < 0.81 * at


def test_map_agrees_with_single_speeds_and_tells_how_far_it_is():
    heard, speeds, settings = [], np.array([0.4e-3, 4e-3]), [2, 32]
    found = ripple.ripple_map(BENCH, speeds, settings, heard.append)
    assert found.motor.shape == found.picture.shape == found.in_step.shape == (2, 2)
    assert heard == sorted(heard) and 0 <= heard[0] and 0.9 < heard[-1] < 1
    for i, speed in enumerate(speeds):
        for j, microsteps in enumerate(settings):
            _, alone = both(changed(BENCH, driver={"microsteps": microsteps}), speed, ripple.structure(BENCH))
            assert found.motor[i, j] == pytest.approx(stepper.shaft_travel(alone[0], BENCH.travel_per_turn), rel=0.01)
            assert found.picture[i, j] == pytest.approx(stepper.shaft_travel(alone[1], BENCH.travel_per_turn), rel=0.01, abs=5e-9)


def test_the_stored_map_is_what_its_script_writes():
    kept = json.loads(script.MAP_FILE.read_text("utf-8"))
    values = np.array(kept["peak_to_peak_in_full_steps"], float)
    axes = [kept[n] for n in ("full_steps_over_natural_frequency", "microsteps", "detent_share", "damping_ratio")]
    assert axes == [script.RATIOS.tolist(), script.MICROSTEPS, script.SHARES, script.DAMPING]
    assert values.shape == tuple(map(len, axes)) and 0 < np.isnan(values).mean() < 0.05
    some = np.ix_([12, 22, 28], [0, 2, 5], [0, 2], [1, 3])
    again = script.made(*(np.array(axis)[index.ravel()] for axis, index in zip(axes, some)))
    np.testing.assert_allclose(again, values[some], rtol=0.03)  # full steps near a resonance never quite settle
    assert script.text(values) == script.MAP_FILE.read_text("utf-8")
