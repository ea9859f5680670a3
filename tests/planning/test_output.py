"""What leaves a plan: three files, whole, with every text escaped."""

import csv
import dataclasses
import io
import json
from pathlib import Path

import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.planning.__main__ import main
from macrolib.planning.output import WRITERS, plan_json, schedule_csv, settings_html, text_table, write_plan

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
SHOT_FILE, RIG_FILE = DATA / "shots" / "moss-capsule.toml", DATA / "rigs" / "bench-screw.toml"
PLAN = plan(read_shot(SHOT_FILE), read_rig(RIG_FILE))


def test_each_file_names_version_rig_and_shot():
    for write in WRITERS.values():
        text = write(PLAN)
        assert all(part in text for part in (PLAN.version, "moss-capsule", "bench-screw"))


def test_json_holds_settings_and_checks():
    content = json.loads(plan_json(PLAN))
    assert content["settings"]["spacing"]["unit"] == "um"
    assert content["settings"]["spacing"]["value"] == pytest.approx(PLAN["spacing"] * 1e6)
    assert [c["state"] for c in content["checks"]] == [c.state for c in PLAN.checks]
    frame = 8159 * 5455 * 14 / 8e9  # GB: 35.9 x 24 mm in pixels of 4.4 um, 14 bits each
    assert content["settings"]["data"]["unit"] == "GB" and content["settings"]["data"]["value"] == pytest.approx(PLAN["frames"] * frame)


def test_schedule_has_a_row_a_frame():
    lines = [line for line in schedule_csv(PLAN).splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(io.StringIO("\n".join(lines))))
    assert len(rows) == PLAN["frames"]
    assert float(rows[-1]["position (mm)"]) == pytest.approx(PLAN["last_position"] * 1e3)
    assert int(rows[0]["position_pulses (pulse)"]) == PLAN.schedule["position_pulses"][1][0]


def test_card_escapes_every_text_and_needs_nothing_from_elsewhere():
    evil = '"><script>alert(1)</script>'
    made = dataclasses.replace(PLAN, shot=dataclasses.replace(PLAN.shot, name=evil), rig=dataclasses.replace(PLAN.rig, name=evil))
    page = settings_html(made)
    assert "<script" not in page and "http" not in page and "&lt;script&gt;" in page


def test_card_warns_of_a_falling_load_on_an_upright_axis():
    upright = plan(read_shot(SHOT_FILE), read_rig(DATA / "rigs" / "lab-ball-screw.toml"))
    assert "fall" in settings_html(upright) and "Upright" not in settings_html(PLAN)


def test_all_files_or_none(tmp_path):
    (tmp_path / "schedule.csv").write_text("mine")
    with pytest.raises(FileExistsError, match="schedule.csv"):
        write_plan(PLAN, tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["schedule.csv"] and (tmp_path / "schedule.csv").read_text() == "mine"
    write_plan(PLAN, tmp_path, replace=True)
    assert {p.name for p in tmp_path.iterdir()} == set(WRITERS)


def test_table_shows_every_check_and_setting():
    table = text_table(PLAN)
    assert all(c.name in table for c in PLAN.checks) and all(s.meaning in table for s in PLAN.settings.values())


def test_command_prints_the_table_and_writes(tmp_path, capsys):
    assert main([str(SHOT_FILE), str(RIG_FILE), str(tmp_path / "a b")]) == 0
    assert "Checks" in capsys.readouterr().out and (tmp_path / "a b" / "plan.json").exists()
    assert main([str(SHOT_FILE), str(RIG_FILE), str(tmp_path / "a b")]) == 2
    assert "exist already" in capsys.readouterr().err


def test_command_says_what_is_wrong_without_a_traceback(tmp_path, capsys):
    bad = tmp_path / "rig.toml"
    bad.write_text("[motor]\n")
    assert main([str(SHOT_FILE), str(bad), str(tmp_path / "out")]) == 2
    error = capsys.readouterr().err
    assert "holding_torque: is missing" in error and "Traceback" not in error and not (tmp_path / "out").exists()


def test_reference_page_is_current_and_names_every_column():
    from macrolib.planning import output
    assert (DATA / "keys.md").read_text("utf-8") == output.reference_page()
    film = plan(read_shot(DATA / "shots" / "wing-case.toml"), read_rig(DATA / "rigs" / "field-belt.toml"), mends=False)
    hand = plan(read_shot(DATA / "shots" / "seed-tray-hand-led.toml"), read_rig(DATA / "rigs" / "field-belt.toml"), mends=False)
    assert {*PLAN.schedule, *film.schedule, *hand.schedule} == set(output.COLUMNS)
