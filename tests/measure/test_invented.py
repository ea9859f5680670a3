"""The invented logs and photographs: they are what the tool makes, and their truth is found, from the file to the plan."""

import math
import shutil

import numpy as np
import pytest

from macrolib import plan, read_shot
from macrolib.measure import (fit_focus, fit_ringdown, fit_stiffness, fit_travel, missed_steps, read_log, read_photograph, record,
                              reversal, settling, sharpness, shift)
from macrolib.physics import vibration
from tools.invented_measurements import DATA, LOGS, PULSES_PER_TURN, TRUTH, VIEW, photographs

LOG, PHOTO = DATA / "logs", DATA / "photos"


def near(found, truth, times=3.5):
    return abs(found - truth) < times * found.standard_uncertainty


@pytest.mark.parametrize("name", LOGS)
def test_logs_are_what_the_tool_makes(name):
    assert (LOG / name).read_text("utf-8") == LOGS[name]()
    assert {p.name for p in LOG.iterdir()} == set(LOGS)


def test_photographs_are_what_the_tool_makes():
    made = photographs()
    assert {p.name for p in PHOTO.iterdir()} == set(made)
    for name, seen in made.items():
        assert np.abs(read_photograph(PHOTO / name).pixels - np.clip(seen, 0, 1)).max() < 0.6 / 255
        assert (PHOTO / name).stat().st_size < 300_000


def test_travel():
    log, true = read_log(LOG / "travel.csv"), TRUTH["travel.csv"]
    found = fit_travel(log["pulses"], log["position"], PULSES_PER_TURN, nominal=2e-3 / PULSES_PER_TURN)
    assert near(found.travel_per_pulse, true["travel_per_turn"] / PULSES_PER_TURN) and near(found.offset, true["offset"])
    assert near(found.once_per_turn, true["once_per_turn"]) and near(found.once_per_turn_phase, true["once_per_turn_phase"])
    assert near(found.lead_error, true["travel_per_turn"] / 2e-3 - 1) and near(found.residual_deviation, true["residual_deviation"])
    assert found.once_per_turn_found and found.notes == ()


def test_both_ways():
    log = read_log(LOG / "both-ways.csv")
    runs = [np.column_stack([log[f"{way} {n}"] for n in range(1, 6)]) for way in ("forward", "backward")]
    found = reversal(log["target"], *runs)
    assert near(found.for_rig()["transmission.backlash"], TRUTH["both-ways.csv"]["backlash"]) and found.notes == ()


def test_phone():
    log, true = read_log(LOG / "ringdown-phone.csv"), TRUTH["ringdown-phone.csv"]
    assert len(log.notes) == 5  # lines before, decimal comma, a row twice, a gap, uneven
    found = fit_ringdown(log.times, log["Acceleration x"])
    assert near(found.frequency, true["frequency"]) and near(found.damping_ratio, true["damping_ratio"])
    assert found.quality == "good" and found.second is None and found.start > true["tapped"]


def test_logger_with_two_modes():
    true = TRUTH["ringdown-logger.csv"]
    with pytest.raises(ValueError, match="t, ax"):
        read_log(LOG / "ringdown-logger.csv")
    log = read_log(LOG / "ringdown-logger.csv", units={"t": "s", "ax": "gn"})
    found = fit_ringdown(log.times, log["ax"])
    assert near(found.frequency, true["frequency"]) and near(found.damping_ratio, true["damping_ratio"])
    assert near(found.second.frequency, true["second_frequency"]) and near(found.second.damping_ratio, true["second_damping_ratio"])


def test_there_and_back_and_press():
    log, true = read_log(LOG / "there-and-back.csv"), TRUTH["there-and-back.csv"]
    assert missed_steps(log["before"], log["after"], true["full_step"]).missed == -true["missed"]
    log = read_log(LOG / "press.csv")
    assert near(fit_stiffness(log["force"], log["give"]).stiffness, TRUTH["press.csv"]["stiffness"])


def test_photographs_of_a_move():
    true = TRUTH["pair"]
    found = shift(*(read_photograph(PHOTO / f"pair-{which}.png") for which in ("first", "second")))
    assert near(found.down, true["down"]) and near(found.across, true["across"]) and found.across.standard_uncertainty < 0.002
    assert near(found.travel(VIEW["pixel_pitch"], VIEW["magnification"]), true["travel"])


def test_sweep():
    true, seen = TRUTH["sweep"], [read_photograph(p) for p in sorted(PHOTO.glob("sweep-*.png"))]
    z = (np.arange(len(seen)) - len(seen) // 2) * true["spacing"]
    found = fit_focus(z, [sharpness(s) for s in seen])
    assert near(found.depth, true["depth"]) and near(found.best, true["best"]) and found.notes == ()


def test_burst():
    true, seen = TRUTH["burst"], [read_photograph(p) for p in sorted(PHOTO.glob("burst-*.png"))]
    moved = [shift(seen[-1], s) for s in seen]
    found = settling(np.arange(len(seen)) / true["frame_rate"], [(m.down, m.across) for m in moved], 1.0)
    wait = vibration.settling_time(true["amplitude"], 0.5, true["frequency"], true["damping_ratio"])
    assert near(found.wait, wait) and near(found.decay_rate, 2 * math.pi * true["frequency"] * true["damping_ratio"])


def test_from_the_logs_to_the_plan(tmp_path):
    path = shutil.copy(DATA / "rigs" / "bench-screw.toml", tmp_path / "rig.toml")
    log, travel = read_log(LOG / "ringdown-phone.csv"), read_log(LOG / "travel.csv")
    values = fit_ringdown(log.times, log["Acceleration x"]).for_rig("stand")
    values |= fit_travel(travel["pulses"], travel["position"], PULSES_PER_TURN).for_rig(PULSES_PER_TURN)
    rig = record(path, values, "2030-01-31")
    made = plan(read_shot(DATA / "shots" / "moss-capsule.toml"), rig, mends=False)
    assert made["spacing"] / made["spacing_pulses"] * PULSES_PER_TURN == pytest.approx(2.0013e-3, rel=2e-4)
    assert 0 < made.uncertainties["settling_wait"] < 0.1 * made["settling_wait"]
