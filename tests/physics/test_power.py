"""Power and battery: definitions, limits, bad input."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from macrolib.formula import Formula, check_dimensions
from macrolib.physics import power

FORMULAS = [f for f in vars(power).values() if isinstance(f, Formula)]


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda f: f.__name__)
def test_units_agree_and_bad_values_are_refused(formula):
    check_dimensions(formula)
    assert formula.source
    values = {n: 0.2 if n == "internal_resistance" else 2.0 if n == "peukert_exponent" else 0.6 for n in formula.names}
    assert isinstance(formula(**values), float)
    for name in formula.names:
        assert formula(**values | {name: np.array([values[name], values[name] * 0.9])}).shape == (2,)
        with pytest.raises(ValueError, match=name):
            formula(**values | {name: math.inf})


@given(current=st.floats(0.01, 10), resistance=st.floats(0.1, 50), angle=st.floats(0, 7))
def test_copper_loss_is_the_same_at_every_microstep(current, resistance, angle):
    phases = resistance * (current * math.cos(angle)) ** 2 + resistance * (current * math.sin(angle)) ** 2
    assert power.copper_loss(current, resistance) == pytest.approx(phases, rel=1e-12)


def test_copper_loss_of_full_steps_and_of_the_hold_current():
    assert power.copper_loss(math.sqrt(2) * 1.5, 2.0) == pytest.approx(2 * 2.0 * 1.5**2)  # two phases on
    assert power.copper_loss(0.5 * 1.5, 2.0) == pytest.approx(power.copper_loss(1.5, 2.0) / 4)


@given(powers=st.lists(st.floats(0, 100), min_size=1, max_size=5))
def test_mean_power_lies_between_and_counts_the_time(powers):
    durations = np.arange(1.0, len(powers) + 1)
    mean = power.mean_power(powers, durations)
    assert min(powers) - 1e-9 <= mean <= max(powers) + 1e-9
    assert mean * durations.sum() == pytest.approx(np.dot(powers, durations))


def test_mean_power_refuses():
    for powers, durations in (([1, math.nan], 1), ([1, 2], -1), ([1, 2], 0), ([], [])):
        with pytest.raises(ValueError, match="durations"):
            power.mean_power(powers, durations)


def test_the_energy_of_a_shot_from_a_cold_old_battery():
    energy = power.usable_energy(98 * 3600, 0.8, 0.9, power.cold_share(263.15))
    assert energy == pytest.approx(98 * 3600 * 0.8 * 0.9 * 0.75)
    draw = power.supply_power(power.copper_loss(1.2, 2.6) + 3.5, 0.88)
    assert power.run_time(energy, draw) == pytest.approx(energy / ((1.44 * 2.6 + 3.5) / 0.88))
    assert power.run_time.solve_for("energy")(3600.0, 10.0) == pytest.approx(36_000)


def test_cold_takes_more_the_colder_it_is_and_warmth_gives_nothing():
    shares = power.cold_share(np.linspace(253.15, 320, 50))
    assert (np.diff(shares) >= 0).all() and shares[-1] == 1 and shares[0] == pytest.approx(0.6)
    for cold in (250.0, math.nan):
        with pytest.raises(ValueError, match="temperature"):
            power.cold_share(cold)


def test_battery_sags_and_motor_warms():
    assert power.battery_voltage(4, 3.6, 2.0, 0.15) == pytest.approx(14.1)
    with pytest.raises(ValueError, match="voltage"):
        power.battery_voltage(4, 3.6, 200.0, 0.15)
    assert power.part_temperature(294.15, 4.0, 8.0) == pytest.approx(326.15)
    assert power.mechanical_power(0.1, 5.0) == pytest.approx(math.pi)
    warm = power.case_temperature(294.15, 4.0, 8.0, np.array([0.0, 600.0, 1e6]), 1200.0)
    assert warm[[0, 2]] == pytest.approx([294.15, power.part_temperature(294.15, 4.0, 8.0)]) and (np.diff(warm) > 0).all()
    assert power.winding_resistance(2.0, power.COPPER_COEFFICIENT, 353.15, 293.15) == pytest.approx(2.0 * 1.2358)


@given(current=st.floats(0.01, 10), moving=st.floats(0, 1), hold=st.floats(0, 1))
def test_motor_loss_is_the_mean_over_motion_and_standstill(current, moving, hold):
    still = power.copper_loss(max(hold, 1e-3) * current, 2.0) if hold > 1e-3 else 0.0
    mean = power.mean_power([power.copper_loss(current, 2.0), still], [moving, 1 - moving])
    assert power.motor_loss(current, 2.0, moving, hold) == pytest.approx(mean, abs=1e-5 * current**2)
    assert power.motor_loss(current, 2.0, moving, 1.0) == pytest.approx(power.copper_loss(current, 2.0))


def test_from_the_parts_to_the_fuse():
    load = power.load_power(4.0, 0.5, 0.6, 0.4, 3.5, 8.0)
    assert load == pytest.approx(17.0)
    current = power.supply_current(power.supply_power(load, 0.85), 12.5)
    assert (current, power.least_fuse(current)) == pytest.approx((1.6, 2.0))
    assert power.wire_drop(power.COPPER_RESISTIVITY, 1.45, current, 0.8e-6) == pytest.approx(0.1)  # 2.9 m of 1/58 ohm mm^2/m
    short = power.battery_voltage.solve_for("current")(voltage=1e-6, cells=4, cell_voltage=3.6, internal_resistance=0.1)
    assert short == pytest.approx(144)


def test_old_batteries_and_lead_cells():
    assert power.aged_share(0, 500) == 1 and power.aged_share(250, 500) == pytest.approx(0.9)
    rated, charge = 20 * 3600.0, 7.0 * 3600
    times = power.peukert_time(rated, charge, np.array([0.35, 0.7, 3.5]), 1.2)
    assert times[0] == pytest.approx(rated) and (times[1:] < charge / np.array([0.7, 3.5])).all()
    assert power.peukert_time(rated, charge, 3.5, 1.0) == pytest.approx(charge / 3.5)
