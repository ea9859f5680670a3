"""Pictures and a sound of the rotor's ripple, in travel of the carriage, for a rig at steady speeds in m/s."""

import dataclasses

import numpy as np
from matplotlib.colors import LogNorm

from macrolib.physics import stepper
from macrolib.planning import ripple
from macrolib.show import style
from macrolib.show.style import COLOURS, LINES, Picture, axis, bare, say, styled

__all__ = ["map_chart", "point_of_light", "settings_curve", "tone", "wobble"]

_LEVELS = (0.1, 0.3, 1, 3, 10, 30)  # um, of the lines on the map


def with_motor(rig, microsteps=None, detent=1.0):
    """The rig with another setting, and its detent times a factor."""
    driver = rig.driver if microsteps is None else dataclasses.replace(rig.driver, microsteps=microsteps)
    return dataclasses.replace(rig, driver=driver, motor=dataclasses.replace(rig.motor, detent_torque=detent * rig.motor.detent_torque))


def deviations(rig, speed, settings):
    """[(times in s, m beside the steady path)], for each setting over a whole number of electrical cycles."""
    motion = stepper.simulate(speed / rig.travel_per_turn, np.array(settings), record=True, **ripple.motor(rig))
    if not motion.in_step.all():
        raise ValueError(f"the rotor falls out of step at {say(speed, 'mm/s')}")
    for lane in range(len(settings)):
        own = motion.motor[:, lane][np.isfinite(motion.motor[:, lane])]
        yield np.arange(own.size) * motion.time_step[lane], (own - own.mean()) * rig.travel_per_turn / (2 * np.pi)


def _named(microsteps):
    return "full steps" if microsteps == 1 else f"{microsteps} microsteps"


@styled
def wobble(rig, speed, settings, steps=6):
    """How far the carriage is from the steady path over the time of some full steps, a row for each setting, all to one scale."""
    fig, axes = style.figure(1.1 + 1.05 * len(settings), len(settings), sharex=True, sharey=True)
    fig.subplots_adjust(left=0.105, right=0.97, bottom=0.55 / fig.get_figheight(), top=1 - 0.25 / fig.get_figheight(), hspace=0.42)
    words, span = [], steps * rig.travel_per_turn / rig.motor.full_steps_per_turn / speed
    for ax, setting, (t, off) in zip(axes, settings, deviations(rig, speed, settings)):
        again = np.arange(round(span / t[1]))
        ax.plot(again * t[1] * 1e3, off[again % off.size] * 1e6, **bare("rig", linewidth=1.5))
        words.append(f"{_named(setting)}: {say(np.ptp(off), 'um', 2)} peak to peak")
        ax.set_title(words[-1], fontsize=10)
        axis(ax.yaxis, "off by", "um")
    axis(ax.xaxis, f"time, at {say(speed, 'mm/s')}", "ms", (0, span * 1e3))
    return Picture(fig, f"Carriage beside the steady path at {say(speed, 'mm/s')}, a row for each setting. {'; '.join(words)}.")


@styled
def settings_curve(rig, speed, settings=(1, 2, 4, 8, 16, 32, 64, 128, 256)):
    """Peak to peak against microsteps: with the rig's detent, without any, and the floor that detent sets."""
    fig, ax = style.figure(3.6)
    fig.subplots_adjust(left=0.115, right=0.975, bottom=0.5 / 3.6, top=0.975)
    with_it, without = ([ripple.motor_ripple(with_motor(rig, n, detent), speed).motor for n in settings] for detent in (1, 0))
    floor = ripple.motor_ripple(with_motor(rig, 1024), speed).motor
    ax.plot(settings, np.array(without) * 1e6, **LINES["shot"], label="motor without detent: an ideal")
    ax.plot(settings, np.array(with_it) * 1e6, **LINES["rig"], label="motor with detent")
    ax.axhline(floor * 1e6, **bare("limit"), label=f"floor set by detent: {say(floor, 'um', 2)}")
    ax.legend(loc="lower left")
    axis(ax.xaxis, "microsteps", "1", log=True)
    ax.set_xticks(settings, [str(n) for n in settings])
    axis(ax.yaxis, "ripple, peak to peak", "um", (1e-3, 40), log=True)
    return Picture(fig, f"Ripple against microsteps at {say(speed, 'mm/s')}, both logarithmic. With detent it falls from "
                        f"{say(with_it[0], 'um', 2)} with full steps to a floor of {say(floor, 'um', 2)}; without, on and on.")


