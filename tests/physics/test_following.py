"""Led by hand: no overshoot, limits kept, the lag that was predicted."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from macrolib.formula import check_dimensions
from macrolib.physics.following import follow, follow_step, hand_set_points, stopping_distance

limits = st.tuples(st.floats(5e-3, 0.05), st.floats(0.005, 0.5))
walks = st.lists(st.tuples(st.floats(0.001, 0.5), st.floats(-0.02, 0.02)), min_size=1, max_size=12)


def _states(times, points, speed_limit, acceleration, feed_forward=False):
    position, speed = points[0], 0.0
    states = [(position, speed)]
    for k, gap in enumerate(np.diff(times)):
        feed = (points[k + 1] - points[k]) / gap if feed_forward else 0.0
        position, speed = follow_step(position, speed, points[k + 1], feed, gap, speed_limit, acceleration)
        states.append((float(position), float(speed)))
    return np.array(states).T


@settings(max_examples=60, deadline=None)
@given(walks, limits, st.booleans())
def test_speed_and_acceleration_stay_within_their_limits(walk, limits, feed_forward):
    gaps, moves = np.array(walk).T
    times, points = np.append(0, np.cumsum(gaps)), np.append(0, np.cumsum(moves))
    positions, speeds = _states(times, points, *limits, feed_forward)
    speed_limit, acceleration = limits
    assert (np.abs(speeds) <= speed_limit * (1 + 1e-9)).all()
    assert (np.abs(np.diff(speeds)) <= acceleration * gaps * (1 + 1e-9) + 1e-15).all()
    assert (np.abs(np.diff(positions)) <= speed_limit * gaps * (1 + 1e-9) + 1e-15).all()
    # the way between two samples is one that the acceleration allows: near the mean of the two speeds
    mean = (speeds[1:] + speeds[:-1]) / 2 * gaps
    assert (np.abs(np.diff(positions) - mean) <= acceleration * gaps**2 / 2 * (1 + 1e-9) + 1e-15).all()


@settings(max_examples=60, deadline=None)
@given(walks, limits)
def test_a_set_point_that_only_goes_forward_is_never_overtaken(walk, limits):
    gaps, moves = np.array(walk).T
    times, points = np.append(0, np.cumsum(gaps)), np.append(0, np.cumsum(np.abs(moves)))
    positions = follow(times, points, *limits)
    assert (positions <= points + 1e-12).all() and (np.diff(positions) >= -1e-15).all()
    assert follow(times, -points, *limits) == pytest.approx(-positions, abs=1e-15)


@settings(max_examples=30, deadline=None)
@given(st.floats(1e-5, 0.2), limits, st.floats(0.001, 0.3))
def test_a_set_point_at_rest_is_reached_and_not_overshot(distance, limits, gap):
    speed, acceleration = limits
    fastest = 2 * math.sqrt(distance / acceleration) + distance / speed + speed / acceleration  # more than any needs
    times = np.arange(0, 1.2 * fastest + 10 * gap, max(gap, fastest / 100))
    positions = follow(times, np.append(0, np.full(times.size - 1, distance)), speed, acceleration)
    assert positions.max() <= distance * (1 + 1e-12)
    assert positions[-1] == pytest.approx(distance, rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(walks, limits)
def test_after_the_hand_stops_the_carriage_comes_to_the_set_point_once(walk, limits):
    gaps, moves = np.array(walk).T
    times, points = np.append(0, np.cumsum(gaps)), np.append(0, np.cumsum(moves))
    position, speed = _states(times, points, *limits)[:, -1]
    ahead = points[-1] - position
    can_stop = speed * np.sign(ahead) <= 0 or speed**2 <= 2 * limits[1] * abs(ahead)
    rest = []
    for _ in range(700):
        position, speed = follow_step(position, speed, points[-1], 0, 0.1, *limits)
        rest.append(points[-1] - position)
    rest = np.array(rest)
    assert abs(rest[-1]) < 1e-9
    if can_stop and ahead:
        assert (rest * np.sign(ahead) >= -1e-12).all()
    else:  # it must pass the set-point, by less than the way that braking takes
        assert np.abs(rest).max() <= max(abs(ahead), limits[0]**2 / (2 * limits[1])) * (1 + 1e-9)


def test_the_lag_behind_a_steady_hand_is_the_stopping_distance():
    times = np.arange(0, 4, 1 / 60)
    speeds = np.array([[0.002], [0.008], [0.015]])
    positions = follow(times, speeds * times, 0.02, 0.04)
    lag = speeds[:, 0] * times[-1] - positions[:, -1]
    assert lag == pytest.approx(stopping_distance(speeds[:, 0], 0.04, 0), rel=1e-6)
    fed = follow(times, speeds * times, 0.02, 0.04, feed_forward=True)
    assert fed[:, -1] == pytest.approx(speeds[:, 0] * times[-1], abs=1e-12)


def test_feed_forward_overshoots_a_sudden_stop_by_the_braking_distance():
    times = np.arange(0, 6, 0.01)
    points = 0.008 * np.minimum(times, 3)
    assert follow(times, points, 0.02, 0.04).max() <= 0.024 + 1e-15
    over = follow(times, points, 0.02, 0.04, feed_forward=True).max() - 0.024
    assert over == pytest.approx(stopping_distance(0.008, 0.04, 0), rel=0.02)


def test_a_hand_faster_than_the_limit_is_followed_at_the_limit():
    times = np.arange(0, 3, 0.05)
    positions = follow(times, 0.1 * times, 0.02, 0.1)
    assert np.diff(positions)[-10:] == pytest.approx(0.02 * 0.05, rel=1e-12)


def test_coarse_and_fine_samples_agree():
    fine = np.arange(0, 8.0001, 0.002)
    hand = 0.01 * (1 - np.cos(2 * np.pi * fine / 4))
    one = follow(fine, hand, 0.02, 0.05)
    for every in (5, 25):
        assert follow(fine[::every], hand[::every], 0.02, 0.05) == pytest.approx(one[::every], abs=1.5e-3 * 0.02)


def test_limits_and_set_points_broadcast():
    times = np.linspace(0, 2, 41)
    hands = np.stack([0.01 * times, -0.004 * times])
    positions = follow(times, hands, np.array([[0.02], [0.005], [0.001]]), 0.04)
    assert positions.shape == (3, 2, 41)
    assert positions[1, 0] == pytest.approx(follow(times, hands[0], 0.005, 0.04), abs=1e-6)  # refined otherwise


@pytest.mark.parametrize("change", [
    {"times": [0, 1, 1]}, {"times": [0, 1]}, {"set_points": [0, 1, math.nan]}, {"max_speed": 0.0},
    {"max_acceleration": -1.0}, {"max_speed": math.inf}, {"times": [], "set_points": []}])
def test_bad_input_is_refused(change):
    good = {"times": [0, 1, 2], "set_points": [0, 0.1, 0.1], "max_speed": 0.1, "max_acceleration": 0.1}
    assert follow(**good).shape == (3,)
    with pytest.raises(ValueError, match="must"):
        follow(**{**good, **change})


def test_stopping_distance():
    check_dimensions(stopping_distance)
    assert stopping_distance(0.008, 0.04, 0.2) == pytest.approx(0.0008 + 0.0016)
    with pytest.raises(ValueError, match="acceleration is 0"):
        stopping_distance(0.008, 0, 0.2)


# --- the hand control

def test_forward_leads_from_start_to_end_wherever_they_lie():
    turned = np.array([0, 0.5, 1.0])
    assert hand_set_points(turned, 0.01, 0.10, 0.30).tolist() == pytest.approx([0.10, 0.105, 0.11])
    assert hand_set_points(turned, 0.01, 0.30, 0.10).tolist() == pytest.approx([0.30, 0.295, 0.29])
    assert hand_set_points(-turned, 0.01, 0.30, 0.10, mounted_reversed=True).tolist() == pytest.approx([0.30, 0.295, 0.29])


def test_marks_may_be_overrun_by_so_much_and_switches_never():
    turned = np.array([0, -1, 50, 49])
    assert hand_set_points(turned, 0.01, 0.10, 0.30, overrun=0.005).tolist() == pytest.approx([0.1, 0.095, 0.305, 0.295])
    inside = hand_set_points(turned, 0.01, 0.10, 0.30, overrun=0.02, switches=(0.099, 0.301))
    assert inside.tolist() == pytest.approx([0.1, 0.099, 0.301, 0.291])
    for wrong in ({"start": 0.05, "switches": (0.1, 0.4)}, {"end": 0.1}, {"overrun": -0.001}):
        with pytest.raises(ValueError, match="start and end must differ"):
            hand_set_points(turned, **{"travel_per_hand_turn": 0.01, "start": 0.1, "end": 0.3, **wrong})


@settings(deadline=None)
@given(st.lists(st.floats(-3, 3), min_size=2, max_size=20), st.floats(0, 0.02), st.booleans())
def test_set_points_stay_inside_and_answer_a_turn_back_at_once(turned, overrun, back):
    points = hand_set_points(turned, 0.05, 0.1, 0.3, overrun, (0.09, 0.31), back)
    assert points.min() >= max(0.1 - overrun, 0.09) - 1e-15 and points.max() <= min(0.3 + overrun, 0.31) + 1e-15
    steps, turns = np.diff(points), np.diff(turned) * (-1 if back else 1)
    free = (points[1:] > max(0.1 - overrun, 0.09)) & (points[1:] < min(0.3 + overrun, 0.31))
    assert steps[free] == pytest.approx(0.05 * turns[free], abs=1e-12)
