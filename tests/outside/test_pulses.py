"""Step intervals against published values."""

import math
from fractions import Fraction

import mpmath
import numpy as np
import pytest
import sympy

from macrolib.physics import pulses, ramps

# D. Austin, "Generate stepper-motor speed profiles in real time", Embedded Systems Programming, January 2005: ratio of
# an interval to the one before, exact and by the recurrence, and the relative error (table from memory).
TABLE = [
    (1, 0.4142, 0.6000, 0.4485), (2, 0.7673, 0.7778, 0.0136), (3, 0.8430, 0.8462, 0.00370),
    (4, 0.8810, 0.8824, 0.00152), (5, 0.9041, 0.9048, 7.66e-4), (6, 0.9196, 0.9200, 4.41e-4),
    (10, 0.9511, 0.9512, 9.42e-5), (100, 0.9950, 0.9950, 9.38e-8), (1000, 0.9995, 0.9995, 9.37e-11),
]


@pytest.mark.parametrize(("n", "exact", "approximate", "error"), TABLE)
def test_ratios_of_successive_intervals(n, exact, approximate, error):
    c, r = (make(n + 1, 500, 2e6) for make in (pulses.exact_intervals, pulses.recurrence_intervals))
    assert c[n] / c[n - 1] == pytest.approx(exact, abs=5.1e-5)
    assert r[n] / r[n - 1] == pytest.approx(approximate, abs=5.1e-5)
    found = (r[n] / r[n - 1]) / (c[n] / c[n - 1]) - 1
    assert found == pytest.approx(error, rel=6e-3, abs=3e-13)


def test_first_interval():
    """0.676: an application note on linear speed control of stepper motors (AVR446), section 2.3.1."""
    assert pulses.FIRST_INTERVAL == pytest.approx(0.676, abs=5e-4)
    found = pulses.recurrence_intervals(1, 500, 2e6)[0] / pulses.exact_intervals(1, 500, 2e6)[0]
    assert found == pulses.FIRST_INTERVAL


def test_first_interval_from_the_product():
    """The closed form follows from the recurrence by sympy, without any published value."""
    k, n = sympy.symbols("k n", integer=True, positive=True)
    product = sympy.lambdify(n, sympy.product(1 - 2 / (4 * k + 1), (k, 1, n)), "mpmath")
    for number in (1, 7, 50):
        by_hand = math.prod(1 - Fraction(2, 4 * i + 1) for i in range(1, number + 1))
        assert float(product(number)) == pytest.approx(float(by_hand), rel=1e-14)
    with mpmath.workdps(40):
        many = mpmath.mpf(10) ** 12
        limit = (mpmath.sqrt(many + 1) - mpmath.sqrt(many)) / product(many)
    assert float(limit) == pytest.approx(pulses.FIRST_INTERVAL, rel=1e-12)


def test_error_of_the_recurrence_falls_with_the_cube():
    """Relative error of one interval ratio about 3 / (32 n^3): derived by series expansion."""
    n = sympy.Symbol("n", positive=True)
    ratio = (1 - 2 / (4 * n + 1)) * (sympy.sqrt(n) - sympy.sqrt(n - 1)) / (sympy.sqrt(n + 1) - sympy.sqrt(n))
    for number in (100, 1000):
        assert float(sympy.N(ratio.subs(n, number) - 1, 40)) * number**3 == pytest.approx(3 / 32, rel=1e-3)


def test_count_of_a_timer_at_speed():
    """Austin, as above: timer of 1 MHz, steps of 1.8 degrees, 300 turns a minute -> a count of 1000."""
    rate = 300 / 60 * 360 / 1.8
    assert 1 / pulses.speed_grain(pulse_rate=rate, timer_frequency=1e6) == pytest.approx(1000)


def test_pulses_needed_for_a_speed():
    """Pulses to a speed are rate^2 / (2 acceleration): AVR446, section 2.3.2."""
    move = ramps.trapezoid(20_000, 3_000, 900)
    assert np.searchsorted(pulses.pulse_times(move, 1.0), move.ramp_in) == 3_000**2 / (2 * 900)


def test_where_a_short_move_turns_to_braking():
    """n1 = (n1 + n2) a2 / (a1 + a2) pulses of acceleration: AVR446, section 2.3.2."""
    move = ramps.ramps_by_limit(1_000, 1e6, 600, acceleration_out=900)
    assert move.position(move.ramp_in) == pytest.approx(1_000 * 900 / 1_500)
    assert move.cruise == pytest.approx(0, abs=1e-12)


def test_ramp_at_the_middle_values_of_the_trade():
    """Common practice, no source: 4,000 pulses/s at 500 pulses/s^2 take 8 s and 16,000 pulses."""
    intervals = pulses.exact_intervals(16_000, 500, 2e6)
    assert intervals.sum() / 2e6 == pytest.approx(8, rel=1e-12)
    assert 2e6 / intervals[-1] == pytest.approx(4_000, rel=1e-4)


def test_ceiling_of_a_small_controller():
    """At least 4 cycles response, 3 for the jump to the routine and 4 to return: ATmega328P data sheet DS40002061A,
    section 7.7.1. With 189 for the routine itself, an assumption, a clock of 16 MHz gives 80,000 pulses a second."""
    assert pulses.pulse_ceiling(processor_frequency=16e6, cycles_per_pulse=4 + 3 + 4 + 189) == 80_000
    assert math.isclose(pulses.pulse_ceiling(16e6, 400), 40_000)
