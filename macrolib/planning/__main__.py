"""python -m macrolib.planning SHOT RIG [OUT] [--replace]: plan, print the table, write the files."""

import argparse
import sys
from pathlib import Path

from macrolib.planning import plan
from macrolib.planning.output import text_table, write_plan
from macrolib.rig import read_rig
from macrolib.shot import read_shot


def _free_folder(shot, rig):
    """out/SHOT-on-RIG, or the first of -2, -3 ... that does not exist yet."""
    base = Path("out") / f"{Path(shot).stem}-on-{Path(rig).stem}"
    number = 1
    while (folder := base if number == 1 else base.with_name(f"{base.name}-{number}")).exists():
        number += 1
    return folder


def main(arguments=None):
    """Exit status 0 for a plan (whatever its checks say), 2 for files that cannot be used."""
    parser = argparse.ArgumentParser(prog="python -m macrolib.planning", description="Plan a shot on a rig.")
    parser.add_argument("shot", help="shot.toml")
    parser.add_argument("rig", help="rig.toml")
    parser.add_argument("out", nargs="?", help="folder for plan.json, schedule.csv, settings.html (default: a new one in out/)")
    parser.add_argument("--replace", action="store_true", help="replace files that exist")
    given = parser.parse_args(arguments)
    try:
        made = plan(read_shot(given.shot), read_rig(given.rig))
        folder = Path(given.out) if given.out else _free_folder(given.shot, given.rig)
        written = write_plan(made, folder, given.replace)
    except (ValueError, OSError) as problem:
        print(problem, file=sys.stderr)
        return 2
    print(text_table(made))
    print("Written: " + ", ".join(str(path) for path in written))
    return 0


if __name__ == "__main__":
    sys.exit(main())
