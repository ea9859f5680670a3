"""The panel of soft bands: a small synthetic stack, merged, and what stays soft in it."""

import dataclasses
from collections import namedtuple

from macrolib.planning.synthetic import SyntheticStack
from macrolib.show import figures_synthetic as draw
from macrolib.show import style
from macrolib.show.panel import Panel, Slider
from macrolib.show.style import bare

__all__ = ["soft_bands"]

DEPTH = 0.3e-3  # m, of the relief: about ten frames of the bench rig at three times life size
_MISSED = tuple(range(9))
Trial = namedtuple("Trial", "seen missed")


def _soft_bands(spacing, f_number, position_error, missed):
    stack = SyntheticStack(3.0, f_number, spacing, DEPTH, pupil_ratio=1.1, position_error=position_error)
    if missed in stack.positions:
        stack = dataclasses.replace(stack, missed=(int(missed),))
    return Trial(stack.see(), int(missed))


def _sentence(trial):
    if not trial.missed:
        missed = ""
    elif trial.missed in trial.seen.stack.missed:
        missed = f"Without frame {trial.missed}: "
    else:
        missed = f"There is no frame {trial.missed} to miss. "
    return missed + draw.describe(trial.seen)


def _picture():
    any_one, height = SyntheticStack(3.0, 4.0, 1e-4, DEPTH), 5.75
    fig = style.Figure(figsize=(style.WIDTH, height))
    style.FigureCanvasAgg(fig)
    wide = (0.44, 0.44 * style.WIDTH / height)
    left, right = (fig.add_axes([x, 0.955 - wide[1], *wide]) for x in (0.03, 0.53))
    merged = draw.photo(left, "merged picture", size=any_one.size)
    lost = draw.photo(right, "what it lost; white lines: ends of soft bands", size=any_one.size, **draw.LOST)
    draw.scale_bar(left, any_one)
    draw.lost_scale(fig, lost, [0.53, 0.955 - wide[1] - 0.03, wide[0], 0.018])
    share = fig.add_axes([0.105, 0.085, 0.865, 0.16])
    draw.depth_axes(share, DEPTH, any_one.kept, -0.3)
    share.set_ylabel("share left (-)")
    bands, line = draw.shade(share), share.plot([], [], **bare("rig"))[0]
    frames, = share.plot([], [], **draw.TRIANGLES)
    area = fig.text(0.03, 0.335, "", weight="bold", va="center")

    def update(trial):
        seen = trial.seen
        merged.set_data(seen.merged)
        lost.set_data(draw.lost(seen))
        draw.set_bands(bands, seen.bands)
        line.set_data(seen.depths * 1e6, seen.shares)
        frames.set_data(*draw.places(seen))
        area.set_text(f"{seen.area:.0%} of the area keeps {seen.stack.kept:.0%} of the transfer")

    return fig, [merged, lost, bands, line, frames, area], update


soft_bands = Panel(
    _soft_bands, "Soft bands between the frames of a stack", [
        Slider("spacing", "frame spacing", "um", 10, 120, 30, log=True),
        Slider("f_number", "f-number, as marked", "1", 1.4, 16, 3.4, log=True),
        Slider("position_error", "position error, standard deviation", "um", 0, 20, 0),
        Slider("missed", "missed frame, 0 for none", "1", 0, 8, 0, choices=_MISSED)],
    _picture, _sentence,
    "The merged picture of a synthetic stack at three times life size, a map of the transfer that it lost, and the share of the "
    "transfer that is left against the depth, with triangles at the frames.")
