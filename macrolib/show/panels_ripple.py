"""The panel of the motor's ripple: microsteps, speed, detent and damping, by the closed form or from a stored map."""

import functools
import json
import math
from collections import namedtuple
from pathlib import Path

import numpy as np

from macrolib.physics import screen, stepper
from macrolib.planning.ripple import CLOSED_FORM, DOUBT
from macrolib.show import style
from macrolib.show.panel import Panel, Slider
from macrolib.show.panels_focus import PITCH
from macrolib.show.style import COLOURS, LINES, axis, bare, ring, say, tag

__all__ = ["motor_ripple", "stored_ripple"]

MAP = Path(__file__).resolve().parents[2] / "notebooks" / "data" / "maps" / "ripple.json"
NATURAL, TRAVEL, STEPS = 240.0, 2e-3, 200  # Hz, m and full steps a turn: the rig of the panel, a screw
_MOTOR = {"rotor_teeth": STEPS / 4, "holding_torque": 1.0, "inertia": STEPS / 4 / (2 * math.pi * NATURAL) ** 2}
_SETTINGS = (1, 2, 4, 8, 16, 32, 64, 128, 256)
_SPEEDS = np.geomspace(0.08e-3, 14e-3, 141)
_MAP = "stored map"

Shake = namedtuple("Shake", "microsteps speed extent pixels per_metre slips method ideal by_speed speed_known by_setting setting_known")


@functools.cache
def _stored():
    from scipy.interpolate import RegularGridInterpolator

    kept = json.loads(MAP.read_text("utf-8"))
    ratios, microsteps, shares, damping = (kept[name] for name in (
        "full_steps_over_natural_frequency", "microsteps", "detent_share", "damping_ratio"))
    axes = np.log(ratios), np.log2(microsteps), shares, np.log(damping)
    return RegularGridInterpolator(axes, np.log(np.array(kept["peak_to_peak_in_full_steps"], float)))


def stored_ripple(ratio, microsteps, detent_share, damping_ratio):
    """Peak to peak of the rotor in full steps, from the stored map, between its points; NaN where it slips; all broadcast.

    ratio: full steps a second over the natural frequency. Half of all values are within 3 %, five in six within 15 %.
    ValueError outside the map. Made by tools/ripple_map.py.
    """
    return np.exp(_stored()(tuple(np.broadcast_arrays(np.log(ratio), np.log2(microsteps), detent_share, np.log(damping_ratio)))))


def extents(speed, microsteps, detent_share, damping_ratio, travel=TRAVEL):
    """(peak to peak in m of travel, whether the closed form holds); a rotor that slips loses four full steps at least.

    travel: of one turn, in m. Slower than the map each step rings out, as at its slow end; faster, the closed form stands in.
    """
    closed = stepper.ripple(speed / travel, microsteps, damping_ratio=damping_ratio, detent_torque=detent_share, **_MOTOR)
    ratio, ends = speed / travel * STEPS / NATURAL, np.exp(_stored().grid[0][[0, -1]])
    inside = np.clip(ratio, ends[0] * 1.000001, ends[1] * 0.999999)
    kept = np.nan_to_num(stored_ripple(inside, microsteps, detent_share, damping_ratio), nan=4.0) * travel / STEPS
    known = (closed.doubt < DOUBT) | (ratio > ends[1])
    return np.where(known, stepper.shaft_travel(closed.position_peak_to_peak, travel), kept), known


def _motor_ripple(microsteps, speed, detent_share, damping_ratio, magnification, pixel_pitch):
    motor, per_metre = (detent_share, damping_ratio), screen.image_speed(1.0, magnification, pixel_pitch, 1.0)
    (extent,), (known,) = extents(np.array([speed]), microsteps, *motor)
    ideal = extents(np.array([speed]), microsteps, 0.0, damping_ratio)[0][0]
    slips, method = not known and extent > 3.99 * TRAVEL / STEPS, CLOSED_FORM if known else _MAP
    return Shake(int(microsteps), speed, extent, extent * per_metre, per_metre, slips, method, ideal,
                 *extents(_SPEEDS, microsteps, *motor), *extents(speed, np.array(_SETTINGS), *motor))


