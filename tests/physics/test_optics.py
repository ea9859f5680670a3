"""Optics: identities between the formulas, exact transfer against integration, and what must grow with what."""

import math
import time

import mpmath
import numpy as np
import pytest
import sympy
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import j0, j1

from macrolib.formula import Formula, check_dimensions
from macrolib.physics import light, optics
from macrolib.physics import symbols as s

UM = 1e-6
FORMULAS = [f for module in (optics, light) for n in module.__all__ if isinstance(f := getattr(module, n), Formula)]
quick = settings(max_examples=60, deadline=None)
magnifications, numbers, ratios = st.floats(0.1, 12), st.floats(1, 32), st.floats(0.4, 2.5)
blurs, lengths = st.floats(2e-6, 3e-5), st.floats(0.01, 0.2)
pitches, greens = st.floats(2e-6, 8e-6), st.floats(4e-7, 7e-7)


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda f: f.result.name)
def test_units_fit_and_the_source_is_named(formula):
    check_dimensions(formula)
    assert formula.source


# --- conjugates, pupils, aperture

@quick
@given(lengths, magnifications, ratios)
def test_distances_fit_together(f, m, ratio):
    s_object, s_image = optics.object_distance(f, m), optics.image_distance(f, m)
    assert 1 / s_object + 1 / s_image == pytest.approx(1 / f, rel=1e-12)
    assert s_image == pytest.approx(m * s_object, rel=1e-12)
    # both pupils of a lens with ratio 1 lie in the principal planes
    assert optics.entrance_pupil_distance(f, m, 1) == pytest.approx(s_object, rel=1e-12)
    assert optics.exit_pupil_distance(f, m, 1) == pytest.approx(s_image, rel=1e-12)
    # the cone at the sensor: distance of the exit pupil over its diameter
    exit_diameter = ratio * f / 4
    assert optics.exit_pupil_distance(f, m, ratio) / exit_diameter == pytest.approx(
        optics.effective_f_number(4, m, ratio), rel=1e-12)
    moved = optics.working_distance(10.0, f, m, 2 * m)
    assert moved - 10 == pytest.approx(optics.object_distance(f, 2 * m) - s_object, abs=1e-14)


def test_a_lens_that_would_touch_the_subject_is_refused():
    with pytest.raises(ValueError, match="stays in front"):
        optics.working_distance(0.01, 0.05, 1, 5)


@quick
@given(magnifications, ratios, numbers)
def test_one_way_to_give_the_aperture_is_as_good_as_another(m, ratio, n):
    marked = optics.aperture(m, ratio, f_number=n)
    assert marked.effective_f_number == optics.effective_f_number(n, m, ratio)
    for name in marked._fields:
        assert optics.aperture(m, ratio, **{name: getattr(marked, name)}) == pytest.approx(marked, rel=1e-12)


@pytest.mark.parametrize("given_", [{}, {"f_number": 4, "numerical_aperture": 0.1},
                                    {"f_number": 4, "effective_f_number": 8, "numerical_aperture": 0.1}])
def test_exactly_one_aperture_is_asked_for(given_):
    with pytest.raises(ValueError, match="exactly one of f_number, effective_f_number, numerical_aperture"):
        optics.aperture(1, 1, **given_)


def test_a_lens_reversed_twice_is_as_before():
    assert optics.reversed_lens(*optics.reversed_lens(4, 0.7)) == pytest.approx((4, 0.7))
    assert optics.reversed_lens(4, 2 / 3) == pytest.approx((6, 1.5))


# --- depth of field

def test_near_and_far_depth_follow_from_the_blur():
    """The closed forms are the two roots of blur = allowed blur, found by sympy."""
    behind = sympy.Symbol("behind", positive=True)
    blur = optics.blur_at.expression
    for depth, sign in ((optics.near_depth, -1), (optics.far_depth, 1)):
        side = blur.subs(s.offset, sign * behind)
        root, = sympy.solve(sympy.Eq(side, s.blur_diameter), behind)
        assert sympy.simplify(root - depth.expression) == 0
    total = sympy.series(optics.near_depth.expression + optics.far_depth.expression, s.blur_diameter, 0, 2).removeO()
    assert sympy.simplify(total - optics.depth_of_field.expression) == 0
    lacks = 1 - optics.depth_of_field.expression / (optics.near_depth.expression + optics.far_depth.expression)
    assert sympy.simplify(lacks - optics.depth_shortfall.expression) == 0


