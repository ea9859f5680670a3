"""Optics against the outside: published numbers with their sources, and sympy's ray matrices."""

import functools
import math

import numpy as np
import pytest
import sympy
from sympy.physics import optics as rays

from macrolib.physics import light, optics

IN, FT = 0.0254, 0.3048
UM, MM = 1e-6, 1e-3


def printed(value, digit):
    """A published number, right to half a unit of its last printed digit."""
    return pytest.approx(value, abs=0.5 * digit * (1 + 1e-9), rel=0)


# --- published numbers

# Bessel Function Zeros, MathWorld, five zeros each; the first of J0 also in the PARI/GP manual, besseljzero.
J0_ZEROS = [2.4048, 5.5201, 8.6537, 11.7915, 14.9309]
J1_ZEROS = [3.8317, 7.0156, 10.1735, 13.3237, 16.4706]


@pytest.mark.parametrize("zero", J1_ZEROS)
def test_a_blur_disc_loses_all_contrast_at_the_published_zeros_of_j1(zero):
    below, above = optics.disc_otf(np.array([zero - 5e-5, zero + 5e-5]) / math.pi, 1.0)
    assert below * above < 0


@pytest.mark.parametrize("zero", J0_ZEROS)
def test_a_sine_motion_loses_all_contrast_at_the_published_zeros_of_j0(zero):
    # The published zero is right to half its last digit, where the transfer is at most half of it times |J1| < 0.6.
    assert optics.vibration_mtf(zero / (2 * math.pi), 1.0, 10) < 5e-5 * 0.6


@pytest.mark.parametrize("zero", [2.4048255576957727686, 5.5200781102863106496])
def test_the_zeros_of_j0_to_rounding(zero):
    assert optics.vibration_mtf(zero / (2 * math.pi), 1.0, 10) < 1e-14


# University of Arizona, Imaging core facility, depth of field: 2 lambda n / NA^2 in um, air rows.
# That page prints the wavelength as 0.52 um; its sister page prints 0.515 um, with which the rows come out.
@pytest.mark.parametrize(("na", "depth"), [(0.13, 60.95), (0.45, 5.09), (0.75, 1.83)])
def test_wave_depth_twice_as_wide_in_the_core_facility_table(na, depth):
    assert 2 * optics.wave_depth(0.515 * UM, na, 1.0) / UM == printed(depth, 0.01)


# The same site, resolution and zoom page (credited to Inoue 1986, p. 114): 0.61 lambda / NA in um.
@pytest.mark.parametrize(("wavelength", "na", "radius"), [
    (0.515, 0.13, 2.42), (0.515, 0.45, 0.70), (0.515, 0.75, 0.42), (0.515, 1.30, 0.24), (0.515, 1.40, 0.22),
    (0.580, 1.40, 0.25), (0.670, 1.40, 0.29)])
def test_rayleigh_separation_in_the_core_facility_table(wavelength, na, radius):
    assert optics.rayleigh_separation(wavelength * UM, na) / UM == printed(radius, 0.01)


def test_wave_depth_in_a_textbook_example():
    # G. Keiser, Biophotonics: Concepts to Applications (2016), example 8.4, p. 243
    assert optics.wave_depth(0.780 * UM, 0.20, 1.51) / UM == printed(29.4, 0.1)


def test_cutoff_frequency_of_a_lens_at_f_6():
    # Encyclopedia article "Spatial cutoff frequency" (after Goodman 1969): f/6 at 0.55 um, 303 cycles a mm
    assert optics.cutoff_frequency(0.55 * UM, 6.0) * MM == printed(303, 1)


def test_cutoff_frequency_rule_of_1800_over_n():
    # D. Jacobson, Photographic Lenses FAQ, "What is MTF": 555 nm, about 1800 / N cycles a mm ("about": to 0.5 %)
    for n in (2.8, 8, 22):
        assert optics.cutoff_frequency(555e-9, n) * MM == pytest.approx(1800 / n, rel=5e-3)


