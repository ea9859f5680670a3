"""Pictures of a synthetic stack: its frames, the merged picture, the map of what is lost, the depths that stay soft."""

import matplotlib
import numpy as np
from matplotlib.collections import PolyCollection

from macrolib.show import style
from macrolib.show.style import LINES, Picture, axis, bare, say, styled

__all__ = ["compare_bands", "see_stack"]

# From dark, nothing lost, to light, all lost; white lines bound what stays soft. Made for every eye, and for grey print.
LOST = {"cmap": matplotlib.colormaps["cividis"].with_extremes(bad="white"), "vmin": 0.0, "vmax": 1.0}


def lost(seen):
    """The share of the transfer that is lost around each pixel, masked along the ends of the soft bands."""
    soft = seen.local < seen.stack.kept
    line = (soft != np.roll(soft, 1, 0)) | (soft != np.roll(soft, 1, 1))
    line[[0, -1]] = line[:, [0, -1]] = False
    return np.ma.masked_where(line, 1 - seen.local)


def describe(seen):
    """What a Seen shows, in words."""
    stack, count = seen.stack, len(seen.stack.positions)
    frames = "1 frame" if count == 1 else f"{count} frames"
    if not seen.bands:
        soft = f"No band of depth stays soft; the least share at any depth is {seen.worst:.0%}"
    else:
        low, high, _ = min(seen.bands, key=lambda band: band[2])
        many = f"{len(seen.bands)} bands of depth stay soft, the worst" if len(seen.bands) > 1 else "One band of depth stays soft,"
        soft = f"{many} from {say(low, 'um')} to {say(high, 'um')}, where {seen.worst:.0%} of the transfer is left"
    return (f"{frames}, {say(stack.spacing, 'um')} apart at f/{stack.f_number:.3g}: {seen.area:.0%} of the area keeps "
            f"{stack.kept:.0%} of the transfer. {soft} ({stack.predicted(stack.widest):.0%} predicted).")


def photo(ax, title, pixels=None, size=None, **look):
    """A grey picture without axes; returns the image, whose data can be changed."""
    ax.set_axis_off()
    ax.set_title(title, fontsize=10)
    return ax.imshow(np.zeros(size) if pixels is None else pixels, **{"cmap": "gray", "vmin": 0.15, "vmax": 0.85, **look})


def scale_bar(ax, stack):
    """A bar of a round length on the subject in the corner of a picture."""
    across = stack.size[1] * stack.pixel_pitch / stack.magnification
    length = style.round_up(across / 8)
    pixels, (x, y) = length / across * stack.size[1], (0.04 * stack.size[1], 0.955 * stack.size[0])
    ax.plot([x, x + pixels], [y, y], color="white", ls="-", lw=5, solid_capstyle="butt")
    ax.plot([x, x + pixels], [y, y], color="black", ls="-", lw=2.5, solid_capstyle="butt")
    ax.text(x, y - 0.03 * stack.size[0], say(length, "um"), bbox={"fc": "white", "ec": "none", "pad": 1.5})


def lost_scale(fig, image, place):
    """The scale of a map of what is lost, in axes at `place`, below the map."""
    bar = fig.colorbar(image, cax=fig.add_axes(place), orientation="horizontal", ticks=[0, 0.2, 0.4, 0.6, 0.8, 1])
    axis(bar.ax.xaxis, "transfer lost", "1")


def depth_axes(ax, depth, kept, low=0.0):
    """Axes for the share of the transfer against the depth, with a dotted line at the wanted share."""
    axis(ax.xaxis, "depth below the near end", "um", (0, max(depth, 1e-6) * 1e6))
    axis(ax.yaxis, "share of the transfer left", "1", (low, 1.05))
    ax.axhline(kept, **bare("limit"))


def shade(ax, bands=()):
    """Hatched grey over the depths that stay soft; returns the artist, for set_bands."""
    patch = ax.add_collection(PolyCollection([], fc="#DDDDDD", ec="#888888", hatch="//", lw=0, transform=ax.get_xaxis_transform()))
    set_bands(patch, bands)
    return patch