@quick
@given(magnifications, numbers, ratios, blurs, lengths)
def test_depth_grows_with_f_number_and_blur_and_shrinks_with_magnification(m, n, ratio, c, f):
    assume(m > 2 * n * c / f)
    for depth in (lambda *a: optics.near_depth(*a, f), lambda *a: optics.far_depth(*a, f), optics.depth_of_field):
        here = depth(m, n, ratio, c)
        assert depth(m, 1.1 * n, ratio, c) > here
        assert depth(m, n, ratio, 1.1 * c) > here
        assert depth(1.1 * m, n, ratio, c) < here
        assert depth(m, n, 1.1 * ratio, c) < here
    near, far = optics.near_depth(m, n, ratio, c, f), optics.far_depth(m, n, ratio, c, f)
    total = optics.depth_of_field(m, n, ratio, c)
    assert far >= near and near + far >= total * (1 - 1e-12)
    assert 1 - total / (near + far) == pytest.approx(optics.depth_shortfall(m, n, c, f), abs=1e-12)
    for offset in (-near, far):
        assert optics.blur_at(offset, m, n, ratio, f) == pytest.approx(c, rel=1e-9)
    first_order = c * 2e-7 / total
    assert optics.blur_at(1e-7, m, n, ratio, f) == pytest.approx(first_order, rel=1e-3)


def test_the_far_limit_is_infinite_from_the_hyperfocal_distance_on():
    f, n, c = 0.05, 8, 3e-5
    m = n * c / f
    at = optics.far_depth(np.array([0.5 * m, m, 1.5 * m]), n, 1, c, f)
    assert np.isinf(at[:2]).all() and np.isfinite(at[2])
    assert optics.far_depth(m / 2, n, 1, c, f) == math.inf
    assert optics.object_distance(f, m) == pytest.approx(optics.hyperfocal_distance(f, n, c), rel=1e-12)
    with pytest.raises(ValueError, match="far_depth|near_depth"):
        optics.far_depth(-m, n, 1, c, f)


def test_blur_behind_the_entrance_pupil_is_refused():
    with pytest.raises(ValueError, match="entrance pupil"):
        optics.blur_at(-0.2, 2, 4, 1, 0.05)


# --- depth by waves

@quick
@given(magnifications, numbers, ratios, blurs, greens)
def test_the_terms_of_the_microscopists_sum_are_ours(m, n, ratio, c, wavelength):
    _, effective, na = optics.aperture(m, ratio, f_number=n)
    wave = optics.wave_depth(wavelength, na, 1.0)
    assert wave == pytest.approx(4 * wavelength * effective**2 / m**2, rel=1e-12)
    both = optics.microscope_depth(wavelength, na, 1.0, m, c)
    assert both == pytest.approx(wave + optics.depth_of_field(m, n, ratio, c), rel=1e-12)
    assert optics.defocus_waves(wave / 2, m, effective, wavelength) == pytest.approx(0.25, rel=1e-12)


@pytest.mark.parametrize(("na", "less"), [(0.10, 0.003), (0.65, 0.12), (0.95, 0.34)])
def test_high_aperture_depth(na, less):
    exact = optics.high_aperture_depth(UM, na, 1.0)
    assert exact == pytest.approx(UM / (4 * math.sin(math.asin(na) / 2)**2), rel=1e-12)
    assert 1 - exact / optics.wave_depth(UM, na, 1.0) == pytest.approx(less, abs=0.005)
    with pytest.raises(ValueError, match="at or below the index"):
        optics.high_aperture_depth(UM, 1.3, 1.0)


def test_airy_and_rayleigh_are_one_circle_seen_from_two_sides():
    _, effective, na = optics.aperture(4, 1.2, f_number=2.8)
    assert optics.airy_radius(UM, effective) == pytest.approx(4 * optics.rayleigh_separation(UM, na), rel=1e-12)
    assert optics.airy_radius(UM, 1.0) == pytest.approx(float(mpmath.besseljzero(1, 1) / mpmath.pi) * UM, rel=1e-15)
    assert "1.2197" in optics.airy_radius.latex


