"""Moves against published values and against an independent program. Rest to rest only."""

import importlib.util
import math
import os

import numpy as np
import pytest

from macrolib.physics import ramps

# Jerk-limited moves: distance, speed, acceleration, jerk -> duration, peak speed, peak acceleration. Computed with
# ruckig 0.19.4 (Berscheid and Kroeger, "Jerk-limited real-time trajectory generation with arbitrary target states",
# Robotics: Science and Systems 2021), which the test below runs again where it is installed.
CASES = {
    "both limits": ((100, 20, 50, 500), (5.5, 20, 50)),
    "acceleration not reached": ((1, 2, 50, 100), (0.782842712475, 2, 14.1421356)),
    "speed not reached": ((3, 20, 40, 800), (0.6, 10, 40)),
    "neither reached": ((0.5, 20, 50, 500), (0.317480210394, 3.14980262, 39.6850263)),
    "cruise of no time": ((10, 20, 50, 500), (1, 20, 50)),
    "neither reached, small": ((0.3125, 50, 50, 800), (0.232079441681, 2.69304336, 46.4158883)),
}


@pytest.mark.parametrize(("limits", "expected"), CASES.values(), ids=CASES)
def test_jerk_limited_cases(limits, expected):
    move = ramps.s_curve(*limits)
    assert move.duration == pytest.approx(expected[0], rel=1e-11)
    assert (move.peak_speed, move.peak_acceleration) == pytest.approx(expected[1:], rel=1e-8)


@pytest.fixture(scope="module")
def calculator():
    """ruckig with its objects made once; skipped where it is not installed, failed where CI is set."""
    if importlib.util.find_spec("ruckig") is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("the package ruckig is not installed")
    import ruckig

    solver, wanted, trajectory = ruckig.Ruckig(1), ruckig.InputParameter(1), ruckig.Trajectory(1)

    def calculate(distance, speed, acceleration, jerk):
        wanted.target_position, wanted.max_velocity = [distance], [speed]
        wanted.max_acceleration, wanted.max_jerk = [acceleration], [jerk]
        assert solver.calculate(wanted, trajectory) == ruckig.Result.Working
        return trajectory

    return calculate


def test_ten_thousand_random_moves(calculator):
    rng = np.random.default_rng(14)
    d, v, a, j = (10 ** rng.uniform(*powers, 10_000) for powers in ((-3, 2.5), (-1, 2), (0, 2.5), (1, 4)))
    d *= rng.choice([-1, 1], d.size)
    move, u = ramps.s_curve(d, v, a, j), np.linspace(0, 1, 24)
    times = u[:, None] * move.duration
    positions, speeds = move.position(times), move.speed(times)
    reached = (move.peak_speed == v).astype(int) * 2 + (move.peak_acceleration == a)
    assert (np.bincount(reached, minlength=4) > 1500).all(), "every regime is there"
    worst = np.zeros(4)
    for n, limits in enumerate(zip(d.tolist(), v.tolist(), a.tolist(), j.tolist())):
        found = calculator(*limits)
        theirs = np.array([found.at_time(t)[:3] for t in times[:, n].tolist()])[:, :, 0]
        worst = np.maximum(worst, [abs(found.duration / move.duration[n] - 1),
                                   np.abs(theirs[:, 0] - positions[:, n]).max() / abs(d[n]),
                                   np.abs(theirs[:, 1] - speeds[:, n]).max() / move.peak_speed[n],
                                   abs(np.abs(theirs[:, 1]).max() / move.peak_speed[n]) - 1])
    print("largest relative differences: duration {:.1e}, position {:.1e}, speed {:.1e}".format(*worst))
    assert worst[0] <= 2e-15 and worst[1] <= 2e-15
    assert worst[2] <= 1e-13 and worst[3] <= 1e-13


# Peak speed, acceleration, jerk and RMS acceleration of a move of unit distance in unit time.
FACTORS = {
    # quintic: "Smooth steps and minimal jerk", a page of Radboud University, gives 15/8, 10/sqrt(3), 60 and -30 at the
    # middle; the RMS value is derived. Norton, Cam Design and Manufacturing, prints 5.777 (from memory): a misprint.
    "minimum-jerk": (ramps.minimum_jerk(1, 1), (1.875, 10 / math.sqrt(3), 60, 2 * math.sqrt(210) / 7)),
    # Norton, Design of Machinery, table of cam profile factors (from memory): 2, 6.28, 39.5.
    "cycloidal": (ramps.cycloidal(1, 1), (2, 2 * math.pi, 4 * math.pi**2, math.pi * math.sqrt(2))),
    # Derived by hand: half of the time up and half down.
    "triangle": (ramps.ramps_by_time(1, 0.5, duration=1), (2, 4, math.inf, 4)),
    # Common practice, no source: the third rule, a third of the time for each part.
    "thirds": (ramps.ramps_by_time(1, 1 / 3, duration=1), (1.5, 4.5, math.inf, 3.674235)),
    # Derived by hand: jerk alone, a quarter of the time for each part.
    "quarters": (ramps.s_curve(1, 100, 100, 32), (2, 8, 32, 4.618802)),
}


@pytest.mark.parametrize(("move", "factors"), FACTORS.values(), ids=FACTORS)
def test_factors_of_the_unit_move(move, factors):
    found = move.peak_speed, move.peak_acceleration, move.peak_jerk, move.rms_acceleration
    assert move.duration == pytest.approx(1, rel=1e-15)
    assert found == pytest.approx(factors, rel=2e-7)


def test_jerk_of_the_quintic_at_the_middle():
    """-30: the page of Radboud University named above."""
    assert ramps.minimum_jerk(1, 1).jerk(0.5) == pytest.approx(-30, rel=1e-14)


@pytest.mark.parametrize(("shape", "peak", "rms", "jerk"), [
    ("half-sine", math.pi / 2, 1.110721, math.pi**2 / 2),  # derived by hand, for a speed ramp of half a cosine
    ("versed-sine", 2, math.sqrt(1.5), 2 * math.pi),  # derived by hand
    ("triangle", 2, math.sqrt(4 / 3), 4),  # derived by hand
])
def test_factors_of_ramps(shape, peak, rms, jerk):
    """Over v / t, RMS over the ramps alone, jerk over v / t^2."""
    v, t = 0.02, 0.4
    move = ramps.ramps_by_time(0.1, t, speed=v, shape=shape)
    assert move.peak_acceleration == pytest.approx(peak * v / t)
    assert move.peak_jerk == pytest.approx(jerk * v / t**2)
    assert move.rms_acceleration * math.sqrt(move.duration / (2 * t)) == pytest.approx(rms * v / t, rel=1e-6)


def test_middle_values_of_the_trade():
    """Common practice, no source: 4,000 pulses/s and 500 pulses/s^2 as usual middle values, here in pulses."""
    move = ramps.trapezoid(100_000, 4_000, 500)
    assert move.ramp_in == 8
    assert move.position(8.0) == pytest.approx(16_000)
    assert move.position(move.duration - 8) == pytest.approx(100_000 - 16_000)
