"""Writes invented logs and photographs whose truth is known: python -m tools.invented_measurements

They go to notebooks/data/logs and notebooks/data/photos; TRUTH holds what was put in, in SI. Everything comes from seeds,
so that the files are the same each time. The rig is an invented one: like bench-screw, but not what its data sheets say.
"""

import functools
import math
from pathlib import Path

import numpy as np
from PIL import Image
from scipy import fft

from macrolib.files import write_whole
from macrolib.physics import optics

DATA = Path(__file__).resolve().parent.parent / "notebooks" / "data"
PULSES_PER_TURN = 3200
VIEW = {"magnification": 3.0, "f_number": 4.0, "pupil_ratio": 1.1, "pixel_pitch": 4.4e-6, "wavelength": 550e-9}

TRUTH = {
    "travel.csv": {"travel_per_turn": 2.0013e-3, "offset": 0.37e-3, "once_per_turn": 4e-6, "once_per_turn_phase": 0.8,
                   "residual_deviation": 1.5e-6},
    "both-ways.csv": {"backlash": 31e-6, "deviation": 1.8e-6},
    "ringdown-phone.csv": {"frequency": 29.4, "damping_ratio": 0.034, "amplitude": 1.6, "tapped": 0.83},
    "ringdown-logger.csv": {"frequency": 29.4, "damping_ratio": 0.034, "second_frequency": 47.5, "second_damping_ratio": 0.021,
                            "second_share": 0.22},
    "there-and-back.csv": {"missed": 8, "full_step": 10e-6},
    "press.csv": {"stiffness": 0.84e6},
    "pair": {"down": 0.42, "across": 68.23, "travel": math.hypot(0.42, 68.23) * VIEW["pixel_pitch"] / VIEW["magnification"]},
    "sweep": {"best": 13.2e-6, "depth": optics.sharp_depth(kept=0.8, frequency=0.25 / VIEW["pixel_pitch"], **VIEW), "spacing": 9e-6},
    "burst": {"frequency": 11.6, "damping_ratio": 0.045, "amplitude": 5.0, "frame_rate": 20.0},
}


def ring(times, frequency, damping_ratio, amplitude=1.0, phase=0.0):
    """A free decay that begins at time 0; nothing before."""
    w = 2 * np.pi * frequency
    decay = amplitude * np.exp(-damping_ratio * w * np.maximum(times, 0.0))
    return np.where(times >= 0, decay * np.cos(w * np.sqrt(1 - damping_ratio**2) * times + phase), 0.0)


