"""Colours that everybody can tell apart, axes with units, pictures with words."""

import io
import itertools
import subprocess
import sys

import matplotlib
import numpy as np
import pytest
from PIL import Image

from macrolib import units
from macrolib.show import style

# Machado, Oliveira and Fernandes 2009, IEEE TVCG 15, 1291, table for severity 1: linear RGB as seen with one cone missing.
SEEN_BY = {
    "everybody": np.eye(3),
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def _linear(colour):
    x = np.array(matplotlib.colors.to_rgb(colour))
    return np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1


def _lab(linear):
    """CIE 1976 L*a*b* under D65 (CIE 15)."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ linear / [0.9505, 1, 1.089]
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def _contrast_on_white(colour):
    return 1.05 / (_linear(colour) @ [0.2126, 0.7152, 0.0722] + 0.05)  # WCAG 2.2, definition of contrast ratio


@pytest.mark.parametrize("eyes", SEEN_BY)
def test_lines_differ_for_every_kind_of_eye(eyes):
    labs = [_lab(np.clip(np.array(SEEN_BY[eyes]) @ _linear(line["color"]), 0, 1)) for line in style.LINES.values()]
    nearest = min(np.linalg.norm(a - b) for a, b in itertools.combinations(labs, 2))
    assert nearest > 15, "a difference of about 2 is the least that can be seen side by side"


def test_lines_are_dark_enough_and_differ_without_colour():
    assert all(_contrast_on_white(line["color"]) >= 3 for line in style.LINES.values())  # WCAG 2.2, 1.4.11
    assert _contrast_on_white(style.COLOURS["sky"]) < 3  # the measure can fail
    for what in ("linestyle", "marker"):
        assert len({str(line[what]) for line in style.LINES.values()}) == len(style.LINES)


@pytest.mark.parametrize("name, unit", [("speed", ""), ("", "mm"), ("speed", None), ("speed", "furlong")])
def test_an_axis_without_a_unit_is_refused(name, unit):
    _, ax = style.figure(2)
    with pytest.raises(ValueError):
        style.axis(ax.xaxis, name, unit)


def _picture(alt="A line from 0 to 3 mm, rising all the way."):
    fig, ax = style.figure(2)
    ax.plot([0, 1], [0, 3])
    style.axis(ax.xaxis, "time", "s")
    style.axis(ax.yaxis, "position", "mm", (0, 4))
    return style.Picture(fig, alt)


def test_a_picture_carries_its_words_and_is_the_same_each_time():
    first, second = (style.styled(_picture)() for _ in range(2))
    bundle = first._repr_mimebundle_()
    assert bundle["text/plain"] == first.alt and f'alt="{first.alt}"' in bundle["text/html"]
    assert first.png == second.png and first.png.startswith(b"\x89PNG")
    assert 'alt="a &quot;quoted&quot; &lt;alt&gt; text"' in _picture('a "quoted" <alt> text').html


def test_a_picture_without_words_or_units_is_refused():
    with pytest.raises(ValueError, match="too short"):
        _picture("A line.")
    fig, ax = style.figure(2)
    style.axis(ax.xaxis, "time", "s")
    with pytest.raises(ValueError, match="an y axis without label"):
        style.Picture(fig, "A picture whose upright axis has numbers and no unit.")
    ax.set_yticks([0.2, 0.8], ["first", "second"])  # names need no unit
    assert style.Picture(fig, "A picture whose upright axis has names.").png


def test_the_readers_own_look_changes_nothing_and_is_left_alone():
    plain = style.styled(_picture)().png
    with matplotlib.rc_context({"font.size": 20, "axes.facecolor": "red", "lines.linewidth": 9}):
        assert style.styled(_picture)().png == plain
        assert matplotlib.rcParams["font.size"] == 20


@pytest.mark.parametrize("value, unit", [(1.25e-5, "um"), (0.02, "mm/s^2"), (8.0, "ohm"), (2.5e4, "kHz")])
def test_what_is_shown_can_be_typed(value, unit):
    assert units.parse(style.say(value, unit), unit) == pytest.approx(value)


def test_png_is_read_back_as_drawn():
    fig, _ = style.figure(2)
    fig.canvas.draw()
    read = np.asarray(Image.open(io.BytesIO(style.png(fig.canvas))))
    assert (read == np.asarray(fig.canvas.buffer_rgba())[..., :3]).all()


def test_round_up():
    assert [style.round_up(x) for x in (1, 1.01, 9, 0.0021, 123456)] == pytest.approx([1, 2, 10, 0.003, 200000])


def test_no_window_is_opened_and_nothing_is_kept_open():
    code = ("import sys; from macrolib.show import figures, panels; panels.trapezoid.still(); "
            "assert 'matplotlib.pyplot' not in sys.modules; print('clean')")
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "clean\n"


def test_a_picture_that_was_shown_is_kept_without_its_figure():
    figure, ax = style.figure(2)
    style.axis(ax.xaxis, "speed", "mm/s")
    style.axis(ax.yaxis, "time", "s")
    picture = style.Picture(figure, "speed over time, nothing drawn yet")
    assert picture.figure is figure and len(figure.axes) == 1
    first = picture._repr_mimebundle_()
    assert picture._repr_mimebundle_() == first and "data:image/png" in first["text/html"]
    assert figure.axes == []
    with pytest.raises(ValueError, match="make it again"):
        _ = picture.figure
