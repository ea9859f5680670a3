"""Pictures of sharpness, each a style.Picture; lengths in m, frequencies in 1/m at the sensor, f-numbers as marked."""

import numpy as np

from macrolib.physics import optics
from macrolib.show import style
from macrolib.show.style import COLOURS, LINES, Picture, axis, bare, say, styled

__all__ = ["blur_budget", "defocused", "depth_by_magnification", "depth_measures", "depths", "front", "geometry_and_waves"]

GREEN_LIGHT, KEPT = 550e-9, 0.8  # m, the middle of what the eye sees; share of the transfer in focus at a frame's edge, as in plans
STOPS = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32)
MEASURES = {"sharp": ("rig", f"sharp depth: {KEPT:.0%} of the transfer kept"), "geometric": ("shot", "geometric depth: blur of 2 px"),
            "wave": ("third", "wave depth: a quarter wave"), "summed": ("fourth", "the last two added")}  # kind of line, name


def depths(magnification, f_number, pupil_ratio, pixel_pitch, wavelength=GREEN_LIGHT):
    """{measure: total depth of one frame in m} for the names in MEASURES; all arguments broadcast."""
    view, blur = (magnification, f_number, pupil_ratio), 2 * pixel_pitch
    numerical = optics.aperture(magnification, pupil_ratio, f_number=f_number).numerical_aperture
    return {"sharp": optics.sharp_depth(*view, pixel_pitch, wavelength, KEPT), "geometric": optics.depth_of_field(*view, blur),
            "wave": optics.wave_depth(wavelength, numerical, 1.0),
            "summed": optics.microscope_depth(wavelength, numerical, 1.0, magnification, blur)}


def depth_text(value):
    """A depth as text, in mm where um would need four digits."""
    return say(value, "um" if value < 0.9995e-3 else "mm")


def _chart(height):
    fig, ax = style.figure(height)
    fig.subplots_adjust(left=0.115, right=0.975, bottom=0.5 / height, top=1 - 0.1 / height)
    return fig, ax


@styled
def depth_measures(magnification, pupil_ratio, pixel_pitch, f_number):
    """Depth of one frame by the four measures, against the f-number; dots at `f_number`."""
    fig, ax, numbers = *_chart(3.9), np.geomspace(STOPS[0], STOPS[-1], 120)
    curves, here = (depths(magnification, n, pupil_ratio, pixel_pitch) for n in (numbers, float(f_number)))
    for name, (kind, label) in MEASURES.items():
        ax.plot(numbers, curves[name] * 1e6, **bare(kind), label=f"{label}: {depth_text(here[name])}")
        ax.plot(f_number, here[name] * 1e6, **LINES[kind] | {"linestyle": ""})
    ax.axvline(f_number, color="#666666", lw=1, ls=":")
    axis(ax.xaxis, "f-number, as marked", "1", (STOPS[0], STOPS[-1]), log=True)
    ax.set_xticks(STOPS)
    axis(ax.yaxis, "depth of a frame", "um", log=True)
    ax.legend(title=f"at f/{f_number:.3g}", loc="upper left", alignment="left", handlelength=4)
    words = "; ".join(line.get_label() for line in ax.lines[:-1:2])
    return Picture(fig, f"Depth of one frame against the f-number at magnification {magnification:g}. At f/{f_number:.3g}: {words}.")


@styled
def depth_by_magnification(f_numbers, pupil_ratio, pixel_pitch):
    """Sharp depth of one frame against the magnification, a line for each f-number."""
    fig, ax, m, ends = *_chart(3.6), np.geomspace(0.2, 10, 120), []
    for number, kind in zip(f_numbers, LINES):
        depth = depths(m, number, pupil_ratio, pixel_pitch)["sharp"]
        ax.plot(m, depth * 1e6, **bare(kind))
        ax.text(1.05, np.interp(1.05, m, depth) * 1.2e6, f"f/{number:g}", color=LINES[kind]["color"], weight="bold")
        ends.append(f"f/{number:g} {depth_text(np.interp(1, m, depth))} at 1:1, {depth_text(depth[-1])} at 10:1")
    axis(ax.xaxis, "magnification", "1", (m[0], m[-1]), log=True)
    ax.set_xticks([0.2, 0.5, 1, 2, 3, 5, 10])
    axis(ax.yaxis, "sharp depth of a frame", "um", log=True)
    return Picture(fig, f"Sharp depth of one frame against the magnification, both logarithmic; lines fall: {'; '.join(ends)}.")


