"""Mends: within the ranges, in the key that was given, without harm to other checks, and found with few plans."""

import dataclasses
import re
from pathlib import Path

import pytest

import macrolib.planning
from macrolib import plan, read_rig, read_shot
from macrolib.physics import optics
from macrolib.planning.budget import blur_budget
from macrolib.planning.checks import FAILS, HOLDS, NO_MEND, TIGHT, apply
from macrolib.planning.front import fewest_frames
from macrolib.planning.output import settings_html, text_table
from macrolib.rig import Measured
from tests.planning.mended import assert_mended, worse

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
BENCH, BELT, UPRIGHT = (read_rig(DATA / "rigs" / f"{name}.toml") for name in ("bench-screw", "field-belt", "lab-ball-screw"))
MOSS, WING, PUSH, HAND = (read_shot(DATA / "shots" / f"{name}.toml")
                          for name in ("moss-capsule", "wing-case", "seed-tray-push-in", "seed-tray-hand-led"))


def changed(holder, **tables):
    return dataclasses.replace(holder, **{t: dataclasses.replace(getattr(holder, t), **keys) for t, keys in tables.items()})


# Many faults at once: of picture, drive, waits, heat and limits. Then what cost most to mend.
BAD = {
    "film": (changed(WING, traverse={"speed": 40e-3, "acceleration": 0.5, "frame_rate": 40.0, "takes": 60}, limits={"blur": 0.1},
                     subject={"depth": 5e-3}, picture={"f_number": 32.0, "magnification": 5.0}),
             changed(BELT, driver={"peak_current": 3.0, "hold_current_share": 0.01}, motor={"thermal_resistance": 60.0},
                     rail={"misalignment": 0.3}, supply={"energy": 300.0})),
    "stack": (changed(MOSS, stack={"speed": 40e-3, "acceleration": 50.0, "spacing": 200e-6, "far_end": 0.3},
                      limits={"time": 10.0, "frames": 2}, picture={"f_number": 32.0, "magnification": 20.0}),
              changed(UPRIGHT, driver={"peak_current": 3.0}, motor={"thermal_resistance": 60.0}, rail={"misalignment": 0.3},
                      supply={"energy": 300.0, "power_limit": 1.0})),
    "film of 0.001 px": (changed(WING, waits={"tolerance": 1e-3}), BENCH),
    "push-in of 0.001 px": (changed(PUSH, waits={"tolerance": 1e-3}), UPRIGHT),
    "hand of 0.001 px": (changed(HAND, waits={"tolerance": 1e-3}), BELT),
    "144,001 frames": (changed(MOSS, stack={"near_end": 10e-3, "far_end": 154e-3, "spacing": 1e-6}), UPRIGHT),
}


@pytest.mark.parametrize("name", BAD)
def test_every_bad_check_is_mended_or_says_that_none_was_found_after_few_plans(name, monkeypatch):
    shot, rig = BAD[name]
    planner, sizes = macrolib.planning.PLANNERS[shot.kind], []

    def counted(*arguments, **named):
        made = planner(*arguments, **named)
        sizes.append(len(made.schedule))
        return made
    monkeypatch.setitem(macrolib.planning.PLANNERS, shot.kind, counted)
    made = plan(shot, rig)
    bad = [c for c in made.checks if c.state in (FAILS, TIGHT)]
    assert bad and len(sizes) <= 200, "some 10 to 20 ms each: two seconds"
    assert sum(size > 0 for size in sizes) <= 1 + 2 * len(bad), "schedules are for plans, not for trials"
    for check in bad:
        assert check.mend or check.why.endswith(NO_MEND)
    for check in [c for c in bad if c.mend][:4]:
        again = plan(*apply(shot, rig, check.mend.key, check.mend.value), mends=False)
        assert again.check(check.name).state == HOLDS and worse(made, again) == set(check.mend.breaks)


def test_where_no_number_mends_the_plan_says_so_in_words():
    """A pulse of 50 um is more than the depth that is sharp, and the lens has no other aperture."""
    coarse = changed(BENCH, transmission={"diameter": 12e-3, "pitch": 10e-3}, driver={"microsteps": 1}, motor={"step_accuracy": 0.0},
                     lens={"lowest_f_number": 2.8, "highest_f_number": 2.8})
    made = plan(changed(MOSS, picture={"magnification": 5.0}), coarse)
    check = made.check("sharpness at the frame edges")
    assert check.state == FAILS and check.mend is None and check.why.endswith(NO_MEND)
    assert NO_MEND in text_table(made) and NO_MEND in settings_html(made)


# --- ranges
def test_an_aperture_beyond_the_lens_is_never_proposed():
    """5 mm of depth would ask for f/40 and more; the lens ends at f/22."""
    mend = assert_mended(changed(WING, subject={"depth": 5e-3}), BELT, "depth of the subject")
    assert mend.key == "shot.subject.depth" and not mend.breaks
    deep = assert_mended(changed(WING, subject={"depth": 1.5e-3}), changed(BELT, lens={"highest_f_number": 14.5}), "depth of the subject")
    assert deep.key != "shot.picture.f_number" or deep.value <= 14.5