def set_bands(patch, bands):
    """Move the hatched grey to these bands."""
    patch.set_verts([np.array([[a, 0], [a, 1], [b, 1], [b, 0]]) * [1e6, 1] for a, b, _ in bands])


def places(seen):
    """(x, y) of the triangles that mark the frames, in um; those below the relief are left out."""
    x = np.array([z for z in seen.stack.positions.values() if z <= seen.stack.depth * 1.001]) * 1e6
    return x, np.zeros(x.size)


TRIANGLES = {"ls": "", "marker": "^", "ms": 6, "color": "black", "clip_on": False}


@styled
def see_stack(seen):
    """Three frames, the merged picture, the map of what is lost, and the share of the transfer against the depth."""
    stack, height = seen.stack, 5.75
    fig = style.Figure(figsize=(style.WIDTH, height))
    style.FigureCanvasAgg(fig)
    size = (0.3, 0.3 * style.WIDTH / height)
    for n, (number, picture) in enumerate(seen.frames.items()):
        ax = fig.add_axes([0.015 + 0.335 * n, 0.955 - size[1], *size])
        photo(ax, f"frame {number}, in focus at {say(max(stack.positions[number], 0), 'um')}", picture)
    scale_bar(fig.axes[0], stack)
    merged, loss = (fig.add_axes([x, 0.505 - size[1], *size]) for x in (0.015, 0.35))
    photo(merged, "merged", seen.merged)
    image = photo(loss, "lost; white: ends of soft bands", lost(seen), **LOST)
    lost_scale(fig, image, [0.35, 0.505 - size[1] - 0.03, size[0], 0.018])
    share = fig.add_axes([0.74, 0.505 - size[1], 0.24, size[1]])
    depth_axes(share, stack.depth, stack.kept, min(0, seen.worst))
    share.set(xlabel="depth (µm)", ylabel="share left (-)")
    shade(share, seen.bands)
    share.plot(seen.depths * 1e6, seen.shares, **bare("rig"))
    share.plot(*places(seen), **TRIANGLES)
    share.text(0.04, 0.06, "triangles: frames", transform=share.transAxes, bbox={"fc": "white", "ec": "none", "pad": 1.5})
    return Picture(fig, "Three frames of a synthetic stack, each sharp in one range of depth; the merged picture; a map of the "
                        f"transfer that it lost; the share that is left against the depth. {describe(seen)}")


@styled
def compare_bands(seens, names):
    """The share of the transfer against the depth for several stacks, one below the other, soft bands hatched."""
    fig, axes = style.figure(0.75 + 1.35 * len(seens), len(seens), squeeze=False, sharex=True)
    fig.subplots_adjust(left=0.105, right=0.98, bottom=0.55 / fig.get_figheight(), top=1 - 0.3 / fig.get_figheight(), hspace=0.42)
    low, depth = min(0.0, *(seen.worst for seen in seens)), max(seen.stack.depth for seen in seens)
    for ax, seen, name, line in zip(axes[:, 0], seens, names, list(LINES) * len(seens)):
        depth_axes(ax, depth, seen.stack.kept, low)
        ax.set_ylabel("share left (-)")
        ax.label_outer()
        shade(ax, seen.bands)
        ax.plot(seen.depths * 1e6, seen.shares, **bare(line))
        ax.plot(*places(seen), **TRIANGLES)
        ax.set_title(f"{name}: {seen.area:.0%} of the area keeps {seen.stack.kept:.0%} of the transfer", fontsize=10)
    counts = [f"{len(seen.bands)} soft band{'s' * (len(seen.bands) != 1)}" for seen in seens]
    words = "; ".join(f"{name}: {seen.area:.0%} of the area, least share {seen.worst:.0%}, {count}"
                      for seen, name, count in zip(seens, names, counts))
    return Picture(fig, f"Share of the transfer against the depth, triangles at the frames, soft bands hatched. {words}.")
