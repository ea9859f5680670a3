"""What `make plan` runs: files and report of the demo, in folders with blanks in their names, none replaced unasked."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.notebooks.test_build import Loads

ROOT = Path(__file__).parent.parent.parent
DATA = ROOT / "notebooks" / "data"


def _plan(shot, rig, out, **more):
    places = {"SHOT": str(shot), "RIG": str(rig), "OUT": str(out), "REPLACE": "", **more}
    return subprocess.run([sys.executable, "-m", "tools.plan"], cwd=ROOT, env={**os.environ, **places},
                          capture_output=True, text=True)


@pytest.mark.parametrize(("shot", "rig"), [
    ("moss-capsule", "bench-screw"), pytest.param("wing-case", "field-belt", marks=pytest.mark.slow),
    pytest.param("seed-tray-hand-led", "field-belt", marks=pytest.mark.slow)])
def test_the_demo_of_each_kind_makes_files_and_report(tmp_path, shot, rig):
    shot = shutil.copy(DATA / "shots" / f"{shot}.toml", tmp_path / "my shot.toml")
    rig, out = shutil.copy(DATA / "rigs" / f"{rig}.toml", tmp_path / "my rig.toml"), tmp_path / "my plan"
    done = _plan(shot, rig, out)
    assert done.returncode == 0, done.stderr
    assert "frame" in done.stdout and str(out / "report.html") in done.stdout
    kept = {p.name: p.read_bytes() for p in out.iterdir()}
    assert {"plan.json", "schedule.csv", "settings.html", "report.html"} <= set(kept)
    for name in ("report.html", "settings.html"):
        assert Loads(kept[name].decode()).found == []
    page = kept["report.html"].decode()
    assert Loads(page).pictures >= 1 and "<math" in page and 'class="tex"' not in page
    again = _plan(shot, rig, out)
    assert again.returncode != 0 and "replace" in again.stderr
    assert {p.name: p.read_bytes() for p in out.iterdir()} == kept
    assert _plan(shot, rig, out, REPLACE="yes").returncode == 0


def test_a_missing_or_wrong_file_is_named(tmp_path):
    done = _plan(tmp_path / "none.toml", DATA / "rigs" / "bench-screw.toml", tmp_path / "plan")
    assert done.returncode != 0 and "none.toml" in done.stderr and not (tmp_path / "plan").exists()
