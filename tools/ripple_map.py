"""Writes the stored map of ripple, notebooks/data/maps/ripple.json: python -m tools.ripple_map (some minutes).

A motor is told by four numbers without a unit, so that one map serves all: full steps a second over its natural frequency,
microsteps, detent over holding torque, damping ratio. The closed form where it holds, simulated elsewhere.
"""

import json
import math
import sys
from pathlib import Path

import numpy as np

from macrolib.files import write_whole
from macrolib.physics import stepper

MAP_FILE = Path(__file__).resolve().parent.parent / "notebooks" / "data" / "maps" / "ripple.json"

RATIOS = np.round(2 ** (np.arange(-30, 17) / 6), 5)  # so that the resonances of all settings lie on points
MICROSTEPS = [1, 2, 4, 8, 16, 32, 64, 128, 256]
SHARES = [0.0, 0.02, 0.05, 0.1]
DAMPING = [0.03, 0.06, 0.12, 0.25]
# any motor will do: 50 teeth, 100 Hz
MOTOR = {"rotor_teeth": 50, "holding_torque": 1.0, "inertia": 50 / (200 * math.pi) ** 2}


def made(ratios, microsteps, shares, damping, progress=None):
    """Peak to peak in full steps, an axis for each argument; NaN where the rotor slips."""
    axes = np.ix_(ratios, microsteps, shares, damping)
    given = {**MOTOR, "detent_torque": axes[2], "damping_ratio": axes[3]}
    closed = stepper.ripple(100 * axes[0] / 200, axes[1], **given)
    motion = stepper.simulate(100 * axes[0] / 200, axes[1], progress=progress, **given)
    return np.where(closed.holds, closed.position_peak_to_peak, motion.position_peak_to_peak) / (math.pi / 100)


def text(values):
    """The file's text: the axes, the values with three digits, null where the rotor slips."""
    def digits(x):
        return [digits(y) for y in x] if isinstance(x, list) else float(f"{x:.3g}") if math.isfinite(x) else None

    kept = {"what": "Ripple of a stepping motor about a steady speed; null: it slips. Written by tools/ripple_map.py.",
            "left_out": "friction, current resolution, mismatch of the phases, back-EMF",
            "full_steps_over_natural_frequency": RATIOS.tolist(), "microsteps": MICROSTEPS, "detent_share": SHARES,
            "damping_ratio": DAMPING, "peak_to_peak_in_full_steps": digits(values.tolist())}
    return "{\n" + ",\n".join(f"{json.dumps(name)}: {json.dumps(value)}" for name, value in kept.items()) + "\n}\n"


if __name__ == "__main__":
    MAP_FILE.parent.mkdir(exist_ok=True)
    write_whole(MAP_FILE, text(made(RATIOS, MICROSTEPS, SHARES, DAMPING, lambda share: print(f"\r{share:.0%}", end="", file=sys.stderr))),
                replace=True)
