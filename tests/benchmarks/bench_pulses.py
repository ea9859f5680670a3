"""Time and memory of pulse times, up to ten million pulses of one move; each size in a process of its own.

Run: python tests/benchmarks/bench_pulses.py. Times are the processor's, so that a busy machine does not change them;
the time that passed is printed beside them.
"""

import resource
import subprocess
import sys
import time

import numpy as np

from macrolib.physics import pulses, ramps
from tests.benchmarks.table import row

MOVES = {"trapezoid": ramps.trapezoid(1.0, 0.1, 0.05), "quintic": ramps.minimum_jerk(1.0, 12.0),
         "jerk-limited": ramps.s_curve(1.0, 0.1, 0.05, 0.1)}


def measure(kind, count):
    """Least processor time (s) of some runs, time that passed then, and the most memory (MB) that was ever held."""
    move, times = MOVES[kind], []
    pulses.pulse_times(move, 1e-3)  # compiles
    for _ in range(3 if count > 1e6 else 9):
        start, passed = time.process_time(), time.perf_counter()
        found = pulses.pulse_times(move, 1.0 / count)
        times.append((time.process_time() - start, time.perf_counter() - passed))
        assert found.size == count and np.isfinite(found[[0, -1]]).all()
    return *min(times), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main():
    seconds, memory = {}, {}
    for kind in MOVES:
        for count in (10_000, 100_000, 1_000_000, 10_000_000):
            code = [sys.executable, __file__, kind, str(count)]
            done = subprocess.run(code, capture_output=True, text=True, check=True).stdout.split()
            seconds[kind, count], passed, memory[kind, count] = map(float, done)
            print(f"{kind:14}{count:>12,} pulses {seconds[kind, count] * 1e3:10.2f} ms "
                  f"{seconds[kind, count] / count * 1e9:7.1f} ns a pulse {memory[kind, count]:6.0f} MB "
                  f"  ({passed * 1e3:.2f} ms passed)")
    longest, ratio = seconds["trapezoid", 10_000_000], seconds["quintic", 10_000_000] / seconds["trapezoid", 10_000_000]
    growth = longest / seconds["trapezoid", 10_000] / 1000
    most = max(memory.values())
    row("ten million pulse times of a trapezoid, processor time", longest, 1, "s")
    row("the same of a quintic, over the trapezoid", ratio, 5)
    row("ten million pulse times, most memory", most, 500, "MB")
    row("a pulse among ten million, over one among 10,000", growth, 3)


if __name__ == "__main__":
    if len(sys.argv) == 3:
        print(*measure(sys.argv[1], int(sys.argv[2])))
    else:
        main()
