"""Motion on screen: counts of frames, brute-force exposures and lamps, geometry of axial moves."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from macrolib.formula import Formula, check_dimensions
from macrolib.physics import screen
from macrolib.physics.screen import (
    CROSSING_FRAMES, axial_shift, breathing, crossing_speed, crossing_time, exposure_time, flicker, flicker_beat,
    frame_blur, image_acceleration, image_speed, radial_blur, ramp_acceleration, skew)

FORMULAS = [f for n in screen.__all__ if isinstance(f := getattr(screen, n), Formula)]
rates = st.sampled_from([24000 / 1001, 24.0, 25.0, 30000 / 1001, 30.0, 48.0, 50.0, 60.0])


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda f: f.result.name)
def test_units_fit_and_the_source_is_named(formula):
    check_dimensions(formula)
    assert formula.source


@settings(max_examples=50, deadline=None)
@given(rates, st.floats(0.01, 2 * math.pi))
def test_the_shutter_opens_for_its_share_of_the_frame(rate, angle):
    exposure = exposure_time(angle, rate)
    assert exposure * rate == pytest.approx(angle / (2 * math.pi), rel=1e-12)
    assert exposure_time.solve_for("shutter_angle")(exposure, rate) == pytest.approx(angle, rel=1e-12)


def test_degrees_by_mistake_are_refused():
    with pytest.raises(ValueError, match="shutter_angle is 180 rad; allowed: above 0 and at most 6.28319"):
        exposure_time(180, 24)
    with pytest.raises(TypeError, match="missing: frame_rate"):
        exposure_time(math.pi)


@settings(max_examples=50, deadline=None)
@given(st.floats(1e-5, 0.02), st.floats(0.2, 6), st.floats(1e-6, 1e-5), rates, st.floats(0.1, 2 * math.pi))
def test_blur_within_a_frame_is_the_way_of_the_image_during_the_exposure(speed, magnification, pitch, rate, angle):
    travelled = speed * exposure_time(angle, rate) * magnification / pitch
    assert frame_blur(image_speed(speed, magnification, pitch, rate), angle) == pytest.approx(travelled, rel=1e-12)


@settings(max_examples=50, deadline=None)
@given(rates, st.floats(0.2, 6))
def test_the_crossing_rule_keeps_the_pixels_a_frame(rate, magnification):
    wait = crossing_time(CROSSING_FRAMES, rate)
    speed = crossing_speed(1920 * 6e-6, magnification, wait)
    assert image_speed(speed, magnification, 6e-6, rate) == pytest.approx(1920 / 168, rel=1e-12)


def test_a_ramp_in_frames_reaches_its_speed_after_them():
    acceleration = ramp_acceleration(2e-3, 24, 12)
    frames = np.arange(13)
    assert (acceleration * frames / 24)[-1] == pytest.approx(2e-3)
    assert acceleration * 0.5**2 / 2 == pytest.approx(2e-3 * 12 / (2 * 24))  # half the way of 12 frames at full speed
    pixels = 1.2 * (acceleration * (frames / 24)**2 / 2) / 4e-6
    assert np.diff(pixels, 2) == pytest.approx(image_acceleration(acceleration, 1.2, 4e-6, 24))


def test_skew_is_the_share_of_a_frame_that_is_read():
    assert skew(8, 24, 1 / 24) == pytest.approx(8)  # as long as a frame: one frame's way
    assert skew(8, 24, 0.010) == pytest.approx(1.92)
    assert skew(8, 24, 0) == 0


# --- axial moves

def test_radial_blur_is_the_change_of_scale_times_the_radius():
    distance, speed, exposure = 0.150, 1e-3, 1 / 48
    moved = speed * exposure
    exact = 1500 * (distance / (distance - moved) - 1)  # one plane seen from the entrance pupil, before and after
    assert radial_blur(1500, speed, exposure, distance) == pytest.approx(exact, rel=2e-4)
    assert radial_blur(0, speed, exposure, distance) == 0


def test_a_plane_stays_sharp_for_so_many_frames():
    depth = 0.24e-3
    assert depth / axial_shift(1e-3, 24) == pytest.approx(5.76)
    assert axial_shift(np.array([1e-3, 2e-3]), 25).tolist() == [4e-5, 8e-5]


@settings(max_examples=50, deadline=None)
@given(st.floats(0.3, 5), st.floats(-1e-4, 1e-4), st.floats(-1e-4, 1e-4))
def test_breathing_is_the_change_of_the_lens_equation(magnification, lens, sensor):
    f = 0.05
    image = f * (1 + magnification)
    after = (image + sensor - lens - f) / f
    assert breathing(sensor, lens, f) == pytest.approx(after - magnification, abs=1e-9)
    assert breathing(sensor, sensor, f) == 0  # the whole camera moves


# --- lamps

@settings(max_examples=50, deadline=None)
@given(st.floats(0.05, 1), st.sampled_from([100.0, 120.0, 217.0]), st.floats(0.001, 0.05))
def test_flicker_is_the_swing_of_the_mean_light(modulation, pulses, exposure):
    phase = np.linspace(0, 1, 256, endpoint=False)[:, None]
    time = (np.arange(400) + 0.5) / 400 * exposure
    means = (1 + modulation * np.sin(2 * np.pi * (phase + pulses * time))).mean(axis=1)
    assert flicker(modulation, pulses, exposure) == pytest.approx(np.ptp(means) / 2, abs=2e-4)


def test_whole_light_pulses_do_not_flicker():
    assert flicker(1, 100, 0.02) == pytest.approx(0, abs=1e-15)
    assert flicker(1, 100, 1 / 48) > 0.03  # 24 frames a second, half open, on 50 Hz mains
    assert flicker_beat(100, 24) == pytest.approx(4)
    assert flicker_beat(120, 24000 / 1001) == pytest.approx(0.11988, abs=1e-5)
    with pytest.raises(ValueError, match="modulation is 1.5 1; allowed"):
        flicker(1.5, 100, 0.02)


@settings(max_examples=50, deadline=None)
@given(st.floats(50, 1000), rates)
def test_the_beat_is_never_above_half_the_frame_rate(pulses, rate):
    beat = flicker_beat(pulses, rate)
    assert 0 <= beat <= rate / 2 * (1 + 1e-9)
    frames = np.arange(64) / rate  # the lamp seen once a frame looks like a lamp of the beat frequency
    assert np.cos(2 * np.pi * pulses * frames) == pytest.approx(np.cos(2 * np.pi * beat * frames), abs=1e-8)
