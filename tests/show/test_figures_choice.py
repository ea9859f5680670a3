"""Pictures of a choice: what they say is what was computed."""

import dataclasses
import re
from pathlib import Path

import numpy as np
import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.parts import catalogue
from macrolib.planning.chance import chance, sensitivities
from macrolib.planning.explore import explore
from macrolib.show import figures_choice as figures

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
WING, MOSS = (read_shot(DATA / "shots" / f"{name}.toml") for name in ("wing-case", "moss-capsule"))
BELT, BENCH = (read_rig(DATA / "rigs" / f"{name}.toml") for name in ("field-belt", "bench-screw"))
PARTS = {**catalogue("screws"), **catalogue("belts")}
CANDIDATES = {"transmission": {name: PARTS[name] for name in ("Tr8x1.5", "Tr8x4 (P2)", "T2.5-20 i25")},
              "motor": {name: catalogue("motors")[name] for name in ("M8-42", "M17-40")}, "microsteps": [8, 32], "speed": [9e-4, 1.73e-3],
              "ramp": {"jerk-limited": ("jerk-limited", 0.0075)}, "aperture": [16.0]}


@pytest.fixture(scope="module")
def found():
    rig = dataclasses.replace(BELT, driver=catalogue("drivers")["D2.0"])
    return explore(WING, rig, CANDIDATES)


def test_the_front_names_its_ends_and_the_reasons(found):
    picture = figures.front(found)
    assert f"Of {found.count} combinations {found.states['holds']} hold and {found.states['tight']} are tight; " in picture.alt
    assert f"; {len(found.front)} are not beaten in everything" in picture.alt
    for letter, (what, row) in figures.ends(found).items():
        assert f"{letter}, {what}: {', '.join(row.names.values())}." in picture.alt
    quickest = figures.ends(found)["A"][1]
    assert quickest.figures["time"] == min(row.figures["time"] for row in found.front)
    assert figures.ends(found)["C"][1].figures["top speed"] == max(row.figures["top speed"] for row in found.front)
    name, reason = next(iter(found.reasons.items()))
    assert f"{name} {reason.first / found.count:.1%}" in picture.alt
    upper, lower, bars = picture.figure.axes
    drawn = np.concatenate([line.get_xydata() for line in upper.lines])
    assert sorted(drawn[:, 0]) == pytest.approx(sorted(row.figures["resolution"] * 1e6 for row in found.front))
    assert {line.get_label() for line in upper.lines} <= {"screw", "belt"} and len(drawn) == len(found.front)
    assert [bar.get_width() for bar in bars.patches] == pytest.approx(
        [r.first / found.count for r in found.reasons.values() if r.first][:9])


def test_where_nothing_holds_the_reasons_remain():
    nothing = explore(WING, BELT, {"speed": [20e-3], "ramp": {"a": ("trapezoid", 0.01)}})
    assert "Of 1 combinations 0 hold and 0 are tight. Turned away" in figures.front(nothing).alt and not figures.ends(nothing)


def test_a_stack_shows_the_uncertainty_of_its_positions():
    stack = explore(MOSS, BENCH, {"microsteps": [8, 16], "speed": [1e-3]})
    assert stack.front and figures.front(stack).figure.axes[1].get_ylabel() == "position uncertainty (µm)"


def test_influences_show_the_changes_of_margins():
    found = sensitivities(plan(WING, BELT, mends=False))
    picture = figures.influences(found)
    key = next(iter(found.inputs))
    down, up = found.rooms[key]
    assert key == "rig.motor.detent_torque" and "motor: detent torque, ± 30% (typical)" in picture.alt
    assert f"{found.room:.3g}, becomes {down:.3g} with less and {up:.3g} with more" in picture.alt
    cells = [text.get_text() for text in picture.figure.axes[0].texts]
    change = found.changes[key]["ripple of the motor"]
    assert f"{change:+.2g}".replace("-", "\N{MINUS SIGN}") in cells and len(cells) == 60


def test_chances_add_up_and_name_the_rarest():
    found = chance(plan(MOSS, BENCH, mends=False), samples=500)
    picture = figures.chances(found)
    assert f"All checks hold in {found.holds:.1%}" in picture.alt and f"none fails in {found.kept:.1%}" in picture.alt
    assert re.search(r"The rarest: settling after a move", picture.alt)
    bars = picture.figure.axes[0].patches
    assert bars[0].get_width() == pytest.approx(found.holds)
    assert sum(bar.get_width() for bar in bars[:3]) == pytest.approx(1)
    named = dataclasses.replace(found, left_out={"quiet subject": "no data"})
    assert "left out: quiet subject" in figures.chances(named).alt
