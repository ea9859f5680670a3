"""Travel, reversal, missed steps and stiffness: known truth is found, with the uncertainty that is stated."""

import copy
import math
import pickle

import numpy as np
import pytest

from macrolib.measure import Estimate, fit_stiffness, fit_travel, missed_steps, reversal

TURN, EACH = 3200, 6.2531e-7
PULSES = np.arange(0, 4 * TURN + 1, TURN // 8)


def readings(random, wave=4e-6, noise=1.5e-6, pulses=PULSES):
    return 3e-4 + EACH * pulses + wave * np.cos(2 * np.pi * pulses / TURN - 0.8) + noise * random.standard_normal(len(pulses))


def test_an_estimate_is_a_float_with_its_uncertainty():
    found = Estimate(0.0020013, 4e-7)
    assert found == 0.0020013 and found.standard_uncertainty == 4e-7 and found.text("mm") == "2.00130 ± 0.00040 mm"
    assert type(2 * found) is float and str(Estimate(31.2412, 0.118)) == "Estimate(31.24 ± 0.12)"
    for same in (copy.deepcopy(found), pickle.loads(pickle.dumps(found))):
        assert same == found and same.standard_uncertainty == 4e-7


def test_stated_uncertainties_are_the_scatter_of_300_records():
    random = np.random.default_rng(1)
    fits = [fit_travel(PULSES, readings(random), TURN, nominal=6.25e-7) for _ in range(300)]
    for name, truth in (("travel_per_pulse", EACH), ("offset", 3e-4), ("once_per_turn", 4e-6), ("once_per_turn_phase", 0.8),
                        ("lead_error", EACH / 6.25e-7 - 1), ("residual_deviation", 1.5e-6)):
        found = np.array([getattr(f, name) for f in fits])
        stated = math.sqrt(np.mean([getattr(f, name).standard_uncertainty**2 for f in fits]))
        print(f"{name}: stated over scatter {stated / found.std():.3f}")
        assert stated / found.std() == pytest.approx(1, abs=0.15)
        assert abs(found.mean() - truth) < 4 * stated / math.sqrt(300) + 0.02 * stated * (name == "residual_deviation")
    assert all(f.once_per_turn_found for f in fits)


def test_further_readings_fall_in_the_interval_as_often_as_said():
    random, inside = np.random.default_rng(2), []
    for _ in range(400):
        low, high = fit_travel(PULSES, readings(random, wave=0.0)).interval([1000.0, 20000.0], 0.9)
        again = readings(random, wave=0.0, pulses=np.array([1000.0, 20000.0]))
        inside.append((low < again) & (again < high))
    assert np.mean(inside) == pytest.approx(0.9, abs=0.03)


def test_no_error_once_per_turn_is_found_where_there_is_none():
    random = np.random.default_rng(3)
    assert sum(fit_travel(PULSES, readings(random, wave=0.0), TURN).once_per_turn_found for _ in range(300)) <= 2


def test_what_speaks_against_the_line_is_said():
    random = np.random.default_rng(4)
    assert any("follow each other" in n for n in fit_travel(PULSES, readings(random, wave=12e-6)).notes)
    y = readings(random, wave=0.0)
    y[7] += 40e-6
    assert any("stands out" in n for n in fit_travel(PULSES, y).notes)
    assert fit_travel(PULSES, EACH * PULSES).notes == ()
    assert not fit_travel(PULSES, readings(random, wave=0.0)).notes


def test_the_scale_that_was_read_counts():
    random = np.random.default_rng(5)
    y = readings(random, wave=0.0)
    plain, scaled = fit_travel(PULSES, y), fit_travel(PULSES, y, scale_uncertainty=1e-3)
    wider = math.hypot(plain.travel_per_pulse.standard_uncertainty, 1e-3 * plain.travel_per_pulse)
    assert scaled.travel_per_pulse.standard_uncertainty == pytest.approx(wider, rel=1e-6)
    assert scaled.at(12000.0)[1] == pytest.approx(math.hypot(plain.at(12000.0)[1], 1e-3 * plain.at(12000.0)[0]), rel=1e-6)
    found = scaled.for_rig(TURN)["transmission.travel_per_turn"]
    assert found == pytest.approx(2.001e-3, rel=1e-3) and found.standard_uncertainty == pytest.approx(2e-6, rel=0.01)


@pytest.mark.parametrize("pulses, positions, more, said", [
    ([], [], {}, "has 0 values"), ([0], [0], {}, "has 1 values"), ([0, 1], [0, 1], {}, "at least 3"),
    ([0, 1, 2], [0, 1, "a"], {}, "not numbers"), ([0, 1, 2], [0, 1, math.nan], {}, r"positions\[2\]: is nan"),
    ([0, 1, math.inf], [0, 1, 2], {}, r"pulses\[2\]"), ([0, 1, 2, 3], [5, 5, 5, 5], {}, "positions: all 4 are the same"),
    ([7, 7, 7], [0, 1, 2], {}, "pulses: all 3"), ([0, 1, 2, 3], [0, 1, 2], {}, "4 and 3 values"),
    ([0, 1, 2, 3], [0, 1, 0, 1], {}, "do not follow"),
    ([0, 1, 2], [0, 1e200, 2e200], {}, "give SI"), ([0, 1, 2], [0, 1e-200, 2e-200], {}, "give SI"),
    ([[0, 1, 2]], [[0, 1, 2]], {}, "axes"), ([0, 1, 2], [0, 1, 2], {"nominal": 1e-3}, "check the units"),
    (np.arange(8) * 100, np.arange(8) * 1.0, {"pulses_per_turn": 3200}, "less than one turn"),
    (np.arange(8) * 3200, np.arange(8) + 0.1 * np.sin(np.arange(8)), {"pulses_per_turn": 3200}, "tell all"),
    (np.ma.masked_array([0, 1, 2, 3], [0, 0, 1, 0]), [0, 1, 2, 3], {}, "masked"), ([0, [1, 2], 3], [0, 1, 2], {}, "differ in length"),
])
def test_bad_readings_are_refused(pulses, positions, more, said):
    with pytest.raises(ValueError, match=said):
        fit_travel(pulses, positions, **more)


TARGETS = np.array([5, 17, 28, 41, 52, 64]) * 1e-3
UP = np.array([[1, 2, 3, 4, 5], [2, 2, 2, 2, 2], [0, 1, 0, 1, 0], [3, 3, 4, 4, 3], [5, 6, 7, 8, 9], [4, 4, 4, 4, 5]]) * 1e-6
DOWN = UP[:, ::-1] * 1.5 + 20e-6


def by_the_standard():
    """ISO 230-2:2014, sections 3 and 8 (from memory), target by target as one would on paper."""
    mean = [[sum(row) / 5 for row in way] for way in (UP, DOWN)]
    s = [[math.sqrt(sum((x - m)**2 for x in row) / 4) for row, m in zip(way, means)] for way, means in zip((UP, DOWN), mean)]
    b = [u - d for u, d in zip(*mean)]
    r = [max(2 * su + 2 * sd + abs(bi), 4 * su, 4 * sd) for su, sd, bi in zip(*s, b)]
    tops, bottoms = ([[m + sign * 2 * si for m, si in zip(means, sis)] for means, sis in zip(mean, s)] for sign in (1, -1))
    return {"reversal": max(map(abs, b)), "mean_reversal": sum(b) / 6, "repeatability": max(r), "repeatability_forward": 4 * max(s[0]),
            "repeatability_backward": 4 * max(s[1]), "systematic": max(map(max, mean)) - min(map(min, mean)),
            "systematic_forward": max(mean[0]) - min(mean[0]), "systematic_backward": max(mean[1]) - min(mean[1]),
            "mean_range": max((u + d) / 2 for u, d in zip(*mean)) - min((u + d) / 2 for u, d in zip(*mean)),
            "accuracy": max(map(max, tops)) - min(map(min, bottoms)), "accuracy_forward": max(tops[0]) - min(bottoms[0]),
            "accuracy_backward": max(tops[1]) - min(bottoms[1])}


def test_reversal_by_the_definitions():
    found = reversal(TARGETS, TARGETS[:, None] + UP, TARGETS[:, None] + DOWN)
    for name, value in by_the_standard().items():
        assert getattr(found, name) == pytest.approx(value, abs=1e-15), name
        assert 0 < getattr(found, name).standard_uncertainty < 5e-6
    assert found.notes == () and found.reversal_at == pytest.approx(found.mean_forward - found.mean_backward)
    turned = reversal(TARGETS, (TARGETS[:, None] + UP).T, (TARGETS[:, None] + DOWN).T)
    assert turned.accuracy == found.accuracy


BENT = np.array([[0, 4, 11, 9, 15, 22]]).T * 1e-6


def test_reversal_scatters_as_stated():
    random, fits = np.random.default_rng(6), []
    for _ in range(300):
        ways = [TARGETS[:, None] + way + 2e-6 * random.standard_normal((6, 5)) for way in (BENT - 15e-6, BENT + 15e-6)]
        fits.append(reversal(TARGETS, *ways))
    for name in ("mean_reversal", "systematic_forward", "accuracy"):
        found = np.array([getattr(f, name) for f in fits])
        stated = math.sqrt(np.mean([getattr(f, name).standard_uncertainty**2 for f in fits]))
        print(f"{name}: stated over scatter {stated / found.std():.3f}")
        assert stated / found.std() == pytest.approx(1, abs=0.15)
    assert np.mean([f.mean_reversal for f in fits]) == pytest.approx(-30e-6, abs=0.1e-6)
    assert fits[0].for_rig()["transmission.backlash"] == -fits[0].mean_reversal


@pytest.mark.parametrize("forward, said", [
    (UP, "deviations"), (TARGETS[:, None] + UP[:, :1], "at least 2 runs"), (TARGETS[:3, None] + UP[:3], "6 targets need 6 rows"),
    (TARGETS, "axes"), (1e3 * (TARGETS[:, None] + UP), "in m"), ((TARGETS[:, None] + UP) * np.nan, "nan"), ([["a"] * 5] * 6, "not numbers"),
])
def test_bad_runs_are_refused(forward, said):
    with pytest.raises(ValueError, match=said):
        reversal(TARGETS, forward, TARGETS[:, None] + DOWN)


def test_a_square_of_runs_is_told_by_its_targets():
    square = TARGETS[:5, None] + UP[:5]
    assert reversal(TARGETS[:5], square.T, TARGETS[:5, None] + DOWN[:5]).mean_forward == pytest.approx(UP[:5].mean(axis=1))


@pytest.mark.parametrize("lost, noise, missed, said", [
    (0, 1e-6, 0, "no step"), (-8, 1e-6, -8, "8 full steps lost"), (4, 1e-6, 4, "4 full steps"), (2, 0.5e-6, None, "slip"),
    (1, 40e-6, None, "cannot be told")])
def test_missed_steps(lost, noise, missed, said):
    random = np.random.default_rng(7)
    found = missed_steps(0.0125 + noise * random.standard_normal(5), 0.0125 + lost * 1e-5 + noise * random.standard_normal(5), 1e-5)
    assert found.missed == missed and said in found.verdict


def test_missed_steps_needs_readings():
    with pytest.raises(ValueError, match="at least 2"):
        missed_steps([0.1], [0.1, 0.1], 1e-5)
    with pytest.raises(ValueError, match="full_step"):
        missed_steps([0.1, 0.1], [0.1, 0.1], 0.0)


def test_stiffness_scatters_as_stated():
    random, forces = np.random.default_rng(8), np.repeat([0.0, 1.0, 2.0, 5.0], 3)
    fits = [fit_stiffness(forces, forces / 0.8e6 + 0.1e-6 * random.standard_normal(12), 0.75, 0.005) for _ in range(300)]
    for name, truth in (("stiffness", 0.8e6), ("frequency", math.sqrt(0.8e6 / 0.75) / (2 * math.pi))):
        found = np.array([getattr(f, name) for f in fits])
        spread = [getattr(f, name).standard_uncertainty for f in fits]
        assert np.mean(found) == pytest.approx(truth, rel=0.003)
        if name == "stiffness":
            assert math.sqrt(np.mean(np.square(spread))) / found.std() == pytest.approx(1, abs=0.15)
    assert fit_stiffness(forces, forces / 1e6).frequency is None


@pytest.mark.parametrize("forces, gives, said", [
    ([1, 1, 1], [1, 2, 3], "all the same"), ([0, 1, 2], [3, 2, 1], "do not grow"), ([0, 1], [0, 1], "at least 3"),
    ([0, 1, 2], [2, 2, 2], "do not grow")])
def test_bad_presses_are_refused(forces, gives, said):
    with pytest.raises(ValueError, match=said):
        fit_stiffness(forces, gives)