def test_army_hyperfocal_distance():
    # US Army subcourse SS0507, p. 58: 2 inch lens at f/8, blur 0.002 inch: 20.8 ft, near limit 10.4 ft.
    # It counts without the + f, and calls half of that distance the near limit.
    f, c = 2 * IN, 0.002 * IN
    simple = optics.hyperfocal_distance(f, 8, c) - f
    assert simple / FT == printed(20.8, 0.1)
    near = simple - optics.near_depth(f / (simple - f), 8, 1, c, f)
    assert near / FT == pytest.approx(10.4, abs=0.05 + f / 2 / FT)  # f / 2: half of the + f that it leaves out


def test_hyperfocal_distance_of_a_worked_example():
    # "Precision Depth of Field of Optical Lens", worked example on a computer algebra forum, 16 Feb 2016:
    # f 25 mm, N 16, c 0.015 mm
    assert optics.hyperfocal_distance(25 * MM, 16, 0.015 * MM) / MM == printed(2629.1666, 1e-3)


def test_navy_hyperfocal_distance_and_limits():
    # US Navy NAVEDTRA 14209, Photography (Basic), p. 1-26: 155 mm lens at f/2.8, hyperfocal 554 ft; focused at
    # 10 ft, sharp from 9.8 to 10.2 ft. Blur 0.002 inch gives that hyperfocal distance.
    f, c, focus = 155 * MM, 0.002 * IN, 10 * FT
    assert (optics.hyperfocal_distance(f, 2.8, c) - f) / FT == printed(554, 1)
    m = f / (focus - f)
    near, far = focus - optics.near_depth(m, 2.8, 1, c, f), focus + optics.far_depth(m, 2.8, 1, c, f)
    assert (near / FT, far / FT) == (printed(9.8, 0.1), printed(10.2, 0.1))
    # Same page: focus at 2 D d / (D + d) to hold 9.8 and 10.2 ft sharp, which is 10 ft. Ours do it without rounding.
    assert 2 * near * far / (near + far) == pytest.approx(focus, rel=1e-12)


def test_navy_conjugates():
    # US Navy NAVEDTRA 14209, p. 1-27: 10 inch lens, scale 1/4: 50 and 12.5 inches; 50 mm lens at 1:1: 100 and 100 mm
    assert optics.object_distance(10 * IN, 0.25) / IN == pytest.approx(50)
    assert optics.image_distance(10 * IN, 0.25) / IN == pytest.approx(12.5)
    assert optics.object_distance(50 * MM, 1) / MM == optics.image_distance(50 * MM, 1) / MM == pytest.approx(100)


def test_bellows_factors():
    # US Army subcourse SS0511, p. 118: 6 inch lens, bellows at 12 inches: 4 times
    m = optics.image_distance.solve_for("magnification")(image_distance=12 * IN, focal_length=6 * IN)
    assert light.exposure_factor(m, 1) == pytest.approx(4)
    # photo.stackexchange question 132240: 1:1 is 4 times, 2 stops, 1/100 s becomes 1/25 s
    assert math.log2(light.exposure_factor(1, 1)) == pytest.approx(2)
    wide, close = optics.effective_f_number(8, 1e-9, 1), optics.effective_f_number(8, 1, 1)
    assert light.light_ratio(close, wide, 100, 100) / 100 == pytest.approx(1 / 25)
    # A course on close-up photography, magnification page: 0.4 is about 2 times, 1/60 s becomes 1/30 s
    assert light.exposure_factor(0.4, 1) == printed(2, 0.1)


def test_microscope_resolution_examples():
    # Homework forum example: 0.61 lambda / NA, 500 nm, NA 0.10: 3.05 um
    assert optics.rayleigh_separation(500e-9, 0.10) / UM == printed(3.05, 0.01)
    # Lecture notes on optical microscopy: lambda / (2 NA), 530 nm, NA 0.65: 408 nm; it is the period of the cutoff
    m = 40.0
    number = optics.aperture(m, 1, numerical_aperture=0.65).effective_f_number
    assert 1 / (m * optics.cutoff_frequency(530e-9, number)) / 1e-9 == printed(408, 1)


