"""Pictures and derivations of the lessons on ramps and pulses, from moves and plain numbers in SI."""

from types import SimpleNamespace

import numpy as np

from macrolib.physics import pulses, ramps, vibration
from macrolib.show import style
from macrolib.show.style import COLOURS, LINES, Picture, axis, bare, say, styled

__all__ = ["profiles", "pulse_train", "ramp_ring", "ring_left", "rounding", "steps", "two_knocks"]

SHAPE_LINES = {"rectangle": "rig", "triangle": "shot", "half-sine": "third", "versed-sine": "fourth"}
"""Kind of line for each shape of ramp."""


def steps(derived, first=1):
    """Steps of ramps.derivation as a numbered table, typeset by the page."""
    from IPython.display import Markdown

    rows = [f"| {n} | {step.words} | $\\displaystyle {step.latex}$ |" for n, step in enumerate(derived, first)]
    return Markdown("\n".join(["| step | what is done | what it gives |", "|---|---|---|", *rows]))


@styled
def profiles(moves, names):
    """Position, speed and acceleration of moves, a column each; dotted: the lowest of their peak accelerations."""
    fig, axes = style.figure(5.2, 3, len(moves), sharex=True, sharey="row", gridspec_kw={"height_ratios": [1, 1, 1.25]})
    fig.subplots_adjust(left=0.085, right=0.99, bottom=0.095, top=0.94, hspace=0.1, wspace=0.1)
    top, fast, hard, longest = (max(getattr(m, what) for m in moves) * scale for what, scale in (
        ("distance", 1.05e3), ("peak_speed", 1.4e3), ("peak_acceleration", 1.4e3), ("duration", 1)))
    for column, move, name in zip(axes.T, moves, names):
        knots = np.ravel(move.knots)[:, None] + np.array([-1e-9, 1e-9]) * longest  # both sides of each jump
        t = np.sort(np.concatenate([np.linspace(-0.02, 1.02, 400) * longest, knots.ravel()]))
        for ax, values in zip(column, (move.position(t), move.speed(t), move.acceleration(t))):
            ax.plot(t, values * 1e3, **bare("rig"))
        for ax, peak in zip(column[1:], (move.peak_speed, move.peak_acceleration)):
            ax.text(0.5, 0.97, f"peak {peak * 1e3:.3g}", transform=ax.transAxes, ha="center", va="top")
        for least in (-1e3, 1e3) * np.array(min(m.peak_acceleration for m in moves)):
            column[2].axhline(least, **bare("limit", linewidth=1.2))
        column[0].set_title(name, fontsize=10)
        axis(column[2].xaxis, "time", "s")
    for ax, *what in zip(axes[:, 0], ("position", "speed", "acceleration"), ("mm", "mm/s", "mm/s^2"), ((0, top), (0, fast), (-hard, hard))):
        axis(ax.yaxis, *what)
    words = "; ".join(f"{name}: {say(m.distance, 'mm')} in {say(m.duration, 's')}, at most {say(m.peak_speed, 'mm/s')} and "
                      f"{say(m.peak_acceleration, 'mm/s^2')}" for m, name in zip(moves, names))
    return Picture(fig, f"Position, speed and acceleration against time, a column for each move. {words}.")