def test_stack_f_number_is_the_marked_one_a_quarter_wave_off():
    marked = optics.stack_f_number(5, 20 * UM, 0.55 * UM, 1)
    effective = optics.effective_f_number(marked, 5, 1)
    assert (marked, effective) == (pytest.approx(2.5, abs=0.05), pytest.approx(15, abs=0.1))
    assert optics.defocus_waves(10 * UM, 5, effective, 0.55 * UM) == pytest.approx(0.25, rel=1e-12)


@pytest.mark.parametrize(("contrast", "best"), [(0.5, 0.51), (0.3, 0.50), (0.2, 0.46), (0.1, 0.40)])
def test_half_is_a_good_factor_for_the_best_aperture(contrast, best):
    """With N_e = x m sqrt(spacing / wavelength), the x whose edge keeps a contrast up to the finest pattern."""
    q, factors = np.linspace(0.001, 0.999, 3000), np.arange(0.3, 0.7, 0.005)
    kept = optics.defocused_otf(q, 1 / (16 * factors[:, None]**2))
    finest = q[np.argmax(kept < contrast, axis=1)] / factors  # the first frequency that falls below
    assert factors[np.argmax(finest)] == pytest.approx(best, abs=0.0151)


# --- transfer functions

# Recomputed in two ways, to six digits: q = 0.1, 0.2 ... 0.9.
DIFFRACTION = [.872889, .747060, .623838, .504632, .391002, .284757, .188120, .104088, .037386]
DEFOCUSED = {
    0.25: [.838860, .658579, .501570, .379422, .287468, .215287, .152489, .092386, .036028],
    0.5: [.742089, .434819, .229264, .125691, .084609, .074111, .072808, .062693, .032161],
    1.0: [.426646, -.014414, -.069515, -.036887, -.020072, -.019038, -.017303, .002028, .019487],
}
TENTHS = np.arange(1, 10) / 10


def test_recorded_values_of_the_transfer():
    assert optics.diffraction_mtf(TENTHS) == pytest.approx(DIFFRACTION, abs=5.1e-7)
    assert optics.diffraction_mtf(1 / 1.21967) == pytest.approx(0.089234, abs=1e-6)
    assert optics.diffraction_mtf(0.403973) == pytest.approx(0.5, abs=1e-6)
    for waves, values in DEFOCUSED.items():
        assert optics.defocused_otf(TENTHS, waves) == pytest.approx(values, abs=5.1e-7)
    for waves, zero in ((0.75, 0.29999), (1, 0.19306), (2, 0.08404), (4, 0.03989)):
        before, after = optics.defocused_otf([zero - 1e-5, zero + 1e-5], waves)
        assert before > 0 > after


def _integrated(q, waves):
    """The transfer by mpmath over u = cos(angle), in pieces of a few radians of phase."""
    k = 8 * mpmath.pi * mpmath.mpf(waves) * q
    pieces = int(k * (1 - q) / 20) + 2
    return float(4 / mpmath.pi * mpmath.quad(lambda a: mpmath.sin(a)**2 * mpmath.cos(k * (mpmath.cos(a) - q)),
                                             mpmath.linspace(0, mpmath.acos(q), pieces)))


@pytest.mark.parametrize("waves", [0.1, 0.9, 3, 12, 60, 200])
@pytest.mark.parametrize("q", [1e-6, 0.004, 0.08, 0.33, 0.5, 0.81, 0.999])
def test_exact_defocus_against_another_integration(q, waves):
    assert optics.defocused_otf(q, waves) == pytest.approx(_integrated(q, waves), abs=1e-12)


@pytest.mark.parametrize("q", [0.003, 0.2, 0.5, 0.9, 0.9999])
def test_both_ways_to_integrate_agree_where_they_meet(q):
    waves = optics._F_MAX / (8 * math.pi * q * (1 - q))
    below, above = optics.defocused_otf(q, [waves * (1 - 1e-13), waves * (1 + 1e-13)])
    assert below == pytest.approx(above, abs=1e-12)


