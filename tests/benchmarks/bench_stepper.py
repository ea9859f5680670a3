"""Time of the map of ripple over 24 speeds and 8 settings, and its agreement with the closed form.

Run: python tests/benchmarks/bench_stepper.py. Two cores at most; medians of three runs.
"""

import statistics
import time

import numpy as np

from macrolib.physics import stepper
from tests.benchmarks.table import row

MOTOR = {"rotor_teeth": 50, "holding_torque": 0.40, "inertia": 9.28e-6, "damping_ratio": 0.05}
SPEEDS = np.geomspace(0.25e-3, 20e-3, 24)[:, None] / 8e-3  # turns/s: 0.25 to 20 mm/s on a lead of 8 mm
SETTINGS = np.array([1, 2, 4, 8, 16, 32, 128, 256])
CASES = {"ideal": {}, "detent 5 %": {"detent_torque": 0.02}, "detent and friction": {"detent_torque": 0.02,
                                                                                     "friction_torque": 0.02}}


def timed(function, repeats):
    """Median time and processor time of a call in seconds, and its last result."""
    times = []
    for _ in range(repeats):
        start, used = time.perf_counter(), time.process_time()
        result = function()
        times.append((time.perf_counter() - start, time.process_time() - used))
    return *map(statistics.median, zip(*times)), result


def main():
    """Print times and ratios."""
    for name, more in CASES.items():
        seconds, busy, motion = timed(lambda more=more: stepper.simulate(SPEEDS, SETTINGS, **MOTOR, **more), 3)
        row(f"map of ripple, {motion.speed_rms.size} simulations, {name}", seconds, 10, "s")
        print(f"  {busy:.1f} s of processor; in step {motion.in_step.mean():.0%}")
        if "friction_torque" in more:
            continue
        closed, _, ripple = timed(lambda more=more: stepper.ripple(SPEEDS, SETTINGS, **MOTOR, **more), 3)
        error = abs(ripple.speed_rms / motion.speed_rms - 1)
        print(f"  closed form {1e3 * closed:.0f} ms; holds for {ripple.holds.mean():.0%} of the map, there within "
              f"{error[ripple.holds].max():.2%} (median {np.median(error[ripple.holds]):.3%}); elsewhere up to a factor "
              f"{np.nanmax(ripple.speed_rms / motion.speed_rms):.1f}")
        fine = stepper.simulate(SPEEDS[::6], SETTINGS[::3], refine=2, **MOTOR, **more)
        change = np.nanmax(abs(fine.speed_rms / motion.speed_rms[::6, ::3] - 1))
        row("  halving the step changes the speed ripple by", 100 * change, 1, "%")
        row("  closed form against simulation, where it holds", 100 * error[ripple.holds].max(), 2, "%")
    speeds = np.linspace(0, 60, 1_000_000)
    seconds, *_ = timed(lambda: stepper.torque_at_speed(speeds, 24, 2.1, 1.65, 2.8e-3, 0.4, 1.5, 50), 3)
    print(f"torque at a million speeds: {1e3 * seconds:.0f} ms")


if __name__ == "__main__":
    main()
