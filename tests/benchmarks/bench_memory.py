"""Resident memory of a kernel after each lesson, run from top to bottom: what a learner costs on a shared machine.

    python -m tests.benchmarks.bench_memory [part of a lesson's name ...]

Linux only: it reads /proc. Private is what no other kernel shares with this one. The server of each learner comes on top.
"""

import re
import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient

from tests.benchmarks.table import row
from tools.build import NOTEBOOKS

LIMIT = 220  # MiB, resident, after the largest lesson
LESSONS = sorted((NOTEBOOKS / "learn").glob("*.ipynb"))


def memory(path):
    """(resident, private, highest) MiB of the kernel after the last cell of a notebook; errors in it raise."""
    client = NotebookClient(nbformat.read(path, 4), timeout=120, kernel_name="python3", resources={"metadata": {"path": str(path.parent)}})
    with client.setup_kernel():
        for number, cell in enumerate(client.nb.cells):
            if cell.cell_type == "code":
                client.execute_cell(cell, number)
        process = Path("/proc", str(client.km.provisioner.pid))
        status, maps = (process / "status").read_text(), (process / "smaps_rollup").read_text()
    kibibytes = [int(re.search(rf"{name}:\s+(\d+)", status)[1]) for name in ("VmRSS", "VmHWM")]
    private = sum(map(int, re.findall(r"Private_\w+:\s+(\d+) kB", maps)))
    return kibibytes[0] / 1024, private / 1024, kibibytes[1] / 1024


def main(parts=()):
    found = {}
    for path in (p for p in LESSONS if not parts or any(part in p.name for part in parts)):
        found[path.stem] = resident, private, highest = memory(path)
        print(f"{path.stem:<40} resident {resident:4.0f} MiB, private {private:4.0f} MiB, at most {highest:4.0f} MiB", flush=True)
    largest = max(found, key=found.get)
    row(f"kernel after the largest lesson, {largest[:30]}", found[largest][0], LIMIT, "MiB")


if __name__ == "__main__":
    main(sys.argv[1:])
