"""Following, tilt, frame rates and flashes against published numbers; each check names its source."""

import math

import numpy as np
import pytest

from macrolib.physics import following, screen, tilt
from macrolib.planning.preview import MOST_FLASHES, flashes

MPH = 1609.344 / 3600

# The Highway Code (UK), rule 126, typical stopping distances: mph: (thinking, braking) in m; table as retold on
# johnfoote.co.uk/stoppingdistancesexplained.htm and ken-neal.co.uk/stoppingdistances.html.
CODE = {20: (6, 6), 30: (9, 14), 40: (12, 24), 50: (15, 38), 60: (18, 55), 70: (21, 75)}


def _fitted():
    """(reaction time, deceleration) from the first and the last row alone."""
    return CODE[20][0] / (20 * MPH), (70 * MPH)**2 / (2 * CODE[70][1])


@pytest.mark.parametrize("mph", CODE)
def test_stopping_distances_of_the_highway_code(mph):
    delay, deceleration = _fitted()
    thinking, braking = CODE[mph]
    assert following.stopping_distance(mph * MPH, deceleration, 0.0) == pytest.approx(braking, abs=0.6)
    assert following.stopping_distance(mph * MPH, deceleration, delay) == pytest.approx(thinking + braking, abs=0.8)


def test_the_carriage_that_follows_needs_the_same_way_to_stop_as_the_table():
    # the same law simulated, with a car in the place of the carriage: a leader that stops at once from 60 mph
    times, speed = np.arange(0, 30, 0.02), 60 * MPH
    leader = speed * np.minimum(times, 20)
    _, deceleration = _fitted()
    places = following.follow(times, leader, 2 * speed, deceleration)
    lag = (leader - places)[round(19.9 / 0.02)]
    assert lag == pytest.approx(CODE[60][1], abs=0.6) and places.max() <= leader[-1] * (1 + 1e-12)


def test_one_minute_of_angle():
    # at 100 yards one minute of angle is 1.047 inches, a number that marksmen learn (from memory)
    assert tilt.misalignment(3600 * 25.4e-3, math.radians(1 / 60)) == pytest.approx(1.047 * 25.4e-3, rel=5e-4)


def test_gradients_of_roads():
    # a road sign of 1 in 5 is a gradient of 20 %, 11.3 degrees; 1 in 4 is 25 %, 14.0 degrees (from memory)
    for one_in, degrees in ((5, 11.3), (4, 14.0)):
        angle = tilt.misalignment.solve_for("tilt_angle")(1.0, float(one_in))
        assert math.degrees(angle) == pytest.approx(degrees, abs=0.05)
        along = tilt.slope_travel(float(one_in), angle)
        assert along == pytest.approx(math.hypot(one_in, 1))


def test_a_brick_tips_at_its_static_stability_factor():
    # rollover threshold T / (2 H), half the track over the height of the centre of mass, is the tangent of the tilt at
    # which a rigid block tips (mchenrysoftware.com, "What is the Static Stability Factor?"; NHTSA rates cars by it)
    for factor in (0.94, 1.2):
        assert math.tan(tilt.tipping_slope(factor * 0.6, 0.6)) == pytest.approx(factor)


def test_24_frames_a_second_stutter_first():
    # common practice, no source: at one speed on the screen, the lowest rate leaves the widest steps and gaps
    rates = np.array([24000 / 1001, 24, 25, 30000 / 1001, 30, 48, 50, 60000 / 1001, 60])
    steps = screen.image_speed(2e-3, 1.2, 4e-6, rates)
    gaps = steps - screen.frame_blur(steps, math.pi)
    assert (np.diff(steps) < 0).all() and (np.diff(gaps) < 0).all()
    limit = screen.CROSSING_FRAMES
    assert screen.crossing_time(limit, 24.0) > max(screen.crossing_time(limit, r) for r in (25.0, 30.0, 50.0, 60.0))
    # a rate of 23.976 is 24 slowed by a thousandth (SMPTE, from memory)
    assert rates[0] == pytest.approx(23.976, abs=5e-5) and rates[3] == pytest.approx(29.970, abs=5e-5)


def test_a_ramp_of_a_second_at_24_frames():
    # vibration textbook arithmetic: full speed after n frames is v / (n / rate); half as long a way as at full speed
    assert screen.ramp_acceleration(12e-3, 24.0, 24) == pytest.approx(12e-3)


def test_three_flashes_a_second():
    # WCAG success criterion 2.3.1: no more than three flashes in any one second; a flash is a pair of opposing changes of a tenth of
    # the largest relative luminance with the darker image below 0.80 (w3c.github.io/wcag, general flash threshold)
    assert MOST_FLASHES == 3
    for per_second in (2, 3, 4):
        light = [0.7 if int(2 * per_second * k / 60) % 2 else 0.3 for k in range(240)]
        assert (flashes(np.full((240, 16, 16), 1.0) * np.array(light)[:, None, None], 60) <= 3) == (per_second <= 3)
