"""How long a synthetic stack takes and how much memory, against what is asked: python tests/benchmarks/bench_synthetic.py"""

import resource
import time

from macrolib.physics import optics
from macrolib.planning.synthetic import SyntheticStack, text_progress
from tests.benchmarks.table import row

_VIEW = {"magnification": 3.0, "f_number": 3.4, "pupil_ratio": 1.1}


def trial(frames, size, share=0.9):
    """A stack of that many frames, spaced by a share of the depth of a frame."""
    spacing = share * optics.sharp_depth(*_VIEW.values(), 4.4e-6, 550e-9, 0.8)
    return SyntheticStack(**_VIEW, spacing=spacing, depth=(frames - 1) * spacing, size=size)


def timed(stack, progress=None):
    """(seconds on the clock, seconds of all processors, Seen)."""
    clock, work = time.perf_counter(), time.process_time()
    seen = stack.see(progress)
    return time.perf_counter() - clock, time.process_time() - work, seen


def main():
    """Print times and the peak of memory; the small one is the better of two runs, as a slider meets it."""
    timed(trial(3, (64, 64)))  # loads scipy, compiles formulas
    for name, stack, limit in (("preview, 10 frames of 256 x 256", trial(10, (256, 256)), 0.5),
                               ("60 frames of 1024 x 1024", trial(60, (1024, 1024)), 10.0)):
        runs = [timed(stack, text_progress if limit > 1 else None) for _ in range(1 if limit > 1 else 2)]
        clock, work, seen = min(runs, key=lambda run: run[0])
        row(f"synthetic stack, {name}", clock, limit, "s")
        print(f"  {work:.2f} s of processor time, "
              f"{seen.area:.0%} of the area keeps {stack.kept:.0%}, worst {seen.worst:.3f}, predicted {stack.predicted(stack.widest):.3f}")
    row("synthetic stack, most memory", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1024, "MB")


if __name__ == "__main__":
    main()
