"""One table of all benchmarks: python -m tests.benchmarks.table [part of a script's name ...]

Each script prints what it measures and calls `row` for each figure that has a limit; it runs alone as well. Here all run one
after the other, each in a process of its own; the rows come last, in one table, and as JSON in out/bench.json.
"""

import json
import os
import platform
import subprocess
import sys
import tempfile
from pathlib import Path

from macrolib.files import write_whole

ROOT = Path(__file__).parents[2]
_FILE = "MACROLIB_BENCH_ROWS"


def row(what, figure, limit, unit="", least=False):
    """Print a figure beside its limit, the most allowed or the least wanted; True when it keeps it."""
    kept = bool(figure >= limit if least else figure <= limit)
    line = {"what": what, "figure": float(figure), "limit": float(limit), "unit": unit,
            "bound": "least" if least else "most", "verdict": "met" if kept else "missed"}
    print(_line(line), flush=True)
    if os.environ.get(_FILE):
        with open(os.environ[_FILE], "a", encoding="utf-8") as file:
            file.write(json.dumps(line) + "\n")
    return kept


def _line(r):
    return f"{r['what']:<66} {r['figure']:>10.4g} {r['unit']:<6} {r['bound']} {r['limit']:<7g} {r['verdict']}"


def main(parts=(), out=ROOT / "out"):
    """Run the scripts and write bench.json in `out`; exit status 1 when one breaks or a limit is missed."""
    scripts = [p for p in sorted(Path(__file__).parent.glob("bench_*.py")) if not parts or any(part in p.name for part in parts)]
    with tempfile.TemporaryDirectory() as folder:
        rows = Path(folder) / "rows"
        rows.touch()
        env = {**os.environ, _FILE: str(rows), "PYTHONPATH": str(ROOT)}
        broken = []
        for script in scripts:
            print(f"== {script.stem}", flush=True)
            if subprocess.run([sys.executable, script], env=env, cwd=ROOT).returncode:
                broken.append(script.name)
        found = [json.loads(line) for line in rows.read_text(encoding="utf-8").splitlines()]
    print("\n" + "\n".join(map(_line, found)))
    print(f"{sum(r['verdict'] == 'met' for r in found)} of {len(found)} limits met; load average {os.getloadavg()[0]:.1f}"
          + "".join(f"\n{name} broke off" for name in broken))
    about = {"python": platform.python_version(), "cores": os.cpu_count(), "load": os.getloadavg()[0]}
    out.mkdir(exist_ok=True)
    write_whole(out / "bench.json", json.dumps({"about": about, "rows": found, "broken": broken}, indent=1), replace=True)
    return int(bool(broken) or any(r["verdict"] == "missed" for r in found))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
