"""Pictures, panels and exercises of the lessons on ramps and pulses: what they say and what their lines hold."""

import itertools
from pathlib import Path

import numpy as np
import pytest

from macrolib.physics import pulses, ramps, vibration
from macrolib.show import figures_ramps, panels_ramps
from macrolib.teach import exercises

DATA = Path(__file__).parents[2] / "notebooks" / "data" / "exercises"
BENCH = {"speed": 6e-3, "frequency": 48.0, "damping_ratio": 0.03}
TRAVEL = 0.625e-6


@pytest.mark.parametrize("shape", ramps.SHAPES)
def test_ring_of_a_ramp_is_that_of_a_move_whose_start_has_died_away(shape):
    times = np.array([0.4, 1, 1.3, 2, 3.5]) / 48
    move = ramps.ramps_by_time(0.1, times, speed=6e-3, shape=shape)
    assert figures_ramps.ramp_ring(shape, times, **BENCH) == pytest.approx(vibration.residual_vibration(move, 48.0, 0.03), rel=1e-9)


def test_ring_of_a_constant_acceleration_and_zeros_of_the_others():
    times = np.array([0.3, 1, 2.5]) / 48
    assert figures_ramps.ramp_ring("rectangle", times, **BENCH) == pytest.approx(vibration.ramp_residual(6e-3 / times, times, 48.0, 0.03))
    # Harris' Shock and Vibration Handbook, 5th ed., chapter 8: first zeros without damping
    for shape, zero in (("rectangle", 1.0), ("half-sine", 1.5), ("versed-sine", 2.0), ("triangle", 2.0)):
        there, beside = figures_ramps.ramp_ring(shape, np.array([zero, 0.9 * zero]) / 48, 6e-3, 48.0, 0.0)
        assert there < 1e-9 * beside


@pytest.mark.parametrize("damping", [0.0, 0.03, 0.2])
def test_path_of_the_camera_against_its_envelope_and_its_equation(damping):
    result = panels_ramps.ringing.result(panels_ramps.ringing.start() | {"shape": 3.0, "damping_ratio": damping})
    w, t = 2 * np.pi * 48, result.x / 48
    speed = np.gradient(result.offset, t)
    after = slice(260, -2)
    around = np.hypot(result.offset, (speed + damping * w * result.offset) / (w * np.sqrt(1 - damping**2)))[after]
    assert around == pytest.approx(result.left * np.exp(-damping * w * (t[after] - result.time)), rel=0.01)


def test_knocks_add_up_and_cancel():
    picture = figures_ramps.two_knocks(**BENCH)
    both = [picture.figure.axes[2 + column].lines[0].get_ydata() for column in (0, 1)]
    alone = [[line.get_ydata() for line in picture.figure.axes[column].lines] for column in (0, 1)]
    for total, parts in zip(both, alone):
        assert total == pytest.approx(parts[0] + parts[1])
    assert np.abs(both[0][1000:]).max() > 10 * np.abs(both[1][1000:]).max()
    assert "12.1 µm with a ramp of 0.5 periods, 0.544 µm with a ramp of 1 period." in picture.alt


def test_profiles_show_jumps_and_peaks():
    moves = [ramps.trapezoid(0.024, 6e-3, 3e-3), ramps.minimum_jerk(0.024, 6.0)]
    picture = figures_ramps.profiles(moves, ["one", "other"])
    assert "one: 24 mm in 6 s, at most 6 mm/s and 3 mm/s²; other: 24 mm in 6 s, at most 7.5 mm/s and 3.85 mm/s²." in picture.alt
    t, a = picture.figure.axes[4].lines[0].get_data()
    assert set(np.round(a, 9)) == {-3, 0, 3} and np.diff(t)[np.diff(a) != 0].max() < 1e-6  # vertical, not slanting


def test_steps_are_numbered_and_typeset():
    table = figures_ramps.steps(ramps.derivation("cycloidal")[:2], first=7).data.splitlines()
    assert table[2].startswith("| 7 | The shape of the acceleration is chosen | $") and len(table) == 4


def test_rings_left():
    picture = figures_ramps.ring_left(**BENCH)
    assert "two periods leave: rectangle 0.498 µm, triangle 0.0149 µm" in picture.alt
    ideal, real = (axes.lines[0].get_ydata() for axes in picture.figure.axes)
    periods = picture.figure.axes[0].lines[0].get_xdata()
    whole = np.isclose(periods, 1)
    assert ideal[whole] < 1e-3 and real[whole] == pytest.approx(0.544, abs=0.001)


