"""How long it takes to judge 10^4 to 10^7 combinations, how much memory; sensitivities and the chance of a plan."""

import sys
import time
from pathlib import Path

import numpy as np

from macrolib import plan, read_rig, read_shot
from macrolib.parts import catalogue
from macrolib.planning.chance import chance, sensitivities
from macrolib.planning.explore import explore
from tests.benchmarks.table import row

DATA = Path(__file__).parents[2] / "notebooks" / "data"
SIZES = {"10^4": (3, 3, 2, 3, 1, 3, 2, 3, 5, 2), "10^5": (5, 4, 3, 3, 1, 5, 2, 3, 6, 3), "10^6": (12, 8, 4, 4, 2, 5, 3, 2, 6, 2),
         "10^7": (14, 12, 5, 5, 3, 6, 3, 3, 5, 3)}


def candidates(transmissions, motors, drivers, microsteps, gears, speeds, ramps, apertures, controllers, voltages):
    """So many of each kind, spread over the catalogues."""
    def some(parts, count):
        names = list(parts)
        return {names[i]: parts[names[i]] for i in np.unique(np.linspace(0, len(names) - 1, count).astype(int))}

    kinds = (("trapezoid", 0.005), ("jerk-limited", 0.008), ("minimum-jerk", None))
    return {"transmission": some({**catalogue("screws"), **catalogue("belts")}, transmissions), "motor": some(catalogue("motors"), motors),
            "driver": some(catalogue("drivers"), drivers), "microsteps": [2**n for n in range(3, 3 + microsteps)],
            "gear": [1, 2, 5][:gears], "speed": list(np.geomspace(5e-4, 4e-3, speeds)),
            "ramp": {kind: (kind, acceleration) for kind, acceleration in kinds[:ramps]}, "aperture": list(np.linspace(8, 16, apertures)),
            "controller": some(catalogue("controllers"), controllers), "voltage": list(np.linspace(12, 24, voltages))}


def main():
    """Print times beside their limits; memory is the most that the process ever took."""
    wing, belt = (read(DATA / name) for read, name in ((read_shot, "shots/wing-case.toml"), (read_rig, "rigs/field-belt.toml")))
    explore(wing, belt, candidates(*SIZES["10^4"]))  # compiles the formulas
    pace = {}
    for name, counts in SIZES.items():
        begun, used = time.perf_counter(), time.process_time()
        found = explore(wing, belt, candidates(*counts))
        taken, used = time.perf_counter() - begun, time.process_time() - used
        pace[name] = used / found.count
        print(f"{name}: {found.count:,} combinations in {taken:.2f} s ({used:.2f} s of one core), {1e6 * pace[name]:.2f} s a million; "
              f"{found.states}, front {len(found.front)}")
        if name == "10^6":
            row("search of a million combinations", taken * 1e6 / found.count, 2, "s")
    row("time for a combination at 10^7 over that at 10^5", pace["10^7"] / pace["10^5"], 1.5)
    if sys.platform != "win32":
        import resource
        kilo = 1 if sys.platform == "linux" else 1024
        row("most memory of the process, 10^7 combinations", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / kilo / 1024, 500, "MB")
    made = plan(wing, belt, mends=False)
    for name, function in (("sensitivities of a plan", sensitivities), ("chance of a plan, 4000 samples", chance)):
        begun = time.perf_counter()
        function(made)
        print(f"{name}: {time.perf_counter() - begun:.2f} s")


if __name__ == "__main__":
    main()
