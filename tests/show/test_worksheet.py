"""What the worksheets show of a plan."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.physics import screen
from macrolib.show.worksheet import Sheet

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
RIG = read_rig(DATA / "rigs" / "field-belt.toml")
SHOTS = [read_shot(DATA / "shots" / f"{name}.toml") for name in ("wing-case", "seed-tray-push-in", "seed-tray-hand-led", "moss-capsule")]


@pytest.fixture(scope="module", params=SHOTS, ids=lambda shot: shot.name)
def sheet(request):
    return Sheet(plan(request.param, RIG))


def _cells(markdown):
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in markdown.data.splitlines() if line.startswith("|")]


def test_every_setting_and_check_has_its_row(sheet):
    settings, checks = _cells(sheet.settings()), _cells(sheet.checks())
    assert [row[0] for row in settings[2:]] == [s.meaning for s in sheet.plan.settings.values()]
    assert [(row[0], row[2]) for row in checks[2:]] == [(c.name, c.state) for c in sheet.plan.checks]
    assert all(sum(bool(cell) for cell in row) >= 3 for row in settings)
    assert all(note in sheet.settings().data for note in sheet.plan.notes)


def test_rows_of_the_schedule(sheet):
    rows, count = _cells(sheet.schedule(3)), len(sheet.plan.schedule["frame"][1])
    assert [row[0] for row in rows[2:]] == [f"{n:g}" for n in sheet.plan.schedule["frame"][1][[0, 1, 2, count // 2, -1]]]
    assert "-0" not in {cell for row in rows for cell in row} and not any("e-1" in cell for row in rows[2:] for cell in row)


def test_mends_say_what_they_do_and_what_is_beyond_them():
    shot = dataclasses.replace(SHOTS[0], traverse=dataclasses.replace(SHOTS[0].traverse, speed=3e-3),
                               limits=dataclasses.replace(SHOTS[0].limits, blur=0.5))
    made = plan(shot, RIG)
    lines = Sheet(made).mends().splitlines()
    assert lines[-1] == "The plan as it stands: fails."
    bad = [c for c in made.checks if c.state != "holds"]
    assert len(lines) == len(bad) + 1 and any(c.mend for c in bad)
    for line, check in zip(lines, bad):
        assert f": {check.name} holds; " in line if check.mend else f"{check.name}: {check.state}" in line


def test_working_shows_numbers_and_formulas():
    text = Sheet.working(("First.", screen.exposure_time, {"shutter_angle": np.pi, "frame_rate": 25.0}), ("Second.",)).data
    assert text.startswith("First.\n\n$$") and r"= 0.02\ \mathrm{s}$$" in text and text.endswith("\n\nSecond.")


def test_files_are_written_once_and_never_replaced(tmp_path):
    sheet, other = (Sheet(plan(shot, RIG, mends=False)) for shot in SHOTS[:2])
    assert "No files" in sheet.write(None)
    assert sheet.write(tmp_path) == "Written: plan.json, schedule.csv, settings.html"
    kept = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert sheet.write(tmp_path).count("is that of this plan") == 3
    assert other.write(tmp_path).count("another plan's") == 3
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == kept
