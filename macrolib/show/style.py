"""One look for all pictures: colours, lines, axes that name their unit, and pictures that say what they show.

Colours: Okabe and Ito, Color Universal Design (2002), as printed by Wong, Nature Methods 8, 441 (2011). A colour never
stands alone: each kind of line has a dash pattern and a marker of its own, so that a grey print can be read.
"""

import base64
import ctypes
import functools
import html
import re
import struct
import sys
import zlib

import matplotlib.style
import numpy as np
from matplotlib import cycler
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import NullLocator

from macrolib import units

__all__ = ["COLOURS", "LINES", "Picture", "axis", "say", "styled"]

COLOURS = {"blue": "#0072B2", "vermillion": "#D55E00", "green": "#009E73", "purple": "#CC79A7", "black": "#000000",
           "sky": "#56B4E9", "orange": "#E69F00", "yellow": "#F0E442"}
"""The last three are too light for lines on white (contrast below 3); they fill areas that have an edge."""

FILLS = (("sky", ""), ("orange", "///"), ("green", ".."), ("purple", "xx"), ("yellow", "--"))
"""Colour and hatch of the parts of a stacked bar."""

LINES = {name: {"color": COLOURS[colour], "linestyle": dash, "marker": marker} for name, colour, dash, marker in (
    ("rig", "blue", "-", "o"), ("shot", "vermillion", "--", "s"), ("third", "green", "-.", "^"),
    ("fourth", "purple", (0, (5, 1, 1, 1, 1, 1)), "D"), ("limit", "black", (0, (1, 1.5)), "v"))}
"""Kinds of line: what the rig gives, what the shot needs, two more, and limits."""

def bare(kind, **more):
    """Style of a line of a kind, without its markers."""
    return {**LINES[kind], "marker": "", **more}


WIDTH = 7.5  # inches, and 96 of a browser's px each
_DPI = 128  # a third sharper than 96, for print and fine screens
_SAME_EVERYWHERE = {
    "font.family": "DejaVu Sans", "font.size": 10, "axes.titlesize": 11, "axes.titlelocation": "left", "axes.labelsize": 10,
    "axes.spines.top": False, "axes.spines.right": False, "axes.grid": True, "grid.color": "#DDDDDD", "grid.linewidth": 0.7,
    "axes.axisbelow": True, "lines.linewidth": 2, "lines.markersize": 6, "hatch.linewidth": 0.6, "legend.frameon": False,
    "figure.dpi": _DPI, "text.hinting": "none",  # text without hinting is drawn twice as quickly
    "axes.formatter.useoffset": False,
    "axes.prop_cycle": cycler(color=[line["color"] for line in LINES.values()])
    + cycler(linestyle=[line["linestyle"] for line in LINES.values()]),
}


def styled(function):
    """Run a drawing function in this look, whatever the reader's own settings of matplotlib are."""

    @functools.wraps(function)
    def inside(*args, **named):
        with matplotlib.style.context(["default", _SAME_EVERYWHERE]):
            return function(*args, **named)
    return inside


def figure(height, rows=1, columns=1, **ratios):
    """(Figure, axes) of full width and `height` in inches; axes as matplotlib's subplots gives them."""
    fig = Figure(figsize=(WIDTH, height))
    FigureCanvasAgg(fig)
    return fig, fig.subplots(rows, columns, **ratios)


def pretty(text):
    """Text with units in print spelling: µm, mm/s², Ω, °C. macrolib.units reads these spellings back."""
    text = re.sub(r"\bdegC\b", "°C", re.sub(r"\bum\b|(?<=\d )us\b|^us$", lambda m: "µ" + m[0][1], text))
    return re.sub(r"\bohm\b", "Ω", text).replace("^2", "²").replace("^3", "³")


def say(value, unit, digits=3):
    """An SI float as text with its unit, in print spelling."""
    return pretty(units.show(value, unit, digits))


def titled(name, unit):
    """'speed (mm/s)', 'margin (-)'; ValueError without a unit, or with one that macrolib.units does not know."""
    if not name or not unit:
        raise ValueError(f"{name or 'an axis'!r} needs a name and a unit; write '1' for a bare number")
    units.dimension(unit)
    return f"{name} ({'-' if unit == '1' else pretty(unit)})"


