"""Pictures, panels and exercises of the lessons on motion, tilt and hand-led moves: what they say and what their lines hold."""

import math
from pathlib import Path

import numpy as np
import pytest

from macrolib.physics import optics, screen, tilt
from macrolib.show import figures_motion, panels_motion
from macrolib.teach import exercises

DATA = Path(__file__).parents[2] / "notebooks" / "data" / "exercises"


def test_frame_rates():
    picture = figures_motion.frame_rates(2e-3, 1.2, 4e-6, math.pi, [24.0, 60.0])
    bars = picture.figure.axes[0].patches
    places = [[b.get_x() for b in bars if round(b.get_y() + b.get_height() / 2) == row] for row in (0, 1)]
    assert np.diff(places[0]) == pytest.approx(25) and np.diff(places[1]) == pytest.approx(10)
    assert bars[0].get_width() == pytest.approx(12.5) and "24 fps: 25 px apart; 60 fps: 10 px apart." in picture.alt


def test_flicker():
    picture = figures_motion.flickering({"a": (100.0, 0.3), "b": (120.0, 0.3)}, 25.0, math.pi)
    whole, other = (line for line in picture.figure.axes[0].lines[:2])
    x = whole.get_xdata()
    assert whole.get_ydata()[np.isclose(x, 180)] == pytest.approx(0, abs=1e-9)
    assert other.get_ydata()[np.isclose(x, 180)] == pytest.approx(100 * screen.flicker(0.3, 120.0, 0.02))
    assert "a: 0 % at 180 deg, the same in all frames" in picture.alt and "5 times a second" in picture.alt


def test_radial_streaks():
    picture = figures_motion.radial_streaks(3000, 2000, 4e-3, 0.02, 0.2, times=100)
    edge, corner = 3000 * 4e-3 * 0.02 / 0.2, math.hypot(3000, 2000) * 4e-4
    assert f"edge {edge:.3g} px, corner {corner:.3g} px" in picture.alt and "100 times" in picture.alt
    assert "drawn 100 times as long" in picture.figure.axes[0].get_title(loc="left")
    for line in picture.figure.axes[0].lines[:-1]:
        (x0, x1), (y0, y1) = line.get_data()
        radius = math.hypot(x0, y0)
        assert math.hypot(x1 - x0, y1 - y0) == pytest.approx(100 * radius * 4e-4, abs=1e-6)  # away from the centre
        assert x0 * y1 == pytest.approx(x1 * y0, abs=1e-6)


def test_rail_beside_its_subject():
    picture = figures_motion.rail_beside_subject(24e-3, math.radians(1), 0.5e-3)
    off = tilt.misalignment(24e-3, math.radians(1))
    subject = picture.figure.axes[0].lines[0].get_ydata()
    assert subject[1] - subject[0] == pytest.approx(off / 0.5e-3)
    assert "209 µm at either end, 419 µm in all" in picture.alt
    said = {text.get_text().split(":")[0] for text in picture.figure.axes[0].texts}
    assert {"camera", "subject", "not to scale", "in focus", "out by 209 µm"} <= said


def test_slope():
    picture = figures_motion.slope_load(2.0, 0.1, 0.1, math.radians(30))
    assert "9.81 N at 30 deg" in picture.alt and "tips from 45 deg" in picture.alt
    degrees, force = picture.figure.axes[0].lines[0].get_data()
    assert force == pytest.approx(2 * 9.80665 * np.sin(np.radians(degrees)))


def test_lag_curves():
    picture = figures_motion.lag_curves((20e-3, 40e-3), 20e-3, (8e-3, 40e-3))
    for line, acceleration in zip(picture.figure.axes[0].lines, (20e-3, 40e-3)):
        speed, lag = line.get_data()
        assert lag == pytest.approx(speed**2 / (2e3 * acceleration))
    assert "it is 0.8 mm" in picture.alt


def test_push_in_panel_against_numbers_worked_by_hand():
    panel = panels_motion.push_in
    r = panel.result(panel.start())
    assert r.shift == pytest.approx(4e-3 / 25) and r.sharp_frames == pytest.approx(r.depth / 1.6e-4)
    assert r.depth == pytest.approx(optics.sharp_depth(1.2, 11.0, 1.0, 4e-6, 550e-9, 0.8))
    distance = 0.09 * (1 / 1.2 + 1)
    assert r.scale == pytest.approx(1.6e-4 / distance) and r.moved[-1] == pytest.approx(3000 * r.scale)
    assert r.streaks == pytest.approx(r.moved / 2) and r.moved[0] == 0
    quick = panel.result(panel.start(speed="25 mm/s"))
    assert quick.sharp_frames < 1 and "sharp in no frame" in panel.sentence(quick)


def test_tilt_panel_against_numbers_worked_by_hand():
    panel = panels_motion.tilted
    r = panel.result(panel.start())
    assert r.off == pytest.approx(60e-3 * math.tan(math.radians(0.2)))
    assert r.across == pytest.approx(24e-3 / 1.2 * math.tan(math.radians(0.1)))
    assert r.slack == pytest.approx(r.depth - r.off - r.across) and r.shim == pytest.approx(0.4 * math.tan(math.radians(0.2)))
    again = panel.result(panel.start(tilt_angle=r.allowed))  # at the allowed angle nothing is left over
    assert again.slack == pytest.approx(0, abs=0.01 * r.depth)
    assert panel.result(panel.start(travel="200 mm")).slack < 0 and panel.result(panel.start(magnification=3.0)).slack < 0
    assert panel.result(panel.start(foot_spacing="800 mm")).shim == pytest.approx(2 * r.shim)


@pytest.mark.parametrize(("lesson", "name", "right", "wrong", "hint"), [
    ("09-motion-on-screen", "speed", "2.86 mm/s", "0.0952 mm/s", "divide them by the frame rate"),
    ("09-motion-on-screen", "speed", 2.857e-3, "4.29 mm/s", "magnification is missing"),
    ("09-motion-on-screen", "exposure", "16.67 ms", "15 ms", "swings by more"),
    ("09-motion-on-screen", "exposure", 1 / 60, "8.33 ms", "shorter than 10"),
    ("09-motion-on-screen", "exposure", "16.6667 ms", "25 ms", "longer than 20"),
    ("09-motion-on-screen", "push", "2.5 mm/s", "15 mm/s", "for one frame"),
    ("10-tilt-and-distance", "angle", "0.2149 deg", "0.1074 deg", "Half of the depth"),
    ("10-tilt-and-distance", "shim", "2 mm", "0.24 mm", "how far the focus ran off"),
    ("10-tilt-and-distance", "load", "6.708 N", "18.4 N", "Sine or cosine"),
    ("11-led-by-hand", "lag", "1.2 mm", "2.4 mm", "Where is the 2"),
    ("11-led-by-hand", "microsteps", 64, 16, "too coarse"),
    ("11-led-by-hand", "microsteps", "32", 128, "falls behind"),
    ("11-led-by-hand", "acceleration", "64 mm/s^2", "128 mm/s^2", "Twice as much"),
])
def test_exercises_know_right_from_wrong(lesson, name, right, wrong, hint):
    check = exercises(DATA / f"{lesson}.toml")
    assert check(right, name).right is True, check(right, name)
    assert check(wrong, name).right is False and hint in check(wrong, name).text, check(wrong, name)
