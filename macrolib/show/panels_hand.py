"""The panel of hand-led moves: what a carriage makes of a recorded turn of the hand."""

from collections import namedtuple

import numpy as np

from macrolib.physics import following, ramps, transmission
from macrolib.show import style
from macrolib.show.panel import Panel, Slider
from macrolib.show.style import axis, bare, round_up, say, tag

__all__ = ["TURN", "hand", "led"]

Led = namedtuple("Led", "times points places marks switches top asked lag late way", defaults=("",))
_T = np.linspace(0, 10, 301)
TURN = _T, sum(ramps.minimum_jerk(turns, seconds).position(_T - begin)
               for begin, seconds, turns in ((0.5, 2, 3.2), (3.3, 0.8, -0.6), (4.8, 2.6, 5.6), (8.2, 0.8, -0.7)))
"""An invented turn of the hand, 30 times a second: (times in s, turns): on, a little back, on past the end, and back to it."""
_NEAR, _FAR, _ROOM = 40e-3, 100e-3, 10e-3  # m: marks, and how far outside them the switches are
_WAYS = ("The end mark lies ahead of the start mark. ", "The end mark lies behind the start mark. ",
         "The control is mounted the other way and the plan does not know: away from the end it goes. ",
         "The control is mounted the other way and the plan knows. ")


def led(times, turns, max_speed, max_acceleration, travel_per_control_turn, marks, overrun, switches, mounted_reversed):
    """Led: what a carriage makes of a recorded turn, SI; see following.follow and following.hand_set_points."""
    points = following.hand_set_points(turns, travel_per_control_turn, *marks, overrun, switches, mounted_reversed)
    places = following.follow(times, points, max_speed, max_acceleration)
    moving = np.flatnonzero(np.abs(points - places) > 1e-4)
    rests = times[np.flatnonzero(np.diff(points))[-1] + 1] if np.ptp(points) else times[0]
    asked = np.abs(np.diff(turns) / np.diff(times)).max() * travel_per_control_turn
    late = max(0.0, times[moving[-1]] - rests) if moving.size else 0.0
    return Led(np.asarray(times), points, places, marks, switches, max_speed, asked,
               following.stopping_distance(min(asked, max_speed), max_acceleration, 0.0), late)


def _hand(microsteps, pulse_ceiling, acceleration, travel_per_control_turn, pace, overrun, arrangement):
    top = 0.8 * pulse_ceiling * transmission.travel_per_pulse(10e-3, 200 * microsteps)
    times = TURN[0] * np.abs(np.gradient(TURN[1], TURN[0])).max() / pace
    marks = (_FAR, _NEAR) if arrangement == 2 else (_NEAR, _FAR)
    turns = -TURN[1] if arrangement >= 3 else TURN[1]
    found = led(times, turns, top, acceleration, travel_per_control_turn, marks, overrun, (_NEAR - _ROOM, _FAR + _ROOM), arrangement == 4)
    return found._replace(way=_WAYS[int(arrangement) - 1])


def led_sentence(r):
    """What a Led shows, in words."""
    behind = np.abs(r.points - r.places).max()
    short = "" if r.asked <= r.top else ": more than the carriage can do"
    return (f"{r.way}The hand asks for up to {say(r.asked, 'mm/s')}, the carriage does at most {say(r.top, 'mm/s')}{short}. It is up to "
            f"{say(behind, 'mm')} behind and arrives {say(r.late, 's', 2)} after the hand has come to rest; behind a steady hand it lags "
            f"{say(r.lag, 'mm')}. The set-point goes from {say(r.points.min(), 'mm')} to {say(r.points.max(), 'mm')}.")


def led_picture():
    """(figure, moving artists, update) for a Led."""
    fig, (top, low) = style.figure(4.6, 2, sharex=True, height_ratios=[1.5, 1])
    fig.subplots_adjust(left=0.095, right=0.985, bottom=0.11, top=0.93, hspace=0.1)
    axis(top.yaxis, "place on the rail", "mm")
    axis(low.yaxis, "carriage behind", "mm")
    axis(low.xaxis, "time", "s")
    kinds = {"set-point: the hand": "shot", "carriage": "rig"}
    points, places = (top.plot([], [], label=label, **bare(kind))[0] for label, kind in kinds.items())
    off, = low.plot([], [], **bare("rig"))
    marks = [top.axhline(0, **bare("limit", linewidth=1.3)) for _ in range(2)]
    top.legend(loc="lower center", bbox_to_anchor=(0.5, 0.985), ncols=2, handlelength=4, borderaxespad=0.1)
    names = [tag(top, ha=side, va="center", fontsize=9) for side in ("right", "left")]
    bars = [top.axhspan(-1, 0, facecolor="#DDDDDD", edgecolor="#888888", hatch="//") for _ in range(2)]
    way, last = low.text(0.01, 0.04, "", transform=low.transAxes, fontsize=9), []

    def update(r):
        way.set_text(r.way)
        low_end, high_end = (x * 1e3 for x in r.switches)
        behind = (r.points - r.places) * np.sign(r.marks[1] - r.marks[0]) * 1e3
        points.set_data(r.times, r.points * 1e3)
        places.set_data(r.times, r.places * 1e3)
        off.set_data(r.times, behind)
        for line, text, place, word, x in zip(marks, names, r.marks, ("start mark", "end mark"), (0.985, 0.015)):
            line.set_ydata([place * 1e3] * 2)
            text.set(text=word, x=x * r.times[-1], y=place * 1e3)
        span = 0.06 * (high_end - low_end)
        for bar, edge in zip(bars, (low_end - span, high_end)):
            bar.set(y=edge, height=span)
        scales = [r.times[-1], low_end - span, high_end + span, round_up(1.05 * max(np.abs(behind).max(), 0.1))]
        changed, last[:] = scales != last, scales
        if changed:
            top.set(xlim=(0, scales[0]), ylim=scales[1:3])
            low.set_ylim(-scales[3], scales[3])
        return changed

    return fig, [*bars, *marks, points, places, off, *names, way], update


hand = Panel(
    _hand, "A carriage led by a recorded turn", [
        Slider("microsteps", "microsteps", "1", 1, 256, 32, choices=(1, 2, 4, 8, 16, 32, 64, 128, 256)),
        Slider("pulse_ceiling", "pulse ceiling", "kHz", 4, 200, 40, log=True),
        Slider("acceleration", "largest acceleration", "mm/s^2", 2, 500, 40, log=True),
        Slider("travel_per_control_turn", "travel for one turn of the control", "mm", 1, 20, 8),
        Slider("pace", "quickest turning of the hand", "turn/s", 0.3, 4, 1.5),
        Slider("overrun", "overrun of the marks allowed", "mm", 0, 20, 3),
        Slider("arrangement", "end ahead 1, behind 2; control reversed, unknown 3, known 4", "1", 1, 4, 1, choices=(1, 2, 3, 4))],
    led_picture, led_sentence,
    "Above, set-point and carriage against time between the switches, hatched; below, how far the carriage is behind.")
