"""The panels of ramps and pulses: what a ramp leaves ringing, and what a timer's whole numbers make of a ramp."""

import math
from collections import namedtuple

import numpy as np

from macrolib.physics import pulses, ramps, vibration
from macrolib.show import style
from macrolib.show.figures_ramps import SHAPE_LINES, camera, ramp_ring
from macrolib.show.panel import Panel, Slider
from macrolib.show.style import COLOURS, axis, bare, ring, round_up, say, tag

__all__ = ["ringing", "timer"]

# --- the ring that a ramp leaves
Ringing = namedtuple("Ringing", "shape periods time speed jump left halved rings x offset envelope")
_PERIODS, _AFTER = np.linspace(0.02, 5.3, 265), np.linspace(0, 6, 361)  # ramp times, and what is shown after the ramp


def _ringing(shape, ramp_periods, damping_ratio, frequency, speed):
    name, time = tuple(SHAPE_LINES)[int(shape) - 1], ramp_periods / frequency
    jump, left = (ramp_ring(name, t, speed, frequency, damping_ratio) for t in (1e-6 * time, time))
    x = np.concatenate([np.linspace(0, ramp_periods, 241), ramp_periods + _AFTER[1:]])
    move = ramps.ramps_by_time(3 * speed * time, time, speed=speed, shape=name)
    pushes = move.acceleration((x[1:] + x[:-1]) / 2 / frequency) * (np.arange(x.size - 1) < 240)
    halved = vibration.settling_time(2.0, 1.0, frequency, damping_ratio) if damping_ratio else None
    rings = [ramp_ring(shape, _PERIODS / frequency, speed, frequency, damping_ratio) for shape in SHAPE_LINES]
    return Ringing(name, ramp_periods, time, speed, jump, left, halved, np.array(rings), x,
                   camera(x / frequency, pushes, frequency, damping_ratio), left * np.exp(-2 * np.pi * damping_ratio * _AFTER))


def _left(r):
    return say(r.left, "um") if r.left > 1e-5 * r.jump else "next to nothing"


def _ringing_sentence(r):
    dies = "It never dies: a rig without damping is an ideal." if r.halved is None else f"It halves every {say(r.halved, 'ms')}."
    return (f"A {r.shape} ramp over {r.periods:.3g} of the rig's periods, {say(r.time, 'ms')}, to {say(r.speed, 'mm/s')} leaves a ring of "
            f"{_left(r)}. A jump to that speed would leave {say(r.jump, 'um')}. {dies}")


def _ringing_picture():
    fig, (top, low) = style.figure(5.4, 2, height_ratios=[1.25, 1])
    fig.subplots_adjust(left=0.105, right=0.985, bottom=0.095, top=0.945, hspace=0.36)
    for side, *what in ((top.xaxis, "ramp time in periods of the rig", "1", (0, 5.3)), (top.yaxis, "ring left", "um", (1, 10), True),
                        (low.xaxis, "time in periods of the rig", "1", (0, 11)), (low.yaxis, "camera off by", "um")):
        axis(side, *what)
    curves = [top.plot(_PERIODS, ramp_ring(name, _PERIODS, 1, 1, 0.1), label=name, **bare(kind))[0] for name, kind in SHAPE_LINES.items()]
    top.legend(loc="lower center", bbox_to_anchor=(0.5, 0.985), ncols=4, handlelength=4, borderaxespad=0.1)
    shade = low.axvspan(0, 1, color=COLOURS["yellow"], alpha=0.35, lw=0)
    path, = low.plot([], [], **bare("rig"))
    bounds, = low.plot([], [], **bare("limit", linewidth=1.2))
    here, last, texts = ring(top), [], [tag(ax, transform=ax.transAxes, ha="right", va="top") for ax in (top, low)]

    def update(r):
        for curve, left in zip(curves, r.rings):
            chosen = curve.get_label() == r.shape
            curve.set(ydata=np.maximum(left, 1e-9 * r.jump) * 1e6, linewidth=3 if chosen else 1.2, alpha=1 if chosen else 0.55)
        here.set_data([r.periods], [max(r.left, 7e-4 * r.jump) * 1e6])
        shade.set_width(r.periods)
        path.set_data(r.x, r.offset * 1e6)
        bounds.set_data(r.periods + np.r_[_AFTER, np.nan, _AFTER], np.r_[r.envelope, np.nan, -r.envelope] * 1e6)
        for text, words in zip(texts, (f"{r.shape}, {say(r.time, 'ms')}: {_left(r)}", f"shaded: the ramp; after it: {_left(r)}")):
            text.set(text=words, x=0.985, y=0.95)
        scales = [r.jump, round_up(1.05e6 * np.abs(r.offset).max())]
        changed, last[:] = scales != last, scales
        if changed:
            top.set_ylim(5e2 * r.jump, 1.5e6 * r.jump)
            low.set_ylim(-1.05 * scales[1], 1.05 * scales[1])
        return changed

    return fig, [*curves, here, shade, path, bounds, *texts], update


ringing = Panel(
    _ringing, "The ring that a ramp leaves", [
        Slider("shape", "shape, 1 to 4 as in the legend", "1", 1, 4, 1, choices=(1, 2, 3, 4)),
        Slider("ramp_periods", "ramp time in periods", "1", 0.1, 5.1, 1.5), Slider("damping_ratio", "damping ratio", "1", 0, 0.2, 0.03),
        Slider("frequency", "natural frequency", "Hz", 5, 200, 48, log=True), Slider("speed", "speed", "mm/s", 0.5, 50, 6, log=True)],
    _ringing_picture, _ringing_sentence, "Above, ring left against ramp time for four shapes; below, the camera against the carriage.")


