"""The worksheet that compares rigs, with other shots: sums are those of the plans, the choice is the best plan."""

import contextlib
import io
import re

import pytest

from macrolib import plan, read_rig
from tools.build import NOTEBOOKS, read

SOURCE = NOTEBOOKS / "src" / "design" / "compare-rigs.py"
RIGS = "../data/rigs/bench-screw.toml", "../data/rigs/field-belt.toml"


def worksheet(monkeypatch, shot, rigs=RIGS):
    """(what it prints, its variables) for a shot and some rigs."""
    text, count = re.subn(r"^RIGS = .*$", f"RIGS = {rigs!r}", SOURCE.read_text("utf-8"), flags=re.M)
    assert count == 1
    monkeypatch.setenv("MACROLIB_SHOT", str(shot))
    said, names = io.StringIO(), {}
    with contextlib.chdir(NOTEBOOKS / "design"), contextlib.redirect_stdout(said):
        for cell in read(text).cells:
            if cell.cell_type == "code":
                exec(compile(cell.source, "cell", "exec"), names)
    return said.getvalue(), names


@pytest.mark.parametrize(("shot", "best"), [("moss-capsule", "bench-screw"), ("seed-tray-hand-led", "field-belt")])
def test_the_best_plan_is_taken_and_sums_are_those_of_the_plans(monkeypatch, shot, best):
    said, names = worksheet(monkeypatch, f"../data/shots/{shot}.toml")
    assert f"Take {best}: all its checks hold." in said and names["plans"][best].verdict == "holds"
    for made in names["plans"].values():
        assert sum(names["spent"](made).values()) == pytest.approx(made["total_time"], rel=1e-6)
        assert sum(names["parts"](made).values()) == pytest.approx(names["energy"](made)) and min(names["parts"](made).values()) >= 0
    battery = names["plans"]["field-belt"].check("battery")
    assert names["energy"](names["plans"]["field-belt"]) == pytest.approx(battery.figure)


def test_a_rig_that_cannot_do_it_at_all_is_named(monkeypatch, tmp_path):
    text = (NOTEBOOKS / "data" / "shots" / "wing-case.toml").read_text()
    (tmp_path / "slow.toml").write_text(text.replace("[traverse]", '[traverse]\nspeed = "0.001 mm/s"'))
    with pytest.raises(ValueError, match="none of these rigs can do"):
        worksheet(monkeypatch, tmp_path / "slow.toml")
    said, names = worksheet(monkeypatch, "../data/shots/wing-case.toml", RIGS[:1])
    assert names["order"] == ["bench-screw"] and "none holds as it stands" in said
    assert plan(names["shot"], read_rig(NOTEBOOKS / "data" / "rigs" / "bench-screw.toml")).verdict == "tight"