def test_exact_defocus_against_overlapping_pupils():
    """Two copies of a round pupil with a quadratic phase, shifted against each other, summed over a grid."""
    x = (np.arange(1500) + 0.5) / 750 - 1
    x, y = np.meshgrid(x, x)
    for q, waves in ((0.15, 0.4), (0.4, 0.25), (0.3, 1.5)):
        both = ((x - q)**2 + y**2 < 1) & ((x + q)**2 + y**2 < 1)
        phase = 2 * math.pi * waves * ((x + q)**2 - (x - q)**2)
        summed = np.sum(both * np.cos(phase)) * (1 / 750)**2 / math.pi
        assert optics.defocused_otf(q, waves) == pytest.approx(summed, abs=2e-4)


@quick
@given(st.floats(0, 1.2), st.floats(-300, 300))
def test_defocus_only_takes_away(q, waves):
    value = optics.defocused_otf(q, waves)
    assert value == optics.defocused_otf(q, -waves)
    assert abs(value) <= optics.diffraction_mtf(q) + 1e-14
    assert optics.defocused_otf(q, 0) == pytest.approx(optics.diffraction_mtf(q), abs=1e-14)
    assert optics.defocused_otf(0, waves) == pytest.approx(1, abs=1e-14)
    assert optics.defocused_otf(1 + q, waves) == 0


def test_many_waves_make_a_blur_disc():
    """Far out of focus only geometry is left: a disc of 8 N_e W wavelengths."""
    waves, number, wavelength = 10_000, 8.0, 0.55 * UM
    nu = np.linspace(1, 20, 30) / (8 * number * waves * wavelength) / math.pi
    exact = optics.defocused_otf(nu / optics.cutoff_frequency(wavelength, number), waves)
    assert exact == pytest.approx(optics.disc_otf(nu, 8 * number * waves * wavelength), abs=1e-4)


@pytest.mark.parametrize(("q", "waves", "exact", "product"), [(0.4, 0.25, .379, .198), (0.3, 0.5, .229, .008)])
def test_diffraction_times_disc_would_count_twice(q, waves, exact, product):
    assert optics.defocused_otf(q, waves) == pytest.approx(exact, abs=5e-4)
    assert optics.diffraction_mtf(q) * optics.disc_otf(q, 8 * waves) == pytest.approx(product, abs=5e-4)


def test_one_hundred_thousand_values_are_quick_and_broadcast():
    random = np.random.default_rng(5)
    q, waves = random.uniform(0, 1, 100_000), random.uniform(-200, 200, 100_000)
    optics.defocused_otf(q[:10], waves[:10])
    start = time.process_time()
    values = optics.defocused_otf(q, waves)
    assert time.process_time() - start < 0.6
    assert values.shape == (100_000,)
    grid = optics.defocused_otf(q[:4, None], waves[:3])
    assert grid.shape == (4, 3) and grid.diagonal() == pytest.approx(values[:3], abs=1e-15)
    assert optics.defocused_otf(q[7], waves[7]) == pytest.approx(values[7], abs=1e-15)
    assert isinstance(optics.defocused_otf(0.2, 1), float)
    assert optics.defocused_otf(np.array([]), 1.0).shape == (0,)


@quick
@given(st.floats(0, 3e5), st.floats(0, 1e-4))
def test_disc_pixel_and_jitter_against_their_definitions(nu, size):
    z = math.pi * nu * size
    if size:
        assert optics.disc_otf(nu, size) == pytest.approx(2 * j1(z) / z if z > 1e-9 else 1, abs=1e-12)
    box = quad(lambda x: math.cos(2 * z * x), -0.5, 0.5, limit=200)[0]
    assert optics.smear_mtf(nu, size) == pytest.approx(abs(box), abs=1e-8)
    assert optics.jitter_mtf(nu, size) == pytest.approx(math.exp(-2 * z**2), abs=1e-15)


