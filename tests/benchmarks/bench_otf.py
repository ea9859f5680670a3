"""How fast and how right the exact defocused transfer is: python tests/benchmarks/bench_otf.py"""

import time

import mpmath
import numpy as np
from scipy.integrate import quad

from macrolib.physics import optics
from tests.benchmarks.table import row


def best_of(function, repeats=5):
    """Shortest time of some runs, in seconds."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def by_mpmath(q, waves):
    """The transfer over u = cos(angle), in pieces of a few radians of phase, with 25 digits."""
    k = 8 * mpmath.pi * mpmath.mpf(waves) * q
    pieces = int(k * (1 - q) / 20) + 2
    return float(4 / mpmath.pi * mpmath.quad(lambda a: mpmath.sin(a)**2 * mpmath.cos(k * (mpmath.cos(a) - q)),
                                             mpmath.linspace(0, mpmath.acos(q), pieces)))


def by_scipy(q, waves):
    """The transfer in its first form, by an adaptive rule with a cosine as weight."""
    value, _ = quad(lambda x: np.sqrt(1 - min(x + q, 1.0)**2), 0, 1 - q, weight="cos", wvar=8 * np.pi * waves * q,
                    epsabs=1e-11, limit=2000)
    return 4 / np.pi * value


def main():
    """Print times and worst errors."""
    random = np.random.default_rng(1)
    q, waves = random.uniform(0, 1, 100_000), random.uniform(-200, 200, 100_000)
    optics.defocused_otf(q[:10], waves[:10])  # compiles the checks
    row("100,000 values of the defocused transfer, to 200 waves", best_of(lambda: optics.defocused_otf(q, waves)), 0.6, "s")
    for w in (0.25, 3.0, 60.0, 200.0):
        seconds = best_of(lambda w=w: optics.defocused_otf(q, w))
        print(f"100 000 values, any q, at {w:g} waves: {seconds:.3f} s")
    mpmath.mp.dps = 25
    for name, reference, count in (("mpmath", by_mpmath, 60), ("scipy", by_scipy, 300)):
        worst, where = 0.0, None
        for most in (0.5, 5.0, 50.0, 200.0):
            for a, w in zip(random.uniform(0, 1, count // 4), random.uniform(0, most, count // 4)):
                error = abs(optics.defocused_otf(a, w) - reference(a, w))
                if error > worst:
                    worst, where = error, (a, w)
        at = f"q {where[0]:.4f}, {where[1]:.2f} waves"
        row(f"transfer to 200 waves, worst of {count} against {name}", worst, 1e-9)
        print(f"  at {at}")
    numbers = np.geomspace(1, 32, 1000)
    seconds = best_of(lambda: optics.sharp_depth(3, numbers, 1, 4e-6, 5.5e-7, 0.8))
    print(f"1000 depths by transfer kept: {1e3 * seconds:.1f} ms")


if __name__ == "__main__":
    main()
