"""Pictures of the lessons on motion on screen, on tilt and on hand-led moves, from plain numbers in SI."""

import numpy as np
from matplotlib.patches import Polygon

from macrolib.physics import following, screen, tilt, transmission
from macrolib.show import style
from macrolib.show.style import COLOURS, LINES, Picture, axis, bare, say, styled

__all__ = ["flickering", "frame_rates", "lag_curves", "radial_streaks", "rail_beside_subject", "slope_load"]

_GREY = "#666666"


@styled
def frame_rates(speed, magnification, pixel_pitch, shutter_angle, rates, seconds=0.25):
    """One point of a sideways move at several frame rates: where each frame shows it, and its streak."""
    fig, ax = style.figure(0.75 + 0.42 * len(rates))
    fig.subplots_adjust(left=0.125, right=0.985, bottom=0.5 / fig.get_figheight(), top=0.97)
    words = []
    for row, rate in enumerate(rates):
        step = screen.image_speed(speed, magnification, pixel_pitch, rate)
        starts = np.arange(int(seconds * rate + 1e-9) + 1) * step
        streak = screen.frame_blur(step, shutter_angle)
        ax.barh([row] * len(starts), streak, 0.5, starts, color=COLOURS["sky"], edgecolor=COLOURS["blue"])
        words.append(f"{say(rate, 'fps', 5)}: {step:.3g} px apart")
    ax.set_yticks(range(len(rates)), [f"{rate:.5g}" for rate in rates])
    axis(ax.yaxis, "frame rate", "fps")
    axis(ax.xaxis, "place of one point in the picture", "px", (0, None))
    ax.invert_yaxis()
    ax.grid(axis="y", visible=False)
    return Picture(fig, f"A row for each frame rate; bars show where each frame of {say(seconds, 's')} shows one point of the subject, as "
                        f"long as its streak. {'; '.join(words)}.")


@styled
def flickering(lamps, frame_rate, marked):
    """Swing of the frames' brightness against the shutter angle. lamps: {name: (light pulses per second, modulation)}; marked: rad."""
    degrees = np.linspace(5, 360, 711)
    fig, ax = style.figure(3.0)
    fig.subplots_adjust(left=0.09, right=0.985, bottom=0.165, top=0.9)
    words = []
    for (name, (pulses, modulation)), kind in zip(lamps.items(), LINES):
        swing = screen.flicker(modulation, pulses, screen.exposure_time(np.radians(degrees), frame_rate))
        ax.plot(degrees, 100 * swing, label=name, **bare(kind))
        here = screen.flicker(modulation, pulses, screen.exposure_time(marked, frame_rate))
        beat = screen.flicker_beat(pulses, frame_rate)
        seen = "the same in all frames" if beat < 1e-9 else f"it comes and goes {beat:.3g} times a second"
        words.append(f"{name}: {100 * round(here, 6):.2g} % at {say(marked, 'deg')}, {seen}")
    ax.axvline(np.degrees(marked), **bare("limit"))
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 0.98), ncols=len(lamps), handlelength=4, borderaxespad=0.1)
    axis(ax.xaxis, "shutter angle", "deg", (0, 360))
    axis(ax.yaxis, "swing of the brightness", "1", (0, None))
    ax.set_ylabel("swing of the brightness (%)")
    return Picture(fig, f"Swing of the frames' brightness against the shutter angle at {say(frame_rate, 'fps')}: dips to nothing where the "
                        f"exposure holds whole light pulses. {'; '.join(words)}.")


@styled
def radial_streaks(half_width, half_height, speed, exposure_time, pupil_distance, times=300):
    """Streaks of a push-in over the picture, drawn `times` as long as they are. Half sizes in px; the rest in SI."""
    fig, ax = style.figure(3.8)
    fig.subplots_adjust(left=0.115, right=0.985, bottom=0.135, top=0.92)
    across, down = np.linspace(-0.92, 0.92, 9) * half_width, np.linspace(-0.88, 0.88, 7) * half_height
    points = np.stack(np.meshgrid(across, down), -1).reshape(-1, 2)
    radius = np.hypot(*points.T)
    streak = screen.radial_blur(radius, speed, exposure_time, pupil_distance)
    ends = points * (1 + times * streak / np.maximum(radius, 1))[:, None]
    ax.plot(*np.stack([points, ends], -1).transpose(1, 2, 0), color=COLOURS["blue"], ls="-", lw=2)
    ax.plot(*points.T, "o", color=COLOURS["blue"], ms=3)
    corner = np.hypot(half_width, half_height)
    at = {"centre": 0.0, "edge": half_width, "corner": corner}
    words = [f"{name} {screen.radial_blur(r, speed, exposure_time, pupil_distance):.3g} px" for name, r in at.items()]
    axis(ax.xaxis, "place in the picture", "px", (-half_width, half_width))
    axis(ax.yaxis, "place in the picture", "px", (-half_height, half_height))
    ax.set_aspect("equal")
    ax.set_title(f"streaks: {', '.join(words)}; drawn {times} times as long", fontsize=10)
    return Picture(fig, f"The picture with streaks that point away from its centre and grow towards the corners, drawn {times} times "
                        f"as long as they are. Streak within a frame: {', '.join(words)}.")


