"""What a Formula costs: a scalar call over the compiled function, and a million elements over hand-written numpy.

Run: python tests/benchmarks/bench_formula.py. Prints ratios with their limits, medians of interleaved runs.
"""

import statistics
import timeit

import numpy as np

from macrolib.physics import transmission
from tests.benchmarks.table import row

MICRO = 1e-6


def by_hand(axial_load, mean_diameter, lead, friction, flank_angle):
    """Raising torque as one would write it in numpy."""
    grip = friction / np.cos(flank_angle)
    return axial_load * mean_diameter / 2 * (lead + np.pi * grip * mean_diameter) / (np.pi * mean_diameter - grip * lead)


def interleaved(functions, args, repeats, number=1):
    """Times of each function, one list a function, taken in turn so that a busy machine disturbs all alike."""
    times = [[] for _ in functions]
    for _ in range(repeats):
        for found, f in zip(times, functions):
            found.append(timeit.timeit(lambda f=f: f(*args), number=number) / number)
    return times


def scalars(formula, args, named):
    """Overhead of a scalar call, by position and by name, in microseconds."""
    calls = (lambda: formula.compiled(*args), lambda: formula(*args), lambda: formula(**named))
    bare, *full = (statistics.median(t) for t in interleaved(calls, (), 301, 500))
    print(f"{formula.__name__}: compiled alone {bare / MICRO:.2f} us")
    return [row(f"{formula.__name__}, scalar {how}, over compiled", (time - bare) / MICRO, 2, "us")
            for how, time in zip(("by position", "by name"), full)]


def arrays(formula, hand, args, limit):
    """Compiled and checked calls on a million elements over the expression by hand."""
    for f in (hand, formula.compiled, formula):
        f(*args)
    times = interleaved((hand, formula.compiled, formula), args, 25)
    ratios = [statistics.median(x / base for x, base in zip(t, times[0])) for t in times[1:]]
    return [row(f"{formula.__name__}, a million, compiled over by hand", ratios[0], 1.1),
            row(f"{formula.__name__}, a million, checked over by hand", ratios[1], limit)]


def main():
    """All ratios."""
    torque, travel = transmission.raising_torque, transmission.travel_per_pulse
    one = dict(zip(torque.names, (40.0, 9e-3, 2e-3, 0.18, 0.26)))
    short = dict(zip(travel.names, (2e-3, 3200.0)))
    rng = np.random.default_rng(1)
    many = [value * rng.uniform(0.5, 1, 1_000_000) for value in one.values()]
    scalars(torque, tuple(one.values()), one)
    scalars(travel, tuple(short.values()), short)
    arrays(torque, by_hand, many, 1.5)
    arrays(travel, lambda a, b: a / b, [value * rng.uniform(0.5, 1, 1_000_000) for value in short.values()], 2.5)


if __name__ == "__main__":
    main()
