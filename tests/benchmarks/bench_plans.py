"""How long a plan, the front of aperture and spacing, and a preview take; what importing the library costs."""

import statistics
import subprocess
import sys
import time
from pathlib import Path

from macrolib import plan, read_rig, read_shot
from macrolib.planning.front import front
from macrolib.planning.preview import Preview
from tests.benchmarks.table import row

DATA = Path(__file__).parents[2] / "notebooks" / "data"
DEMOS = (("moss-capsule", "bench-screw"), ("wing-case", "field-belt"), ("seed-tray-push-in", "field-belt"),
         ("seed-tray-hand-led", "field-belt"))
_IMPORT = "import time; t = time.perf_counter(); import {}; print(time.perf_counter() - t)"


def seconds(function, repeats=3):
    """Median time of a call, after a first one that compiles formulas."""
    function()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def imported(name):
    """Median time of an import in a fresh process."""
    times = [float(subprocess.run([sys.executable, "-c", _IMPORT.format(name)], capture_output=True, text=True, check=True).stdout)
             for _ in range(5)]
    return statistics.median(times)


def main():
    """Print times beside their limits."""
    for shot_name, rig_name in DEMOS:
        shot, rig = read_shot(DATA / f"shots/{shot_name}.toml"), read_rig(DATA / f"rigs/{rig_name}.toml")
        row(f"plan of {shot_name} with its mends", seconds(lambda shot=shot, rig=rig: plan(shot, rig)), 2, "s")
    moss, bench = read_shot(DATA / "shots/moss-capsule.toml"), read_rig(DATA / "rigs/bench-screw.toml")
    row("front of aperture and spacing", seconds(lambda: front(moss, bench)), 1, "s")
    wing = plan(read_shot(DATA / "shots/wing-case.toml"), read_rig(DATA / "rigs/field-belt.toml"), mends=False)
    print(f"preview of four seconds of the wing case: {seconds(lambda: Preview(wing, seconds=4.0).shown):.2f} s")
    row("import of macrolib over that of numpy", imported("macrolib") / imported("numpy"), 1.2)


if __name__ == "__main__":
    main()
