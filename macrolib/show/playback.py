"""A preview for the eye: a strip of frames with its numbers, files, and a film that plays only when its button is pressed."""

import html
import io
from pathlib import Path

import anywidget
import numpy as np
import traitlets
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from macrolib.files import write_whole
from macrolib.planning.preview import MOST_FLASHES
from macrolib.show import style
from macrolib.show.style import LINES, Picture, axis, bare, say, styled

__all__ = ["Player", "save", "strip"]

_GIF_FASTEST = 50  # frames per second: a GIF counts hundredths of a second, and browsers slow down what is below two


def pictures(preview):
    """The frames as 8-bit grey values, (frames, down, across), by the transfer curve of IEC 61966-2-1 (sRGB)."""
    light, knee = preview.shown, 0.0031308
    return np.rint(255 * np.where(light <= knee, 12.92 * light, 1.055 * np.maximum(light, knee)**(1 / 2.4) - 0.055)).astype(np.uint8)


def words(preview):
    """What a preview shows and how often it flashes, in a sentence or two."""
    speeds, calmed = preview.image_speeds, preview.flashes > MOST_FLASHES
    flashing = ("Contrast is reduced, so that nothing flashes" if calmed else
                f"At most {preview.flashes} flash{'es' * (preview.flashes != 1)} in any second were counted in it")
    return (f"{preview.times.size} frames at {say(preview.frame_rate, 'fps')}, {say(preview.times[0], 's')} to "
            f"{say(preview.times[-1], 's')} of the take: from frame to frame the picture moves {speeds.min():.3g} to "
            f"{speeds.max():.3g} px. {flashing}; {MOST_FLASHES} are allowed.")


@styled
def strip(preview, count=4):
    """Frames of a preview, spread over it, beside the motion from frame to frame and the place on the rail."""
    grey, chosen = pictures(preview), np.unique(np.linspace(0, preview.times.size - 1, count).round().astype(int))
    speeds = preview.image_speeds
    height = 0.45 + len(chosen) * 3.75 * preview.size[0] / preview.size[1]
    fig, (top, low) = style.figure(max(height, 3.0), 2, sharex=True)
    fig.subplots_adjust(left=0.62, right=0.985, bottom=0.55 / fig.get_figheight(), top=0.96, hspace=0.12)
    for row, number in enumerate(chosen):
        ax = fig.add_axes([0.0, 1 - (row + 1) / len(chosen), 0.5, 0.97 / len(chosen)])
        ax.set_axis_off()
        ax.imshow(grey[number], cmap="gray", vmin=0, vmax=255)
        ax.text(0.012, 0.94, f"frame {number + 1}, {say(preview.times[number], 's')}", transform=ax.transAxes, va="top",
                bbox={"fc": "white", "ec": "none", "pad": 1.5})
    begin, end = (preview.plan[name] for name in ("start_position", "end_position"))
    top.plot(preview.times[:-1], speeds, **bare("rig"))
    places = (begin + np.sign(end - begin) * preview.travel(preview.times)) * 1e3
    low.plot(preview.times, places, markevery=list(chosen), clip_on=False, **LINES["rig"])
    axis(top.yaxis, "picture moves", "px/frame", (min(0, 1.05 * speeds.min()), max(1.1 * speeds.max(), 0.1)))
    axis(low.yaxis, "place on the rail", "mm")
    axis(low.xaxis, "time in the take", "s", (preview.times[0], preview.times[-1]))
    fig.align_ylabels([top, low])
    return Picture(fig, f"{len(chosen)} frames of an invented texture that a traverse moves past the camera, below each other, beside them "
                        f"the motion of the picture from frame to frame and the place on the rail against time. {words(preview)}")


def film(preview, kind="png"):
    """Bytes of an animated picture, PNG or GIF, that plays once. The pauses are rounded so that the whole keeps its time."""
    if kind not in ("png", "gif") or kind == "gif" and preview.frame_rate > _GIF_FASTEST:
        raise ValueError(f"an animated picture is a png, or a gif up to {_GIF_FASTEST} frames per second; this is {kind!r} at "
                         f"{say(preview.frame_rate, 'fps')}")
    frames = [Image.fromarray(x) for x in pictures(preview)]
    ticks = 1 if kind == "png" else 10  # ms
    pauses = np.diff(np.rint(np.arange(len(frames) + 1) * 1e3 / preview.frame_rate / ticks)) * ticks
    plan = preview.plan
    about = f"macrolib {plan.version}, shot {plan.shot.name}, rig {plan.rig.name}, texture {preview.seed}. {words(preview)}"
    info, out = PngInfo(), io.BytesIO()
    info.add_text("Description", about)
    # An animation of PNG counts its plays; one of GIF without a count plays once.
    named = {"loop": 1, "pnginfo": info} if kind == "png" else {"comment": about}
    frames[0].save(out, format=kind, save_all=True, append_images=frames[1:], duration=[int(p) for p in pauses], **named)
    return out.getvalue()


def save(preview, folder, kind="png", stills=4, replace=False):
    """Write the animated picture and some stills into a folder; the paths. Whole or not at all, one by one.

    FileExistsError, before anything is written, when a file of that name is there and replace is False. A viewer that
    opens the animated picture plays it once: no more than three flashes a second, but a moving picture.
    """
    grey, name = pictures(preview), preview.plan.shot.name or "traverse"
    chosen = np.unique(np.linspace(0, len(grey) - 1, stills).round().astype(int)) if stills else []
    wanted = {Path(folder, f"{name}-preview.{kind}"): film(preview, kind)}
    for number in chosen:
        out = io.BytesIO()
        Image.fromarray(grey[number]).save(out, format="png")
        wanted[Path(folder, f"{name}-frame-{number + 1:04d}.png")] = out.getvalue()
    if not replace and (there := [path.name for path in wanted if path.exists()]):
        raise FileExistsError(f"{folder} holds {', '.join(there)} already; they are replaced only when asked")
    return [write_whole(path, content, replace) for path, content in wanted.items()]


class Player(anywidget.AnyWidget):
    """A preview in a notebook: its first frame, and a button that plays it once. Without a kernel, the strip is seen."""

    _esm, _css = (Path(__file__).with_name(name) for name in ("player.js", "panel.css"))
    fixed = traitlets.Dict().tag(sync=True)
    still = traitlets.Bytes().tag(sync=True)
    film = traitlets.Bytes().tag(sync=True)  # empty until it is asked for

    def __init__(self, preview):
        self.preview, out = preview, io.BytesIO()
        Image.fromarray(pictures(preview)[0]).save(out, format="png")
        seconds = preview.times.size / preview.frame_rate
        super().__init__(still=out.getvalue(), fixed={
            "title": "A traverse, seen before it is filmed", "sentence": words(preview), "seconds": seconds,
            "width": 2 * preview.size[1], "play": f"Play once ({seconds:.3g} s)"})
        self.on_msg(self._on_message)

    def _on_message(self, _, content, buffers):
        if content.get("what") == "play" and not self.film:
            self.film = film(self.preview)

    def _repr_mimebundle_(self, **options):
        bundle, about = super()._repr_mimebundle_(**options)
        picture = strip(self.preview)
        note = html.escape("The film plays in a page with a running kernel, and only when its button is pressed.")
        return {**bundle, "text/plain": picture.alt, "text/html": f"<figure>{picture.html}<figcaption>{note}</figcaption></figure>"}, about
