"""Preview of a traverse: its frames against exposures added up by brute force, its flashes against sequences made by hand."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from macrolib import plan, read_rig, read_shot
from macrolib.physics import optics, screen
from macrolib.planning.preview import MOST_FLASHES, Preview, flashes, texture

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
SHOT, RIG = read_shot(DATA / "shots" / "wing-case.toml"), read_rig(DATA / "rigs" / "field-belt.toml")
CRUISE = {"start": 8.0, "seconds": 1.0, "size": (24, 128)}


def of(**traverse):
    keys = {"speed": 0.94e-3, "acceleration": 1.7e-3} | traverse
    return plan(dataclasses.replace(SHOT, traverse=dataclasses.replace(SHOT.traverse, **keys)), RIG, mends=False)


PLAN = of()


def test_the_carriage_goes_as_the_schedule_says():
    seen = Preview(PLAN, seconds=30.0, size=(8, 16))
    assert seen.times == pytest.approx(PLAN.schedule["time"][1][:seen.times.size]) and seen.times.size > 600
    assert seen.travel(PLAN.schedule["time"][1]) + PLAN["start_position"] == pytest.approx(PLAN.schedule["position"][1], abs=1e-12)
    assert seen.travel(1e3) == pytest.approx(24e-3, abs=1e-6)  # and stays at its end


def test_speeds_of_the_picture_are_those_of_the_plan():
    seen, pulse = Preview(PLAN, **CRUISE), 1.5625e-6 * 1.2 / 3.7e-6
    assert seen.image_speeds.mean() == pytest.approx(PLAN["image_speed"], rel=0.01)
    assert np.abs(seen.image_speeds - PLAN["image_speed"]).max() <= pulse
    ramp = Preview(PLAN, seconds=1.0)
    assert (np.diff(ramp.image_speeds) >= -2 * pulse).all() and ramp.image_speeds[-1] > 0.9 * PLAN["image_speed"]


def _added(seen, number, count):
    """Frame `number` of a preview, added up from the travel by another interpolation, line by line."""
    camera, (down, across) = RIG.camera, seen.size
    wide, added = texture((down, 2 * across), seen.seed), np.zeros(seen.size)
    lines, columns = np.mgrid[:down, :across].astype(float)
    late = camera.readout_time * lines * seen.scale * camera.pixel_pitch / camera.sensor_height if seen.skewed else 0 * lines
    opened, exposure = seen.times[number], screen.exposure_time(math.pi, 24)
    for j in range(count):
        moved = seen.travel(opened + late + (j + 0.5) / count * exposure) * 1.2 / camera.pixel_pitch / seen.scale
        added += map_coordinates(wide, [lines, columns + moved], order=5, mode="grid-wrap") / count
    return added


@pytest.mark.parametrize("more", [{}, {"skewed": True}, {"ripple": 8e-6}, {"shrink": 2.0}, {"shrink": 1.0, "skewed": True}])
def test_a_frame_is_the_light_added_up_over_its_exposure(more):
    seen = Preview(PLAN, **CRUISE, **more)
    off = seen.light[5] - _added(seen, 5, 600)
    assert np.abs(off).max() < 0.015 and off.std() < 0.003


def test_blur_takes_the_contrast_that_the_smear_formula_says():
    seen = Preview(PLAN, **CRUISE, shrink=0.5)  # 6.35 px of the sensor are 12.7 of the preview
    blur, waves = screen.frame_blur(PLAN["image_speed"], math.pi) / 0.5, 5  # of the texture's own period, two pictures wide
    still = np.fft.rfft(texture((24, 256), 1))
    still[:, np.arange(129) != waves] = 0
    moments = seen.offsets[3][:, None] / 0.5 + np.arange(256)
    lines, columns = np.broadcast_arrays(np.arange(24)[:, None, None], moments)
    moved = map_coordinates(np.fft.irfft(still), [lines, columns], order=5, mode="grid-wrap").mean(axis=1)
    assert moved.std() / np.fft.irfft(still).std() == pytest.approx(optics.smear_mtf(waves / 256, blur), abs=0.01)
    assert seen.light[3] == pytest.approx(_added(seen, 3, 600), abs=0.015)


def test_skew_leans_as_far_as_its_formula_says():
    # the last line of the same frame, exposed late, is what the plain shutter would show so many pixels later
    plain, leaning = (Preview(PLAN, **CRUISE | {"size": (64, 96)}, shrink=4.0, skewed=skewed) for skewed in (False, True))
    assert leaning.light[5][0] == pytest.approx(plain.light[5][0])
    read = RIG.camera.readout_time * 63 * 4 * RIG.camera.pixel_pitch / RIG.camera.sensor_height
    skew = screen.skew(PLAN["image_speed"], 24, read) / 4
    turn = np.exp(2j * np.pi * np.arange(97) / 192 * skew)
    added = np.exp(2j * np.pi * np.multiply.outer(plain.offsets[5], np.arange(97)) / 192 / 4).mean(axis=0)
    wide = np.fft.rfft(texture((64, 192), 1)[-1]) * added
    assert leaning.light[5][-1] == pytest.approx(np.fft.irfft(wide * turn)[:96], abs=0.01)


def test_a_move_the_other_way_shifts_the_picture_the_other_way():
    back = of(start_mark=84e-3, end_mark=60e-3)
    there, other = (Preview(made, **CRUISE | {"size": (24, 256)}, shrink=2.0).light[:2] for made in (PLAN, back))
    moved = [np.real(np.fft.ifft(np.conj(np.fft.fft(a)) * np.fft.fft(b))).mean(axis=0) for a, b in (there, other)]
    shifts = [(np.argmax(m) + 128) % 256 - 128 for m in moved]
    assert shifts == [-6, 6]  # 12.7 px a frame on the sensor


def test_ripple_comes_only_when_asked():
    calm, rough = (Preview(PLAN, **CRUISE, ripple=ripple, ripple_travel=0.4e-3) for ripple in (0.0, 20e-6))
    assert np.ptp(calm.image_speeds) < 1 < 3 < np.ptp(rough.image_speeds)


def test_the_same_seed_gives_the_same_frames():
    assert (Preview(PLAN, **CRUISE).light == Preview(PLAN, **CRUISE).light).all()
    assert (Preview(PLAN, **CRUISE, seed=2).light != Preview(PLAN, **CRUISE).light).any()
    pattern = texture((90, 640), 1)
    assert 0.06 <= pattern.min() < 0.1 and 0.68 < pattern.max() <= 0.72


# --- nothing flashes
def _screen(values, share=1.0, size=(16, 40)):
    """A sequence whose left part has these luminances, the rest stays at the first."""
    made = np.full((len(values), *size), values[0], float)
    made[:, :, :round(share * size[1])] = np.array(values)[:, None, None]
    return made


def _square(per_second, low=0.2, high=0.7, rate=24, seconds=3):
    return [high if int(2 * per_second * k / rate) % 2 else low for k in range(rate * seconds)]


@pytest.mark.parametrize("per_second", [1, 2, 3, 4, 6, 12])
def test_flashes_are_counted(per_second):
    assert flashes(_screen(_square(per_second)), 24) == per_second


@pytest.mark.parametrize("values, share, count", [
    ([0.4] * 72, 1, 0), (_square(6, 0.4, 0.49), 1, 0), (_square(6, 0.4, 0.51), 1, 6), (_square(6, 0.81, 1.0), 1, 0),
    (_square(6, 0.79, 1.0), 1, 6), (_square(6), 0.2, 0), (_square(6), 0.3, 6), (list(np.linspace(0, 1, 72)), 1, 0)])
def test_what_counts_as_a_flash(values, share, count):
    assert flashes(_screen(values, share), 24) == count


def test_fine_patterns_balance_out_and_a_short_sequence_counts():
    checker = np.indices((16, 40)).sum(axis=0) % 2
    assert flashes([0.2 + 0.5 * (checker if k % 2 else 1 - checker) for k in range(48)], 24) == 0
    assert flashes(_screen([0.2, 0.7] * 5), 24) == 4  # nine changes


# The demo at two frame rates, slow and at the speed limit of the picture, whole width and enlarged.
SEQUENCES = [(of(frame_rate=rate, speed=speed), shrink)
             for rate in (24.0, 60.0) for speed in (0.94e-3, 5e-3) for shrink in (None, 4.0, 1.0)]


@pytest.mark.parametrize(("made", "shrink"), SEQUENCES)
@pytest.mark.parametrize("more", [{}, {"skewed": True}, {"ripple": 10e-6}], ids=["plain", "skewed", "ripple"])
def test_no_sequence_that_is_shown_flashes_more_than_three_times_a_second(made, shrink, more):
    seen = Preview(made, start=0.5, seconds=1.6, size=(32, 120), shrink=shrink, **more)
    assert flashes(seen.shown, seen.frame_rate) <= MOST_FLASHES
    if seen.flashes > MOST_FLASHES:  # all that is shown lies within a tenth: nothing can flash
        assert np.ptp(seen.shown) < 0.1
    else:
        assert seen.shown is seen.light
    assert np.ptp(seen.shown.mean(axis=(1, 2))) < 0.1, "the brightness of the whole picture hardly changes"


def test_some_sequences_must_be_calmed_and_some_need_not():
    counts = [Preview(made, start=0.5, seconds=1.6, size=(32, 120), shrink=shrink).flashes for made, shrink in SEQUENCES]
    assert min(counts) <= MOST_FLASHES < max(counts)


@pytest.mark.parametrize("wrong", [{"start": -1.0}, {"start": 27.0}, {"seconds": 0.01}, {"size": (4, 4)}, {"ripple": -1e-6},
                                   {"seconds": 26.0, "size": (1000, 1000)}])
def test_refused(wrong):
    with pytest.raises(ValueError, match="take|too many"):
        Preview(PLAN, **wrong)


def test_an_axial_move_is_refused():
    push = plan(read_shot(DATA / "shots" / "seed-tray-push-in.toml"), RIG, mends=False)
    with pytest.raises(ValueError, match="this is axial"):
        Preview(push)
