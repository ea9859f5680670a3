"""Pictures of a plan, from plain numbers in SI: frames of a stack, timeline, margins of checks, transfer at the frame edges, move.

Each function returns a style.Picture: an image with its text alternative, computed from the same numbers.
"""

import math

import numpy as np
from matplotlib.collections import PolyCollection

from macrolib.show import style
from macrolib.show.style import COLOURS, LINES, Picture, axis, bare, say, styled

__all__ = ["depth_transfer", "margins", "move", "stack_frames", "stairs", "timeline"]

_CLOSE = 8  # frames in the close-up of a stack


@styled
def stack_frames(positions, depth, near, far):
    """Where the frames of a stack are sharp, against the subject between `near` and `far`.

    positions: focus positions in m, in the order of the frames; depth: m over which one frame is sharp (total).
    """
    positions, spacing = np.asarray(positions, float), float(np.abs(np.diff(positions)).mean()) if len(positions) > 1 else 0.0
    fig, axes = style.figure(3.6, 1, 2, gridspec_kw={"width_ratios": [1.25, 1]})
    fig.subplots_adjust(left=0.085, right=0.975, bottom=0.14, top=0.92, wspace=0.2)
    for ax, count, title in zip(axes, (len(positions), _CLOSE), ("all frames", "the first frames, enlarged")):
        shown = positions[:count] * 1e3
        ax.axvspan(near * 1e3, far * 1e3, color=COLOURS["yellow"], alpha=0.3, lw=0)
        rows, few = np.arange(1, len(shown) + 1), len(shown) <= 40
        corners = [[(x - depth * 500, y - h), (x + depth * 500, y - h), (x + depth * 500, y + h), (x - depth * 500, y + h)]
                   for x, y, h in zip(shown, rows, [0.4 if few else 0.5] * len(rows))]
        ax.add_collection(PolyCollection(corners, facecolor=COLOURS["sky"], edgecolor=COLOURS["blue"], linewidth=1))
        ax.plot(shown, rows, color=COLOURS["blue"], marker="|" if few else "", ls="")
        axis(ax.xaxis, "position on the rail", "mm", np.array([shown.min(), shown.max()]) + depth * 700 * np.array([-1, 1]))
        axis(ax.yaxis, "frame", "1", (len(shown) + 0.7, 0.3))
        ax.yaxis.get_major_locator().set_params(integer=True)
        ax.set_title(title, fontsize=10)
    common = 1 - spacing / depth
    meet = f"neighbours share {common:.0%} of it" if common >= 0 else f"{say(spacing - depth, 'um')} between neighbours are not sharp"
    meet = "it has no neighbours" if len(positions) == 1 else meet
    covered = positions.min() - depth / 2 <= min(near, far) and positions.max() + depth / 2 >= max(near, far)
    return Picture(fig, f"Frames of a stack as bars against the position on the rail, the subject shaded. {len(positions)} frames "
                        f"{say(spacing, 'um')} apart, each sharp over {say(depth, 'um')}: {meet}. The subject from {say(near, 'mm')} to "
                        f"{say(far, 'mm')} is {'covered' if covered else 'not covered at its ends'}.")


@styled
def timeline(spans):
    """What happens when: spans is a list of (what, start, end) in s; one row for each `what`, in order of appearance."""
    kinds = list(dict.fromkeys(what for what, _, _ in spans))
    whole = max(end for _, _, end in spans)
    unit, scale = ("s", 1.0) if whole < 120 else ("min", 60.0) if whole < 7200 else ("h", 3600.0)
    fig, ax = style.figure(1.0 + 0.36 * len(kinds))
    fig.subplots_adjust(left=0.04 + 0.0095 * max(map(len, kinds)), right=0.76, bottom=0.55 / fig.get_figheight(), top=0.97)
    sums = {}
    for row, (kind, line) in enumerate(zip(kinds, list(LINES.values()) * len(kinds))):
        parts = [(start / scale, (end - start) / scale) for what, start, end in spans if what == kind]
        ax.broken_barh(parts, (row - 0.35, 0.7), color=line["color"], linewidth=0.8)  # the edge keeps short ones in sight
        sums[kind] = sum(length for _, length in parts) * scale
        ax.text(1.02, row, f"{say(sums[kind], unit)}, {sums[kind] / whole:.0%}", transform=ax.get_yaxis_transform(), va="center")
    ax.set_yticks(range(len(kinds)), kinds)
    ax.yaxis.grid(False)
    ax.set_ylim(len(kinds) - 0.5, -0.5)
    axis(ax.xaxis, "time", unit, (0, whole / scale))
    ax.yaxis.set_label_text("")
    words = ", ".join(f"{kind} {say(total, unit)}" for kind, total in sums.items())
    return Picture(fig, f"Timeline with a row for each kind of action; {say(whole, unit)} in all: {words}.")