@pytest.mark.parametrize(("transfer", "value"), [
    (lambda nu: optics.smear_mtf(nu, 1.0), .636620), (lambda nu: optics.vibration_mtf(nu, 0.5, 9), .472001),
    (lambda nu: optics.jitter_mtf(nu, 0.25), .734603), (lambda nu: optics.disc_otf(nu, 1.0), .7217),
    (lambda nu: optics.disc_otf(nu, 2.0), .1812), (lambda nu: optics.disc_otf(nu, 2.43934), 0)])
def test_transfer_at_the_finest_pattern_that_pixels_hold(transfer, value):
    assert transfer(0.5) == pytest.approx(value, abs=5e-5)


def _shaken(a, cycles, phase):
    def mean(part):
        return quad(lambda t: part(a * math.sin(2 * math.pi * cycles * t + phase)), 0, 1, limit=200, epsabs=1e-11)[0]

    return math.hypot(mean(math.cos), mean(math.sin))


@pytest.mark.parametrize(("cycles", "worst", "slack"), [(0.5, .643, 6e-4), (0.75, .569, 6e-4), (1.25, .625, 6e-4),
                                                        (1.75, .611, 6e-4), (5.25, .634, .017), (10.25, .638, .017)])
def test_worst_phase_of_a_vibration(cycles, worst, slack):
    assert optics.vibration_mtf(0.2, 1.0, cycles) == pytest.approx(worst, abs=slack)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.01, 12), st.floats(0.02, 2.99), st.floats(0, 6.3))
def test_no_phase_is_worse_than_the_worst(a, cycles, phase):
    worst = optics.vibration_mtf(a / (2 * math.pi), 1.0, cycles)
    assert _shaken(a, cycles, phase) >= worst - 2e-3  # the phases are a grid
    on_grid = min(_shaken(a, cycles, p - math.pi * cycles) for p in np.linspace(0, math.pi / 2, 33 + int(a)))
    assert worst == pytest.approx(on_grid, abs=1e-8)


@quick
@given(st.floats(0, 900), st.floats(3, 50))
def test_many_cycles_give_the_bessel_function(a, cycles):
    assert optics.vibration_mtf(a / (2 * math.pi), 1.0, cycles) == pytest.approx(abs(j0(a)), abs=1e-11)


@pytest.mark.parametrize("a", [0.1, 1, 20, 150, 900])
def test_whole_cycles_give_it_too(a):
    assert optics.vibration_mtf(a / (2 * math.pi), 1.0, [1, 2]) == pytest.approx([abs(j0(a))] * 2, abs=1e-11)


def test_a_vibration_that_leaves_nothing_is_refused_with_its_limit():
    assert optics.vibration_mtf(5e4, 0.0, 1) == optics.vibration_mtf(0.0, 1.0, 1) == 1
    assert optics.vibration_mtf(5e4, 1e-5, 0) == pytest.approx(1)
    with pytest.raises(ValueError, match="swing.*at most 1000"):
        optics.vibration_mtf(1e6, 1.0, 1)


# --- the plan's criterion

TABLE = [(0.5, 8, 0.400, 0.222, 1126.6, 748.8, 1267.2), (1, 8, 0.400, 0.222, 500.7, 249.6, 563.2),
         (1, 2.8, 0.197, 0.333, 91.9, 87.4, 69.0), (3, 4, 0.400, 0.222, 55.6, 27.7, 62.6)]


@pytest.mark.parametrize(("m", "n", "q", "waves", "depth", "geometric", "wave"), TABLE)
def test_depth_by_transfer_beside_the_other_two(m, n, q, waves, depth, geometric, wave):
    pitch, wavelength = 3.9 * UM, 0.55 * UM
    _, effective, na = optics.aperture(m, 1, f_number=n)
    found = optics.sharp_depth(m, n, 1, pitch, wavelength, 0.8)
    share = optics.criterion_frequency(pitch, wavelength, effective) / optics.cutoff_frequency(wavelength, effective)
    assert share == pytest.approx(q, abs=5e-4)
    assert optics.defocus_waves(found / 2, m, effective, wavelength) == pytest.approx(waves, abs=5e-4)
    assert found / UM == pytest.approx(depth, abs=0.05)
    assert optics.depth_of_field(m, n, 1, 2 * pitch) / UM == pytest.approx(geometric, abs=0.05)
    assert optics.wave_depth(wavelength, na, 1.0) / UM == pytest.approx(wave, abs=0.05)


