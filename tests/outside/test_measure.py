"""Fits against certified data sets, published examples and other programs."""

import importlib
import os

import numpy as np
import pytest
from scipy.linalg import expm

from macrolib.measure import fit_ringdown, fit_travel, shift
from macrolib.measure.estimate import curve_fit


@pytest.fixture
def other():
    """Import a package that only tests need; without it the test is skipped, and fails where CI is set."""

    def load(name):
        try:
            return importlib.import_module(name)
        except ImportError:
            (pytest.fail if os.environ.get("CI") else pytest.skip)(f"the package {name} is not installed")

    return load


# NIST Statistical Reference Datasets, linear regression, data set Norris, with its certified values.
NORRIS_X = """.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 .4 .6 775.5 666.9 338.0 447.5 11.6 556.0 228.1 995.8 887.6
120.2 .3 .3 556.8 339.1 887.2 999.0 779.0 11.1 118.3 229.2 669.1 448.9 .5"""
NORRIS_Y = """.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 .3 .1 778.1 668.8 339.3 448.9 10.8 557.7 228.3 998.0 888.8
119.6 .3 .6 557.6 339.3 888.0 998.5 778.9 10.2 117.6 228.9 668.4 449.2 .2"""


def test_norris():
    found = fit_travel(np.array(NORRIS_X.split(), float), np.array(NORRIS_Y.split(), float))
    assert found.offset == pytest.approx(-0.262323073774029, rel=1e-12)
    assert found.travel_per_pulse == pytest.approx(1.00211681802045, rel=1e-13)
    assert found.offset.standard_uncertainty == pytest.approx(0.232818234301152, rel=1e-11)
    assert found.travel_per_pulse.standard_uncertainty == pytest.approx(0.429796848199937e-3, rel=1e-11)
    assert found.residual_deviation == pytest.approx(0.884796396144373, rel=1e-11)


@pytest.mark.parametrize("start", [(500, 1e-4), (250, 5e-4)])
def test_misra1a(start):
    """NIST Statistical Reference Datasets, nonlinear regression, Misra1a: y = b1 (1 - e^(-b2 x)), both certified starts."""
    x = np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760])
    y = np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.4, 75.47, 81.78])
    values, covariance, residuals = curve_fit(lambda b: b[0] * (1 - np.exp(-b[1] * x)), y, np.array(start), start)
    assert values == pytest.approx([238.94212918, 5.5015643181e-4], rel=1e-8)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([2.7070075241, 7.2668688436e-6], rel=1e-6)
    assert residuals @ residuals == pytest.approx(0.12455138894, rel=1e-9)


# Calibration of a thermometer, JCGM 100:2008, example H.3 (data from memory; they give the printed results).
THERMOMETER = ([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511],
               [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])


def test_calibration_line_of_the_guide():
    found = fit_travel(np.array(THERMOMETER[0]) - 20, THERMOMETER[1])
    assert found.offset.text() == "-0.1712 ± 0.0029"
    assert found.travel_per_pulse.text() == "0.00218 ± 0.00067"
    where, spread = found.at(10.0)
    assert (round(where, 4), round(spread, 4)) == (-0.1494, 0.0041)
    correlation = found.covariance[0, 1] / np.sqrt(found.covariance[0, 0] * found.covariance[1, 1])
    assert correlation == pytest.approx(-0.930, abs=5e-4)


def test_line_against_another_program(other):
    gtc = other("GTC")
    random = np.random.default_rng(4)
    x = np.sort(random.uniform(0, 16000, 25))
    y = 3e-4 + 6.2531e-7 * x + 2e-6 * random.standard_normal(25)
    found, theirs = fit_travel(x, y), gtc.type_a.line_fit(x.tolist(), y.tolist())
    offset, slope = theirs.a_b
    assert found.offset == pytest.approx(gtc.value(offset), rel=1e-9)
    assert found.travel_per_pulse == pytest.approx(gtc.value(slope), rel=1e-11)
    assert found.offset.standard_uncertainty == pytest.approx(gtc.uncertainty(offset), rel=1e-9)
    assert found.travel_per_pulse.standard_uncertainty == pytest.approx(gtc.uncertainty(slope), rel=1e-9)
    there = offset + 9000 * slope
    assert np.array(found.at(9000.0)) == pytest.approx([gtc.value(there), gtc.uncertainty(there)], rel=1e-9)


def test_published_registration_example(other):
    """scikit-image's documentation, 'Image registration': its test picture moved by (-22.4, 13.32) is found at (22.4, -13.32)."""
    picture = other("skimage.data").camera().astype(float)
    ndimage, registration = other("scipy.ndimage"), other("skimage.registration")
    moved = np.fft.ifft2(ndimage.fourier_shift(np.fft.fft2(picture), (-22.4, 13.32))).real
    found = shift(picture, moved)
    assert (found.down, found.across) == pytest.approx((22.4, -13.32), abs=0.002)
    theirs = registration.phase_cross_correlation(picture, moved, upsample_factor=100)[0]
    assert (found.down, found.across) == pytest.approx(tuple(theirs), abs=0.01)


# The package bcam-indar 1.0.2 publishes a system of two masses with these mass, damping and stiffness matrices, sampled at 50 Hz.
TWO_MASSES = {"mass": (1, 0.05), "damping": (1.6, 0.242), "stiffness": (400, 18.14)}
MODES = ((2.805169, 0.0798876), (3.439893, 0.0894326))  # its eigenvalues: Hz, damping ratio


def two_masses(readings, step, where):
    """Acceleration of a mass after a blow on the first one."""
    mass, (c1, c2), (k1, k2) = np.diag(TWO_MASSES["mass"]), TWO_MASSES["damping"], TWO_MASSES["stiffness"]
    chain = [np.array([[a + b, -b], [-b, b]]) for a, b in ((k1, k2), (c1, c2))]
    matrix = np.block([[np.zeros((2, 2)), np.eye(2)], [-np.linalg.solve(mass, chain[0]), -np.linalg.solve(mass, chain[1])]])
    assert sorted(np.abs(np.linalg.eigvals(matrix)) / (2 * np.pi))[::2] == pytest.approx([f for f, _ in MODES], rel=1e-6)
    on, state, seen = expm(matrix * step), np.array([0, 0, 1.0, 0]), []
    for _ in range(readings):
        seen.append((matrix @ state)[2 + where])
        state = on @ state
    return np.arange(readings) * step, np.array(seen)


@pytest.mark.parametrize("where", [0, 1])
@pytest.mark.parametrize("noise", [1e-4, 0.01])
def test_two_modes_apart_by_a_bandwidth(where, noise):
    t, clean = two_masses(256, 0.02, where)
    random = np.random.default_rng(1)
    found = fit_ringdown(t, clean + noise * np.ptp(clean) * random.standard_normal(256))
    assert found.second and found.quality == "good"
    for mode, (frequency, damping) in zip(sorted([found, found.second], key=lambda m: m.frequency), MODES):
        assert abs(mode.frequency - frequency) < 3.5 * mode.frequency.standard_uncertainty
        assert abs(mode.damping_ratio - damping) < 3.5 * mode.damping_ratio.standard_uncertainty
        assert mode.frequency.standard_uncertainty < max(0.02, noise * 2) and mode.frequency == pytest.approx(frequency, rel=0.01)
