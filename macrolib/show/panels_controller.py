"""The panel of the pulse ceiling: how fast each program can move a rail."""

from collections import namedtuple

import numpy as np

from macrolib.controller import header
from macrolib.physics import transmission
from macrolib.show import style
from macrolib.show.figures_controller import PROGRAMS
from macrolib.show.panel import Panel, Slider
from macrolib.show.style import COLOURS, axis, bare, say

__all__ = ["top_speed"]

TopSpeed = namedtuple("TopSpeed", "per_pulse speeds wanted rate reach")
_RATES = np.array([header.RECORDED["programs"][name]["pulses_per_second"] for name in PROGRAMS], float)


def _top_speed(travel_per_turn, microsteps, share, speed):
    turn = 200 * microsteps  # pulses: full steps of 1.8 deg
    per_pulse = transmission.travel_per_pulse(travel_per_turn, turn)
    return TopSpeed(per_pulse, share * _RATES * per_pulse, speed, transmission.pulse_rate(speed, travel_per_turn, turn),
                    int(np.sum(share * _RATES * per_pulse >= speed)))


def _sentence(r):
    able = [name for name, speed in zip(PROGRAMS.values(), r.speeds) if speed >= r.wanted]
    return (f"A pulse is {say(r.per_pulse, 'um')}, so {say(r.wanted, 'mm/s')} ask for {say(r.rate, 'kHz')}. "
            f"{r.reach} of {len(PROGRAMS)} programs keep that up" + (f": {'; '.join(able)}." if able else "."))


def _picture():
    fig, ax = style.figure(3.4)
    fig.subplots_adjust(left=0.33, right=0.97, bottom=0.16, top=0.98)
    places = np.arange(len(PROGRAMS))[::-1]
    axis(ax.xaxis, "top speed", "mm/s", (0.01, 1000), log=True)
    ax.set(yticks=places, yticklabels=PROGRAMS.values(), ylim=(-0.6, len(PROGRAMS) - 0.4))
    ax.grid(False, axis="y")
    bars = ax.barh(places, [1.0] * len(PROGRAMS), 0.6, color=COLOURS["sky"], edgecolor="black", hatch="//")
    words = [ax.text(1, place, "", va="center", bbox={"fc": "white", "ec": "none", "pad": 1}) for place in places]
    wanted, = ax.plot([], [], **bare("shot"))

    def update(r):
        for bar, text, speed in zip(bars, words, r.speeds * 1e3):
            bar.set_width(speed)
            text.set(x=min(max(speed, 0.01), 250) * 1.1, text=f"{speed:.3g}" + (" keeps up" if speed >= r.wanted * 1e3 else " too slow"))
        wanted.set_data([r.wanted * 1e3] * 2, ax.get_ylim())
        return False

    return fig, [*bars, wanted, *words], update


top_speed = Panel(
    _top_speed, "Top speed of six programs", [
        Slider("travel_per_turn", "travel for one turn", "mm", 0.5, 40, 2, log=True),
        Slider("microsteps", "microsteps", "1", 1, 256, 16, choices=(1, 2, 4, 8, 16, 32, 64, 128, 256)),
        Slider("share", "share of the ceiling that is used", "1", 0.3, 1, 0.8),
        Slider("speed", "wanted speed", "mm/s", 0.1, 100, 10, log=True)],
    _picture, _sentence, "Bars: how fast each program can move the carriage; the dashed line is the speed that is wanted.")
