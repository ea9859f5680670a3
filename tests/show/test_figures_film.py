"""Pictures of filmed and hand-led moves: what they say and what their lines hold."""

import numpy as np
import pytest

from macrolib.physics import following, ramps
from macrolib.show import figures_film, style


@pytest.mark.parametrize("sense", [1, -1])
def test_a_take_with_ramps_outside_its_marks(sense):
    """2 mm/s and 1 mm/s^2: each ramp takes 2 s and 2 mm; 10 mm lie between the marks."""
    move, marks = ramps.trapezoid(14e-3, 2e-3, 1e-3), (50e-3, 50e-3 + sense * 10e-3)
    picture = figures_film.take(move, marks[0] - sense * 2e-3, sense, marks)
    top, low = picture.figure.axes
    places, at_marks = top.lines[0].get_ydata(), top.lines[-1]
    assert places[[0, -1]] == pytest.approx([50 - sense * 2, 50 + sense * 12])
    assert at_marks.get_xdata() == pytest.approx([2, 7]) and at_marks.get_ydata() == pytest.approx([50, 50 + sense * 10])
    assert low.lines[0].get_ydata().max() == pytest.approx(2)
    assert "ramp in 2 s, from mark to mark 5 s, ramp out 2 s" in picture.alt


def test_marks_that_the_move_does_not_reach_stay_at_its_ends():
    picture = figures_film.take(ramps.trapezoid(9e-3, 2e-3, 1e-3), 0.05, 1, (0.05, 0.06))
    assert picture.figure.axes[0].lines[-1].get_xdata() == pytest.approx([0, ramps.trapezoid(9e-3, 2e-3, 1e-3).duration])


@pytest.mark.parametrize("limit, said", [(8.0, "limit: 8 px/frame"), (99.0, "limit: 99 px/frame, above this picture")])
def test_from_frame_to_frame(limit, said):
    wanted = np.interp(np.arange(60), [0, 10, 50, 59], [0, 10, 10, 0])
    picture = figures_film.from_frame_to_frame(wanted, np.round(wanted), limit, 10.0)
    left, right = picture.figure.axes
    assert left.texts[0].get_text() == said
    assert left.lines[1].get_ydata() == pytest.approx(np.round(wanted)) and len(right.lines[0].get_xdata()) == 13
    assert "61 video frames" in picture.alt and "scatter by up to 0.44 px" in picture.alt  # 4/9 from a whole number, on the ramp out


def test_led_by_hand_shows_lag_and_coast():
    speed, acceleration = 5e-3, 25e-3
    times = np.linspace(0, 8, 400)
    points = 0.1 - np.clip(times * 4e-3, 0, 20e-3)
    places = following.follow(times, points, speed, acceleration)
    picture = figures_film.led_by_hand(times, points, places, (0.1, 0.08), speed, acceleration)
    top, right, low, behind = picture.figure.axes
    lag = 4e-3**2 / (2 * acceleration)
    assert low.lines[0].get_ydata().max() == pytest.approx(lag * 1e3, rel=0.02)  # close up
    rests = np.searchsorted(top.lines[0].get_xdata(), 4 * speed / acceleration)
    assert np.ptp(top.lines[1].get_ydata()[rests:]) == pytest.approx(lag * 1e3, rel=0.05)  # the coast
    assert behind.lines[0].get_ydata().max() == pytest.approx(lag * 1e3, rel=0.1) and right.lines[1].get_ydata()[-1] == pytest.approx(80)
    assert style.say(lag, "mm") in picture.alt and "ends 0 mm from the hand" in picture.alt