def test_the_airy_pattern_of_a_textbook():
    # W. J. Smith, Modern Optical Engineering, p. 191: central lobe 84 % of the energy, peak almost 60 times the first
    # ring. Energy within a ring is 1 - J0^2 - J1^2 (Rayleigh), and J1 is 0 there.
    edge = math.pi * optics.airy_radius(1.0, 1.0)
    assert 1 - optics.vibration_mtf(edge / (2 * math.pi), 1.0, 10)**2 == printed(0.84, 0.01)
    beyond = np.linspace(edge, 2 * edge, 2001)
    peak_over_ring = 1 / np.max(optics.disc_otf(beyond / math.pi, 1.0)**2)
    assert 55 < peak_over_ring < 60


@pytest.mark.parametrize(("viewed", "enlargement", "blur"), [
    (0.25, 7.5, printed(0.033, 0.001)),  # a camera test site's glossary, "Circle of Confusion"
    (0.2, 7, printed(0.029, 0.001)),     # a photography course, digital photography page 7b
    # the same: d/1730 and d/1500 of 35 mm film, diagonal 43 mm; the page cuts its digits off
    (43, 1730, pytest.approx(0.0248, abs=1e-4)), (43, 1500, pytest.approx(0.0286, abs=1e-4))])
def test_blur_allowed_at_the_sensor(viewed, enlargement, blur):
    assert optics.viewing_blur(viewed * MM, enlargement) / MM == blur


# --- ray matrices (sympy.physics.optics), which know nothing of pupils, f-numbers or depth

class TwoLenses:
    """Two thin lenses f1, f2 with a gap, a stop of radius r at a distance behind the first, used at magnification m."""

    def __init__(self, m, f1, f2, gap, stop, radius):
        self.f1, self.stop, self.radius = f1, stop, radius
        self.lens = self._multiply(rays.ThinLens(f2), rays.FreeSpace(gap), rays.ThinLens(f1))
        self.front = (-1 / sympy.sympify(m) - self.lens.D) / self.lens.C  # object distance, from m = 1/(C s + D)
        behind = self._multiply(self.lens, rays.FreeSpace(self.front))
        self.back = -behind.B / behind.D  # sharp where the last B is 0
        back_to_stop = self._multiply(rays.FreeSpace(gap - stop), rays.ThinLens(f2))
        self.entrance, self.exit = (2 * radius / abs(x.A) for x in (self.to_stop(0), back_to_stop))

    @staticmethod
    def _multiply(*parts):
        return functools.reduce(lambda a, b: a * b, parts)

    def to_stop(self, distance):
        return self._multiply(rays.FreeSpace(self.stop), rays.ThinLens(self.f1), rays.FreeSpace(distance))

    def to_sensor(self, distance):
        return self._multiply(rays.FreeSpace(self.back), self.lens, rays.FreeSpace(distance))

    def blur(self, offset):
        """Diameter, at the sensor, of the bundle that fills the stop from a point on the axis; with its sign."""
        distance = self.front + offset
        return 2 * self.to_sensor(distance).B * self.radius / self.to_stop(distance).B

    def image(self, offset):
        """Size at the sensor of an object of size 1, by the ray through the middle of the stop."""
        distance = self.front + offset
        stop, sensor = self.to_stop(distance), self.to_sensor(distance)
        return sensor.A - sensor.B * stop.A / stop.B

    def effective_f_number(self):
        return 1 / (2 * abs(self.to_sensor(self.front).D * self.radius / self.to_stop(self.front).B))

    def values(self):
        f = -1 / self.lens.C
        return float(f), float(f / self.entrance), float(self.exit / self.entrance)


