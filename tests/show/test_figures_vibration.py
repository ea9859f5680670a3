"""Pictures and panel of vibration: what they say and what their lines hold, against numbers worked by hand."""

import math

import numpy as np
import pytest

from macrolib.parts import catalogue
from macrolib.physics import vibration
from macrolib.show import figures_vibration
from macrolib.show.panels_vibration import waiting


def test_decay_and_its_waits():
    """10 um at 10 Hz, damping ratio 0.05, pixels of 4 um: 5 px peak to peak at 1:1, 25 px at 5:1; a factor e takes 1/pi s."""
    picture = figures_vibration.decay(10e-6, 10, 0.05, (1, 5), 0.5, 4e-6)
    left, right = picture.figure.axes
    assert np.abs(left.lines[0].get_ydata()).max() == pytest.approx(2.5) and left.texts[0].get_text() == " still after 0.733 s"
    dots = [line for line in right.lines if len(line.get_xdata()) == 1]
    assert [dot.get_xdata()[0] for dot in dots] == pytest.approx([math.log(10) / math.pi, math.log(50) / math.pi])
    for line, dot in zip((x for x in right.lines if len(x.get_xdata()) > 1), dots):
        assert np.interp(dot.get_xdata()[0], line.get_xdata(), line.get_ydata()) == pytest.approx(0.5, rel=1e-4)
    assert "Down at 0.5 px after: 1:1 0.733 s, 5:1 1.25 s." in picture.alt


def test_bases():
    """8 Hz under a stand of 40 Hz, damping ratio 0.02: 0.0417 of the floor's motion; far above the stand's frequency all of it."""
    picture = figures_vibration.bases(40, 0.02, {"slow": 8.0, "middle": 20.0, "fast": 60.0})
    two, rig, one = picture.figure.axes[0].lines[:3]
    assert "slow 0.042" in picture.alt
    assert two.get_ydata() - one.get_ydata() == pytest.approx(2) and rig.get_ydata()[0] == pytest.approx(1, abs=0.01)
    assert one.get_ydata()[0] == pytest.approx((2 / 40)**2, rel=0.01)


def test_pushes_go_with_one_over_the_magnification():
    """Undamped, half a period of push a leaves 2 a / w^2; 1 px of 4 um peak to peak are 2 um at 1:1."""
    picture = figures_vibration.pushes(20, 0.0, 5e-3, (1, 4), 1.0, 4e-6)
    dots = [line.get_xdata()[0] for line in picture.figure.axes[0].lines if len(line.get_xdata()) == 1]
    assert dots == pytest.approx([1e3 * 2e-6 * (40 * math.pi)**2 / 2 / m for m in (1, 4)])
    wavy = picture.figure.axes[0].lines[0]  # a ramp of one period, 0.1 m/s^2 to 5 mm/s, leaves nothing
    assert np.interp(100, wavy.get_xdata(), wavy.get_ydata()) < 0.01 * wavy.get_ydata()[-1]


def test_exposures():
    picture = figures_vibration.exposures(2e-6, 25, 0.04, 0.5, 4e-6)
    top, low = picture.figure.axes
    t, smear = top.lines[0].get_data()
    assert smear[-1] == pytest.approx(1) and np.interp(1e-3, t, smear) == pytest.approx(math.sin(math.pi * 25e-3), rel=1e-3)
    rings = math.log(2) / (0.04 * 50 * math.pi)
    assert np.interp(10 * rings, t, low.lines[0].get_ydata()) == pytest.approx(0.1, rel=1e-3)


@pytest.mark.parametrize("settings", [{}, {"floor": 3.0, "operator_distance": 4.0}, {"base": 2.0, "magnification": 5.0, "floor": 2.0}])
def test_waits_of_the_panel_end_where_the_swing_meets_the_tolerance(settings):
    found = waiting.result(waiting.start(**settings))
    for times, swing, wait in zip([found.times] * 3, found.swings, found.waits):
        assert np.exp(np.interp(wait, times, np.log(swing))) == pytest.approx(1, rel=0.01) if wait else swing[0] <= 1
    slab = catalogue("floors")["concrete slab on the ground"]
    assert found.amplitudes[2] == pytest.approx(slab.footfall_amplitude * settings.get("operator_distance", 1.0)**-0.5)


def test_what_the_lesson_says_of_the_panel():
    def wait(floor=1.0, **more):
        found = waiting.result(waiting.start(floor=floor, magnification=2.0, **more))
        return found.waits[found.floor]

    assert wait(operator_distance=10.0) == wait() and wait(3.0, operator_distance=10.0) < 0.7 * wait(3.0)
    assert wait(base=2.0) > 2 * wait() and wait(stand_frequency=10.0) > 4 * wait() > 20 * wait(stand_frequency=60.0)
    slower = vibration.footfall_ring(np.array([4.0, 5.0]), 30e-6, 10, 0.02, 31, 0.04)
    assert slower[0] / slower[1] == pytest.approx(math.exp(2 * math.pi * 10 * 0.02))  # later the floor decides the slope
