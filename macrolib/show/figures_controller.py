"""Pictures of what a small controller does with its time: cycles, ceilings, pulse trains, a plan's edges, the wiring."""

import numpy as np

from macrolib.controller import header, pieces
from macrolib.physics import pulses
from macrolib.show import style
from macrolib.show.style import COLOURS, LINES, Picture, axis, bare, say, styled

__all__ = ["above_the_ceiling", "ceilings", "edges", "operations", "wiring"]

PROGRAMS = {"even": "one speed, nothing computed", "pieces": "straight pieces, additions", "division": "a division a pulse",
            "polled": "floats in a loop", "float": "floats in an interrupt", "polled, display": "floats in a loop, and a display"}
"""The six programs of the lesson, by their names in the record."""


def _bars(values, names, label, limits, text):
    fig, ax = style.figure(0.34 * len(values) + 0.75)
    fig.subplots_adjust(left=0.33, right=0.97, bottom=0.5 / (0.34 * len(values) + 0.75), top=0.98)
    places = np.arange(len(values))[::-1]
    ax.barh(places, values, 0.62, color=COLOURS["sky"], edgecolor="black", hatch="//")
    for place, value in zip(places, values):
        ax.text(value * 1.06, place, text(value), va="center")
    ax.set(yticks=places, yticklabels=names)
    axis(ax.xaxis, *label, limits, log=True)
    ax.grid(False, axis="y")
    return fig


@styled
def operations():
    """Recorded cycles of single operations as bars."""
    found = {name: cycles for name, cycles in header.RECORDED["operations"].items() if cycles}
    fig = _bars(list(found.values()), list(found), ("processor cycles", "1"), (10, 5000), lambda x: f"{x:.0f}")
    return Picture(fig, "Bars, on a logarithmic scale: processor cycles of single operations on an 8-bit controller. "
                        + ", ".join(f"{name} {cycles}" for name, cycles in found.items()) + ".")


@styled
def ceilings():
    """Recorded ceilings of the six programs as bars."""
    rates = {name: header.RECORDED["programs"][key]["pulses_per_second"] for key, name in PROGRAMS.items()}
    fig = _bars([r * 1e-3 for r in rates.values()], list(rates), ("pulse ceiling", "kHz"), (2, 800), lambda x: f"{x:.3g}")
    return Picture(fig, "Bars, on a logarithmic scale: the pulse ceiling of six programs on the same controller. "
                        + ", ".join(f"{name} {say(rate, 'kHz')}" for name, rate in rates.items()) + ".")


@styled
def above_the_ceiling():
    """The recorded pulse train of the division program, asked for more than it can."""
    record = header.RECORDED["above_the_ceiling"]
    gaps = np.array(record["gaps"]) * 1e3
    times = np.cumsum(gaps)
    fig, ax = style.figure(1.9)
    fig.subplots_adjust(left=0.03, right=0.985, bottom=0.27, top=0.97)
    ax.vlines(times - times[0], 0, 1, color=COLOURS["blue"], lw=1.2)
    hole = int(np.argmax(gaps))
    ax.annotate("", (times[hole] - times[0], 0.5), (times[hole - 1] - times[0], 0.5), arrowprops={"arrowstyle": "<->", "lw": 1.5})
    ax.text((times[hole] + times[hole - 1]) / 2 - times[0], 0.56, f"no pulse for {gaps[hole]:.1f} ms", ha="center")
    ax.text(0.4, 1.04, f"pulses {np.median(gaps):.2g} ms apart: one thick line here")
    ax.set(yticks=[], ylim=(0, 1.25))
    axis(ax.xaxis, "time", "ms")
    return Picture(fig, f"Pulses as lines on a time axis. Asked for {record['wanted']} pulses a second, the program sends a few that are "
                        f"{np.median(gaps):.3f} ms apart, then none for {gaps[hole]:.1f} ms, then a few again.")


