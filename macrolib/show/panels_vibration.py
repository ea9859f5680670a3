"""The panel of waiting: floor, magnification and distance of the last step against the time until the picture is still."""

import functools
from collections import namedtuple

import numpy as np

from macrolib.parts import catalogue
from macrolib.physics import vibration
from macrolib.show import style
from macrolib.show.panel import Panel, Slider
from macrolib.show.panels_focus import MAGNIFICATION, PITCH
from macrolib.show.style import axis, bare, ring, round_up, say, tag

__all__ = ["waiting"]

_STAND_DAMPING = 0.04  # as on the bench
_DISTANCES, _POINTS = np.geomspace(0.3, 10, 30), 241
_NAMES = ("timber joists", "suspended concrete", "concrete slab on the ground")
_KINDS = dict(zip(_NAMES, ("shot", "third", "rig")))
Wait = namedtuple("Wait", "floor distance two tolerance times swings waits amplitudes falls")


@functools.cache
def _floors():
    """Footfall amplitude, distance of it, exponent, frequency and damping of the preset floors, an array of shape (3, 1) each."""
    keys = ("footfall_amplitude", "footfall_distance", "distance_exponent", "natural_frequency", "damping_ratio")
    return [np.array([[getattr(catalogue("floors")[name], key)] for name in _NAMES]) for key in keys]


@functools.cache
def _allowed():
    return vibration.image_vibration.solve_for("amplitude")


def _waiting(floor, magnification, operator_distance, base, stand_frequency, tolerance, pixel_pitch):
    amplitude, measured, exponent, frequency, damping = _floors()
    falls = vibration.footfall_amplitude(amplitude, measured, np.append(_DISTANCES, operator_distance), exponent)
    floors = frequency, damping, stand_frequency, _STAND_DAMPING, base == 2
    waits = vibration.footfall_wait(falls[:, -1:], _allowed()(tolerance, magnification, pixel_pitch), *floors)
    times = np.linspace(0, round_up(max(1.25 * waits.max(), 0.5)), _POINTS)
    rings = np.maximum(vibration.footfall_ring(times, falls[:, -1:], *floors), 1e-15)  # above 0 on a logarithmic axis
    swings = vibration.image_vibration(rings, magnification, pixel_pitch)
    return Wait(int(floor) - 1, operator_distance, base == 2, tolerance, times, swings, waits[:, 0], falls[:, -1], falls[:, :-1])


def _words(w):
    wait = w.waits[w.floor]
    return f"wait {say(wait, 's', 2)}" if wait > 0 else "no wait"


def _sentence(w):
    others = ", ".join(f"{name} {say(wait, 's', 2)}" for n, (name, wait) in enumerate(zip(_NAMES, w.waits)) if n != w.floor)
    first, floor = w.swings[w.floor][0], say(w.amplitudes[w.floor], 'um')
    return (f"A step {say(w.distance, 'm', 2)} away on {_NAMES[w.floor]} moves the floor by {floor}. With camera "
            f"and subject on {'two bases' if w.two else 'one base'} the picture first swings by up to {first:.3g} px; it is within "
            f"{w.tolerance:.3g} px after {say(w.waits[w.floor], 's')}. On the other floors: {others}.")


def _picture():
    fig, (left, right) = style.figure(4.4, 1, 2, width_ratios=[1, 2])
    fig.subplots_adjust(left=0.085, right=0.965, bottom=0.115, top=0.9, wspace=0.3)
    axis(left.xaxis, "distance of the last step", "m", (0.3, 10), log=True)
    axis(left.yaxis, "motion of the floor at the rig", "um", (0.2, 100), log=True)
    axis(right.xaxis, "time since the last step", "s")
    axis(right.yaxis, "swing of the picture, peak to peak", "px", (0.02, 2000), log=True)
    falls = [left.plot(_DISTANCES, np.ones(len(_DISTANCES)), **bare(kind), label=name)[0] for name, kind in _KINDS.items()]
    decays = [right.plot([], [], **bare(kind))[0] for kind in _KINDS.values()]
    fig.legend(handles=falls, loc="upper center", ncols=3, handlelength=4, borderaxespad=0.1, bbox_to_anchor=(0.53, 1.0))
    shade = right.axhspan(0.02, 1, facecolor="#FBF6C3", lw=0)
    still = right.text(0.99, 0.02, "shaded: still enough", transform=right.transAxes, ha="right")
    foot, here = ring(left), ring(right)
    drop, = right.plot([], [], color="#666666", lw=1.5, ls=":")
    label, last = tag(right, va="bottom"), []

    def update(w):
        for n, (fall, decay) in enumerate(zip(falls, decays)):
            strong = n == w.floor
            fall.set(ydata=w.falls[n] * 1e6, linewidth=3 if strong else 1.2, alpha=1 if strong else 0.6)
            decay.set_data(w.times, w.swings[n])
            decay.set(linewidth=3 if strong else 1.2, alpha=1 if strong else 0.6)
        wait, end = w.waits[w.floor], w.times[-1]
        shade.set(y=0.02, height=w.tolerance - 0.02)
        foot.set_data([w.distance], [w.amplitudes[w.floor] * 1e6])
        here.set_data([wait], [w.tolerance])
        drop.set_data([wait, wait], [0.02, w.tolerance])
        right_half = wait > 0.55 * end
        label.set(text=_words(w), x=wait + (-0.02 if right_half else 0.02) * end, y=w.tolerance * 1.6, ha="right" if right_half else "left")
        changed, last[:] = last != [end], [end]
        if changed:
            right.set_xlim(0, end)
        return changed

    return fig, [shade, *falls, *decays, still, drop, foot, here, label], update


waiting = Panel(
    _waiting, "How long to wait after the last step", [
        Slider("floor", "floor, 1 to 3 as in the legend", "1", 1, 3, 1, choices=(1, 2, 3)),
        MAGNIFICATION, Slider("operator_distance", "distance of the last step", "m", 0.3, 10, 1, log=True),
        Slider("base", "bases of camera and subject, 1 or 2", "1", 1, 2, 1, choices=(1, 2)),
        Slider("stand_frequency", "natural frequency of the stand", "Hz", 5, 100, 31, log=True),
        Slider("tolerance", "tolerance, peak to peak", "px", 0.1, 5, 1, log=True), PITCH],
    _picture, _sentence,
    "Left, motion of the floor against the distance of the step; right, the swing of the picture falls with time on a logarithmic scale, "
    "shaded where it is still enough; a line for each floor.")
