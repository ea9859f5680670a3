"""The panels of sharpness: depth of field against diffraction, frames of a stack against the aperture."""

from collections import namedtuple

import numpy as np

from macrolib.physics import optics
from macrolib.show import style
from macrolib.show.figures_sharpness import GREEN_LIGHT, KEPT, MEASURES, STOPS, depth_text, depths
from macrolib.show.panel import Panel, Slider
from macrolib.show.style import COLOURS, LINES, axis, bare, ring, round_up, say, tag

__all__ = ["depth_of_field", "stack"]

MAGNIFICATION = Slider("magnification", "magnification", "1", 0.2, 10, 1.2, log=True)
PITCH = Slider("pixel_pitch", "pixel pitch", "um", 1, 10, 4)


# --- depth of field
Depth = namedtuple("Depth", "f_numbers depths contrast effective near far")  # arrays; the chosen f-number comes last
_F_NUMBERS = np.geomspace(1.4, 32, 64)
_F_NUMBER = Slider("f_number", "f-number, as marked", "1", 1.4, 32, 5.6, log=True)
_PUPIL = Slider("pupil_ratio", "pupil ratio, exit over entrance", "1", 0.5, 2, 1, log=True)
_FOCAL_LENGTH = 0.1  # m; it decides only how much near and far differ, far less than one percent close up


def _contrast(magnification, f_numbers, pupil_ratio, pixel_pitch):
    """What diffraction leaves, in focus, of a pattern of four pixels a period."""
    effective = optics.effective_f_number(f_numbers, magnification, pupil_ratio)
    return optics.diffraction_mtf(1 / (4 * pixel_pitch) / optics.cutoff_frequency(GREEN_LIGHT, effective))


def _depth_of_field(magnification, f_number, pupil_ratio, pixel_pitch):
    numbers = np.append(_F_NUMBERS, f_number)
    near, far = (side(magnification, f_number, pupil_ratio, 2 * pixel_pitch, _FOCAL_LENGTH)
                 for side in (optics.near_depth, optics.far_depth))
    return Depth(numbers, np.array(list(depths(magnification, numbers, pupil_ratio, pixel_pitch).values())),
                 _contrast(magnification, numbers, pupil_ratio, pixel_pitch),
                 optics.effective_f_number(f_number, magnification, pupil_ratio), near, far)


def _depth_of_field_sentence(d):
    sharp, geometric, wave, summed = map(depth_text, d.depths[:, -1])
    return (f"At f/{d.f_numbers[-1]:.3g}, effective f/{d.effective:.3g}, a frame is sharp over {sharp}. By other measures: geometric "
            f"{geometric} for a blur of 2 px, {depth_text(d.near)} before the focused plane and {depth_text(d.far)} behind; wave {wave}; "
            f"both added {summed}. Diffraction leaves {d.contrast[-1]:.0%} of the contrast of a pattern of 4 px.")


def _against_f_number(rows, height, ratios=None):
    """A figure with rows that share a logarithmic axis of f-numbers, and a moving line at the chosen one in each."""
    fig, axes = style.figure(height, rows, gridspec_kw={"height_ratios": ratios or [1] * rows})
    fig.subplots_adjust(left=0.125, right=0.975, bottom=0.105, top=0.975)
    for ax in axes:
        axis(ax.xaxis, "f-number, as marked", "1", (1.4, 32), log=True)
        ax.set_xticks(STOPS)
    return fig, axes, [ax.axvline(1.4, color="#666666", lw=1, ls=":") for ax in axes]


def _depth_of_field_picture():
    fig, (top, low, strip), marks = _against_f_number(3, 6.2)
    top.set(xlabel="")
    top.tick_params(labelbottom=False)
    marks.pop().remove()
    axis(top.yaxis, "depth of a frame", "um", (1, 1e5), log=True)
    axis(low.yaxis, "contrast of 4 px", "1", (0, 1.02))
    strip.set(xscale="linear", xlim=(-0.5, 0.5), ylim=(3.6, -0.6), xlabel="")  # depths as shares of the largest
    strip.set_xticks([0], ["focused plane; to the left, towards the lens"])
    strip.set_yticks(range(4), ["sharp", "geometric", "wave", "both added"])
    strip.grid(False)
    fig.align_ylabels((top, low))
    for ax, bottom, height in ((top, 0.655, 0.325), (low, 0.31, 0.31), (strip, 0.055, 0.155)):
        ax.set_position([0.125, bottom, 0.85, height])
    curves = [top.plot([], [], **LINES[kind] | {"markevery": 12, "markersize": 5}, label=label)[0] for kind, label in MEASURES.values()]
    top.legend(loc="upper left", handlelength=4)
    bars = strip.barh(range(4), 1, height=0.6, color=[LINES[kind]["color"] for kind, _ in MEASURES.values()], alpha=0.6)
    plane, = strip.plot([0, 0], [-0.6, 3.6], color="black", lw=1.5)
    loss, = low.plot([], [], **bare("rig"))
    points = [ring(ax) for ax in (top, low)]
    texts = [tag(top, va="top"), tag(low, va="bottom")]
    lengths = [strip.text(0.01, row, "", va="center") for row in range(4)]

    def update(d):
        here = d.depths[:, -1]
        for curve, values in zip(curves, d.depths):
            curve.set_data(_F_NUMBERS, values[:-1] * 1e6)
        loss.set_data(_F_NUMBERS, d.contrast[:-1])
        _mark(d.f_numbers[-1], marks, points, texts, (here[0] * 1e6, d.contrast[-1]),
              (depth_text(here[0]), f"{d.contrast[-1]:.0%} left by diffraction"), (0.6, 0.06))
        for bar, text, depth, near in zip(bars, lengths, here, [here[0] / 2, d.near, *here[2:] / 2]):
            bar.set(x=-near / here.max(), width=depth / here.max())
            text.set_text(depth_text(depth))

    return fig, [*marks, *curves, loss, *bars, plane, *points, *texts, *lengths], update