@styled
def defocused(waves=(0, 0.25, 0.5, 1)):
    """Transfer against the share of the cutoff for some defocus (waves, W020); below, stripes that grow finer, seen through each."""
    q, fine = np.linspace(0, 1, 401), np.linspace(0, 1, 1600)
    curves = {"in focus" if w == 0 else f"{w:g} wave{'s' if w > 1 else ''}": optics.defocused_otf(q, w) for w in waves}
    fig, (top, *strips) = style.figure(5.4, 1 + len(waves), sharex=True, height_ratios=[7, *[1] * len(waves)])
    fig.subplots_adjust(left=0.13, right=0.975, bottom=0.095, top=0.98, hspace=0.12)
    top.axhspan(-0.2, 0, color=COLOURS["yellow"], alpha=0.35, lw=0)
    top.text(0.99, -0.165, "below 0: bright and dark change places", ha="right")
    axis(top.yaxis, "transfer", "1", (-0.2, 1))
    stripes = np.cos(2 * np.pi * (2 * fine + 22 * fine**2))
    for (name, curve), kind, ax in zip(curves.items(), LINES, strips):
        top.plot(q, curve, **bare(kind), label=name)
        ax.imshow(stripes[None] * np.interp(fine, q, curve), cmap="gray", vmin=-0.4, vmax=0.4, aspect="auto", extent=(0, 1, 0, 1))
        ax.text(-0.012, 0.5, name, ha="right", va="center")
        ax.yaxis.set_visible(False)
        ax.grid(False)
    top.legend(title="defocus at the pupil's edge", loc="upper right", alignment="left", handlelength=4)
    axis(ax.xaxis, "frequency, as a share of the lens's cutoff; stripes with contrast x 2.5", "1", (0, 1))
    words = "; ".join(f"{name}: {np.interp(0.2, q, curve):.2f}" for name, curve in curves.items())
    return Picture(fig, f"Transfer against frequency: lines fall from 1, more steeply with more defocus. At 0.2 of the cutoff: {words}. "
                        "Below, stripes seen through each: they turn grey, and where the line is below 0 dark and bright are exchanged.")


@styled
def geometry_and_waves(share):
    """Transfer against defocus at one frequency (share of the cutoff): exact, and twice from the geometric blur disc."""
    waves = np.linspace(1e-4, 1.5, 301)
    disc = optics.disc_otf(share, 8 * waves)  # the blur disc measures 8 W wavelengths times N_e
    curves = {"exact: diffraction and defocus together": ("rig", optics.defocused_otf(share, waves)), "blur disc alone": ("third", disc),
              "blur disc times diffraction: counts twice": ("shot", disc * optics.diffraction_mtf(share))}
    fig, ax = _chart(3.6)
    for name, (kind, curve) in curves.items():
        ax.plot(waves, curve, **bare(kind), label=name)
    ax.axvline(0.25, color="#666666", lw=1, ls=":", label="a quarter wave")
    axis(ax.xaxis, "defocus at the edge of the pupil, in wavelengths", "1", (0, waves[-1]))
    axis(ax.yaxis, f"transfer at {share:g} of the cutoff", "1", (-0.15, 1.02))
    ax.legend(loc="upper right", handlelength=4)
    words = "; ".join(f"{name} {np.interp(0.25, waves, curve):.3f}" for name, (_, curve) in curves.items())
    return Picture(fig, f"Transfer at {share:g} of the cutoff against defocus. At a quarter wave: {words}.")


def _left(transfer):
    return "not computed" if transfer is None else "over 99%" if 0.995 <= transfer < 1 else f"{transfer:.0%}"


