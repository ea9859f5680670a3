"""Depth of field from a sweep and settling from a burst: truth is found with the uncertainty that is stated."""

import math

import numpy as np
import pytest

from macrolib.measure import fit_focus, settling, sharpness
from macrolib.physics import vibration
from tools.invented_measurements import TRUTH, lens_transfer, picture

DEPTH, MIDDLE, QUARTER = TRUTH["sweep"]["depth"], 3e-6, 0.25


def contrast(positions):
    """The lens's transfer at a quarter of the sampling frequency, exact in diffraction and defocus."""
    at = np.array([float(lens_transfer(z - MIDDLE)(QUARTER)) for z in positions])
    return 0.1 * np.abs(at) / lens_transfer(0.0)(QUARTER)


def test_sharpness_of_a_known_pattern():
    across = np.arange(256)
    for frequency, amplitude in ((0.25, 0.1), (0.125, 0.04)):
        waves = 0.5 + amplitude * np.cos(2 * np.pi * frequency * across + 0.7)
        assert sharpness(np.tile(waves, (256, 1)), frequency) == pytest.approx(amplitude / math.sqrt(2) / 0.5, rel=0.03)
        assert sharpness(np.tile(waves, (256, 1)), frequency * 0.6) < 0.001
    assert sharpness(np.full((64, 64), 0.5)) < 1e-6


def test_sharpness_follows_the_transfer():
    sharp, soft = (sharpness(picture((160, 160), transfer=lens_transfer(z), noise=0)) for z in (0.0, DEPTH / 2))
    assert soft / sharp == pytest.approx(0.8, abs=0.01)


@pytest.mark.parametrize("picture, said", [
    (np.zeros((64, 64)), "black"), (np.ones((8, 8)), "at least 48"), (np.full((64, 64), np.nan), "finite")])
def test_pictures_without_sharpness(picture, said):
    with pytest.raises(ValueError, match=said):
        sharpness(picture)
    with pytest.raises(ValueError, match="frequency"):
        sharpness(np.ones((64, 64)), 0.6)


@pytest.mark.parametrize("step", [0.25, 0.1])
def test_depth_is_that_of_the_lens(step):
    z = np.arange(-1.6, 1.7, step) * DEPTH
    found = fit_focus(z, contrast(z))
    assert found.depth == pytest.approx(DEPTH, rel=0.006) and found.best == pytest.approx(MIDDLE, abs=0.003 * DEPTH)
    assert found.peak == pytest.approx(0.1, rel=0.005) and found.notes == ()
    assert found.curve(found.best + found.depth / 2) == pytest.approx(0.8 * found.peak, rel=0.01)


def test_stated_uncertainties_are_the_scatter_of_300_sweeps():
    random, z = np.random.default_rng(1), np.arange(-1.6, 1.7, 0.2) * DEPTH
    clean = np.hypot(contrast(z), 0.004)
    fits = [fit_focus(z, np.abs(clean + 0.001 * random.standard_normal(len(z)))) for _ in range(300)]
    for name, truth in (("depth", DEPTH), ("best", MIDDLE)):
        found = np.array([getattr(f, name) for f in fits])
        stated = math.sqrt(np.mean([getattr(f, name).standard_uncertainty**2 for f in fits]))
        print(f"{name}: stated over scatter {stated / found.std():.3f}")
        assert stated / found.std() == pytest.approx(1, abs=0.15)
        assert abs(found.mean() - truth) < 0.008 * DEPTH


Z = np.arange(-1.6, 1.7, 0.25) * DEPTH


@pytest.mark.parametrize("z, seen, said", [
    ([], [], "has 0 values"), ([0.0], [1.0], "at least 7"), (Z, ["a"] * len(Z), "not numbers"), (Z, np.where(Z > 0, np.nan, 1.0), "nan"),
    (Z, np.ones(len(Z)), "both sides"), (Z[:7], contrast(Z[:7]), "both sides"), (Z[7:], contrast(Z[7:]), "both sides"),
    (3 * Z, contrast(3 * Z), "smaller steps|5 are needed"), (Z, -contrast(Z), "below 0"), (Z, contrast(Z)[1:], "values"),
])
def test_bad_sweeps_are_refused(z, seen, said):
    with pytest.raises(ValueError, match=said):
        fit_focus(z, seen)


def test_doubtful_sweeps_are_said_to_be():
    near = np.arange(-0.7, 0.71, 0.2) * DEPTH
    assert "fairly sharp" in fit_focus(near, contrast(near)).notes[0]
    twice = np.concatenate([Z, Z + 3.5 * DEPTH])
    assert any("two depths" in n for n in fit_focus(twice, np.concatenate([contrast(Z), 0.8 * contrast(Z)])).notes)
    flicker = contrast(Z) * np.where(np.arange(len(Z)) % 2, 1.0, 0.7)
    assert any("Poor fit" in n for n in fit_focus(Z, flicker).notes)


F, DAMPING, AMPLITUDE, ALLOWED = 11.6, 0.045, 5.0, 1.0
TIMES = np.arange(30) / 20
WAIT = vibration.settling_time(AMPLITUDE, ALLOWED / 2, F, DAMPING)


def sway(random, noise=0.05):
    """A burst in which the frames come at moments of their own."""
    phases = random.uniform(0, 2 * np.pi, len(TIMES))
    return AMPLITUDE * np.exp(-2 * np.pi * F * DAMPING * TIMES) * np.cos(phases) + noise * random.standard_normal(len(TIMES))


def test_settling_scatters_as_stated():
    random = np.random.default_rng(2)
    fits = [settling(TIMES, sway(random), ALLOWED) for _ in range(300)]
    found = np.array([f.wait for f in fits])
    stated = math.sqrt(np.mean([f.wait.standard_uncertainty**2 for f in fits]))
    print(f"wait: stated over scatter {stated / found.std():.3f}")
    assert stated / found.std() == pytest.approx(1, abs=0.15) and found.mean() == pytest.approx(WAIT, rel=0.03)
    assert np.mean([f.seen for f in fits]) < WAIT  # a frame may catch the motion at rest


def test_settling_across_and_down():
    along = sway(np.random.default_rng(3))
    both = settling(TIMES, np.stack([0.6 * along, -0.8 * along], axis=1) + 7.0, ALLOWED)
    assert both.wait == pytest.approx(settling(TIMES, along, ALLOWED).wait, rel=1e-6)


QUIET = 0.05 * np.random.default_rng(4).standard_normal(30)


@pytest.mark.parametrize("times, motion, tolerance, said", [
    ([], [], 1, "has 0 values"), (TIMES[:5], QUIET[:5], 1, "at least 12"), (TIMES, QUIET[1:], 1, "at least 30"),
    (TIMES, 0 * QUIET, 1, "constant"),
    (TIMES[::-1], QUIET, 1, "must rise"), (TIMES, ["a"] * 30, 1, "not numbers"), (TIMES, QUIET * np.nan, 1, "nan"),
    (TIMES, QUIET, 1, "frames stand out"),
    (TIMES, sway(np.random.default_rng(5)), 0.1, "cannot be seen"), (TIMES, 5 * np.cos(9 * TIMES), 1, "cannot be seen"),
])
def test_bad_bursts_are_refused(times, motion, tolerance, said):
    with pytest.raises(ValueError, match=said):
        settling(times, motion, tolerance)