def _motor_ripple_sentence(r):
    setting = "full steps" if r.microsteps == 1 else f"{r.microsteps} microsteps"
    if r.slips:
        return f"At {say(r.speed, 'mm/s')} with {setting} the rotor falls out of step ({r.method}): {say(r.extent, 'um')} or more are lost."
    seen = "more than a pixel" if r.pixels > 1 else "less than a pixel"
    ideal = say(r.ideal, "um") if r.ideal > 1e-8 else "below 0.01 µm"
    return (f"At {say(r.speed, 'mm/s')} with {setting} the carriage shakes by {say(r.extent, 'um')} peak to peak ({r.method}): "
            f"{r.pixels:.3g} px in the picture, {seen}. Without detent it would be {ideal}.")


def _motor_ripple_picture():
    fig, axes = style.figure(4.4, 1, 2, sharey=True, gridspec_kw={"width_ratios": [1.5, 1]})
    fig.subplots_adjust(left=0.1, right=0.985, bottom=0.115, top=0.92, wspace=0.05)
    axis(axes[0].xaxis, "speed of the carriage", "mm/s", (_SPEEDS[0] * 1e3, _SPEEDS[-1] * 1e3), log=True)
    axis(axes[1].xaxis, "microsteps", "1", (0.8, 320), log=True)
    axis(axes[0].yaxis, "ripple, peak to peak", "um", (0.01, 60), log=True)
    axes[1].set_xticks([1, 4, 16, 64, 256])
    line, rows = (ax.plot([], [], **bare("rig"), label=CLOSED_FORM)[0] for ax in axes)
    spots, marks = (ax.plot([], [], **LINES["shot"] | {"linestyle": "", "markersize": 3.5}, label=_MAP)[0] for ax in axes)
    pixel, also = (ax.plot([], [], **bare("limit"), label="1 px")[0] for ax in axes)
    rows.set_marker("o")
    here, there, label = *map(ring, axes), tag(axes[0], transform=axes[0].transAxes, ha="right", va="top")
    meets = NATURAL * TRAVEL / STEPS * 1e3
    axes[0].axvline(meets, color=COLOURS["purple"], lw=1.5, ls="--")
    axes[0].text(meets, 1.01, f"full steps at {NATURAL:.0f} Hz", transform=axes[0].get_xaxis_transform(), ha="center", va="bottom")
    axes[0].legend(loc="lower left")
    for ax in axes[1:]:
        ax.set_title("at this speed", fontsize=10)

    def update(r):
        for known, other, x, extents, holds in ((line, spots, _SPEEDS * 1e3, r.by_speed, r.speed_known),
                                                (rows, marks, np.array(_SETTINGS), r.by_setting, r.setting_known)):
            known.set_data(x, np.where(holds, extents, np.nan) * 1e6)
            other.set_data(x[~holds], extents[~holds] * 1e6)
        for edge, x in ((pixel, (0.01, 100)), (also, (0.1, 1000))):
            edge.set_data(x, [1e6 / r.per_metre] * 2)
        y = min(max(r.extent * 1e6, 0.012), 50)
        here.set_data([r.speed * 1e3], [y])
        there.set_data([r.microsteps], [y])
        label.set(text=("out of step" if r.slips else f"{say(r.extent, 'um')} = {r.pixels:.3g} px") + f"\n{r.method}", x=0.985, y=0.95)

    return fig, [line, rows, spots, marks, pixel, also, here, there, label], update


motor_ripple = Panel(
    _motor_ripple, "Ripple of the motor", [
        Slider("microsteps", "microsteps", "1", 1, 256, 16, choices=_SETTINGS),
        Slider("speed", "speed of the carriage", "mm/s", 0.08, 14, 0.5, log=True),
        Slider("detent_share", "detent, share of the motor's torque", "1", 0, 0.1, 0.05),
        Slider("damping_ratio", "damping ratio of the rotor", "1", 0.03, 0.25, 0.05, log=True),
        Slider("magnification", "magnification", "1", 0.2, 10, 3, log=True), PITCH],
    _motor_ripple_picture, _motor_ripple_sentence,
    f"Ripple of a screw of 2 mm a turn whose rotor swings at {NATURAL:.0f} Hz, left against speed, right against microsteps, logarithmic.")