def ramp_ring(shape, times, speed, frequency, damping_ratio):
    """Ring (m, zero to peak) at the end of ramps from rest to `speed` that last `times` (s; one or an array)."""
    move = ramps.ramps_by_time(3 * speed * times, times, speed=speed, shape=shape)
    ramp_in = SimpleNamespace(duration=times, knots=move.knots[:len(move.knots) // 2], acceleration=move.acceleration)
    return vibration.residual_vibration(ramp_in, frequency, damping_ratio)


def camera(t, accelerations, frequency, damping_ratio):
    """Camera against carriage (m) at times t (s, from rest at t[0]) for the steady accelerations (m/s^2) between them.

    What vibration.residual_vibration sums up for one moment, here for all.
    """
    pole = 2 * np.pi * frequency * (-damping_ratio + 1j * np.sqrt(1 - damping_ratio**2))
    pushes = accelerations * (np.exp(pole * np.diff(t)) - 1) / pole * np.exp(-pole * (t[1:] - t[0]))
    return -(np.exp(pole * (t - t[0])) * np.cumsum(np.append(0, pushes))).imag / pole.imag


@styled
def two_knocks(speed, frequency, damping_ratio, periods=(0.5, 1)):
    """Why a whole period helps: what beginning and end of a ramp of constant acceleration do to the camera, and their sum."""
    fig, axes = style.figure(4.4, 2, 2, sharex=True, sharey=True)
    fig.subplots_adjust(left=0.085, right=0.985, bottom=0.115, top=0.93, hspace=0.22, wspace=0.06)
    x, words = np.linspace(0, 5, 2001), []
    for (top, low), count in zip(axes.T, periods):
        starts, ends = np.ones(2000), np.where(x[1:] > count + 1e-9, -1, 0)
        knocks = [camera(x / frequency, speed * frequency / count * push, frequency, damping_ratio) * 1e6 for push in (starts, ends)]
        low.plot(x, sum(knocks), **bare("rig"))
        for values, kind, y, va, which in zip(knocks, ("third", "shot"), (0.03, 0.98), ("bottom", "top"), ("beginning", "end")):
            top.plot(x, values, **bare(kind))
            if count == periods[-1]:
                top.text(0.98, y, f"the ramp's {which} alone", transform=top.transAxes, color=LINES[kind]["color"], va=va, ha="right")
        left = say(ramp_ring("rectangle", count / frequency, speed, frequency, damping_ratio), "um")
        top.set_title(f"ramp of {count:g} period{'s' * (count != 1)}", fontsize=10)
        words.append(f"{left} with a {top.get_title('left')}")
        low.set_title(f"both together: {left} left at the ramp's end", fontsize=10)
        for ax in (top, low):
            ax.axvspan(0, count, color=COLOURS["yellow"], alpha=0.3, lw=0)
            axis(ax.yaxis, "camera off by", "um")
        axis(low.xaxis, "time in periods of the rig", "1", (0, 5))
    for ax in axes[:, 1]:
        ax.set_ylabel("")
    return Picture(fig, "Camera against carriage over time, the ramp shaded. Above, what its beginning and its end do, each alone: two "
                        f"rings, equal and opposite. Below, their sum. It leaves {', '.join(words)}.")


@styled
def ring_left(speed, frequency, damping_ratio):
    """Ring after ramps of all shapes against their time, without damping and with the rig's."""
    periods, jump = np.linspace(0.1, 5, 491), speed / (2 * np.pi * frequency) * 1e6
    fig, axes = style.figure(4.3, 1, 2, sharey=True)
    fig.subplots_adjust(left=0.095, right=0.985, bottom=0.225, top=0.93, wspace=0.06)
    for ax, zeta, title in zip(axes, (0.0, damping_ratio), ("without damping: an ideal", f"damping ratio {damping_ratio:g}: this rig")):
        rings = {shape: ramp_ring(shape, periods / frequency, speed, frequency, zeta) * 1e6 for shape in SHAPE_LINES}
        for shape, ring in rings.items():
            ax.plot(periods, np.maximum(ring, 1e-6 * jump), **bare(SHAPE_LINES[shape]), label=shape)
        ax.set_title(title, fontsize=10)
        axis(ax.xaxis, "ramp time in periods of the rig", "1", (0, 5))
    axis(axes[0].yaxis, "ring left", "um", (jump / 2000, 1.4 * jump), log=True)
    fig.legend(*ax.get_legend_handles_labels(), loc="lower center", ncols=4, handlelength=4, bbox_to_anchor=(0.54, 0.0))
    words = ", ".join(f"{shape} {say(np.interp(2, periods, ring) * 1e-6, 'um')}" for shape, ring in rings.items())
    return Picture(fig, "Ring left after a ramp against its time, on a logarithmic scale, for four shapes. Without damping each falls "
                        f"to nothing at certain times; with damping the dips are filled up. With damping, two periods leave: {words}.")


@styled
def pulse_train(move, travel_per_pulse, count):
    """The first pulses of a move, and the stairs that they make about the wanted travel."""
    times = pulses.pulse_times(move, travel_per_pulse)[:count] * 1e3
    t, travel, (first, *_, last) = np.linspace(0, times[-1] * 1.06, 1001), travel_per_pulse * 1e6, np.diff(times)
    fig, (top, low) = style.figure(4.0, 2, sharex=True, gridspec_kw={"height_ratios": [1, 3]})
    fig.subplots_adjust(left=0.085, right=0.985, bottom=0.125, top=0.97, hspace=0.08)
    top.vlines(times, 0, 1, color=COLOURS["blue"], lw=2)
    top.set(yticks=[], ylim=(0, 1.55), ylabel="pulses")
    for x, gap in ((times[0] + first / 2, first), (times[-1] - last / 2, last)):
        top.text(x, 1.1, f"{gap:.3g} ms", ha="center")
    low.plot(t, move.position(t * 1e-3) * 1e6, **bare("limit"), label="wanted travel")
    low.plot(t, np.searchsorted(times, t) * travel, **bare("rig"), label="carriage, pulse by pulse")
    low.plot(times, (np.arange(count) + 0.5) * travel, **LINES["shot"] | {"linestyle": ""}, label="a pulse is due: half a pulse to go")
    low.legend(loc="upper left")
    axis(low.xaxis, "time", "ms", (0, t[-1]))
    axis(low.yaxis, "travel", "um", (0, None))
    return Picture(fig, f"Above, the first {count} pulses of a move as lines on the time axis, closer and closer: from {first:.3g} ms to "
                        f"{last:.3g} ms apart. Below, stairs of {say(travel_per_pulse, 'um')} about the wanted travel.")


@styled
def rounding(move, travel_per_pulse, timer_frequency):
    """Error of place over a move when its intervals become whole timer ticks, each by itself or with the fraction carried."""
    times, words = pulses.pulse_times(move, travel_per_pulse), []
    fig, ax = style.figure(3.1)
    fig.subplots_adjust(left=0.105, right=0.985, bottom=0.16, top=0.97)
    for carry, kind in ((False, "shot"), (True, "rig")):
        real = np.cumsum(pulses.whole_ticks(np.diff(times, prepend=0) * timer_frequency, carry)) / timer_frequency
        error = (np.arange(times.size) + 0.5) * travel_per_pulse - move.position(real)
        words.append(f"{'fraction carried on' if carry else 'rounded one by one'}: at most {say(np.abs(error).max(), 'um')}")
        ax.plot(real[::50], error[::50] * 1e6, **bare(kind), label=words[-1])
    ax.legend(loc="upper left")
    axis(ax.xaxis, "time", "s", (0, move.duration))
    axis(ax.yaxis, "error of place", "um")
    return Picture(fig, f"Error of place over a move of {say(move.distance, 'mm')} in {say(move.duration, 's')}. {'; '.join(words)}.")