@quick
@given(magnifications, numbers, ratios, pitches, greens, st.floats(0.02, 0.98), st.floats(0.01, 0.99))
def test_the_edge_of_the_depth_keeps_what_was_asked(m, n, ratio, pitch, wavelength, kept, q):
    frequency = q * optics.cutoff_frequency(wavelength, optics.effective_f_number(n, m, ratio))
    view = (m, n, ratio, pitch, wavelength)
    for stated in ({}, {"frequency": frequency}):
        depth = optics.sharp_depth(*view, kept, **stated)
        assert optics.edge_transfer(depth, *view, **stated) == pytest.approx(kept, rel=1e-9)
        inside = optics.edge_transfer(depth * np.linspace(0.001, 0.999, 40), *view, **stated)
        assert (np.diff(inside) < 0).all() and (inside > kept).all()  # nothing crosses before
        assert optics.sharp_depth(*view, 0.9 * kept, **stated) > depth


def test_the_first_crossing_comes_before_the_phase_that_newtons_steps_need():
    q, phase = np.linspace(1e-4, 1 - 1e-4, 400), 4.49
    assert (optics.defocused_otf(q, phase / (8 * np.pi * q * (1 - q))) < 0).all()


def test_where_no_transfer_is_there_to_keep():
    view = (1, [4, 8, 200], 1, 4 * UM, 0.55 * UM)
    depth = optics.sharp_depth(*view, 0.8, frequency=5e4)
    assert depth[0] > 0 and depth[2] == 0
    assert optics.edge_transfer(100 * UM, *view, frequency=5e4)[2] == 0
    assert optics.sharp_depth(1, 4, 1, 4 * UM, 0.55 * UM, 0.8, frequency=0.0) == math.inf


def test_a_thousand_apertures_are_quick():
    n = np.geomspace(1, 32, 1000)
    optics.sharp_depth(3, 4, 1, 4 * UM, 0.55 * UM, 0.8)
    start = time.process_time()
    depth = optics.sharp_depth(3, n, 1, 4 * UM, 0.55 * UM, 0.8)
    assert time.process_time() - start < 0.05
    assert (np.diff(depth) > 0).all()
    assert depth[[0, 500]] == pytest.approx([optics.sharp_depth(3, n[i], 1, 4 * UM, 0.55 * UM, 0.8) for i in (0, 500)])


# --- stacks, moves, light

def test_frames_for_a_depth():
    assert optics.frame_count(2e-3, 60 * UM, 0.3) == 48
    assert optics.frame_count(2e-3, 60 * UM, 0.3, ends_in_focus=True) == 49
    assert optics.frame_count(0, 60 * UM, 0.3) == optics.frame_count(60 * UM, 60 * UM, 0) == 1
    assert optics.frame_count(0.3e-3, 0.1e-3, 0) == 3  # 0.3 / 0.1 is above 3 in floats
    assert isinstance(optics.frame_count(2e-3, 60 * UM, 0.3), int)
    assert optics.frame_count([1e-3, 2e-3], 60 * UM, 0.3).tolist() == [24, 48]


@quick
@given(st.floats(0, 0.05), st.floats(5e-6, 1e-2), st.floats(0, 0.9))
def test_the_frames_reach_and_one_less_would_not(depth, one, overlap):
    spacing, count = optics.frame_spacing(one, overlap), optics.frame_count(depth, one, overlap)
    assert one + (count - 1) * spacing >= depth * (1 - 1e-9) - 1e-9 * spacing
    assert count == 1 or one + (count - 2) * spacing < depth
    assert count <= optics.frame_count(depth, one, overlap, ends_in_focus=True) <= count + math.ceil(one / spacing)


@pytest.mark.parametrize("bad", [(-1e-3, 1e-4, 0), (1e-3, 0, 0), (1e-3, 1e-4, 1), (1e-3, math.nan, 0), (1, 1e-12, 0)])
def test_impossible_frames_are_refused(bad):
    with pytest.raises(ValueError, match="allowed"):
        optics.frame_count(*bad)