@styled
def rail_beside_subject(travel, tilt_angle, depth):
    """A rail that is not parallel to its subject, seen from above, the angle drawn larger than it is; the sharp depth shaded."""
    fig, ax = style.figure(2.9)
    fig.subplots_adjust(left=0.02, right=0.98, bottom=0.02, top=0.98)
    off, x = tilt.misalignment(travel, tilt_angle), np.array([0, 1])
    drawn = off / depth  # in sharp depths
    ax.add_patch(Polygon([(0, 1.5), (1, 1.5), (1, 2.5), (0, 2.5)], fc=COLOURS["yellow"], alpha=0.5, ec="none"))
    ax.plot(x, 2 + drawn * (x - 0.5), **bare("shot"))
    ax.plot(x, [0, 0], color="black", ls="-", lw=5, solid_capstyle="butt")
    for place in (0, 0.5, 1):
        ax.plot([place, place], [0.15, 2], color=_GREY, ls=":", lw=1)
        ax.plot([place], [0.12], marker="s", ms=14, color=COLOURS["blue"])
        away = off * (place - 0.5)
        side = ("left", "center", "right")[int(2 * place)]
        ax.text(place, -0.2, f"out by {say(abs(away), 'um')}" if away else "in focus", ha=side, va="top")
    ax.text(0.25, 0.1, f"rail, travel {say(travel, 'mm')}", va="bottom", ha="center")
    ax.text(0.75, 1.52, f"sharp: {say(depth, 'um')}", va="bottom", ha="center")
    ax.text(0.25, 2.1, "subject", va="bottom", ha="center", color="#8A3B00")
    ax.text(0.52, 0.3, "camera", va="bottom")
    ax.text(0.985, 0.75, "not to scale: distances across\nthe rail are drawn much larger", va="center", ha="right", color=_GREY)
    ax.set(xlim=(-0.03, 1.03), ylim=(-0.5, max(2.6, 2.1 + drawn / 2)))
    ax.set_axis_off()
    return Picture(fig, f"A camera on a rail at three places before a sloping subject; the depth that is sharp, {say(depth, 'um')}, is a "
                        f"band beside the rail. Over {say(travel, 'mm')} at {say(tilt_angle, 'deg', 2)} the subject leaves the middle of "
                        f"the band by {say(off / 2, 'um')} at either end, {say(off, 'um')} in all.")


@styled
def slope_load(mass, foot_distance, mass_height, marked):
    """Force along a slope that drive and motor must hold, against the slope, and the slope at which a free rig tips; marked: rad."""
    slopes = np.linspace(0, np.radians(60), 121)
    force = transmission.drive_force(mass, 0.0, slopes, 0.0, 0.0, 0.0, transmission.STANDARD_GRAVITY)
    tips = tilt.tipping_slope(foot_distance, mass_height)
    fig, ax = style.figure(2.9)
    fig.subplots_adjust(left=0.09, right=0.985, bottom=0.17, top=0.96)
    ax.plot(np.degrees(slopes), force, **bare("rig"))
    ax.axvspan(np.degrees(tips), 60, facecolor=COLOURS["orange"], alpha=0.3)
    ax.axvline(np.degrees(tips), **bare("limit"))
    ax.text(np.degrees(tips) + 0.6, 0.3, f"a rig that stands freely\ntips from {say(tips, 'deg')} on", va="bottom")
    held = transmission.drive_force(mass, 0.0, marked, 0.0, 0.0, 0.0, transmission.STANDARD_GRAVITY)
    ax.plot([np.degrees(marked)], [held], **LINES["shot"] | {"ms": 9})
    ax.text(np.degrees(marked) + 0.8, held, f"{say(marked, 'deg')}: {say(held, 'N')}", va="top")
    axis(ax.xaxis, "slope", "deg", (0, 60))
    axis(ax.yaxis, "force along the slope", "N", (0, None))
    return Picture(fig, f"Force along the slope of {say(mass, 'kg')} against the slope: {say(held, 'N')} at {say(marked, 'deg')}. A rig "
                        f"that stands freely tips from {say(tips, 'deg')} on.")


@styled
def lag_curves(accelerations, top, marked):
    """Lag behind a steady hand, and coast, against its speed, for several accelerations; marked: (m/s, m/s^2)."""
    speeds = np.linspace(0, top, 201)
    fig, ax = style.figure(3.0)
    fig.subplots_adjust(left=0.09, right=0.97, bottom=0.165, top=0.96)
    for acceleration, kind in zip(accelerations, LINES):
        lags = following.stopping_distance(speeds, acceleration, 0.0)
        ax.plot(speeds * 1e3, lags * 1e3, label=say(acceleration, "mm/s^2"), **bare(kind))
    lag = following.stopping_distance(*marked, 0.0)
    ax.plot([marked[0] * 1e3], [lag * 1e3], "o", color="black", ms=8)
    ax.annotate(say(lag, "mm"), (marked[0] * 1e3, lag * 1e3), (marked[0] * 1e3, 0.3 * ax.get_ylim()[1]), ha="center",
                arrowprops={"arrowstyle": "-", "color": _GREY}, bbox={"fc": "white", "ec": "none", "pad": 1})
    ax.legend(title="largest acceleration", loc="upper left")
    axis(ax.xaxis, "speed of the hand, on the rail", "mm/s", (0, top * 1e3))
    axis(ax.yaxis, "lag, and coast", "mm", (0, None))
    return Picture(fig, f"Lag and coast against the speed of the hand: curves that bend upwards, lower for a larger acceleration. At "
                        f"{say(marked[0], 'mm/s')} and {say(marked[1], 'mm/s^2')} it is {say(lag, 'mm')}.")
