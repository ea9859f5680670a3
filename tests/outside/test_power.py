"""Power against the outside: definitions, and planning values of the trade."""

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