def axis(axis, name, unit, limits=None, log=False):
    """Name an axis with its unit; limits and ticks are in that unit. Refuses an axis without a unit."""
    axis.set_label_text(titled(name, unit))
    if log:
        axis._set_axes_scale("log")
        axis.set_major_formatter(lambda x, _: f"{x:,.10g}".replace(",", " "))
        axis.set_minor_locator(NullLocator())  # dozens of small ticks would take half of the time of a drawing
    if limits is not None:
        (axis.axes.set_xlim if axis.axis_name == "x" else axis.axes.set_ylim)(*limits)


def ring(axes):
    """A moving ring: the values that are chosen now."""
    return axes.plot([], [], marker="o", ms=13, mfc="none", mec="black", mew=2.5, ls="")[0]


def tag(axes, **place):
    """A moving label in a white box."""
    return axes.text(0, 0, "", weight="bold", bbox={"fc": "white", "ec": "#666666", "pad": 2.5, "alpha": 0.9}, **place)


def round_up(value, series=(1, 2, 3, 5, 10)):
    """The next round number at or above a positive value: axes then seldom change, which takes longest."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(next(step * power for step in series if step * power >= value * (1 - 1e-12)))


def png(canvas):
    """What a drawn Agg canvas shows, as PNG bytes (ISO/IEC 15948, no row filters): twice as quick as a general writer."""
    pixels = np.asarray(canvas.buffer_rgba())[..., :3]
    height, width, _ = pixels.shape
    rows = np.zeros((height, 1 + 3 * width), np.uint8)  # each row begins with its filter, 0 for none
    rows[:, 1:] = pixels.reshape(height, -1)
    chunks = ((b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)), (b"IDAT", zlib.compress(rows, 1)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
                                            for name, data in chunks)


def without_unit(fig):
    """Labels of the axes that show numbers but no unit; a picture must have none. (A list of names needs no unit.)"""
    sides = (side for axes in fig.axes if axes.axison for side in (axes.xaxis, axes.yaxis))
    return [side.get_label_text() or f"an {side.axis_name} axis without label" for side in sides
            if side.get_visible() and any(re.match(r"\W*\d", text.get_text()) for text in side.get_ticklabels())
            and not re.search(r"\(.+\)$", side.get_label_text())]


def _give_back():
    """Freed memory goes back to the system: the C library keeps it otherwise, and a class's kernels share one machine."""
    if sys.platform == "linux" and (trim := getattr(ctypes.CDLL(None), "malloc_trim", None)):
        trim(0)


class Picture:
    """A drawn picture with its text alternative; shown by a notebook as <img alt=...> and, in plain text, as the alt.

    `figure` is matplotlib's, until a notebook shows the picture: notebooks keep all they show, and figures are large.
    """

    def __init__(self, figure, alt):
        if len(alt) < 20:
            raise ValueError(f"the text alternative {alt!r} is too short to say what the picture shows")
        figure.canvas.draw()
        if missing := without_unit(figure):
            raise ValueError(f"axes without a unit: {', '.join(missing)}")
        self._figure, self._inches, self.alt, self.png = figure, figure.get_size_inches(), alt, png(figure.canvas)

    @property
    def figure(self):
        if self._figure is None:
            raise ValueError("this picture was shown and has let its figure go; make it again to change or save it")
        return self._figure

    @property
    def html(self):
        """An <img> that carries picture and text alternative and needs nothing from elsewhere."""
        width, height = (round(96 * inches) for inches in self._inches)
        data = base64.b64encode(self.png).decode()
        return (f'<img alt="{html.escape(self.alt)}" width="{width}" height="{height}" '
                f'style="max-width:100%;height:auto" src="data:image/png;base64,{data}">')

    def _repr_mimebundle_(self, **options):
        if self._figure is not None:
            self._figure.clear()  # takes its parts asunder: they hold each other, and would wait for the collector
            FigureCanvasAgg(self._figure)
            self._figure = None
            _give_back()
        return {"text/html": self.html, "text/plain": self.alt}