def travel_log():
    """Pulses and the dial gauge: every eighth of a turn over five turns, there with a wrong lead and an eccentric screw."""
    random, true = np.random.default_rng(11), TRUTH["travel.csv"]
    pulses = np.arange(0, 5 * PULSES_PER_TURN + 1, PULSES_PER_TURN // 8)
    wave = true["once_per_turn"] * np.cos(2 * np.pi * pulses / PULSES_PER_TURN - true["once_per_turn_phase"])
    read = true["offset"] + true["travel_per_turn"] / PULSES_PER_TURN * pulses + wave
    read = read + true["residual_deviation"] * random.standard_normal(len(pulses))
    return "pulses (pulse),position (mm)\n" + "".join(f"{n},{1e3 * x:.4f}\n" for n, x in zip(pulses, read))


def both_ways_log():
    """Positions reached at six targets, five runs each way."""
    random, true = np.random.default_rng(12), TRUTH["both-ways.csv"]
    targets = np.array([5, 17, 28, 41, 52, 64]) * 1e-3
    shape = np.array([0.0, 1.1, 2.9, 2.2, 3.8, 5.0]) * 1e-6  # the same both ways
    lines = ["target (mm)" + "".join(f",{way} {n} (mm)" for way in ("forward", "backward") for n in range(1, 6))]
    for target, error in zip(targets, shape):
        read = [target + error + side * true["backlash"] / 2 + true["deviation"] * random.standard_normal(5) for side in (-1, 1)]
        lines.append(",".join(f"{1e3 * x:.4f}" for x in (target, *np.concatenate(read))))
    return "\n".join(lines) + "\n"


def phone_log():
    """A phone on the stand: decimal commas, lines before the heading, uneven, a gap, a row sent twice, gravity on one axis."""
    random, true = np.random.default_rng(13), TRUTH["ringdown-phone.csv"]
    t = np.arange(1400) / 412 + random.uniform(-2e-4, 2e-4, 1400)
    t = np.delete(t, slice(1180, 1204))
    along = ring(t - true["tapped"], true["frequency"], true["damping_ratio"], true["amplitude"], -1.2)
    along[np.abs(t - true["tapped"]) < 4e-3] += 2.5  # the tap itself
    axes = np.stack([along, 0.3 * along + 0.12, np.full(len(t), 9.79)]) + 0.02 * random.standard_normal((3, len(t)))
    rows = [";".join(f"{x:.{places}f}" for x, places in zip(row, (5, 4, 4, 4))) for row in zip(t, *axes)]
    rows.insert(701, rows[700])
    head = "Recording 7\nSensor;acceleration with gravity\n\nTime (s);Acceleration x (m/s²);Acceleration y (m/s²);Acceleration z (m/s²)\n"
    return head + "\n".join(rows).replace(".", ",") + "\n"


def logger_log():
    """A data logger that records when it is shaken: no units in its heading, acceleration in units of gravity, two modes."""
    random, true = np.random.default_rng(14), TRUTH["ringdown-logger.csv"]
    t = np.arange(2000) / 1000
    both = ring(t, true["frequency"], true["damping_ratio"], 0.15, 0.4)
    both = both + ring(t, true["second_frequency"], true["second_damping_ratio"], 0.15 * true["second_share"], 1.1)
    read = both + 0.002 * random.standard_normal(len(t))
    return "t,ax\n" + "".join(f"{a:.3f},{b:.5f}\n" for a, b in zip(t, read))


def there_and_back_log():
    """A mark read six times before and six times after a hundred fast runs."""
    random, true = np.random.default_rng(15), TRUTH["there-and-back.csv"]
    before = 12.5e-3 + 2e-6 * random.standard_normal(6)
    after = 12.5e-3 - true["missed"] * true["full_step"] + 2e-6 * random.standard_normal(6)
    return "before (mm),after (mm)\n" + "".join(f"{1e3 * a:.4f},{1e3 * b:.4f}\n" for a, b in zip(before, after))


def press_log():
    """Weights on the lens, and how far the picture says that it gives."""
    random, true = np.random.default_rng(16), TRUTH["press.csv"]
    forces = np.repeat([0.0, 1.0, 2.0, 3.0, 5.0], 2)
    gives = 0.4e-6 + forces / true["stiffness"] + 0.06e-6 * random.standard_normal(len(forces))
    return "force (N),give (um)\n" + "".join(f"{f:.1f},{1e6 * g:.3f}\n" for f, g in zip(forces, gives))


@functools.lru_cache(4)
def _spectrum(size, seed):
    """Spectrum of a texture: fine, and coarse enough that a lens can draw it."""
    random = np.random.default_rng(seed)
    at = np.hypot(fft.fftfreq(size)[:, None], fft.fftfreq(size))
    return fft.fft2(random.standard_normal((size, size))) * np.exp(-2 * (np.pi * at * 0.7)**2) / (at + 0.03)


def picture(shape, moved=(0.0, 0.0), transfer=None, seed=1, noise=0.008, noise_seed=0):
    """A photograph of a texture, its content moved by so many px down and across; transfer(frequency in cycles for a px)."""
    size = 2 ** math.ceil(math.log2(max(shape) + 44))  # it repeats beyond its edges
    down, across = fft.fftfreq(size)[:, None], fft.fftfreq(size)
    spectrum = _spectrum(size, seed)
    sharp = fft.ifft2(spectrum).real.std()
    spectrum = spectrum * np.exp(-2j * np.pi * (down * moved[0] + across * moved[1]))
    if transfer is not None:
        spectrum = spectrum * transfer(np.hypot(down, across))
    seen = 0.45 + 0.13 * fft.ifft2(spectrum).real[40:40 + shape[0], 40:40 + shape[1]] / sharp
    return seen + noise * np.random.default_rng([seed, noise_seed]).standard_normal(shape)


def lens_transfer(offset):
    """Transfer at frequencies (cycles for a px) of a plane so far (m) from focus, as optics has it."""
    effective = optics.effective_f_number(VIEW["f_number"], VIEW["magnification"], VIEW["pupil_ratio"])
    waves = optics.defocus_waves(offset, VIEW["magnification"], effective, VIEW["wavelength"])
    cutoff = optics.cutoff_frequency(VIEW["wavelength"], effective) * VIEW["pixel_pitch"]
    axis = np.linspace(0, 1, 257)
    values = optics.defocused_otf(axis, waves)
    return lambda at: np.interp(at / cutoff, axis, values, right=0.0)


def sweep(number=23, shape=(160, 160)):
    """[(position in m, picture)] through focus."""
    true = TRUTH["sweep"]
    positions = (np.arange(number) - number // 2) * true["spacing"]
    return [(z, picture(shape, transfer=lens_transfer(z - true["best"]), seed=5, noise=0.004, noise_seed=k))
            for k, z in enumerate(positions)]


def burst(number=30, shape=(128, 128)):
    """[(time in s since the move ended, picture)]: it sways across and comes to rest."""
    true = TRUTH["burst"]
    times = np.arange(number) / true["frame_rate"]
    sway = ring(times, true["frequency"], true["damping_ratio"], true["amplitude"], 0.6)
    return [(t, picture(shape, (0.1 * x, x), seed=3, noise_seed=k)) for k, (t, x) in enumerate(zip(times, sway))]


def pair(shape=(300, 420)):
    """Two pictures between which the carriage went sideways."""
    true = TRUTH["pair"]
    return picture(shape, seed=4), picture(shape, (-true["down"], -true["across"]), seed=4, noise_seed=1)


LOGS = {"travel.csv": travel_log, "both-ways.csv": both_ways_log, "ringdown-phone.csv": phone_log, "ringdown-logger.csv": logger_log,
        "there-and-back.csv": there_and_back_log, "press.csv": press_log}


def photographs():
    """{file name: picture}."""
    first, second = pair()
    found = {"pair-first.png": first, "pair-second.png": second}
    found |= {f"sweep-{k:02}.png": seen for k, (_, seen) in enumerate(sweep(), 1)}
    return found | {f"burst-{k:02}.png": seen for k, (_, seen) in enumerate(burst(), 1)}


def write_all(folder=DATA):
    """Write every file; existing ones are replaced."""
    for name, make in LOGS.items():
        write_whole(Path(folder, "logs", name), make(), replace=True)
    Path(folder, "photos").mkdir(exist_ok=True)
    for name, seen in photographs().items():
        grey = np.round(255 * np.clip(seen, 0, 1)).astype(np.uint8)
        Image.fromarray(grey).save(Path(folder, "photos", name), optimize=True)


if __name__ == "__main__":
    write_all()
