"""Pictures, sound and panel of the motor's ripple: what they say is what was computed."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

from macrolib import read_rig
from macrolib.physics import stepper
from macrolib.planning import ripple
from macrolib.show import figures_ripple as figures
from macrolib.show import panels_ripple as panels

BENCH = read_rig(Path(__file__).resolve().parents[2] / "notebooks" / "data" / "rigs" / "bench-screw.toml")
SLOW = 0.4e-3


def test_deviations_are_whole_cycles_about_the_path():
    for (t, off), microsteps in zip(figures.deviations(BENCH, SLOW, (1, 16)), (1, 16)):
        found = ripple.motor_ripple(figures.with_motor(BENCH, microsteps), SLOW)
        assert np.ptp(off) == pytest.approx(found.motor, rel=0.03) and abs(off.mean()) < 1e-12
        cycles = (t[-1] + t[1]) * SLOW / (4 * BENCH.travel_per_turn / 200)
        assert cycles == pytest.approx(round(cycles), abs=1e-6)


def test_out_of_step_is_said():
    with pytest.raises(ValueError, match="out of step at 2 mm/s"):
        list(figures.deviations(BENCH, 2e-3, (1,)))


def test_wobble_and_curve_name_their_numbers():
    alt = figures.wobble(BENCH, SLOW, (1, 256)).alt
    assert re.search(r"full steps: 17 µm peak to peak; 256 microsteps: 0.7\d? µm", alt)
    alt = figures.settings_curve(BENCH, SLOW, (1, 8, 64)).alt
    floor = 2 * BENCH.motor.detent_torque / (0.42 / np.sqrt(2)) / 50 * 2e-3 / (2 * np.pi) * 1e6  # at rest
    assert float(re.search(r"floor of ([\d.]+) µm", alt)[1]) == pytest.approx(floor, rel=0.1)


def test_the_map_marks_the_resonance():
    chart = figures.map_chart(ripple.ripple_map(BENCH, np.geomspace(0.5e-3, 8e-3, 6), [1, 8, 64]), BENCH)
    meets = ripple.natural_frequency(BENCH) * 2e-3 / 200 * 1e3
    dotted = chart.figure.axes[0].lines[0].get_xdata()
    assert dotted[0] == pytest.approx(meets) and f"At {meets:.3g} mm/s a bright column" in chart.alt
    assert [a.get_ylabel() for a in chart.figure.axes] == ["microsteps (-)", "ripple, peak to peak (µm)"]


def test_a_point_of_light_is_smeared_by_the_move_and_by_the_ripple():
    alt = figures.point_of_light(BENCH, SLOW, (1, 128), 3.0, frames=3).alt
    smooth = SLOW * 0.5 / 24 * 3 / 4.4e-6
    assert f"smears it by {smooth:.2g} px" in alt
    coarse, fine = ([float(x) for x in part.split(", ")] for part in re.findall(r"steps: ([\d., ]+) px", alt))
    assert min(coarse) > smooth + 3 and max(abs(np.array(fine) - smooth)) < 0.6


def test_the_tone_is_quiet_mono_and_falls_with_finer_pulses():
    sound = figures.tone(BENCH, SLOW, (1, 128), seconds=0.5)
    samples = np.frombuffer(sound.data[44:], np.int16) / 2**15
    assert len(samples) == 8000 and abs(samples).max() == pytest.approx(0.3, abs=0.01)
    assert samples[:4000].std() > 20 * samples[4000:].std()


def test_the_stored_map_gives_its_own_points_and_refuses_others():
    kept = json.loads(panels.MAP.read_text("utf-8"))
    ratio, damping = kept["full_steps_over_natural_frequency"][7], kept["damping_ratio"][1]
    assert panels.stored_ripple(ratio, 8, 0.05, damping) == pytest.approx(kept["peak_to_peak_in_full_steps"][7][3][2][1])
    assert np.isnan(panels.stored_ripple(0.9, 1, 0.05, 0.03))
    with pytest.raises(ValueError, match="bounds"):
        panels.stored_ripple(50.0, 8, 0.05, damping)


def test_the_panel_says_where_its_number_comes_from_and_it_is_right():
    for microsteps, speed, method in ((16, 0.5e-3, "closed form"), (4, 0.3e-3, "stored map"), (128, 2.4e-3, "stored map")):
        shown = panels.motor_ripple.result(panels.motor_ripple.start(microsteps=microsteps, speed=speed))
        motion = stepper.simulate(speed / 2e-3, microsteps, damping_ratio=0.05, detent_torque=0.05, **panels._MOTOR)
        assert shown.method == method and method in panels.motor_ripple.sentence(shown)
        assert shown.extent == pytest.approx(stepper.shaft_travel(float(motion.position_peak_to_peak), 2e-3), rel=0.2)
        assert shown.pixels == pytest.approx(shown.extent * 3 / 4e-6)
    rng, n = np.random.default_rng(5), 60
    speed, microsteps = 10 ** rng.uniform(-4, -2, n), 2 ** rng.integers(0, 8, n)
    share, damping = rng.uniform(0, 0.1, n), rng.uniform(0.04, 0.2, n)
    shown, known = panels.extents(speed, microsteps, share, damping)
    motion = stepper.simulate(speed / 2e-3, microsteps, damping_ratio=damping, detent_torque=share, **panels._MOTOR)
    error = abs(shown / (motion.position_peak_to_peak * 2e-3 / (2 * np.pi)) - 1)[~known & motion.in_step]
    assert error.size > 20 and np.median(error) < 0.05 and np.quantile(error, 0.85) < 0.2
    slips = panels.motor_ripple.result(panels.motor_ripple.start(microsteps=1, speed=2e-3))
    assert slips.slips and slips.extent == pytest.approx(40e-6) and "out of step" in panels.motor_ripple.sentence(slips)