@styled
def edges(move, segment, travel_per_pulse):
    """Speed of the edges of a Segment on the planned one, and how far each edge is from the time at which it is due."""
    sent = np.cumsum(pieces.intervals(segment)) / pieces.TIMER
    late = (sent - pulses.pulse_times(move, travel_per_pulse)) * 1e6
    shown = min(1.5 * move.ramp_in, move.duration)
    t = np.linspace(0, shown, 401)
    fig, (top, low) = style.figure(4.4, 2, gridspec_kw={"height_ratios": [2, 1]})
    fig.subplots_adjust(left=0.1, right=0.985, bottom=0.12, top=0.97, hspace=0.42)
    top.plot(t, np.abs(move.speed(t)) * 1e3, **bare("limit"), label="planned")
    few = np.unique(np.searchsorted(sent, np.linspace(0, shown, 40)).clip(1, max(sent.size - 1, 1)))[:sent.size - 1]
    top.plot((sent[few] + sent[few - 1]) / 2, travel_per_pulse / (sent[few] - sent[few - 1]) * 1e3,
             **LINES["rig"] | {"linestyle": ""}, label="from edge to edge")
    top.legend(loc="lower right")
    low.plot(sent, late, **bare("shot", linewidth=1, linestyle="-"))
    axis(top.yaxis, "speed", "mm/s", (0, None))
    axis(top.xaxis, "time, ramp in", "s", (0, shown))
    axis(low.yaxis, "edge late by", "us")
    axis(low.xaxis, "time, whole move", "s", (0, move.duration))
    return Picture(fig, f"Above, the planned speed in the ramp in, up to {say(move.peak_speed, 'mm/s')}, and dots on it: the speed from "
                        f"edge to edge. Below, over the whole move of {say(move.duration, 's')}, how late each edge is: at most "
                        f"{say(np.abs(late).max() * 1e-6, 'us')}.")


_BOXES = {  # name: (left, bottom, width, height)
    "supply": (0.0, 3.1, 1.7, 1.0), "fuse": (2.2, 3.35, 0.9, 0.5), "driver": (6.6, 2.5, 1.9, 1.9), "motor": (9.5, 2.9, 1.4, 1.1),
    "controller": (2.4, 0.4, 2.3, 2.1), "optical\nisolator": (6.6, 0.4, 1.9, 0.9), "camera": (9.5, 0.35, 1.4, 1.0),
    "switches:\nhome, end,\ngo, stop": (0.0, 0.75, 1.7, 1.4)}
_WIRES = (  # (points, label, place of the label)
    ([(1.7, 3.6), (2.2, 3.6)], "", None), ([(3.1, 3.6), (6.6, 3.6)], "drive power, through a stop switch", (4.85, 3.68)),
    ([(8.5, 3.45), (9.5, 3.45)], "2 phases", (9.0, 3.53)), ([(4.7, 2.25), (5.2, 2.25), (5.2, 3.2), (6.6, 3.2)], "step  D2", (5.9, 3.24)),
    ([(4.7, 2.0), (5.4, 2.0), (5.4, 2.92), (6.6, 2.92)], "direction  D3", (5.98, 2.96)),
    ([(4.7, 1.75), (5.6, 1.75), (5.6, 2.64), (6.6, 2.64)], "enable  D4", (6.08, 2.68)),
    ([(4.7, 0.85), (6.6, 0.85)], "shutter  D5", (5.65, 0.9)), ([(8.5, 0.85), (9.5, 0.85)], "contact", (9.0, 0.9)),
    ([(1.7, 1.45), (2.4, 1.45)], "C0-C3", (2.05, 1.5)))


@styled
def wiring():
    """A drawing of the wiring: supply, fuse, driver, motor; controller with its lines; the isolated shutter line."""
    from matplotlib.patches import Rectangle

    fig, ax = style.figure(3.3)
    fig.subplots_adjust(left=0.01, right=0.99, bottom=0.01, top=0.99)
    ax.set(xlim=(-0.1, 11.0), ylim=(0, 4.6))
    ax.axis("off")
    for name, (x, y, width, height) in _BOXES.items():
        ax.add_patch(Rectangle((x, y), width, height, fc="white", ec="black", lw=1.5))
        ax.text(x + width / 2, y + height / 2, name, ha="center", va="center")
    for points, label, place in _WIRES:
        ax.plot(*zip(*points), color="black", lw=1.2, ls="-")
        if label:
            ax.text(*place, label, ha="center", va="bottom", fontsize=8)
    x, y, width, height = _BOXES["optical\nisolator"]
    ax.plot([x + width * 0.86] * 2, [y + 0.06, y + height - 0.06], **bare("limit", linewidth=1.5))
    return Picture(fig, "Wiring in boxes. Supply, fuse close to it, then through a stop switch to the driver, two phases to the motor. "
                        "From the controller D2 step, D3 direction, D4 enable to the driver; D5 shutter through an optical isolator to a "
                        "contact at the camera, with no other wire between them. Four switches, home, end, go, stop, on C0 to C3.")