_STATES = {"holds": ("green", "o"), "tight": ("orange", "D"), "fails": ("vermillion", "X"), "not computed": ("black", "o")}


@styled
def margins(checks):
    """Margins of checks as bars from 1: anything with .name, .margin (None where not computed) and .state."""
    low, high = 0.1, 10.0
    fig, ax = style.figure(0.95 + 0.3 * len(checks))
    fig.subplots_adjust(left=0.43, right=0.8, bottom=0.5 / fig.get_figheight(), top=1 - 0.3 / fig.get_figheight())
    for row, check in enumerate(checks):
        colour, marker = _STATES[check.state]
        # Against a limit of zero the margin is a difference, not a ratio: only its sign can be shown.
        ratio = None if check.margin is None or check.state == "holds" and check.margin < 1 else max(check.margin, low)
        at = (high if check.state == "holds" else 1.0) if ratio is None else min(ratio, high)
        ax.plot([1, at], [row, row], color=COLOURS[colour], ls="-", lw=7, alpha=0.55, solid_capstyle="butt")
        ax.plot(at, row, marker, ms=9, mfc="white" if check.margin is None else COLOURS[colour], mec="black", mew=1, clip_on=False)
        number = "" if ratio is None or not math.isfinite(ratio) or check.margin <= 0 else (
            " (over 1000)" if ratio > 1000 else f" ({ratio:.3g})")
        ax.text(1.045, row, f"{check.state}{number}", transform=ax.get_yaxis_transform(), va="center",
                weight="bold" if check.state == "fails" else "normal")
    ax.axvline(1, color="black", lw=1.5)
    ax.text(1, -0.75, "fails  |  holds", ha="center", va="bottom", fontsize=9)
    axis(ax.xaxis, "margin, drawn up to 10", "1", (low, high), log=True)
    ax.set_yticks(range(len(checks)), [check.name for check in checks])
    ax.yaxis.grid(False)
    ax.set_ylim(len(checks) - 0.4, -0.7)
    worst = [f"{c.name} {c.state}" for c in checks if c.state != "holds"]
    return Picture(fig, f"Margins of {len(checks)} checks on a logarithmic scale, above 1 is good. "
                        + (f"Not holding: {', '.join(worst)}." if worst else "All hold."))


@styled
def depth_transfer(offsets, transfer, spacing, kept):
    """Share of the transfer in focus against the distance from the focused plane, with the frame edges at half a spacing.

    offsets (m, ascending) and transfer (share, signed) are arrays; spacing in m; kept: the share that the plan asks for.
    """
    offsets, transfer = np.asarray(offsets, float), np.asarray(transfer, float)
    fig, ax = style.figure(3.4)
    fig.subplots_adjust(left=0.1, right=0.975, bottom=0.15, top=0.96)
    ax.axvspan(-spacing * 5e5, spacing * 5e5, color=COLOURS["sky"], alpha=0.3, lw=0)
    ax.plot(offsets * 1e6, transfer, **bare("rig"))
    ax.axhline(kept, **bare("limit"))
    ends = np.interp([-spacing / 2, spacing / 2], offsets, transfer)
    ax.plot([-spacing * 5e5, spacing * 5e5], ends, **LINES["shot"] | {"linestyle": ""})
    ax.text(0, kept - 0.02, f"asked for: {kept:.0%}", ha="center", va="top")
    ax.text(0, 0.04, f"one frame\n{1e6 * spacing:.4g} µm", ha="center", transform=ax.get_xaxis_transform())
    axis(ax.xaxis, "distance from the focused plane", "um", (offsets[0] * 1e6, offsets[-1] * 1e6))
    axis(ax.yaxis, "share of the contrast in focus", "1", (min(0, transfer.min()) - 0.03, 1.05))
    return Picture(fig, "Contrast of fine detail against the distance from the focused plane. At the edges of a frame, "
                        f"{say(spacing / 2, 'um')} away, {ends.min():.0%} of the contrast in focus is left; {kept:.0%} were asked for.")