@quick
@given(magnifications, lengths, st.floats(-1, 1), st.floats(-1, 1))
def test_focus_moves_as_the_lens_equation_says(m, f, lens, sensor):
    step = 1e-6 * f * m * min(m, 1)
    lens, sensor = lens * step, sensor * step
    after = (optics.image_distance(f, m) + sensor - lens) / f - 1
    exact = lens - (optics.object_distance(f, after) - optics.object_distance(f, m))
    assert optics.focus_shift(lens, sensor, m) == pytest.approx(exact, abs=2e-5 * step * (1 + 1 / m**2) + 1e-15)


def test_the_lens_alone_does_not_focus_at_life_size():
    assert optics.focus_shift(1e-3, 0, 1) == 0
    assert optics.focus_shift(1e-3, 0, 2) > 0 > optics.focus_shift(1e-3, 0, 0.5)
    assert optics.focus_shift(1e-3, 1e-3, 3) == pytest.approx(1e-3)  # the whole camera


def test_a_layer_of_glass_or_water():
    # Snell's law for a ray at a small angle: where it seems to come from below a layer
    n, t, angle = 1.5, 1e-3, 1e-3
    inside = math.asin(math.sin(angle) / n)
    exact = t - t * math.tan(inside) / math.tan(angle)
    assert optics.cover_shift(t, n) == pytest.approx(exact, rel=1e-5)
    assert optics.cover_shift(t, 1) == 0


def test_light_at_the_effective_aperture():
    m, ratio = 3.0, 0.8
    assert light.exposure_factor(m, ratio) == pytest.approx((optics.effective_f_number(4, m, ratio) / 4)**2)
    assert light.light_ratio(16, 8, 100, 100) == 4 and light.light_ratio(16, 8, 400, 100) == 1
    assert light.light_ratio.solve_for("sensitivity")(
        light_ratio=1, effective_f_number=16, metered_f_number=8, metered_sensitivity=100) == pytest.approx(400)


@quick
@given(st.floats(0, 1), st.floats(-0.5, 1))
def test_flash_freezes_what_ambient_light_blurs(share, blurred):
    mixed = light.mixed_transfer(share, blurred, 1.0)
    assert min(blurred, 1) - 1e-12 <= mixed <= 1
    assert light.mixed_transfer(0, blurred, 1.0) == 1 and light.mixed_transfer(1, blurred, 1.0) == blurred


@pytest.mark.parametrize(("call", "words"), [
    (lambda: optics.effective_f_number(4, -1, 1), "magnification is -1"),
    (lambda: optics.effective_f_number(4, 1), "missing: pupil_ratio"),
    (lambda: optics.defocused_otf(-0.1, 0), "q is -0.1.*at least 0"),
    (lambda: optics.defocused_otf(0.1, math.inf), "waves is inf"),
    (lambda: optics.defocused_otf(0.1, np.array([0, np.nan])), "waves is nan"),
    (lambda: optics.sharp_depth(1, 8, 1, 4e-6, 5.5e-7, 1), "kept is 1.*below 1"),
    (lambda: optics.sharp_depth(1, 8, 1, 0, 5.5e-7, 0.8), "pixel_pitch is 0"),
    (lambda: optics.sharp_depth(1, 8, 1, 0, 5.5e-7, 0.8, frequency=1e4), "pixel_pitch is 0"),
    (lambda: optics.sharp_depth(1, 8, 1, 4e-6, 5.5e-7, 0.8, frequency=-1), "spatial_frequency is -1"),
    (lambda: optics.edge_transfer(0, 1, 8, 1, 4e-6, 5.5e-7), "spacing is 0"),
    (lambda: optics.reversed_lens(4, 0), "pupil_ratio is 0"),
    (lambda: optics.aperture(1, 1, numerical_aperture=3), "numerical_aperture is 3"),
    (lambda: optics.disc_otf("a", 1e-5), "give a number"),
    (lambda: optics.vibration_mtf(1e4, 1e-6, -1), "cycles is -1")])
def test_bad_arguments_are_refused_in_words(call, words):
    with pytest.raises((ValueError, TypeError), match=words):
        call()
