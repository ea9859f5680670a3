"""Jerk-limited moves against ruckig, in one run: its objects are made once and used again.

Run: python tests/benchmarks/bench_ramps.py. Best of several rounds in which both sides take turns, so that a busy
machine slows both alike.
"""

import time

import numpy as np
import ruckig

from macrolib.physics import ramps
from tests.benchmarks.table import row

COUNT, ROUNDS = 10_000, 15
rng = np.random.default_rng(14)
LIMITS = [10 ** rng.uniform(*powers, COUNT) for powers in ((-3, 2.5), (-1, 2), (0, 2.5), (1, 4))]
LISTS = [x.tolist() for x in LIMITS]
SHARES = np.linspace(0, 1, 24)
solver, wanted, trajectory = ruckig.Ruckig(1), ruckig.InputParameter(1), ruckig.Trajectory(1)


def our_durations():
    move = ramps.s_curve(*LIMITS)
    return move.duration, move.peak_speed, move.peak_acceleration, move.peak_jerk


def our_positions():
    move = ramps.s_curve(*LIMITS)
    return move.position(SHARES[:, None] * move.duration)


def their_durations():
    durations = []
    for d, v, a, j in zip(*LISTS):
        wanted.target_position, wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = [d], [v], [a], [j]
        solver.calculate(wanted, trajectory)
        durations.append(trajectory.duration)
    return np.array(durations)


def their_positions():
    positions, shares = [], SHARES.tolist()
    for d, v, a, j in zip(*LISTS):
        wanted.target_position, wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = [d], [v], [a], [j]
        solver.calculate(wanted, trajectory)
        duration = trajectory.duration
        positions.append([trajectory.at_time(duration * share)[0][0] for share in shares])
    return np.array(positions).T


def best(*functions):
    """Least time (s) of each function, over rounds in which they take turns."""
    times = [[] for _ in functions]
    for _ in range(ROUNDS):
        for function, list_ in zip(functions, times):
            start = time.perf_counter()
            function()
            list_.append(time.perf_counter() - start)
    return [min(x) for x in times]


def thousand_moves():
    for _ in range(1000):
        ramps.s_curve(0.1, 0.01, 0.02, 0.05)


def main():
    ours, theirs = our_durations()[0], their_durations()
    print(f"largest difference of a duration {np.abs(ours / theirs - 1).max():.1e}, "
          f"of a position {(np.abs(our_positions() - their_positions()) / LIMITS[0]).max():.1e} of the distance")
    durations, positions = best(our_durations, their_durations), best(our_positions, their_positions)
    print(f"durations and peaks of {COUNT:,} moves: {durations[0] * 1e3:.2f} ms; "
          f"ruckig, durations: {durations[1] * 1e3:.2f} ms")
    print(f"with 24 positions each: {positions[0] * 1e3:.2f} ms; ruckig: {positions[1] * 1e3:.2f} ms")
    one = best(thousand_moves)[0] * 1e3
    row("durations and peaks of jerk-limited moves, times as fast as ruckig", durations[1] / durations[0], 12, least=True)
    row("with 24 positions each, times as fast", positions[1] / positions[0], 5, least=True)
    row("one move as a Move", one, 15, "us")


if __name__ == "__main__":
    main()