SYSTEMS = {  # f1, f2, gap, stop behind the first lens, radius of the stop; mm
    "stop at a thin lens": (50, 10**9, 0, 0, 6),
    "telephoto, stop in front": (50, -50, 25, 0, sympy.Rational(25, 2)),
    "telephoto, stop inside": (50, -60, 20, 8, 5),
    "reverse telephoto": (-60, 40, 30, 24, 5),
    "two alike, stop between": (80, 80, 20, 10, 9),
}
MAGNIFICATIONS = (sympy.Rational(1, 2), 1, 2, 5, 10)


@pytest.fixture(params=[(name, m) for name in SYSTEMS for m in MAGNIFICATIONS], ids=lambda p: f"{p[0]}, m = {p[1]}")
def system(request):
    name, m = request.param
    return TwoLenses(m, *map(sympy.sympify, SYSTEMS[name])), float(m)


def test_effective_f_number_by_ray_matrices(system):
    lenses, m = system
    _, number, ratio = lenses.values()
    assert optics.effective_f_number(number, m, ratio) == pytest.approx(float(lenses.effective_f_number()), rel=1e-12)


@pytest.mark.parametrize("c", [sympy.Rational(1, 200), sympy.Rational(1, 20)])
def test_depth_and_blur_by_ray_matrices(system, c):
    lenses, m = system
    f, number, ratio = lenses.values()
    near, far = (depth(m, number, ratio, float(c), f) for depth in (optics.near_depth, optics.far_depth))
    # blur / offset keeps its digits where the blur itself is the difference of nearly equal numbers
    assert float(abs(lenses.blur(-sympy.Rational(near)))) == pytest.approx(float(c), rel=1e-10)
    assert float(abs(lenses.blur(sympy.Rational(far)))) == pytest.approx(float(c), rel=1e-10)
    for offset in (-2.0, 0.125, 3.0):
        traced = float(abs(lenses.blur(sympy.Rational(offset))))
        assert optics.blur_at(offset, m, number, ratio, f) == pytest.approx(traced, rel=1e-12)


def test_perspective_by_ray_matrices(system):
    # The image of a plane that stays where it is, before and after the whole camera has gone back by 1 mm
    lenses, m = system
    f, _, ratio = lenses.values()
    assert float(abs(lenses.image(0))) == pytest.approx(m, rel=1e-12)
    shrunk = float(abs(lenses.image(1)))
    assert optics.scale_change(1.0, f, m, ratio) == pytest.approx(m / shrunk - 1, rel=1e-10)


def test_pupils_and_depth_for_every_lens_pair_by_ray_matrices():
    """Symbols instead of numbers: nothing is left of the difference, for any two lenses, any stop and any m."""
    m, f1, gap, stop, radius, c = sympy.symbols("m f_1 g a r c", positive=True)
    f2 = sympy.Symbol("f_2", real=True)
    lenses = TwoLenses(m, f1, f2, gap, stop, radius)
    f = -1 / lenses.lens.C
    entrance, leaving = lenses.to_stop(0).A, 1 - (gap - stop) / f2  # pupils are 2 r over these, with their signs
    number, ratio = f * entrance / (2 * radius), entrance / leaving
    given = {"magnification": m, "f_number": number, "pupil_ratio": ratio, "blur_diameter": c, "focal_length": f}
    for depth, sign in ((optics.near_depth, -1), (optics.far_depth, 1)):
        put_in = depth.expression.subs({s: given[s.name] for s in depth.symbols}, simultaneous=True)
        blur = lenses.blur(sign * put_in)
        assert sympy.simplify(blur**2 - c**2) == 0
    effective = optics.effective_f_number.expression.subs(
        {s: given[s.name] for s in optics.effective_f_number.symbols}, simultaneous=True)
    traced = 1 / (2 * lenses.to_sensor(lenses.front).D * radius / lenses.to_stop(lenses.front).B)
    assert sympy.simplify(effective**2 - traced**2) == 0
    # where the pupils lie: object to entrance pupil is where the ray to the middle of the stop crosses the axis
    pupil = lenses.front - lenses.to_stop(0).B / -entrance
    distance = optics.entrance_pupil_distance.expression.subs(
        {s: given[s.name] for s in optics.entrance_pupil_distance.symbols}, simultaneous=True)
    assert sympy.simplify(distance - pupil) == 0


