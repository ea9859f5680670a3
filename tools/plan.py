"""`make plan`: plan a shot on a rig, then run its worksheet and store it as report.html in the same folder.

SHOT, RIG, OUT and REPLACE come as environment variables, so that paths may hold spaces. Without OUT the folder is
out/<shot>-on-<rig>, which belongs to this command and is replaced; a folder of one's own only with REPLACE=yes.
"""

import os
import subprocess
import sys
from pathlib import Path

from nbclient.exceptions import CellExecutionError

import macrolib
from tools.build import NOTEBOOKS
from tools.report import write_report

WORKSHEETS = {
    "stack": "plan-a-stack",
    "traverse": "plan-a-traverse",
    "hand-led": "plan-a-hand-led-move",
}


def main():
    """Returns the exit code: not 0 when a plan or its report could not be made, whatever the checks say."""
    shot, rig = Path(os.environ["SHOT"]), Path(os.environ["RIG"])
    out = os.environ.get("OUT")
    replace = not out or os.environ.get("REPLACE") == "yes"
    out = Path(out or f"out/{shot.stem}-on-{rig.stem}")
    command = [sys.executable, "-m", "macrolib.planning", str(shot), str(rig), str(out)]
    done = subprocess.run(command + ["--replace"] * replace)
    if done.returncode:
        return done.returncode
    worksheet = NOTEBOOKS / "design" / f"{WORKSHEETS[macrolib.read_shot(shot).kind]}.ipynb"
    places = {"MACROLIB_SHOT": shot, "MACROLIB_RIG": rig, "MACROLIB_OUT": out}
    try:
        report = write_report(worksheet, out / "report.html", {k: str(p.resolve()) for k, p in places.items()}, replace)
    except (OSError, CellExecutionError) as problem:
        print(problem, file=sys.stderr)
        return 1
    print(f"Report: {report}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