def _mark(f_number, marks, points, texts, heights, words, shifts):
    """Set the vertical lines, the rings and their labels at the chosen f-number; a log axis shifts by a factor below 1."""
    left = f_number < 7
    for mark, point, text, y, word, shift in zip(marks, points, texts, heights, words, shifts):
        mark.set_xdata([f_number] * 2)
        point.set_data([f_number], [y])
        place = y * shift if text.axes.get_yscale() == "log" else y + shift if y < 0.8 else y - 3 * shift
        text.set(text=word, x=f_number * (1.06 if left else 0.94), y=place, ha="left" if left else "right")


depth_of_field = Panel(
    _depth_of_field, "Depth of field and diffraction", [MAGNIFICATION, _F_NUMBER, _PUPIL, PITCH],
    _depth_of_field_picture, _depth_of_field_sentence,
    "Two charts against the f-number: the depth of a frame rises by four measures, the contrast of fine detail falls. Below, the "
    "four depths to scale.")


# --- the stack
Frames = namedtuple("Frames", "f_numbers depth spacing counts contrast time")  # as above


def _stack(depth, magnification, f_number, pupil_ratio, pixel_pitch, overlap, time_per_frame):
    numbers = np.append(_F_NUMBERS, f_number)
    view = (magnification, numbers, pupil_ratio, pixel_pitch)
    sharp = optics.sharp_depth(*view, GREEN_LIGHT, KEPT)
    spacing = optics.frame_spacing(sharp, overlap)
    counts = optics.frame_count(depth, sharp, overlap, ends_in_focus=True)
    contrast = _contrast(*view) * optics.edge_transfer(spacing, *view, GREEN_LIGHT)
    return Frames(numbers, depth, spacing[-1], counts, contrast, counts[-1] * time_per_frame)


def _time(f):
    return say(f.time, "min" if f.time >= 60 else "s")


def _stack_sentence(f):
    return (f"{f.counts[-1]} frames, {depth_text(f.spacing)} apart, cover {depth_text(f.depth)} at f/{f.f_numbers[-1]:.3g} in {_time(f)}. "
            f"Halfway between two frames, {f.contrast[-1]:.0%} of the contrast of a pattern of 4 px is left.")


def _stack_picture():
    fig, (top, low, strip), marks = _against_f_number(3, 5.6, [1.25, 1, 0.3])
    top.set(xlabel="")
    top.tick_params(labelbottom=False)
    marks.pop().remove()
    axis(top.yaxis, "frames", "1", (1, 1e5), log=True)
    axis(low.yaxis, "contrast of 4 px", "1", (0, 1.02))
    strip.set(xscale="linear", yticks=[])
    strip.grid(False)
    axis(strip.xaxis, "depth in the subject; each line is a frame in focus", "mm")
    fig.align_ylabels()
    for ax, bottom, height in ((top, 0.665, 0.31), (low, 0.31, 0.3), (strip, 0.095, 0.085)):
        ax.set_position([0.125, bottom, 0.85, height])
    curves = [ax.plot([], [], drawstyle=steps, **bare("rig"))[0] for ax, steps in ((top, "steps-mid"), (low, "default"))]
    body = strip.axvspan(0, 1, color=COLOURS["sky"], alpha=0.35)
    planes, = strip.plot([], [], color=COLOURS["blue"], lw=0.8)
    points = [ring(ax) for ax in (top, low)]
    texts = [tag(ax, va="bottom") for ax in (top, low)]
    last = []

    def update(f):
        curves[0].set_data(_F_NUMBERS, f.counts[:-1])
        curves[1].set_data(_F_NUMBERS, f.contrast[:-1])
        _mark(f.f_numbers[-1], marks, points, texts, (f.counts[-1], f.contrast[-1]),
              (f"{f.counts[-1]} frames, {_time(f)}", f"{f.contrast[-1]:.0%} halfway between frames"), (1.7, 0.06))
        body.set_width(f.depth * 1e3)
        at = np.minimum(np.arange(min(f.counts[-1], 600)) * f.spacing * max(1, f.counts[-1] / 600), f.depth) * 1e3
        planes.set_data(np.repeat(at, 3), [0, 1, np.nan] * at.size)
        changed, last[:] = last != [round_up(f.depth * 1e3)], [round_up(f.depth * 1e3)]
        if changed:
            strip.set(xlim=(-0.01 * last[0], last[0]), ylim=(0, 1))
        return changed

    return fig, [*marks, *curves, body, planes, *points, *texts], update


stack = Panel(
    _stack, "Frames of a stack against the aperture", [
        Slider("depth", "depth of the subject", "mm", 0.1, 20, 2, log=True),
        Slider("magnification", "magnification", "1", 0.2, 10, 3, log=True),
        Slider("f_number", "f-number, as marked", "1", 1.4, 32, 2.8, log=True), _PUPIL, PITCH,
        Slider("overlap", "overlap", "1", 0, 0.6, 0.2), Slider("time_per_frame", "time for each frame", "s", 0.5, 20, 3, log=True)],
    _stack_picture, _stack_sentence,
    "Two charts against the f-number: frames fall, and so does the contrast of fine detail. Below, the frames in the subject.")
