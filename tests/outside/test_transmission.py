"""Transmission against the outside: published numbers, each with its source."""

import math

import pytest

from macrolib.physics import transmission as t

FLANK = math.radians(15)
MM = 1e-3


def printed(value, digit):
    """A published number, right to half a unit of its last printed digit."""
    return pytest.approx(value, abs=0.5 * digit * (1 + 1e-9), rel=0)


# --- power screws

def test_square_double_start_screw():
    """Shigley's Mechanical Engineering Design, example 8-1 (32 mm, pitch 4 mm, two starts); answers from memory."""
    lead = t.pitch_travel(2, 4 * MM, 1)
    collar = t.collar_torque(6400, 0.08, 40 * MM)
    raising = t.raising_torque(6400, 30 * MM, lead, 0.08, 0) + collar
    assert raising == printed(26.18, 0.01)
    assert t.lowering_torque(6400, 30 * MM, lead, 0.08, 0) + collar == printed(9.77, 0.01)
    assert 6400 * lead / (2 * math.pi * raising) == printed(0.311, 0.001)
    assert t.lowering_torque(6400, 30 * MM, lead, 0.08, 0) < 0  # the thread alone overhauls


def test_trapezoidal_screw_with_washer():
    """Bhandari, Design of Machine Elements, example 6.6, in FOSSEE Scilab Textbook Companion 764: Tr52x8, 2 kN, 30/min."""
    mean = t.trapezoidal_thread(52 * MM, 8 * MM).mean_diameter
    torque = t.raising_torque(2000, mean, 8 * MM, 0.15, FLANK) + t.collar_torque(2000, 0.12, 80 * MM)
    assert torque * 2 * math.pi * 0.5 == printed(61.838, 0.001)  # W
    assert 100 * 2000 * 8 * MM / (2 * math.pi * torque) == printed(12.937099, 1e-6)  # percent


def test_square_single_start_screw():
    """A solved homework page with the data of a Shigley problem (25 x 5 mm square, 5 kN); it rounds on the way."""
    collar = t.collar_torque(5000, 0.06, 45 * MM)
    raising = t.raising_torque(5000, 22.5 * MM, 5 * MM, 0.09, 0) + collar
    assert raising == pytest.approx(15.845, rel=5e-4)
    assert t.lowering_torque(5000, 22.5 * MM, 5 * MM, 0.09, 0) + collar == pytest.approx(7.825, rel=5e-4)
    assert 5000 * 5 * MM / (2 * math.pi * raising) == printed(0.251, 0.001)


def test_torque_from_the_efficiency():
    """engineeringprep, problem 516: 20 kN, lead 10 mm, efficiency 0.70."""
    assert t.drive_torque(20e3, 10 * MM, 0.70) == printed(45.5, 0.1)


# --- threads and pitches

# Basic profiles after ISO 2904, mm: diameter, pitch -> d2, D4, d3, D1. The three rows are right in the public table
# (RoyMech, 'Trapezoidal') that misprints others, see below.
@pytest.mark.parametrize(("size", "row"), [((8, 1.5), (7.25, 8.3, 6.2, 6.5)), ((10, 2), (9, 10.5, 7.5, 8)),
                                           ((12, 3), (10.5, 12.5, 8.5, 9))])
def test_iso_2904_rows(size, row):
    assert t.trapezoidal_thread(size[0] * MM, size[1] * MM) == pytest.approx([x * MM for x in row], rel=1e-12)


# Traps: the same table prints d3 9.250 for Tr9x2, 3.000 for Tr10x1.5 and 41.000 for Tr42x10.
@pytest.mark.parametrize(("size", "misprint", "right"), [((9, 2), 9.25, 6.5), ((10, 1.5), 3.0, 8.2), ((42, 10), 41.0, 31.0)])
def test_misprints_of_a_public_iso_2904_table(size, misprint, right):
    thread = t.trapezoidal_thread(size[0] * MM, size[1] * MM)
    assert thread.screw_minor_diameter == pytest.approx(right * MM)
    assert thread.screw_minor_diameter != pytest.approx(misprint * MM, rel=0.01)
    assert thread.screw_minor_diameter < thread.nut_minor_diameter < thread.mean_diameter < thread.nut_major_diameter


@pytest.mark.parametrize(("size", "old", "same"), [((30, 6), 23.5, False), ((12, 3), 8.5, True), ((16, 4), 11.5, True)])
def test_old_din_103_differs_from_a_pitch_of_6_mm_on(size, old, same):
    """Machinery's Handbook, 27th ed., p. 1813 (old DIN 103, bolt minor diameter): 23.5 where ISO 2904 gives 23.0."""
    minor = t.trapezoidal_thread(size[0] * MM, size[1] * MM).screw_minor_diameter
    assert (minor == pytest.approx(old * MM)) == same