# --- a ramp in whole numbers
Timer = namedtuple("Timer", "speed time first grain reached stalls curves behind")


def _timer(timer_frequency, acceleration, speed, travel_per_pulse, fraction_bits):
    rate, time, curves = speed / travel_per_pulse, speed / acceleration, []
    ramp = math.ceil(0.9 * rate * time) + 10, acceleration / travel_per_pulse, timer_frequency  # pulses of 1.4 times the ramp's time
    first, least = float(pulses.exact_intervals(*ramp)[0]), timer_frequency / rate
    wanted, t = ramps.trapezoid(4 * speed * time, speed, acceleration), np.linspace(0, 1.4 * time, 300)
    cut, carried = (pulses.integer_intervals(*ramp, carry, int(fraction_bits)) for carry in (False, True))
    for intervals in (np.maximum(cut, least), np.maximum(carried, least)):
        at = (np.cumsum(intervals) + pulses.FIRST_INTERVAL / 2 * first) / timer_frequency  # without the constant early start
        behind = wanted.position(t) - np.interp(t, at, travel_per_pulse * np.arange(1, at.size + 1))
        curves.append(np.array([t, np.interp(t, at, travel_per_pulse * timer_frequency / intervals), behind])[:, t >= at[0]])
    return Timer(speed, time, first, pulses.speed_grain(rate, timer_frequency), float(curves[0][1][-1]),
                 bool(cut[-1] == cut[-2] > least), curves, [float(np.interp(time, c[0], c[2])) for c in curves])


def _off(x):
    return "in its place to 1 µm" if abs(x) < 1e-6 else f"{say(abs(x), 'um' if abs(x) < 1e-3 else 'mm')} {'behind' if x > 0 else 'ahead'}"


def _timer_sentence(r):
    end = f"stalls at {say(r.reached, 'mm/s')}, short of {say(r.speed, 'mm/s')}" if r.stalls else f"reaches {say(r.speed, 'mm/s')}"
    return (f"The ramp with divisions cut off {end}. At {say(r.time, 's')}, when it should be over, the carriage is {_off(r.behind[0])}; "
            f"with the remainder carried on it is {_off(r.behind[1])}. The first interval is {r.first:.0f} ticks. At full speed one tick "
            f"changes the speed by {100 * r.grain:.2g} %.")


def _timer_picture():
    fig, (top, low) = style.figure(4.8, 2, sharex=True, gridspec_kw={"height_ratios": [1.4, 1]})
    fig.subplots_adjust(left=0.105, right=0.985, bottom=0.105, top=0.93, hspace=0.12)
    for side, *what in ((low.xaxis, "time", "s"), (top.yaxis, "speed", "mm/s"), (low.yaxis, "carriage behind", "um")):
        axis(side, *what)
    kinds = {"divisions cut off": "shot", "remainder carried on": "rig"}
    speeds, places = ([ax.plot([], [], label=label, **bare(kind))[0] for label, kind in kinds.items()] for ax in (top, low))
    plan, = top.plot([], [], label="wanted", **bare("limit"))
    top.legend(handles=[plan, *speeds], loc="lower center", bbox_to_anchor=(0.5, 0.985), ncols=3, handlelength=4, borderaxespad=0.1)
    texts, last = [tag(top, ha="right", va="top"), tag(low, va="top", transform=low.transAxes)], []

    def update(r):
        for (t, speed, behind), upper, lower in zip(r.curves, speeds, places):
            upper.set_data(t, speed * 1e3)
            lower.set_data(t, behind * 1e6)
        plan.set_data([0, r.time, 1.4 * r.time], [0, r.speed * 1e3, r.speed * 1e3])
        texts[0].set(text=f"stalls at {say(r.reached, 'mm/s')}" if r.stalls else "no stall", x=1.37 * r.time, y=0.92e3 * r.reached)
        texts[1].set(text=f"at {say(r.time, 's')}: {_off(r.behind[0])}", x=0.02, y=0.93)
        scales = [1.4 * r.time, 1.15e3 * r.speed, round_up(max(1, *(1e6 * np.abs(c[2]).max() for c in r.curves)))]
        changed, last[:] = scales != last, scales
        if changed:
            top.set(xlim=(0, scales[0]), ylim=(0, scales[1]))
            low.set_ylim(-0.2 * scales[2], scales[2] * 1.05)
        return changed

    return fig, [plan, *speeds, *places, *texts], update


timer = Panel(
    _timer, "A ramp in whole numbers of timer ticks", [
        Slider("timer_frequency", "timer frequency", "kHz", 100, 16000, 2000, log=True),
        Slider("acceleration", "acceleration", "mm/s^2", 2, 100, 3, log=True),
        Slider("speed", "speed wanted", "mm/s", 1.5, 8, 6, log=True),
        Slider("travel_per_pulse", "travel for one pulse", "um", 0.3, 5, 0.625, log=True),
        Slider("fraction_bits", "binary places below one tick", "1", 0, 8, 0, choices=(0, 1, 2, 4, 8))],
    _timer_picture, _timer_sentence, "Above, speed against time: wanted, cut off, carried on; below, how far the carriage is behind.")
