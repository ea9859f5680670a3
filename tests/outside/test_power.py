"""Power against the outside: definitions, and planning values of the trade."""

import numpy as np
import pytest

from macrolib import units
from macrolib.physics import power


def test_a_watt_hour_lasts_an_hour_at_one_watt():
    """The watt hour is 3600 J (SI Brochure, 9th ed., and ISO 80000-5)."""
    assert power.run_time(units.parse("1 Wh", "Wh"), 1.0) == 3600


# Nominal cell voltages: Larminie 2003, as reprinted in BMC Chemistry 6 (2012) S1:S2, table 1; the label voltages of
# the packs are common practice, no source. Trap: other sources print 3.6, 3.7 and 3.9 V for lithium ions.
@pytest.mark.parametrize(("cells", "nominal", "label"), [(6, 2.0, 12.0), (10, 1.2, 12.0), (4, 3.5, 14.0)])
def test_label_voltages(cells, nominal, label):
    assert power.battery_voltage(cells, nominal, 0.0, 0.1) == pytest.approx(label)


def test_cold_batteries():
    """At -10 degC a lithium battery keeps 0.7 to 0.8 of its energy: planning value, from memory."""
    assert 0.7 <= power.cold_share(263.15) <= 0.8


def test_half_the_hold_current_is_a_quarter_of_the_heat():
    """Common practice, no source: driver boards offer 50 % hold current for a quarter of the heat."""
    assert power.copper_loss(0.75, 1.8) / power.copper_loss(1.5, 1.8) == pytest.approx(0.25)


def test_label_energy_at_the_limit_of_air_travel():
    """Carriers' public pages on lithium batteries print 12 V x 8.3 Ah as their limit of 100 Wh, and 26 Ah at 3.6 V as below it.

    Loose: 99.6 Wh are rounded up there, and a forum's copy prints 95 instead of 93.6 Wh.
    """
    assert power.label_energy(1, 12.0, 8.3 * 3600) == pytest.approx(units.parse("100 Wh", "Wh"), rel=0.005)
    assert power.label_energy(1, 3.6, 26 * 3600) == pytest.approx(units.parse("95 Wh", "Wh"), rel=0.02)


# IEC 60228:2004, table 2, plain stranded copper: largest resistance at 20 degC in ohm/km, as reprinted in cable makers' tables.
@pytest.mark.parametrize(("area", "most"), [(0.75, 24.5), (1.0, 18.1), (1.5, 12.1), (2.5, 7.41), (4.0, 4.61)])
def test_wires_against_the_standard(area, most):
    """The standard allows for stranding and for thinner wire: solid copper of the nominal area lies below it, by a tenth at most."""
    one_way = power.wire_drop(power.COPPER_RESISTIVITY, 1000.0, 1.0, area * 1e-6) / 2
    assert 0.9 * most < one_way < most


@pytest.mark.parametrize(("cold", "start", "hot", "printed"), [
    (80.0, 20.0, 100.0, 83.63),  # a worked problem of an electrical course on a public forum, with 1/234.5 per degree at 0 degC
    (1.5, 25.0, 1.854, 85.0),  # a public page on motor windings; trap: it takes the coefficient of 20 degC at 25 degC
])
def test_winding_temperature_by_resistance(cold, start, hot, printed):
    coefficient = power.COPPER_COEFFICIENT if start == 25 else 1 / (234.5 + start)
    temperature = power.winding_resistance.solve_for("temperature")
    found = temperature(resistance=hot, cold_resistance=cold, temperature_coefficient=coefficient, reference_temperature=start + 273.15)
    assert found - 273.15 == pytest.approx(printed, abs=0.1)
    assert power.COPPER_COEFFICIENT == pytest.approx(1 / 254.5, rel=2e-4)  # the same law at 20 degC


@pytest.mark.parametrize(("current", "hours"), [(5.0, 14.5), (10.0, 6.31)])
def test_peukert(current, hours):
    """100 Ah, exponent 1.2: two worked examples on public pages. Trap: both count the 100 Ah at 1 A, so for 100 h, not for 20 h."""
    found = power.peukert_time(100 * 3600.0, 100 * 3600.0, current, 1.2)
    assert found / 3600 == pytest.approx(hours, rel=1e-3)
    assert power.peukert_time(20 * 3600.0, 100 * 3600.0, 5.0, 1.2) == pytest.approx(20 * 3600)  # at the label's own current


def test_time_constant():
    """One time constant is 63 % of the way, three are 95 %: any textbook of heat transfer, from memory."""
    warming = power.case_temperature(300.0, 5.0, 8.0, np.array([1.0, 3.0]) * 1800, 1800.0) - 300
    assert warming / 40 == pytest.approx([0.632, 0.950], abs=5e-4)


def test_fuse_of_a_continuous_load():
    """A continuous load of 16 A asks for 20 A: NFPA 70 (NEC), 215.3, usual teaching example, from memory."""
    assert power.least_fuse(16.0) == pytest.approx(20.0)


def test_aged_battery():
    """End of life at 80 % of the capacity after the rated number of discharges: IEC 61960 and data sheets, from memory."""
    assert power.aged_share(500, 500) == pytest.approx(0.8)