# ISO 5296 pitches in mm (glossary of pti-latam; XXL from memory) against inches.
@pytest.mark.parametrize(("pitch", "inches"), [(2.032, 0.080), (3.175, 0.125), (5.080, 0.200), (9.525, 0.375),
                                               (12.700, 0.500), (22.225, 0.875), (31.750, 1.250)])
def test_iso_5296_belts(pitch, inches):
    assert t.pitch_travel(20, pitch * MM, 1) == pytest.approx(20 * inches * 25.4 * MM, rel=1e-12)


# --- bars

# THK General Catalogue 513-1E, A15-32, eq. (7): n [1/min] = lambda_2 d / L^2 10^7 (mm). Trap: its factors already
# contain 0.8 (a general reference repeats them as the true critical speed).
@pytest.mark.parametrize(("support", "factor"), [("fixed-free", 3.4), ("supported-supported", 9.7),
                                                 ("fixed-supported", 15.1), ("fixed-fixed", 21.9)])
def test_catalogue_factors_of_the_critical_speed_contain_eight_tenths(support, factor):
    whirling = 60 * t.whirling_speed(1 * MM, 1.0, support)  # 1/min for d = 1 mm, L = 1000 mm
    assert 0.8 * whirling / 10 == printed(factor, 0.1)
    assert whirling / 10 > factor + 0.5


# Roots of the beam's equation: THK General Catalogue 513-1E, A15-32.
@pytest.mark.parametrize(("support", "root"), [("fixed-free", 1.8751), ("supported-supported", math.pi),
                                               ("fixed-supported", 3.9266), ("fixed-fixed", 4.7300)])
def test_whirling_with_the_published_roots(support, root):
    assert t.whirling_speed(8 * MM, 0.3, support) == pytest.approx(t.beam_whirling(root, 8 * MM, 0.3, **t.STEEL), rel=6e-5)


def test_buckling_of_a_ball_screw():
    """MISUMI 2025, Selection of Ball Screws, p. 1676: root 12.5 mm, 820 mm, fixed-supported: 3630 N with a factor 0.5.

    It counts 2 for the support, where the beam's equation gives 2.0457 (tan x = x): 2.3 % more.
    """
    exact = t.buckling_load(12.5 * MM, 820 * MM, "fixed-supported")
    assert 0.5 * exact * 2 / 2.0457 == pytest.approx(3630, rel=2.5e-3)
    assert 0.5 * exact == pytest.approx(3630, rel=0.025)


# End conditions n of Euler's load: MISUMI as above; 2.046 from memory (Timoshenko, Theory of Elastic Stability).
@pytest.mark.parametrize(("support", "n", "digit"), [("fixed-free", 0.25, 1e-9), ("supported-supported", 1, 1e-9),
                                                     ("fixed-supported", 2.046, 1e-3), ("fixed-fixed", 4, 1e-9)])
def test_euler_factors(support, n, digit):
    euler = math.pi**2 * 206e9 * math.pi * (8 * MM) ** 4 / 64 / 0.3**2
    assert t.buckling_load(8 * MM, 0.3, support) / euler == printed(n, digit)


# --- inertia and belts

def test_inertia_of_a_disc():
    """machinemfg, servo sizing, case 1: disc of 50 kg and 50 cm: 15625 kg cm^2."""
    density = 50 / (math.pi / 4 * 0.5**2 * 0.1)
    assert t.cylinder_inertia(density, 0.1, 0.5) == pytest.approx(1.5625, rel=1e-12)


def test_belt_drive_with_two_gears():
    """machinemfg, servo sizing, case 2: 50 kg, pulley 120 mm, 10:1 and 2:1, friction 0.6, 30 m/min in 0.2 s.

    It prints 0.882 and 0.375 N m. Trap: its load inertia leaves the 2:1 out.
    """
    travel = t.rack_travel(1, 120 * MM, 20)  # circumference of the pulley over both gears
    rubbing = t.drive_force(50, 0, 0, 1, 0.6, 0, 9.8)
    speeding = t.drive_force(50, 0.5 / 0.2, 0, 0, 0, 0, 9.8)
    assert t.drive_torque(rubbing, travel, 1) == printed(0.882, 0.001)
    assert t.drive_torque(speeding, travel, 1) == printed(0.375, 0.001)


def test_preload_torque_of_a_ball_nut():
    """JIS B 1192 and ball screw catalogues, from memory: 0.05 / sqrt(tan lead angle) times F l / (2 pi)."""
    angle = math.atan(5 / (math.pi * 20))
    by_hand = 0.05 / math.sqrt(math.tan(angle)) * 1000 * 5 * MM / (2 * math.pi)
    assert t.preload_torque(1000, 5 * MM, 20 * MM) == pytest.approx(by_hand, rel=1e-12)
