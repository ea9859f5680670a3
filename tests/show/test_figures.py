"""Pictures of plans: what they say and what their lines hold."""

from types import SimpleNamespace

import numpy as np
import pytest

from macrolib.physics import ramps
from macrolib.show import figures, style


def test_frames_of_a_stack():
    picture = figures.stack_frames(0.05 + np.arange(6) * 28e-6, 35e-6, 0.05, 0.0501)
    assert "6 frames 28 µm apart, each sharp over 35 µm: neighbours share 20% of it." in picture.alt
    assert picture.alt.endswith("from 50 mm to 50.1 mm is covered.")
    bars = np.array([path.get_extents().get_points()[:, 0] for path in picture.figure.axes[0].collections[0].get_paths()])
    assert np.diff(bars).ravel() == pytest.approx([0.035] * 6)
    assert bars.mean(axis=1) == pytest.approx(50 + 0.028 * np.arange(6))


def test_gaps_and_uncovered_ends_are_said():
    alt = figures.stack_frames(0.05 + np.arange(4) * 40e-6, 35e-6, 0.05, 0.06).alt
    assert "5 µm between neighbours are not sharp" in alt and "is not covered at its ends" in alt
    assert figures.stack_frames([0.05], 35e-6, 0.05, 0.05).png


@pytest.mark.parametrize("count", [1, 41, 3000])
def test_stacks_of_any_size(count):
    assert f"{count} frames" in figures.stack_frames(0.01 - np.arange(count) * 5e-6, 6e-6, 0.01, 0.01 - count * 5e-6).alt


def test_timeline():
    picture = figures.timeline([("move", 0, 2), ("wait", 2, 5), ("move", 5, 7), ("wait", 7, 10)])
    assert picture.alt.endswith("10 s in all: move 4 s, wait 6 s.")
    axes = picture.figure.axes[0]
    assert [t.get_text() for t in axes.texts] == ["4 s, 40%", "6 s, 60%"] and axes.get_xlabel() == "time (s)"
    assert figures.timeline([("wait", 0, 9000)]).figure.axes[0].get_xlabel() == "time (h)"


def _check(name, margin, state):
    return SimpleNamespace(name=name, margin=margin, state=state)


def test_margins_say_the_state_in_words():
    checks = [_check("pulse rate", 4.2, "holds"), _check("battery", 0.7, "fails"), _check("quiet", None, "not computed"),
              _check("torque", np.inf, "holds"), _check("rail", 0.004, "holds"), _check("beyond the rail", -0.004, "fails"),
              _check("sharpness", 1.1, "tight"), _check("minutes", 90.0, "holds")]
    picture = figures.margins(checks)
    assert picture.alt.endswith("Not holding: battery fails, quiet not computed, beyond the rail fails, sharpness tight.")
    axes = picture.figure.axes[0]
    states = [text.get_text() for text in axes.texts if text.get_position()[0] == 1.045]
    assert states == ["holds (4.2)", "fails (0.7)", "not computed", "holds", "holds", "fails", "tight (1.1)", "holds (90)"]
    points = {check.name: line for check, line in zip(checks, axes.lines[1::2])}
    assert points["battery"].get_xdata()[0] == pytest.approx(0.7)
    assert points["beyond the rail"].get_xdata()[0] < 1 <= points["rail"].get_xdata()[0]
    markers = {points[name].get_marker() for name in ("pulse rate", "battery", "sharpness")}
    assert len(markers) == 3 and points["quiet"].get_markerfacecolor() == "white"
    assert "All hold." in figures.margins(checks[:1]).alt


def test_margins_of_the_plans_own_checks():
    from macrolib.planning.checks import Check

    alt = figures.margins([Check("pulse rate", 30e3, 20e3, "kHz"), Check("speed", 1.0, None, "mm/s")]).alt
    assert alt.endswith("Not holding: pulse rate fails, speed not computed.")


def test_depth_transfer():
    offsets = np.linspace(-50e-6, 50e-6, 101)
    picture = figures.depth_transfer(offsets, 1 - (offsets / 50e-6) ** 2, 50e-6, 0.8)
    assert "25 µm away, 75% of the contrast in focus is left; 80% were asked for." in picture.alt
    edges = picture.figure.axes[0].lines[-1]
    assert edges.get_xdata() == pytest.approx([-25, 25]) and edges.get_ydata() == pytest.approx([0.75, 0.75])


MOVES = [ramps.trapezoid(0.02, 0.01, 0.02), ramps.trapezoid(-0.02, 0.01, 0.02), ramps.s_curve(0.02, 0.01, 0.05, 0.2),
         ramps.minimum_jerk(0.02, 3.0)]


@pytest.mark.parametrize("move", MOVES, ids=lambda m: f"{m.kind} {m.distance:g}")
def test_move(move):
    picture = figures.move(move)
    position, speed, acceleration = (axes.lines[0].get_ydata() for axes in picture.figure.axes)
    assert position[-1] == pytest.approx(move.distance * 1e3) and np.abs(speed).max() == pytest.approx(move.peak_speed * 1e3, rel=1e-3)
    assert np.abs(acceleration).max() == pytest.approx(move.peak_acceleration * 1e3, rel=1e-2)
    assert style.say(move.duration, "s") in picture.alt
