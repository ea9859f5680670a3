"""The tests can fail: a copy of the project is broken on purpose, once for each kind of fault, and its tests must turn red."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow
ROOT = Path(__file__).parents[2]
_LEAVE = shutil.ignore_patterns(".*", "out", "build", "*.egg-info", "__pycache__", "browser", "hardening")
LESSON = "notebooks/learn/01-from-turns-to-travel.ipynb"
# what is broken: (file, text that is there, text instead, tests that must turn red)
BREAKS = {
    "formula": ("macrolib/physics/transmission.py", "_thread_torque(1), (s.axial_load", "2 * _thread_torque(1), (s.axial_load",
                "tests/outside/test_transmission.py"),
    "unit": ("macrolib/physics/symbols.py", 'speed = Symbol("speed", "m/s"', 'speed = Symbol("speed", "m/s^2"',
             "tests/physics/test_transmission.py"),
    "slider": ("macrolib/show/panels.py", 'Slider("microsteps"', 'Slider("microstep"', "tests/show/test_panels.py"),
    "slider's end": ("macrolib/show/panels.py", 'Slider("acceleration", "acceleration", "mm/s^2", 1,',
                     'Slider("acceleration", "acceleration", "mm/s^2", 0,', "tests/show/test_panels.py"),
    "alternative text": (LESSON, 'alt=\\"', 'title=\\"', "tests/notebooks/test_lint.py -k 01-from"),
    "link": (LESSON, "02-stepping-smoothly.ipynb", "02-stepping.ipynb", "tests/notebooks/test_lint.py -k 01-from"),
    "number in the prose": (LESSON, re.compile(r"\d(?=<!--=)"), r"\g<0>9", "tests/notebooks/test_prose.py -k 01-from"),
    "mend": ("macrolib/planning/checks.py", "return turned.mend(value, found)", "return turned.mend(value * 1.7, found)",
             "tests/planning/test_stack.py"),
    "printed number": (LESSON, "of the bench rig: 2 mm", "of the bench rig: 3 mm", f"--nbval --nbval-current-env {LESSON}"),
}


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    folder = tmp_path_factory.mktemp("copy") / "project"
    shutil.copytree(ROOT, folder, ignore=_LEAVE)
    return folder


def _tests(folder, wanted):
    env = {k: v for k, v in os.environ.items() if not k.startswith("PYTEST")} | {"PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", "-m", "not slow",
               "--nbval-sanitize-with=tests/nbval_sanitize.cfg", *wanted.split()]
    done = subprocess.run(command, cwd=folder, env=env, capture_output=True, text=True, timeout=550)
    return done.returncode, done.stdout[-3000:]


@pytest.mark.parametrize("kind", BREAKS)
def test_a_fault_turns_the_tests_red_and_taking_it_back_turns_them_green(kind, project):
    name, old, new, wanted = BREAKS[kind]
    path = project / name
    good = path.read_text(encoding="utf-8")
    broken = re.sub(old, new, good, count=1) if isinstance(old, re.Pattern) else good.replace(old, new, 1)
    assert broken != good, f"{old!r} stands no longer in {name}: say here how to break it now"
    try:
        path.write_text(broken, encoding="utf-8")
        status, said = _tests(project, wanted)
        assert status in (1, 2) and ("failed" in said or "error" in said), said
    finally:
        path.write_text(good, encoding="utf-8")
    status, said = _tests(project, wanted)
    assert status == 0, said
