"""The panels of axial moves and of tilt: a push-in frame by frame, a rail beside its subject."""

from collections import namedtuple

import numpy as np

from macrolib.physics import optics, screen, tilt
from macrolib.show import style
from macrolib.show.figures_sharpness import GREEN_LIGHT, KEPT
from macrolib.show.panel import Panel, Slider
from macrolib.show.panels_focus import MAGNIFICATION, PITCH
from macrolib.show.style import COLOURS, axis, bare, round_up, say, tag

__all__ = ["push_in", "tilted"]

_FRAMES = 8  # video frames of the push-in that are drawn

# --- a push-in
Push = namedtuple("Push", "shift depth sharp_frames scale radii moved streaks seconds")
_HALF_WIDTH = 3000  # px from the centre to the edge of an invented sensor


def _push_in(speed, magnification, f_number, focal_length, frame_rate, shutter_angle):
    pupil, radii = optics.entrance_pupil_distance(focal_length, magnification, 1.0), np.linspace(0, _HALF_WIDTH, 31)
    shift = screen.axial_shift(speed, frame_rate)
    depth = optics.sharp_depth(magnification, f_number, 1.0, 4e-6, GREEN_LIGHT, KEPT)
    exposure = screen.exposure_time(shutter_angle, frame_rate)
    return Push(shift, depth, depth / shift, optics.scale_change(shift, focal_length, magnification, 1.0), radii,
                screen.radial_blur(radii, speed, 1 / frame_rate, pupil), screen.radial_blur(radii, speed, exposure, pupil), exposure)


def _push_in_sentence(p):
    gap = "" if p.sharp_frames >= 1 else f" Slices of {say(p.shift - p.depth, 'mm')} are sharp in no frame."
    return (f"From frame to frame the focus moves by {say(p.shift, 'um')}; {say(p.depth, 'um')} are sharp, so a plane stays sharp for "
            f"{p.sharp_frames:.2g} frames.{gap} A plane's picture grows by {100 * p.scale:.2g} % a frame: not at all in the centre, by "
            f"{p.moved[-1]:.3g} px at the edge, {p.streaks[-1]:.3g} px of it as a streak in {say(p.seconds, 'ms')}.")


def _push_in_picture():
    fig, (left, right) = style.figure(3.7, 1, 2)
    fig.subplots_adjust(left=0.09, right=0.985, bottom=0.14, top=0.93, wspace=0.24)
    axis(left.xaxis, "distance from the centre", "px", (0, _HALF_WIDTH))
    axis(left.yaxis, "motion", "px")
    axis(right.xaxis, "depth in the subject", "mm")
    axis(right.yaxis, "video frame", "1", (_FRAMES + 0.6, 0.4))
    left.set_title("a point of one plane", fontsize=10)
    right.set_title("sharp in each frame", fontsize=10)
    kinds = {"from frame to frame": "rig", "streak within a frame": "shot"}
    moved, streak = (left.plot([], [], label=label, **bare(kind))[0] for label, kind in kinds.items())
    left.legend(loc="upper left", handlelength=3)
    bars = right.barh(range(1, _FRAMES + 1), 1, height=0.8, color=COLOURS["sky"], edgecolor=COLOURS["blue"])
    text, last = tag(right, transform=right.transAxes, ha="right", va="top"), []

    def update(p):
        moved.set_data(p.radii, p.moved)
        streak.set_data(p.radii, p.streaks)
        for k, bar in enumerate(bars):
            bar.set(x=(k * p.shift - p.depth / 2) * 1e3, width=p.depth * 1e3)
        text.set(text=f"sharp for {p.sharp_frames:.2g} frames", x=0.98, y=0.96)
        scales = [round_up(p.moved[-1]), round_up(1e3 * (_FRAMES * p.shift + p.depth / 2)), round_up(500 * p.depth)]
        changed, last[:] = scales != last, scales
        if changed:
            left.set_ylim(0, 1.3 * scales[0])
            right.set_xlim(-1.05 * scales[2], scales[1])
        return changed

    return fig, [moved, streak, *bars, text], update


