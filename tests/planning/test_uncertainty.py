"""A plan says which values were measured, and how sure its figures are."""

import dataclasses
import html
import json
import math
import re
import subprocess
from pathlib import Path

import numpy as np
import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.planning.output import plan_json, settings_html, text_table, write_plan
from macrolib.rig import Measured

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
RIG, SHOT = read_rig(DATA / "rigs" / "bench-screw.toml"), read_shot(DATA / "shots" / "moss-capsule.toml")
DAY = "2030-01-31"
TRAVEL = ("transmission.travel_per_turn", Measured(2.0013e-3, 4e-7, DAY))
STAND = (("stand.natural_frequency", Measured(29.4, 0.3, DAY)), ("stand.damping_ratio", Measured(0.034, 0.001, DAY)))


def made(*measured, shot=SHOT, rig=RIG):
    return plan(shot, dataclasses.replace(rig, measured=measured), mends=False)


def test_nothing_measured_nothing_said():
    assert made().uncertainties == {} and "±" not in text_table(made()) + settings_html(made())
    assert "standard_uncertainty" not in plan_json(made())


def test_what_is_set_in_pulses_has_an_uncertain_travel_and_a_certain_count():
    found = made(TRAVEL)
    share = 4e-7 / 2.0013e-3
    for name in ("spacing", "travel_per_pulse", "first_position", "last_position", "speed_pulses"):
        assert found.uncertainties[name] == pytest.approx(share * found[name], rel=1e-4), name
    assert not {"spacing_pulses", "frames", "speed", "acceleration", "f_number", "microsteps"} & set(found.uncertainties)


def test_two_measured_values_add_as_squares():
    one, other, both = (made(*m).uncertainties["settling_wait"] for m in (STAND[:1], STAND[1:], STAND))
    # each is taken about the plan that has both: differences of the plans are small
    assert both == pytest.approx(math.hypot(one, other), rel=0.3) and both > 0


def test_uncertainty_is_the_scatter_of_plans_with_drawn_values():
    found, random, waits = made(*STAND), np.random.default_rng(1), []
    for _ in range(120):
        drawn = [(n, dataclasses.replace(m, value=m.value + m.standard_uncertainty / 4 * random.standard_normal())) for n, m in STAND]
        again = made(*drawn)
        if again["acceleration"] == found["acceleration"]:  # rounded to two digits: another one is another setting
            waits.append(again["settling_wait"])
    assert len(waits) > 60
    assert 4 * np.std(waits) == pytest.approx(found.uncertainties["settling_wait"], rel=0.25)


def test_a_value_at_the_edge_of_its_range_has_one_side():
    found = made(("stand.damping_ratio", Measured(1e-9, 0.0, DAY)))
    assert found.uncertainties == {}
    edge = made(("room.drift", Measured(0.0, 1e-4, DAY)))
    assert edge.uncertainties.get("drift with temperature", 0.0) >= 0.0


@pytest.mark.parametrize("shot", ["wing-case", "seed-tray-push-in", "seed-tray-hand-led"])
def test_every_kind_of_shot(shot):
    rig = read_rig(DATA / "rigs" / "field-belt.toml")
    travel = ("transmission.travel_per_turn", Measured(1.0007 * rig.travel_per_turn, 2e-4 * rig.travel_per_turn, DAY))
    found = made(travel, *STAND, shot=read_shot(DATA / "shots" / f"{shot}.toml"), rig=rig)
    values = {n: s.value for n, s in found.settings.items()} | {c.name: c.figure for c in found.checks}
    assert found.uncertainties["travel_per_pulse"] == pytest.approx(2e-4 * found["travel_per_pulse"], rel=1e-3)
    assert all(0 < u < 0.5 * abs(values[n]) + 1e-9 for n, u in found.uncertainties.items())


def test_every_output_says_it():
    found = made(TRAVEL, *STAND)
    content, table, card = json.loads(plan_json(found)), text_table(found), html.unescape(settings_html(found))
    spacing = content["settings"]["spacing"]
    assert spacing["standard_uncertainty"] == pytest.approx(4e-7 / 2.0013e-3 * spacing["value"], rel=0.01)
    assert "standard_uncertainty" not in content["settings"]["frames"]
    assert any("standard_uncertainty" in c for c in content["checks"])
    for text in (table, card, "\n".join(content["measured_values"])):
        assert "transmission.travel_per_turn 2.00130 ± 0.00040 mm (2030-01-31), instead of 2 mm" in text
        assert "stand.natural_frequency 29.40 ± 0.30 Hz (2030-01-31), instead of 31 Hz" in text
    for text in (table, card):
        assert re.search(r"frame spacing\W.*31\.\d+ ± 0\.00\d+ um", text) and "pulses/s" in text


def test_a_value_that_was_not_there_before():
    bare = dataclasses.replace(RIG, stand=dataclasses.replace(RIG.stand, natural_frequency=None))
    assert "where nothing stood" in text_table(made(STAND[0], rig=bare))


def test_card_is_one_page(tmp_path, tool):
    browser = tool("chromium")
    write_plan(made(TRAVEL, *STAND), tmp_path)
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", f"--user-data-dir={tmp_path / 'user'}"]
    subprocess.run([browser, *options, f"--print-to-pdf={tmp_path / 'card.pdf'}", (tmp_path / "settings.html").as_uri()], check=True,
                   capture_output=True, timeout=60)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", (tmp_path / "card.pdf").read_bytes())) == 1