@styled
def blur_budget(budget):
    """What each cause of a planning Budget leaves of the contrast, and its width in px; the largest with its mend."""
    names, tall = [*(c.name for c in budget.causes), "all together"], 1.55 + 0.34 * len(budget.causes)
    rows = [*((c.transfer, c.pixels) for c in budget.causes), (budget.total, None)]
    fig, (left, right) = style.figure(tall, 1, 2, sharey=True, width_ratios=[1.7, 1])
    fig.subplots_adjust(left=0.285, right=0.975, bottom=0.52 / tall, top=1 - 0.6 / tall, wspace=0.42)
    for row, (transfer, pixels) in enumerate(rows):
        if transfer is None:
            left.barh(row, 1, height=0.62, facecolor="white", edgecolor="#666666", hatch="///")
            left.text(0.5, row, "not computed", ha="center", va="center", bbox={"fc": "white", "ec": "none", "pad": 2})
            continue
        left.barh(row, 1 - transfer, left=transfer, height=0.62, facecolor=COLOURS["orange"], edgecolor=COLOURS["vermillion"], alpha=0.5)
        left.barh(row, transfer, height=0.62, facecolor=COLOURS["sky" if row < len(rows) - 1 else "blue"], edgecolor=COLOURS["blue"])
        left.text(1.02, row, _left(transfer), va="center")
        if pixels is not None:
            right.barh(row, pixels, height=0.4, facecolor=COLOURS["sky"], edgecolor=COLOURS["blue"])
            right.text(pixels, row, "  under 0.01" if pixels < 0.01 else f"  {pixels:.2g}", va="center")
    left.set(yticks=range(len(rows)), yticklabels=names, ylim=(len(rows) - 0.4, -0.6))
    for ax in (left, right):
        ax.grid(False, axis="y")
        ax.tick_params(left=False, labelleft=ax is left)
    axis(left.xaxis, f"transfer at {say(budget.frequency, '1/mm')}; orange is taken", "1", (0, 1))
    axis(right.xaxis, "width at the sensor", "px", (0, 1.3 * max(1, *(pixels or 0 for _, pixels in rows))))
    mend = budget.mend and style.pretty(budget.mend.text), budget.largest and budget.largest.name
    said = [f"{what}: {words}." for what, words in zip(("Largest that can be mended", "Mend"), mend[::-1]) if words]
    fig.text(0.012, 1 - 0.06 / tall, "\n".join(said), weight="bold", va="top")
    words = "; ".join(f"{name} {_left(transfer)}" for name, (transfer, _) in zip(names, rows))
    return Picture(fig, f"Blur budget at {say(budget.frequency, '1/mm')} on the sensor, what each cause leaves: {words}. {' '.join(said)}")


@styled
def front(choice, chosen=None, limit=None):
    """Frames against transfer for a planning.front Choice, f-numbers along it; chosen: (frames, transfer, words); limit: most frames."""
    frames, wanted, numbers = (values[choice.frames > 0] for values in (choice.frames, choice.wanted, choice.f_number))
    fig, ax = _chart(4.0)
    axis(ax.xaxis, "frames", "1", log=True)
    ax.fill_between(frames, wanted, 1, color=COLOURS["orange"], alpha=0.18, lw=0)
    ax.plot(frames, wanted, **bare("rig"))
    ax.text(0.07, 0.95, "out of reach: no aperture does this", transform=ax.transAxes, va="top")
    marked = []
    for stop in sorted(x for x in {*STOPS, float(numbers.min())} if numbers.min() <= x <= numbers.max()):
        at = int(np.argmax(numbers <= stop * (1 + 1e-9)))
        ax.plot(frames[at], wanted[at], **LINES["rig"] | {"linestyle": ""})
        ax.annotate(f"f/{stop:.3g}", (frames[at], wanted[at]), (-4, 5), textcoords="offset points", ha="right", weight="bold")
        marked.append(f"f/{stop:.3g}: {frames[at]} frames, {wanted[at]:.0%}")
    if limit is not None:
        ax.axvline(limit, **bare("limit"))
        ax.text(limit, 0.02, f"limit: {limit} frames ", transform=ax.get_xaxis_transform(), ha="right")
    if chosen is not None:
        ax.plot(*chosen[:2], **LINES["shot"] | {"linestyle": "", "markersize": 10})
        ax.annotate(chosen[2], chosen[:2], (10, -6), textcoords="offset points", va="top", bbox={"fc": "white", "ec": "none", "pad": 1})
        marked.append(f"{chosen[2]}: {chosen[1]:.0%}")
    ax.set_xticks([x * 10**k for k in range(7) for x in (1, 2, 5) if ax.get_xlim()[0] <= x * 10**k <= ax.get_xlim()[1]])
    axis(ax.yaxis, "transfer at the edge of a frame's depth", "1", (0, 1.15 * wanted.max()))
    return Picture(fig, f"Transfer against the number of frames: rising, then level, with falling f-numbers. {'; '.join(marked)}.")