def move_axes(height=4.6):
    """(Figure, axes) for position, speed and acceleration against time, in mm and s."""
    fig, axes = style.figure(height, 3, sharex=True)
    fig.subplots_adjust(left=0.115, right=0.975, bottom=0.105, top=0.945, hspace=0.16)
    for ax, (name, unit) in zip(axes, (("position", "mm"), ("speed", "mm/s"), ("acceleration", "mm/s^2"))):
        axis(ax.yaxis, name, unit)
    axis(axes[-1].xaxis, "time", "s")
    fig.align_ylabels(axes)
    return fig, axes


@styled
def move(move, points=1001):
    """Position, speed and acceleration of a ramps.Move against time, with the ends of its ramps marked."""
    fig, axes = move_axes()
    t = np.linspace(0, move.duration, points)
    for ax, values in zip(axes, (move.position(t), move.speed(t), move.acceleration(t))):
        ax.plot(t, values * 1e3, **bare("rig"))
        for knot in (move.ramp_in, move.duration - move.ramp_out):
            ax.axvline(knot, color="#666666", lw=1, ls=":")
    axes[0].text(move.ramp_in / 2, 1.02, "ramp in", ha="center", transform=axes[0].get_xaxis_transform())
    axes[0].text(move.duration - move.ramp_out / 2, 1.02, "ramp out", ha="center", transform=axes[0].get_xaxis_transform())
    axes[0].set_xlim(0, move.duration)
    return Picture(fig, f"Position, speed and acceleration against time. {say(move.distance, 'mm')} in {say(move.duration, 's')}, at most "
                        f"{say(move.peak_speed, 'mm/s')} and {say(move.peak_acceleration, 'mm/s^2')}; ramps of {say(move.ramp_in, 's')} "
                        f"and {say(move.ramp_out, 's')}.")


@styled
def stairs(travels, pixels, names):
    """Position of a carriage in pulses of several sizes, against the steady move that is wanted.

    travels: travel for one pulse in m, the largest first; pixels: the same in the picture, in px; names: a text for each.
    """
    whole = 2.45 * travels[0]
    wanted = np.linspace(0, whole, 2001)
    fig, axes = style.figure(3.2, 1, len(travels), sharey=True)
    fig.subplots_adjust(left=0.085, right=0.975, bottom=0.155, top=0.86, wspace=0.12)
    for ax, travel, jump, name in zip(axes, travels, pixels, names):
        ax.plot(wanted * 1e6, wanted * 1e6, **bare("limit"))
        ax.plot(wanted * 1e6, np.floor(wanted / travel + 0.5) * travel * 1e6, **bare("rig"))
        ax.set_title(f"{name}\n{say(travel, 'um')} = {jump:.2g} px a pulse", fontsize=10)
        axis(ax.xaxis, "wanted position", "um", (0, whole * 1e6))
    axis(axes[0].yaxis, "position of the carriage", "um", (0, whole * 1e6))
    axes[0].text(0.96, 0.06, "dotted: wanted", transform=axes[0].transAxes, ha="right")
    words = "; ".join(f"{name}: {say(travel, 'um')} or {jump:.2g} px" for travel, jump, name in zip(travels, pixels, names))
    return Picture(fig, f"Position of a carriage against the wanted position: stairs about a straight line, lower with more pulses. "
                        f"Height of a stair: {words}.")