def test_pulse_train():
    move = ramps.trapezoid(0.024, 6e-3, 3e-3)
    picture = figures_ramps.pulse_train(move, TRAVEL, 12)
    wanted, stairs, due = (line.get_data() for line in picture.figure.axes[1].lines)
    assert np.abs(wanted[1] - stairs[1])[wanted[0] < due[0][-1]].max() <= 0.51 * TRAVEL * 1e6
    assert due[0][0] == pytest.approx(1e3 * np.sqrt(TRAVEL / 3e-3)) and "from 10.6 ms to 3.08 ms" in picture.alt


def test_rounding_adds_up_only_without_carry():
    move, timer = ramps.trapezoid(0.024, 6e-3, 3e-3), 2e6
    picture = figures_ramps.rounding(move, TRAVEL, timer)
    alone, carried = (line.get_ydata() for line in picture.figure.axes[0].lines)
    # 208 ticks instead of 208.33 over a cruise of 12 mm
    assert np.abs(alone).max() == pytest.approx(12e3 * (timer / 9600 / 208 - 1), rel=0.02)
    assert np.abs(carried).max() <= 6e-3 * 0.5 / timer * 1e6 * 1.001


def test_timer_panel_against_the_functions_behind_it():
    panel = panels_ramps.timer
    result = panel.result(panel.start())
    ticks = pulses.integer_intervals(9600, 3e-3 / TRAVEL, 2e6)
    assert result.reached == pytest.approx(TRAVEL * 2e6 / ticks[-1]) and result.stalls
    # the stall's formula is about a tenth high
    assert result.reached == pytest.approx(0.9 * TRAVEL * pulses.stall_rate(2e6, 4800.0, 0), rel=0.03)
    # by hand: what the cut-off ramp has done after 2 s, and the early start of 6.9 ms at 1.2 mm/s
    done = np.searchsorted(np.cumsum(ticks) / 2e6, 2.0 - pulses.FIRST_INTERVAL / 2 * np.sqrt(2 / 4800)) * TRAVEL
    assert result.behind[0] == pytest.approx(6e-3 - done, abs=2 * TRAVEL)
    exact = panel.result(panel.start() | {"timer_frequency": 16000.0, "fraction_bits": 8.0})
    assert not exact.stalls and abs(exact.behind[1]) < 1e-6


@pytest.mark.parametrize("panel", [panels_ramps.ringing, panels_ramps.timer], ids=lambda panel: panel.name)
def test_every_corner_of_the_sliders_has_a_result(panel):
    for corner in itertools.product(*((s.low, s.high) for s in panel.sliders)):
        assert panel.sentence(panel.result(dict(zip((s.name for s in panel.sliders), map(float, corner)))))


@pytest.mark.parametrize(("lesson", "name", "right", "wrong", "hint"), [
    ("03-ramps-derived", "triangle_speed", "4.47 mm/s", "8 mm/s", "never gets there"),
    ("03-ramps-derived", "triangle_speed", "4.472 mm/s", "6.325 mm/s", "first half"),
    ("03-ramps-derived", "triangle_time", 0.447, "0.525 s", "holds only where"),
    ("03-ramps-derived", "triangle_time", 0.447, "0.125 s", "without any ramp"),
    ("03-ramps-derived", "calm_duration", "8.12 s", "8 s", "more than 1 px/frame"),
    ("03-ramps-derived", "calm_duration", "8.5 s", "12 s", "slower than it needs"),
    ("03-ramps-derived", "ramp_time", "50 ms", "60 ms", "more than 0.5 px"),
    ("03-ramps-derived", "ramp_time", "75 ms", "100 ms", "longer than 90 ms"),
    ("04-pulses-and-timers", "due", "21.2 ms", "22.36 ms", "half a pulse earlier"),
    ("04-pulses-and-timers", "due", 0.0212, "15 ms", "2 is missing"),
    ("04-pulses-and-timers", "drift", "54 um", "108 um", "half a tick"),
    ("04-pulses-and-timers", "timer", "2000 kHz", "16000 kHz", "16 bits"),
    ("04-pulses-and-timers", "timer", 2e6, "250 kHz", "stalls"),
    ("04-pulses-and-timers", "timer", "2 MHz", "1 MHz", "choose one of"),
])
def test_exercises_know_right_from_wrong(lesson, name, right, wrong, hint):
    check = exercises(DATA / f"{lesson}.toml")
    assert check(right, name).right is True, check(right, name)
    assert check(wrong, name).right is False and hint in check(wrong, name).text, check(wrong, name)
