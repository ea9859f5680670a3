"""Pictures of vibration and waiting, from plain numbers in SI: decay against the tolerance, bases, pushes, exposures."""

import math
import textwrap

import numpy as np

from macrolib.physics import vibration
from macrolib.show import style
from macrolib.show.style import COLOURS, LINES, Picture, axis, bare, say, styled

__all__ = ["bases", "decay", "exposures", "pushes"]


def _in_picture(amplitude, magnification, pixel_pitch):
    return vibration.image_vibration(amplitude, magnification, pixel_pitch)


@styled
def decay(amplitude, frequency, damping_ratio, magnifications, tolerance, pixel_pitch):
    """A ring that dies away against the tolerance: as it swings, and its size on a logarithmic scale for some magnifications.

    amplitude: m, zero to peak in the subject, at 0 s; tolerance: px, peak to peak.
    """
    swings = [_in_picture(amplitude, m, pixel_pitch) for m in magnifications]
    waits = [vibration.settling_time(swing, tolerance, frequency, damping_ratio) for swing in swings]
    fig, (left, right) = style.figure(3.9, 1, 2)
    fig.subplots_adjust(left=0.085, right=0.985, bottom=0.13, top=0.92, wspace=0.22)
    t, rate = np.linspace(0, 1.25 * max(waits), 2001), 2 * np.pi * frequency
    shrinking = np.exp(-damping_ratio * rate * t)
    top = swings[0] / 2
    left.plot(t, top * shrinking * np.cos(rate * math.sqrt(1 - damping_ratio**2) * t), **bare("rig", linewidth=1.2))
    for side in (1, -1):
        left.plot(t, side * top * shrinking, **bare("limit", linewidth=1.2))
    left.axhspan(-tolerance / 2, tolerance / 2, color=COLOURS["yellow"], alpha=0.6, lw=0)
    left.axvline(waits[0], **bare("shot", linewidth=1.5))
    left.text(waits[0], 0.98 * top, f" still after {say(waits[0], 's')}", va="top")
    left.set_title(f"the picture swings, {magnifications[0]:g}:1; shaded: tolerance", fontsize=10)
    axis(left.yaxis, "place of the picture", "px", (-1.05 * top, 1.05 * top))
    axis(right.yaxis, "swing, peak to peak", "px", (tolerance / 4, 1.6 * swings[-1]), log=True)
    right.axhspan(tolerance / 4, tolerance, color=COLOURS["yellow"], alpha=0.6, lw=0)
    for m, swing, wait, kind in zip(magnifications, swings, waits, LINES):
        right.plot(t, swing * shrinking, **bare(kind))
        right.plot(wait, tolerance, **LINES[kind] | {"linestyle": "", "zorder": 5})
        right.text(0.03 * t[-1], swing, f"{m:g}:1", va="bottom", weight="bold")
        right.annotate(say(wait, "s"), (wait, tolerance), (0, -8), textcoords="offset points", va="top", ha="center", rotation=90,
                       bbox={"fc": "white", "ec": "none", "pad": 1.5, "alpha": 0.85})
    right.set_title("the same, logarithmic: straight lines", fontsize=10)
    for ax in (left, right):
        axis(ax.xaxis, "time", "s", (0, t[-1]))
    words = ", ".join(f"{m:g}:1 {say(wait, 's')}" for m, wait in zip(magnifications, waits))
    return Picture(fig, f"A ring of {say(amplitude, 'um')} at {say(frequency, 'Hz')} dies away. Left, the picture swings about its place; "
                        "right, the size of the swing falls along straight lines on a logarithmic scale. "
                        f"Down at {tolerance:g} px after: {words}.")


@styled
def bases(stand_frequency, stand_damping, floors):
    """What of a floor's steady motion the picture sees, against the floor's frequency, on one base and on two.

    floors: {name: frequency in Hz}, three of them.
    """
    f = np.geomspace(2, 100, 600)
    moving, apart = (part(f / stand_frequency, stand_damping) for part in (vibration.transmissibility, vibration.relative_transmissibility))
    fig, ax = style.figure(4.1)
    fig.subplots_adjust(left=0.09, right=0.97, bottom=0.12, top=0.975)
    for values, kind, name in ((apart + 2, "shot", "two bases, the worst case"), (moving, "third", "how much the rig itself moves"),
                               (apart, "rig", "one base: what the picture sees")):
        ax.plot(f, values, **bare(kind), label=name)
    seen = {name: float(vibration.relative_transmissibility(frequency / stand_frequency, stand_damping))
            for name, frequency in floors.items()}
    for name, place, side in zip(sorted(floors, key=floors.get), ((-8, 5), (8, -12), (30, -95)), ("right", "left", "left")):
        ax.plot(floors[name], seen[name], **LINES["rig"] | {"linestyle": "", "zorder": 5})
        ax.annotate(textwrap.fill(f"{name}: {seen[name]:.2g}", 20), (floors[name], seen[name]), place, textcoords="offset points", ha=side,
                    arrowprops={"arrowstyle": "-", "color": "#666666", "relpos": (0, 1)} if place[1] < -50 else None)
    ax.axvline(stand_frequency, color="#666666", lw=1, ls=":")
    ax.text(stand_frequency * 0.97, 0.0035, f"stand {say(stand_frequency, 'Hz')}", ha="right")
    ax.legend(loc="upper left", handlelength=4)
    axis(ax.xaxis, "frequency of the floor", "Hz", (2, 100), log=True)
    ax.set_xticks([2, 5, 10, 20, 50, 100])
    axis(ax.yaxis, "motion, as a multiple of the floor's", "1", (0.003, 60), log=True)
    words = ", ".join(f"{name} {share:.2g}" for name, share in seen.items())
    return Picture(fig, f"Motion as a multiple of the floor's, against the floor's frequency, for a stand of {say(stand_frequency, 'Hz')}. "
                        f"A slow floor moves the rig as a whole, but camera and subject hardly against each other. On one base: {words}. "
                        "On two bases it is more than 2 in the worst case.")