@styled
def map_chart(found, rig):
    """The rotor's ripple of a planning RippleMap, colours on a logarithmic scale, lines with their value, resonances marked."""
    fig, ax = style.figure(4.4)
    fig.subplots_adjust(left=0.1, right=0.99, bottom=0.115, top=0.88)
    x, y, values = found.speeds * 1e3, np.arange(len(found.microsteps)), found.motor.T * 1e6
    edges = np.sqrt(x[1:] * x[:-1])
    edges = np.concatenate([[x[0] ** 2 / edges[0]], edges, [x[-1] ** 2 / edges[-1]]])
    axis(ax.xaxis, "speed of the carriage", "mm/s", edges[[0, -1]], log=True)
    axis(ax.yaxis, "microsteps", "1", (-0.5, y[-1] + 0.5))
    ax.set_yticks(y, [str(n) for n in found.microsteps])
    ax.grid(False)
    mesh = ax.pcolormesh(edges, np.arange(-0.5, len(y)), values, cmap="cividis", norm=LogNorm(_LEVELS[0] / 3, _LEVELS[-1]))
    filled = np.log(np.nan_to_num(values, nan=np.nanmax(values)))
    lines = ax.contour(x, y, filled, np.log(_LEVELS), colors="white", linewidths=1.2, linestyles="solid")
    for text in ax.clabel(lines, fmt={level: f"{np.exp(level):.3g} µm" for level in lines.levels}, fontsize=9):
        text.set_bbox({"fc": "black", "ec": "none", "pad": 1, "alpha": 0.6})
    for row, column in zip(*np.nonzero(~np.isfinite(values))):
        ax.text(x[column], row, "X", ha="center", va="center", weight="bold", color=COLOURS["vermillion"])
    meets = (natural := ripple.natural_frequency(rig)) * rig.travel_per_turn / rig.motor.full_steps_per_turn
    ax.axvline(meets * 1e3, color="white", ls=(0, (1, 1.5)), lw=2)
    ax.text(meets * 1e3, 1.01, f"dotted: full steps at {natural:.0f} Hz", transform=ax.get_xaxis_transform(), ha="center", va="bottom")
    ax.plot(meets * 1e3 / np.array(found.microsteps), y, color=COLOURS["orange"], ls="--", lw=2)
    ax.text(0, 1.065, f"dashed: pulses at {natural:.0f} Hz, the rotor's own frequency; X: out of step", transform=ax.transAxes, va="bottom")
    bar = fig.colorbar(mesh, ax=ax, pad=0.015, aspect=30)
    axis(bar.ax.yaxis, "ripple, peak to peak", "um", log=True)
    near, slow = (say(found.motor[row, -1], "um", 2) for row in (np.argmin(abs(np.log(found.speeds / meets))), 0))
    return Picture(fig, f"Map of ripple over speed and microsteps: dark is little, bright is much. At {say(found.speeds[0], 'mm/s')} "
                        f"from {say(found.motor[0, 0], 'um', 2)} with {_named(found.microsteps[0])} to {slow} with {found.microsteps[-1]}. "
                        f"At {say(meets, 'mm/s')} a bright column, {near} even with {found.microsteps[-1]} microsteps.")


@styled
def point_of_light(rig, speed, settings, magnification, frame_rate=24.0, shutter=0.5, frames=6):
    """A point of light in some video frames, one below the other, as the pixels record it, a picture for each setting."""
    per_metre, spread = magnification / rig.camera.pixel_pitch, 0.5  # spread of the lens in px; our own choice
    path, rows = speed * per_metre / frame_rate, []
    for t, off in deviations(rig, speed, settings):
        moments = (np.arange(frames)[:, None] + shutter * np.linspace(0, 1, 400, endpoint=False)) / frame_rate
        places = speed * moments + np.interp(moments % (t[-1] + t[1]), np.append(t, t[-1] + t[1]), np.append(off, off[0]))
        rows.append(places * per_metre - path * np.arange(frames)[:, None])
    low, high = (int(f(x)) for f, x in ((np.floor, np.min(rows) - 2), (np.ceil, np.max(rows) + 2)))
    light = np.exp(-0.5 * ((np.arange(low, high) + 0.5 - np.array(rows)[..., None]) / spread) ** 2).mean(axis=2)
    fig, axes = style.figure(2.8, 1, len(settings), sharey=True)
    fig.subplots_adjust(left=0.075, right=0.975, bottom=0.175, top=0.91, wspace=0.14)
    for ax, setting, shown in zip(axes, settings, light):
        striped = np.kron(shown, [[1.0]] * 4 + [[0.0]])  # a dark line below each frame
        ax.imshow(striped**0.6, cmap="gray", aspect="auto", extent=(low, high, frames + 0.5, 0.5), interpolation="nearest", vmin=0,
                  vmax=light.max() ** 0.6)
        ax.set_title(_named(setting), fontsize=10)
        ax.grid(False)
        axis(ax.xaxis, "place in the picture", "px")
    axis(axes[0].yaxis, "video frame", "1")
    words = "; ".join(f"{_named(n)}: {', '.join(f'{np.ptp(p):.2g}' for p in places)} px" for n, places in zip(settings, rows))
    return Picture(fig, f"A point of light in {frames} video frames at {say(speed, 'mm/s')}, magnification {magnification:g}. A smooth "
                        f"move smears it by {path * shutter:.2g} px. Smear in each frame: {words}.")


def tone(rig, speed, settings, seconds=1.0, rate=8000):
    """The ripple in speed as a sound, one setting after the other at one loudness, for a notebook; needs no network."""
    from IPython.display import Audio

    sounds = []
    for t, off in deviations(rig, speed, settings):
        shake = np.gradient(np.append(off, off[0]), t[1])
        sounds.append(np.interp(np.arange(int(seconds * rate)) / rate % (t[-1] + t[1]), np.arange(shake.size) * t[1], shake))
    sound = np.concatenate(sounds)
    return Audio(0.3 * sound / np.abs(sound).max(), rate=rate, normalize=False)  # 0.3 of what is possible: kind to ears