@pytest.mark.parametrize("start, most, offered", [(1, 256, {2, 4, 8, 16}), (3, 32, {4, 8, 16, 32}), (1, None, {2, 4, 8, 16})])
def test_microsteps_are_powers_of_two_that_the_driver_offers(start, most, offered):
    exact = changed(BENCH, motor={"step_accuracy": 0.0, "detent_torque": 0.0}, driver={"microsteps": start, "most_microsteps": most})
    shot = changed(MOSS, stack={"spacing": 25e-6, "far_end": 92.3e-3}, limits={"time": None, "subject_still": None})
    rig = changed(exact, transmission={"diameter": 20e-3, "pitch": 16e-3})
    mend = assert_mended(shot, rig, "position uncertainty against spacing")
    assert mend.key == "rig.driver.microsteps" and mend.value in offered
    assert ("if the driver offers it" in mend.text) == (most is None)
    half = apply(shot, rig, mend.key, mend.value // 2)
    assert mend.value // 2 <= start or plan(*half, mends=False).check("position uncertainty against spacing").state != HOLDS


def test_a_driver_at_its_finest_gets_another_mend():
    coarse = changed(BENCH, driver={"microsteps": 1, "most_microsteps": 1}, motor={"step_accuracy": 0.0, "detent_torque": 0.0})
    mend = assert_mended(changed(MOSS, stack={"spacing": 10e-6, "far_end": 92.3e-3}), coarse, "position uncertainty against spacing")
    assert mend.key == "shot.stack.spacing"


# --- the key that was given
@pytest.mark.parametrize("given", ["f_number", "effective_f_number", "numerical_aperture"])
def test_an_aperture_is_mended_in_the_key_that_was_given(given):
    m, pupil = WING.picture.magnification, BELT.lens.pupil_ratio
    value = optics.aperture(m, pupil, f_number=5.6)._asdict()[given]
    shot = changed(WING, picture={"f_number": None, given: value})
    mend = assert_mended(shot, BELT, "depth of the subject")
    assert mend.key == f"shot.picture.{given}"
    marked = plan(*apply(shot, BELT, mend.key, mend.value), mends=False)["f_number"]
    assert 5.6 < marked < 9 and (mend.value < value) == (given == "numerical_aperture")


def test_a_measured_value_is_where_the_turning_begins():
    weak = dataclasses.replace(BENCH, measured=(("motor.detent_torque", Measured(1e-3, 1e-4, "2030-01-31")),))
    steep = changed(weak, transmission={"starts": 4}, rail={"tilt": 1.57})
    mend = assert_mended(MOSS, steep, "stays when power is off")
    needed = plan(MOSS, steep, mends=False).check("stays when power is off").figure
    assert mend.key == "rig.motor.detent_torque" and 2 * needed <= mend.value < 2.1 * needed


# --- mends that were missing
def test_the_supply_is_spared_by_a_smaller_current():
    mend = assert_mended(MOSS, changed(BENCH, supply={"power_limit": 9.0}), "supply power")
    assert mend.key == "rig.driver.peak_current"


def test_a_room_above_the_limit_of_the_motor_asks_for_another_motor():
    hot = changed(BENCH, room={"temperature": 315.0}, motor={"case_limit": 313.0})
    assert assert_mended(MOSS, hot, "motor temperature").key == "rig.motor.case_limit"


@pytest.mark.parametrize("ends", [(92e-3, 145e-3), (145e-3, 92e-3)])
def test_room_in_front_of_the_lens_whichever_end_comes_first(ends):
    near, far = ends
    shot = changed(MOSS, stack={"near_end": near, "far_end": far}, limits={"frames": None, "time": None, "subject_still": None})
    mend = assert_mended(shot, BENCH, "room in front of the lens")
    assert mend.key == "shot.stack.far_end" and abs(mend.value - near) < abs(far - near)


@pytest.mark.parametrize("ends", [(-4e-3, -1e-3), (0.1824, 0.186)])
def test_ends_of_a_stack_beyond_the_rail(ends):
    shot = changed(MOSS, stack=dict(zip(("near_end", "far_end"), ends)), limits={"frames": None, "time": None, "subject_still": None})
    assert assert_mended(shot, BENCH, "travel within the rail").key.startswith(("shot.stack.", "rig.rail."))


# --- a frequency that nothing passes
@pytest.mark.parametrize("shot, rig", [(MOSS, BENCH), (WING, BELT), (HAND, BELT)], ids=["stack", "film", "hand-led"])
def test_a_frequency_at_or_beyond_the_cutoff_is_refused_in_words(shot, rig):
    made = plan(shot, rig, mends=False)
    cutoff = optics.cutoff_frequency(shot.picture.wavelength, made["effective_f_number"])
    for factor in (1.0, 3.0):
        with pytest.raises(ValueError, match=rf"shot\.picture\.frequency is .* 1/mm.*cutoff of {re.escape(f'{cutoff / 1e3:.4g}')} 1/mm"):
            plan(changed(shot, picture={"frequency": factor * cutoff}), rig)
        with pytest.raises(ValueError, match="frequency is .*cutoff"):
            blur_budget(made, factor * cutoff)
    assert plan(changed(shot, picture={"frequency": 0.9 * cutoff}), rig, mends=False)["sharp_depth"] > 0


def test_a_front_at_a_frequency_that_no_aperture_passes_is_refused():
    widest = optics.effective_f_number(BENCH.lens.lowest_f_number, 3.0, BENCH.lens.pupil_ratio)
    cutoff = optics.cutoff_frequency(MOSS.picture.wavelength, widest)
    with pytest.raises(ValueError, match="frequency is .*cutoff"):
        fewest_frames(MOSS, BENCH, 0.5, cutoff)
    with pytest.raises(ValueError, match=r"shot\.picture\.frequency is .*cutoff"):
        fewest_frames(changed(MOSS, picture={"frequency": 1.1 * cutoff}), BENCH, 0.5)
