"""Ring-down: truth is found with the stated uncertainty, a second mode is found or ruled out, a poor fit is said to be poor."""

import math

import numpy as np
import pytest

from macrolib.measure import fit_ringdown
from tools.invented_measurements import ring

T = np.arange(1000) / 1000


def record(random, second=0.0, noise=0.02, at=50.0):
    return ring(T, 35, 0.02, 1.0, 0.3) + ring(T, at, 0.02 * 35 / at, second, 1.0) + noise * random.standard_normal(len(T))


def test_stated_uncertainties_are_the_scatter_of_300_records():
    random = np.random.default_rng(1)
    fits = [fit_ringdown(T, record(random)) for _ in range(300)]
    for name, truth in (("frequency", 35), ("damping_ratio", 0.02), ("amplitude", 1), ("offset", 0)):
        found = np.array([getattr(f, name) for f in fits])
        stated = math.sqrt(np.mean([getattr(f, name).standard_uncertainty**2 for f in fits]))
        print(f"{name}: stated over scatter {stated / found.std():.3f}")
        assert stated / found.std() == pytest.approx(1, abs=0.15)
        assert abs(found.mean() - truth) < 4 * stated / math.sqrt(300)
    assert not any(f.second for f in fits) and {f.quality for f in fits} == {"good"}
    # a record of the whole decay, derived: u(decay rate) = u(angular frequency) = 4 sigma rate^1.5 / (A sqrt(readings a second))
    closed = 4 * 0.02 * (0.02 * 2 * np.pi * 35)**1.5 / math.sqrt(1000) / (2 * np.pi)
    assert np.mean([f.frequency.standard_uncertainty for f in fits]) == pytest.approx(closed, rel=0.03)


def test_noise_that_is_no_white_noise_widens_the_uncertainty():
    from scipy.signal import butter, lfilter

    random, low, fits = np.random.default_rng(2), butter(2, 0.3), []
    for _ in range(40):
        t = np.sort(np.arange(1200) / 400 + random.uniform(-1e-3, 1e-3, 1200))  # uneven as well
        fits.append(fit_ringdown(t, ring(t, 31, 0.03) + 0.1 * lfilter(*low, random.standard_normal(1200))))
    found, stated = np.array([f.frequency for f in fits]), np.array([f.frequency.standard_uncertainty for f in fits])
    print(f"stated over scatter {math.sqrt(np.mean(stated**2)) / found.std():.3f}")
    assert math.sqrt(np.mean(stated**2)) / found.std() == pytest.approx(1, abs=0.3)
    assert sum(f.second is not None for f in fits) <= 2 and any("stronger near" in n for n in fits[0].notes)


@pytest.mark.parametrize("at", [12.0, 50.0, 80.0, 200.0])
def test_a_second_mode_is_found_where_it_cannot_hide(at):
    random = np.random.default_rng(3)
    fits = [fit_ringdown(T, record(random, 0.0275, at=at)) for _ in range(25)]
    assert 0.02 < fits[0].hidden < 0.03
    assert sum(bool(f.second) and abs(f.second.frequency - at) < 1 for f in fits) >= 22


def test_two_modes_are_told_with_their_uncertainty():
    random = np.random.default_rng(4)
    fits = [fit_ringdown(T, record(random, 0.4, at=42.0)) for _ in range(60)]
    for name, truth in (("frequency", 42), ("damping_ratio", 0.02 * 35 / 42), ("amplitude", 0.4)):
        found = np.array([getattr(f.second, name) for f in fits])
        stated = np.mean([getattr(f.second, name).standard_uncertainty for f in fits])
        assert abs(found.mean() - truth) < 4 * stated / math.sqrt(60) and 0.7 < stated / found.std() < 1.4
    assert fits[0].frequency == pytest.approx(35, abs=0.02)


def test_the_tap_itself_and_the_quiet_end_are_left_out():
    random = np.random.default_rng(5)
    t = np.arange(8000) / 1000
    y = 9.81 + ring(t - 1.5, 30, 0.03, 2.0, -1.4) + 0.02 * random.standard_normal(len(t))
    y[1500:1504] += 6.0
    found = fit_ringdown(t, y)
    assert 1.5 < found.start < 1.53 and found.quality == "good" and found.second is None
    assert abs(found.frequency - 30) < 3.5 * found.frequency.standard_uncertainty
    assert found.offset == pytest.approx(9.81, abs=0.005) and any("left out" in n for n in found.notes)
    assert np.std(y[1600:2500] - found.model(t[1600:2500])) == pytest.approx(0.02, rel=0.1)
    assert fit_ringdown(t, y, start=1.6).start == pytest.approx(1.6, abs=1e-6)
    assert found.for_rig("stand") == {"stand.natural_frequency": found.frequency, "stand.damping_ratio": found.damping_ratio}


