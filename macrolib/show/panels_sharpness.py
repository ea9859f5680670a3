"""The panel of aperture and spacing together: the fewest frames for a wanted transfer, and what a limit of frames allows."""

from collections import namedtuple
from types import SimpleNamespace

import numpy as np
from matplotlib.patches import Rectangle

from macrolib.files import AUTO
from macrolib.physics import optics
from macrolib.planning.front import fewest_frames
from macrolib.show import style
from macrolib.show.figures_sharpness import GREEN_LIGHT, STOPS, depth_text
from macrolib.show.panel import Panel, Slider
from macrolib.show.panels_focus import PITCH
from macrolib.show.style import COLOURS, axis, bare, ring, tag

__all__ = ["aperture_and_spacing"]

Trade = namedtuple("Trade", "frames transfer f_numbers wanted chosen f_number spacing limit best best_f_number focused widest")
_APERTURES, _NARROWEST, _PUPILS = 64, 32.0, 1.0  # few apertures, so that a redraw stays well under 0.3 s
_GRID = 0.02 + 0.97 * np.sin(np.linspace(0, np.pi / 2, 36))  # shares of what is left in focus at the widest aperture
_MOST = 10_000  # frames that the chart shows


def _aperture_and_spacing(depth, magnification, wanted, most_frames, widest, pixel_pitch):
    shot = SimpleNamespace(picture=SimpleNamespace(magnification=magnification, wavelength=GREEN_LIGHT, frequency=AUTO),
                           stack=SimpleNamespace(near_end=0.0, far_end=depth, overlap=0.0))
    rig = SimpleNamespace(lens=SimpleNamespace(pupil_ratio=_PUPILS, lowest_f_number=widest, highest_f_number=_NARROWEST),
                          camera=SimpleNamespace(pixel_pitch=pixel_pitch))
    effective = optics.effective_f_number(widest, magnification, _PUPILS)
    focused = optics.diffraction_mtf(1 / (4 * pixel_pitch) / optics.cutoff_frequency(GREEN_LIGHT, effective))
    line = fewest_frames(shot, rig, np.maximum(focused * _GRID, 1e-6), apertures=_APERTURES)
    there = line.frames > 0
    frames, transfer, numbers = 1 + depth / line.spacing[there], line.wanted[there], line.f_number[there]
    one = fewest_frames(shot, rig, wanted)
    best = [np.interp(np.log(most_frames), np.log(frames), y, left=0.0) for y in (transfer, numbers)] if there.any() else [0.0, 0.0]
    return Trade(frames, transfer, numbers, wanted, int(one.frames[0]), float(np.nan_to_num(one.f_number[0])), float(one.spacing[0]),
                 round(most_frames), *map(float, best), focused, widest)


def _verdict(t):
    return "out of reach" if not t.chosen else "too many frames" if t.chosen > t.limit else "within the limit"


def _stop(t, number):
    return f"f/{number:.2g}{', the widest' if number < t.widest * 1.02 else ''}"


def _aperture_and_spacing_sentence(t):
    if t.chosen:
        first = (f"To keep {t.wanted:.0%} of the contrast of a pattern of 4 px at the edge of each frame's depth, the fewest frames are "
                 f"{t.chosen}, {depth_text(t.spacing)} apart, at {_stop(t, t.f_number)}: {_verdict(t)} of {t.limit}.")
    else:
        first = f"No aperture keeps {t.wanted:.0%}: at f/{t.widest:.2g}, the widest, diffraction leaves {t.focused:.0%} even in focus."
    most = f"the most is {t.best:.0%}, at {_stop(t, t.best_f_number)}" if t.best > 0 else "less than 3% of that can be kept"
    return f"{first} With {t.limit} frames {most}."


def _aperture_and_spacing_picture():
    fig, ax = style.figure(4.6)
    fig.subplots_adjust(left=0.1, right=0.96, bottom=0.11, top=0.975)
    axis(ax.xaxis, "frames", "1", (1, _MOST), log=True)
    axis(ax.yaxis, "transfer at the edge of a frame's depth", "1", (0, 1))
    box = ax.add_patch(Rectangle((1, 0), 1, 1, facecolor="#FBF6C3", edgecolor=COLOURS["vermillion"], linestyle="--", linewidth=2))
    corner = ax.text(0.015, 0.965, "wanted: this corner", transform=ax.transAxes, va="top", color="#8A3B00", weight="bold")
    ax.text(0.985, 0.03, "above the line: out of reach\non it: the f-numbers that need the fewest frames",
            transform=ax.transAxes, ha="right", color=COLOURS["blue"])
    line, = ax.plot([], [], **bare("rig"))
    dots, = ax.plot([], [], "o", color=COLOURS["blue"], ms=5)
    names = [ax.text(0, 0, f"f/{stop:g}", fontsize=9, ha="left", va="top", clip_on=True) for stop in (*STOPS, 0)]
    here, label = ring(ax), tag(ax)

    def update(t):
        line.set_data(t.frames, t.transfer)
        box.set_bounds(1, t.wanted, t.limit - 1, 1 - t.wanted)
        names[-1].set_text(f"f/{t.widest:.2g}, the widest")
        rank, places = np.arange(t.f_numbers.size), []
        for name, stop in zip(names, (*STOPS, 0)):  # the f-numbers fall along the line down to the widest aperture
            seen = rank.size > 0 and (stop == 0 or t.widest * 1.1 < stop <= t.f_numbers.max())
            name.set_visible(seen)
            if seen:
                at = np.interp(-stop, -t.f_numbers, rank) if stop else np.argmax(t.f_numbers < t.widest * 1.02)
                places.append([np.interp(at, rank, values) for values in (t.frames, t.transfer)])
                name.set_position((places[-1][0] * 1.1, places[-1][1] - 0.012))
        dots.set_data(*np.array(places).reshape(-1, 2).T)
        at = min(max(t.chosen, 1), _MOST * 0.9)
        here.set_data([at] * bool(t.chosen), [t.wanted] * bool(t.chosen))
        words = f"{t.chosen} frames, {depth_text(t.spacing)} apart,\n{_stop(t, t.f_number)}: {_verdict(t)}" if t.chosen else (
            f"{t.wanted:.0%} is out of reach:\n{t.focused:.0%} is left in focus at f/{t.widest:.2g}")
        left = at < 60
        label.set(text=words, x=at * (1.35 if left else 0.74), y=min(t.wanted + 0.03, 0.85), ha="left" if left else "right", va="bottom")

    return fig, [box, corner, line, dots, *names, here, label], update


aperture_and_spacing = Panel(
    _aperture_and_spacing, "Aperture and spacing together", [
        Slider("depth", "depth of the subject", "mm", 0.1, 20, 2, log=True),
        Slider("magnification", "magnification", "1", 0.5, 10, 3, log=True),
        Slider("wanted", "transfer wanted", "1", 0.05, 0.8, 0.3),
        Slider("most_frames", "most frames", "1", 5, 1000, 100, log=True),
        Slider("widest", "widest f-number, as marked", "1", 1.4, 8, 2.8, log=True), PITCH],
    _aperture_and_spacing_picture, _aperture_and_spacing_sentence,
    "Transfer against frames: a line that rises and levels off, with f-numbers along it; wanted is the corner at the upper left.")
