"""How long and how much memory measuring takes: python tests/benchmarks/bench_measure.py

Limits: a log of a million rows read and fitted in 5 s and 500 MB; two photographs of 24 megapixels registered in 10 s.
Memory is the most that a process of its own held, everything imported included (Linux only). Where other programs run,
the processor's time tells more than the clock's: both are printed.
"""

import multiprocessing
import re
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image
from scipy import ndimage

from macrolib.measure import fit_ringdown, fit_travel, read_log, read_photograph, shift

ROWS, SHAPE, MOVED = 1_000_000, (4000, 6000), (31, -57)


class Watch:
    """Seconds by the clock and by the processor since it was made or last read."""

    def __init__(self):
        self.wall, self.work = time.perf_counter(), time.process_time()

    def __str__(self):
        wall, work = self.wall, self.work
        self.__init__()
        return f"{self.wall - wall:.2f} s ({self.work - work:.2f} s of the processor)"


def memory():
    """Most resident memory of this process in MB."""
    status = Path("/proc/self/status")
    if not status.exists():
        return "memory not measured"
    most = re.search(r"VmHWM:\s*(\d+)", status.read_text())
    return f"{int(most[1]) / 1024:.0f} MB"


def write_ringdown(path):
    """A phone's kind of file: three axes, semicolons, decimal commas."""
    random, t = np.random.default_rng(1), np.arange(ROWS) / 1e4
    ring = 3 * np.exp(-0.02 * 2 * np.pi * 35 * t) * np.cos(2 * np.pi * 35 * t * np.sqrt(1 - 0.02**2))
    columns = [t, ring + 0.05 * random.standard_normal(ROWS), *(a + 0.05 * random.standard_normal(ROWS) for a in (0.1, 9.81))]
    with path.open("w") as out:
        out.write("Time (s);Acceleration x (m/s^2);Acceleration y (m/s^2);Acceleration z (m/s^2)\n")
        np.savetxt(out, np.column_stack(columns), fmt="%.5f", delimiter=";")
    path.write_text(path.read_text().replace(".", ","))


def write_travel(path):
    """Pulses and millimetres, commas."""
    random, pulses = np.random.default_rng(2), np.arange(ROWS)
    read = 0.01002 * pulses + 0.004 * np.sin(2 * np.pi * pulses / 3200) + 0.001 * random.standard_normal(ROWS)
    np.savetxt(path, np.column_stack([pulses, read]), fmt=("%d", "%.6f"), delimiter=",", header="pulses (pulse),position (mm)", comments="")


def write_pair(folder):
    """Two photographs of one texture, MOVED pixels apart, each with its own noise."""
    random = np.random.default_rng(3)
    scene = ndimage.gaussian_filter(random.standard_normal([n + 100 for n in SHAPE]).astype(np.float32), 1.5)
    scene = 110 + 40 * scene / scene.std()
    for name, (down, across) in (("first.jpg", (0, 0)), ("second.jpg", MOVED)):
        part = scene[50 + down:50 + down + SHAPE[0], 60 + across:60 + across + SHAPE[1]]
        Image.fromarray(np.clip(part + 4 * random.standard_normal(SHAPE), 0, 255).astype(np.uint8)).save(folder / name, quality=92)


def timed_ringdown(folder):
    """Read and fit the ring-down."""
    watch = Watch()
    log = read_log(folder / "ringdown.csv", columns=["Time", "Acceleration x"])
    read = str(watch)
    found = fit_ringdown(log.times, log["Acceleration x"])
    print(f"ring-down, {log.rows:,} rows: read {read}, fitted {watch}, {memory()}; "
          f"{found.frequency.text('Hz')} (35), damping ratio {found.damping_ratio.text()} (0.02)")


def timed_travel(folder):
    """Read and fit the travel."""
    watch = Watch()
    log = read_log(folder / "travel.csv")
    read = str(watch)
    found = fit_travel(log["pulses"], log["position"], pulses_per_turn=3200)
    print(f"travel, {log.rows:,} rows: read {read}, fitted {watch}, {memory()}; "
          f"{found.travel_per_pulse.text('um')} a pulse (10.02), once per turn {found.once_per_turn.text('um')} (4)")


def timed_pair(folder):
    """Read and register the photographs."""
    watch = Watch()
    pictures = [read_photograph(folder / name) for name in ("first.jpg", "second.jpg")]
    read = str(watch)
    found = shift(*pictures)
    print(f"two photographs of {SHAPE[0] * SHAPE[1] / 1e6:.0f} megapixels: read {read}, registered "
          f"{watch}, {memory()}; {found.down.text()} down ({MOVED[0]}), "
          f"{found.across.text()} across ({MOVED[1]}) px")


def main():
    """Write the files, then measure each in a fresh process."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_ringdown(folder / "ringdown.csv")
        write_travel(folder / "travel.csv")
        write_pair(folder)
        for task in (timed_ringdown, timed_travel, timed_pair):
            process = multiprocessing.get_context("spawn").Process(target=task, args=(folder,))
            process.start()
            process.join()


if __name__ == "__main__":
    main()