@pytest.mark.parametrize("form", [
    lambda t: np.clip(1 - t / 0.8, 0, None) * np.cos(2 * np.pi * 30 * t),  # dry friction: the envelope falls in a straight line
    lambda t: 1 / (1 + 12 * t) * np.cos(2 * np.pi * 30 * t),  # drag that grows with the speed squared
])
def test_a_poor_fit_is_said_to_be_poor(form):
    t = np.arange(2000) / 1000
    found = fit_ringdown(t, form(t) + 0.003 * np.random.default_rng(6).standard_normal(len(t)))
    assert found.quality == "poor" and "Poor fit" in found.notes[0]


def test_damping_that_cannot_be_told_is_poor():
    t = np.arange(80) / 400
    found = fit_ringdown(t, ring(t, 31, 0.006) + 0.1 * np.random.default_rng(3).standard_normal(80))
    assert found.quality == "poor" and "damping" in found.notes[0]


def test_long_records_are_averaged_without_harm():
    t = np.arange(200_000) / 100e3
    found = fit_ringdown(t, ring(t, 35, 0.02, 1.0, 0.3) + 0.02 * np.random.default_rng(8).standard_normal(len(t)))
    assert abs(found.frequency - 35) < 3.5 * found.frequency.standard_uncertainty < 0.002
    assert abs(found.amplitude - 1) < 3.5 * found.amplitude.standard_uncertainty


S = T * 2
CLEAN = ring(S, 31, 0.02)
NOISE = 0.01 * np.random.default_rng(9).standard_normal(1000)


def _nan(x):
    x = x.copy()
    x[3] = np.nan
    return x


@pytest.mark.parametrize("times, signal, said", [
    ([], [], "has 0 values"), ([0.0], [1.0], "has 1 values"), (S, ["a"] * 1000, "not numbers"), (S, _nan(CLEAN), r"signal\[3\]: is nan"),
    (_nan(S), CLEAN, r"times\[3\]"), (S, np.ones(1000), "constant"), (S, np.clip(CLEAN, -0.5, 0.5), "clipped"),
    (S, np.clip(CLEAN + NOISE, -9, 0.6), "clipped"), (S, np.round(np.clip(CLEAN + NOISE, -0.7, 0.7), 3), "clipped"),
    (S, 30 * NOISE, "nothing rings"), (S, np.round(1 + 40 * NOISE), "nothing rings"), (S, np.sin(200 * S) + NOISE, "does not decay"),
    (S[::-1], CLEAN, "does not come after"), (np.repeat(S[::2], 2), CLEAN, "does not come after"), (S, CLEAN[:-1], "1000 and 999"),
    (1000 * S, CLEAN, "are the times in seconds"), (S, np.exp(3 * S) * np.sin(200 * S), "."), (S[:20], CLEAN[:20][::-1], "."),
])
def test_bad_records_are_refused(times, signal, said):
    with pytest.raises(ValueError, match=said):
        fit_ringdown(times, signal)


@pytest.mark.parametrize("start", [1.99, 2.0, 99.0])
def test_a_start_near_or_beyond_the_end_is_refused(start):
    with pytest.raises(ValueError, match="readings after the decay begins"):
        fit_ringdown(S, CLEAN + NOISE, start=start)


@pytest.mark.parametrize("rate", [38, 40, 45, 50, 55, 60, 65, 69])
def test_sampling_below_twice_the_frequency_gives_no_number(rate):
    t = np.arange(4 * rate) / rate
    with pytest.raises(ValueError, match="sample faster|does not decay|in seconds"):
        fit_ringdown(t, ring(t, 35, 0.03, 1.0, 0.3) + 0.002 * np.random.default_rng(1).standard_normal(len(t)))


def test_coarse_sampling_needs_to_be_vouched_for():
    t = np.arange(400) / 100
    y = ring(t, 31, 0.02, 1.0, 0.3) + 0.005 * np.random.default_rng(1).standard_normal(400)
    with pytest.raises(ValueError, match="30.99 Hz, or an alias of 69"):
        fit_ringdown(t, y)
    found = fit_ringdown(t, y, expected=30)
    assert found.frequency == pytest.approx(31, abs=0.05) and any("Fewer than ten" in n for n in found.notes)
    with pytest.raises(ValueError, match="fewer than two a period"):
        fit_ringdown(t, y, expected=69)
    with pytest.raises(ValueError, match="expected"):
        fit_ringdown(t, y, expected=15)


def test_quantised_records_are_not_taken_for_clipped():
    for levels in (15, 40, 200, 2000):
        found = fit_ringdown(S, np.round(levels * (CLEAN + NOISE)))
        assert found.frequency == pytest.approx(31, abs=0.1)
    steady = np.round(200 * np.sin(2 * np.pi * 25 * S))  # the same readings again and again
    with pytest.raises(ValueError, match="does not decay"):
        fit_ringdown(S, steady)