push_in = Panel(
    _push_in, "A push-in, frame by frame", [
        Slider("speed", "speed towards the subject", "mm/s", 0.1, 50, 4, log=True), MAGNIFICATION,
        Slider("f_number", "marked f-number", "1", 2, 32, 11, log=True),
        Slider("focal_length", "focal length", "mm", 20, 200, 90, log=True),
        Slider("frame_rate", "frame rate", "fps", 24, 60, 25, choices=(24, 25, 30, 48, 50, 60)),
        Slider("shutter_angle", "shutter angle", "deg", 45, 360, 180)],
    _push_in_picture, _push_in_sentence, "Left, motion and streak of a point against its distance from the centre; right, the depth "
    f"that is sharp in each of {_FRAMES} frames as bars.")

# --- a rail beside its subject
Tilted = namedtuple("Tilted", "depth travel off width across allowed shim slack")


def _tilted(tilt_angle, travel, foot_spacing, sensor_tilt, magnification, f_number, pixel_pitch):
    depth = optics.sharp_depth(magnification, f_number, 1.0, pixel_pitch, GREEN_LIGHT, KEPT)
    width = 6000 * pixel_pitch
    off, across = tilt.misalignment(travel, tilt_angle), tilt.sensor_misalignment(width, magnification, sensor_tilt)
    slack = depth - off - across  # both share the one depth
    left = max(depth - across, 1e-3 * depth)
    return Tilted(depth, travel, off, width / magnification, across, tilt.misalignment.solve_for("tilt_angle")(left, travel),
                  tilt.shim_height(foot_spacing, tilt_angle), slack)


def _tilted_sentence(r):
    verdict = (f"{say(r.slack, 'um')} of the sharp depth of {say(r.depth, 'um')} are left" if r.slack >= 0 else
               f"together {say(-r.slack, 'um')} more than the sharp depth of {say(r.depth, 'um')}")
    return (f"Over the travel the focus runs off by {say(r.off, 'um')}, across the picture by {say(r.across, 'um')}: {verdict}. "
            f"The rail may be off by {say(r.allowed, 'deg', 2)}; a shim of {say(r.shim, 'mm', 2)} under one end makes it parallel.")


def _tilted_picture():
    fig, axes = style.figure(3.7, 1, 2, sharey=True)
    fig.subplots_adjust(left=0.105, right=0.985, bottom=0.14, top=0.93, wspace=0.07)
    axis(axes[0].yaxis, "subject out of focus by", "um")
    for ax, name in zip(axes, ("travel", "place across the picture, on the subject")):
        axis(ax.xaxis, name, "mm")
        ax.axhline(0, **bare("limit", linewidth=1))
    axes[0].set_title("shaded: sharp; focus set in the middle", fontsize=10)
    bands = [ax.axhspan(-1, 1, facecolor=COLOURS["yellow"], alpha=0.45) for ax in axes]
    lines, last = [ax.plot([], [], **bare(kind))[0] for ax, kind in zip(axes, ("rig", "shot"))], []
    text = tag(axes[1], transform=axes[1].transAxes, ha="right", va="top")

    def update(r):
        for band in bands:
            band.set(y=-r.depth * 5e5, height=r.depth * 1e6)
        for line, length, off in zip(lines, (r.travel, r.width), (r.off, r.across)):
            line.set_data([0, length * 1e3], [-off * 5e5, off * 5e5])
        text.set(text=f"{'all stays' if r.slack >= 0 else 'not all is'} sharp\nshim {say(r.shim, 'mm', 2)}", x=0.98, y=0.96)
        scales = [round_up(5.5e5 * max(r.depth, r.off, r.across)), r.travel, r.width]
        changed, last[:] = scales != last, scales
        if changed:
            axes[0].set(ylim=(-scales[0], scales[0]), xlim=(0, r.travel * 1e3))
            axes[1].set_xlim(0, r.width * 1e3)
        return changed

    return fig, [*bands, *lines, text], update


tilted = Panel(
    _tilted, "A rail that is not parallel to its subject", [
        Slider("tilt_angle", "angle between rail and subject", "deg", 0, 2, 0.2), Slider("travel", "travel", "mm", 2, 300, 60, log=True),
        Slider("foot_spacing", "distance between the feet", "mm", 50, 1000, 400, log=True),
        Slider("sensor_tilt", "angle between sensor and subject", "deg", 0, 2, 0.1), MAGNIFICATION,
        Slider("f_number", "marked f-number", "1", 2, 32, 8, log=True), PITCH],
    _tilted_picture, _tilted_sentence, "Focus error along the travel and across the picture as sloping lines, the sharp depth as a band.")