@styled
def pushes(frequency, damping_ratio, speed, magnifications, tolerance, pixel_pitch):
    """Swing of the picture that a ramp of constant acceleration leaves, against the acceleration, for some magnifications.

    Straight: the worst ramp time, half a period; wavy: the ramps to `speed` (m/s), at the first magnification. tolerance: px, peak to peak.
    """
    a, period = np.geomspace(1e-3, 2, 3000), 1 / (frequency * math.sqrt(1 - damping_ratio**2))
    fig, ax = style.figure(4.1)
    fig.subplots_adjust(left=0.09, right=0.985, bottom=0.12, top=0.975)
    ax.axhspan(1e-3, tolerance, color=COLOURS["yellow"], alpha=0.6, lw=0)
    real = _in_picture(vibration.ramp_residual(a, speed / a, frequency, damping_ratio), magnifications[0], pixel_pitch)
    ax.plot(a * 1e3, real, color=COLOURS["blue"], lw=1)
    largest = []
    for m, kind in zip(magnifications, LINES):
        swing = _in_picture(vibration.ramp_residual(a, period / 2, frequency, damping_ratio), m, pixel_pitch)
        largest.append(float(a[0] * tolerance / swing[0]))  # a straight line through zero
        ax.plot(a * 1e3, swing, **bare(kind))
        ax.plot(largest[-1] * 1e3, tolerance, **LINES[kind] | {"linestyle": "", "zorder": 5})
        ax.annotate(f"{m:g}:1", (largest[-1] * 1e3, tolerance), (-6, 6), textcoords="offset points", ha="right", weight="bold")
    said = f"wavy: ramps to {say(speed, 'mm/s')} at {magnifications[0]:g}:1, low at whole periods"
    ax.text(0.985, 0.05, f"shaded: within the tolerance\nstraight: the worst ramp time\n{said}", ha="right", transform=ax.transAxes)
    axis(ax.xaxis, "acceleration", "mm/s^2", (a[0] * 1e3, a[-1] * 1e3), log=True)
    axis(ax.yaxis, "swing that is left, peak to peak", "px", (tolerance / 100, 100 * tolerance), log=True)
    words = ", ".join(f"{m:g}:1 {say(x, 'mm/s^2')}" for m, x in zip(magnifications, largest))
    return Picture(fig, "Swing that a ramp leaves in the picture against its acceleration, both logarithmic: one rising line for each "
                        f"magnification. Largest acceleration that stays within {tolerance:g} px at the worst ramp time: {words}.")


@styled
def exposures(shock, frequency, damping_ratio, tolerance, pixel_pitch):
    """Smear of a shutter shock (m at the sensor, zero to peak) against the exposure time, and the share of it in which the ring lasts."""
    t, rings = np.geomspace(1e-4, 10, 500), vibration.settling_time(2 * shock, tolerance * pixel_pitch, frequency, damping_ratio)
    smear, share = vibration.exposure_smear(shock, frequency, t) / pixel_pitch, np.minimum(1, rings / t)
    fig, (top, low) = style.figure(4.3, 2, sharex=True)
    fig.subplots_adjust(left=0.09, right=0.985, bottom=0.115, top=0.975, hspace=0.1)
    top.plot(t, smear, **bare("rig"))
    top.axhline(tolerance, **bare("limit"))
    top.text(1.2e-4, tolerance, "tolerance", va="bottom")
    low.plot(t, share, **bare("shot"))
    for ax in (top, low):
        ax.axvspan(0.5 / frequency, rings, color=COLOURS["orange"], alpha=0.3, lw=0)
    low.text(math.sqrt(0.5 / frequency * rings), 0.5, "worst: full smear,\nall the time", ha="center", va="center")
    low.text(1.2e-4, 0.5, "short: frozen", va="center")
    low.text(9.5, 0.5, "long: diluted", va="center", ha="right")
    axis(top.yaxis, "smear", "px", (0, 1.15 * max(smear.max(), tolerance)))
    axis(low.yaxis, "share that rings", "1", (0, 1.1))
    axis(low.xaxis, "exposure time", "s", (t[0], t[-1]), log=True)
    fig.align_ylabels([top, low])
    return Picture(fig, f"Above, smear of a shutter shock against the exposure time: up to {smear.max():.2g} px, from "
                        f"{say(0.5 / frequency, 'ms')} on. Below, the share of the exposure in which it rings: all of it up to "
                        f"{say(rings, 'ms')}, then less. Between the two it is worst.")