def test_reversed_lens_by_ray_matrices():
    for name in ("telephoto, stop in front", "telephoto, stop inside", "reverse telephoto"):
        f1, f2, gap, stop, radius = map(sympy.sympify, SYSTEMS[name])
        _, number, ratio = TwoLenses(2, f1, f2, gap, stop, radius).values()
        turned = TwoLenses(2, f2, f1, gap, gap - stop, radius)
        assert optics.reversed_lens(number, ratio) == pytest.approx(turned.values()[1:], rel=1e-12)
        effective = optics.effective_f_number(turned.values()[1], 2, turned.values()[2])
        assert effective == pytest.approx(number / ratio * (1 + 2 * ratio), rel=1e-12)  # with the forward N and P


# Depths that two ray-tracing programs found with ideal thin lenses, by moving the object until the marginal rays
# met the sensor c apart; recorded values: m, f, N, P, c, near, far (um), effective f-number.
TRACED = [
    (2, 50, 4, 1, 0.010, 29.988005, 30.012005, 12),
    (2, 100, 4, 2 / 3, 0.010, 39.992002, 40.008002, 16),
    (2, 100, 6, 3 / 2, 0.010, 34.989503, 35.010503, 14),  # the same lens reversed
    (5, 100, 4, 2 / 3, 0.005, 6.799728, 6.800272, 34),
    (1, 100, 4, 2 / 3, 0.100, 996.015936, 1004.016064, 10),
]


@pytest.mark.parametrize(("m", "f", "number", "ratio", "c", "near", "far", "effective"), TRACED)
def test_depths_recorded_from_ray_tracing_programs(m, f, number, ratio, c, near, far, effective):
    given = (m, number, ratio, c * MM, f * MM)
    assert optics.near_depth(*given) / UM == printed(near, 1e-6)
    assert optics.far_depth(*given) / UM == printed(far, 1e-6)
    assert optics.effective_f_number(number, m, ratio) == pytest.approx(effective, rel=1e-12)


# Real glass, recorded: a double Gauss (f = 100) and a reverse telephoto (f = 2), forward and reversed, at m = 2 and
# c = 0.01, traced with real rays until the marginal rays met the sensor c apart. Total depth, traced over that of the
# formula, at N = 4, 8, 16; and by how much the depth is wrong at N = 16 when the pupil ratio is taken for 1.
GLASS = [
    (1.146, (0.9992, 0.9994, 0.9998), 0.093),
    (0.872, (0.9970, 0.9991, 0.9998), -0.089),
    (1.535, (0.958, 0.989, 0.9972), 0.30),
    (0.651, (0.989, 0.9971, 0.9993), -0.26),
]


@pytest.mark.parametrize(("ratio", "traced_over_formula", "without_ratio"), GLASS)
def test_real_glass_follows_the_pupil_ratio(ratio, traced_over_formula, without_ratio):
    right, naive = (optics.depth_of_field(2, 16, p, 0.01 * MM) for p in (ratio, 1))
    traced = right * traced_over_formula[2]
    assert right == pytest.approx(traced, rel=0.003)
    assert naive / traced - 1 == pytest.approx(without_ratio, abs=0.007)
    assert min(traced_over_formula) > 0.95  # aberrations, largest wide open; the formula has none


def test_hyperfocal_distance_of_sympy():
    for f, number, c in ((0.05, 8, 2e-5), (0.1, 2.8, 1e-5)):
        simple = float(rays.hyperfocal_distance(f, number, c))
        assert optics.hyperfocal_distance(f, number, c) == pytest.approx(simple + f, rel=1e-12)


@pytest.mark.parametrize("m", [0.3, 1, 4])
def test_conjugates_of_sympy(m):
    f = 0.06
    image = float(rays.lens_formula(focal_length=f, u=-optics.object_distance(f, m)))
    assert optics.image_distance(f, m) == pytest.approx(image, rel=1e-12)
