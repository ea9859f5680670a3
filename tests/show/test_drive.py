"""Pictures and the panel of drives: what they say, what their lines hold, and that they are the library's own numbers."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest

from macrolib import read_rig
from macrolib.parts import catalogue
from macrolib.physics import ramps, stepper, transmission
from macrolib.planning import common
from macrolib.planning.drives import Demand, choices
from macrolib.show import figures_drive
from macrolib.show.panels_drive import torque

BENCH = read_rig(Path(__file__).parents[2] / "notebooks" / "data" / "rigs" / "bench-screw.toml")
UPRIGHT = dataclasses.replace(BENCH, rail=dataclasses.replace(BENCH.rail, tilt=math.radians(90)))
MOVE = ramps.trapezoid(0.024, 0.02, 0.2)
DEMAND = Demand(speed=6e-3, acceleration=0.03, resolution=1e-6)


def test_torque_over_torque_holds_the_plans_own_curves():
    picture = figures_drive.torque_over_torque(UPRIGHT, MOVE, 3.0)
    available, third, ramp, steady, gap = (line.get_data() for line in picture.figure.axes[0].lines)
    speeds = available[0] * 1e-3
    assert available[1] * 1e-3 == pytest.approx(common.torque_available(UPRIGHT, speeds)) and third[1] * 3 == pytest.approx(available[1])
    assert ramp[1] * 1e-3 == pytest.approx(common.torque_needed(UPRIGHT, speeds, 0.2)) and (ramp[1] > steady[1]).all()
    ratio = gap[1][0] / gap[1][1]
    assert gap[0] == pytest.approx([20, 20]) and f"{ratio:.3g} times as much; 3 times are asked for" in picture.alt
    times, needed, _ = common.torque_over(UPRIGHT, MOVE, 400)
    assert picture.figure.axes[1].lines[2].get_ydata() == pytest.approx(needed * 1e3)
    assert picture.figure.axes[1].get_title("left").startswith(f"least over the move: {ratio:.3g}")


@pytest.mark.parametrize("speed", [1e-3, 0.2, 3.0])
def test_torque_over_torque_at_any_speed(speed):
    """Below the corner, beyond it, and where the motor gives next to nothing."""
    assert "are available" in figures_drive.torque_over_torque(BENCH, ramps.trapezoid(0.5, speed, 20.0)).alt


def test_map_of_choices():
    drivers = {n: catalogue("drivers")[n] for n in ("D0.8", "D4.2")}  # the first bears 18 V only
    found = choices(UPRIGHT, DEMAND, {n: catalogue("motors")[n] for n in ("M17-40", "M8-30")},
                    {n: catalogue("screws")[n] for n in ("B12x4", "Tr8x2")}, drivers)
    picture = figures_drive.choice_map(found)
    ax = picture.figure.axes[0]
    cells = {tuple(t.get_position()): t for t in ax.texts}
    assert [t.get_text() for t in ax.get_xticklabels()] == ["M8-30", "M17-40"]  # by torque, whatever the order they came in
    assert [t.get_text() for t in ax.get_yticklabels()] == ["Tr8x2", "B12x4"]  # by travel
    for (x, motor), (y, gear) in ((a, b) for a in enumerate(("M8-30", "M17-40")) for b in enumerate(("Tr8x2", "B12x4"))):
        best = max((c for c in found if (c.names["motor"], c.names["transmission"]) == (motor, gear)), key=lambda c: c.room)
        assert cells[x, y].get_text().endswith(f"{best.room:.2f}")
        assert (cells[x, y].get_weight() == "bold") == (best.verdict == "holds")  # in print as well as in colour
    held = sum(t.get_weight() == "bold" for t in cells.values())
    assert 0 < held < 4 and f"2 motors by 2 transmissions, each with the driver that leaves most room. {held} of 4" in picture.alt


def test_every_check_of_a_drive_has_its_letter():
    supplies = {"battery": dataclasses.replace(BENCH.supply, energy=3600.0, power_limit=10.0)}
    checks = {c.name for choice in choices(UPRIGHT, DEMAND, None, None, catalogue("drivers"), supplies) for c in choice.checks}
    assert checks == set(figures_drive._LETTERS) and set(figures_drive._LETTERS.values()) == set(figures_drive._MEANINGS)


def test_two_phases_add_to_the_root_of_two():
    lines = figures_drive.two_phases(0.4, 50).figure.axes[0].lines
    angles, both = lines[2].get_data()
    assert both == pytest.approx(lines[0].get_ydata() + lines[1].get_ydata())
    assert both == pytest.approx(0.4 * np.sin(50 * np.radians(angles)), abs=1e-12)  # T_h sin(p times the angle)
    assert lines[0].get_ydata().max() == pytest.approx(0.4 / math.sqrt(2), rel=1e-3)


def test_curves_and_shares():
    speeds = np.array([0.0, 10.0, 20.0])
    picture = figures_drive.torque_curves({"12 V": np.array([0.3, 0.2, 0.1])}, speeds, {"12 V": 5.0})
    assert picture.figure.axes[0].lines[1].get_xydata() == pytest.approx(np.array([[5.0, 0.25]]))
    assert "12 V: full torque up to 5 turns/s, then falling to 100 mN m at 20 turns/s." in picture.alt
    rows = {"level": {"weight": 0.0, "friction": 0.02}, "upright": {"weight": 0.03, "friction": 0.02}}
    bars = figures_drive.shares(rows, "torque", "mN m")
    widths = [p.get_width() for p in bars.figure.axes[0].patches]
    assert widths == pytest.approx([0, 30, 20, 20]) and bars.alt.endswith("upright: 50 mN m, of it weight 30, friction 20.")


def test_panel_against_numbers_worked_by_hand():
    r = torque.result(torque.start())
    m = catalogue("motors")["M17-40"]
    # 2.5 kg upright, Tr8x2, 10 mm/s after 0.1 s, 1.5 A, 24 V: 5 turns/s
    pull = 2.5 * (9.80665 + 0.1)
    needed = transmission.raising_torque(pull, 7e-3, 2e-3, 0.15, math.radians(15)) + 8e-3 + 2 * math.pi * (54 + 9) * 1e-7 * 0.1 / 2e-3
    assert (r.turns, r.needed) == pytest.approx((5, needed))
    assert r.given == pytest.approx(0.4 * 1.5 / (math.sqrt(2) * 1.68)) and r.ratio == pytest.approx(r.given / needed)
    assert r.corner == pytest.approx(2e-3 * stepper.corner_speed(24, 1.5, m.resistance, m.inductance, 0.4, 1.68, 50)) and r.current_bound
    assert np.interp(0.01, r.speeds, r.wanted) == pytest.approx(needed, rel=1e-3)


def test_panel_words():
    def words(**start):
        return torque.sentence(torque.result(torque.start(**start)))
    assert "where the current is the limit" in words() and "enough" in words() and words().endswith("it stays.")
    assert "where the 24 V are the limit" in words(speed="100 mm/s") and "too little to be safe" in words(speed="100 mm/s")
    assert "loses steps" in words(mass="20 kg", lead="20 mm") and "runs down: fit a brake" in words(lead="12 mm")
    assert "may run down" in words(lead="8 mm", mass="1.5 kg") and words(lead="12 mm", tilt="0 deg").endswith("it stays.")
