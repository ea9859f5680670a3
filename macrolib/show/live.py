"""What runs in real time in a page: a carriage led by the reader's own hand, and a plan rehearsed.

The page keeps the time and asks; the kernel answers each question with the state of that moment. Nothing runs, and nothing
is sent, while nobody has pressed a key or moved the control.
"""

import html
from collections import namedtuple
from pathlib import Path

import anywidget
import traitlets

from macrolib.physics import following
from macrolib.show import figures, panels_hand
from macrolib.show.panel import Drawing
from macrolib.show.style import say

__all__ = ["Hand", "LiveHand", "RehearsalView"]

State = namedtuple("State", "set_point position speed behind coast moving")
_HERE = Path(__file__).parent
_LONGEST = 0.1  # s from one update to the next: a page that was asleep does not make the carriage leap
_POSITIONS = 72  # of the control in a turn: 5 degrees
_AT_REST = 1e-7  # m, m/s


class Hand:
    """A carriage led by readings of a control, one after the other; SI.

    start, end: marks on the rail; overrun: how far they may be overrun; switches: rail positions, never passed. None puts
    them a quarter of the way between the marks outside what may be overrun.
    """

    def __init__(self, max_speed, max_acceleration, travel_per_control_turn, start, end, overrun=0.0, switches=None,
                 mounted_reversed=False):
        self.max_speed, self.max_acceleration, self.marks = max_speed, max_acceleration, (start, end)
        room = overrun + abs(end - start) / 4
        self.switches = switches or (min(start, end) - room, max(start, end) + room)
        self.arrangement = travel_per_control_turn, self.marks, overrun, self.switches, mounted_reversed
        self.limits = following.hand_limits(travel_per_control_turn, start, end, overrun, self.switches, mounted_reversed)
        self.begin()

    @classmethod
    def of_plan(cls, plan, **changes):
        """The Hand of a hand-led move's Plan."""
        h, rail = plan.shot.hand_led, plan.rig.as_used.rail
        return cls(**{"max_speed": plan["speed"], "max_acceleration": plan["acceleration"], "start": h.start_mark, "end": h.end_mark,
                      "travel_per_control_turn": h.travel_per_control_turn, "overrun": h.overrun,
                      "switches": (rail.low_end_stop, rail.high_end_stop), "mounted_reversed": h.control == "opposite"} | changes)

    def begin(self, turns=0.0):
        """Put carriage and set-point on the start mark; the control stands at `turns`."""
        self.position = self.set_point = float(self.marks[0])
        self.speed, self._turns, self._time = 0.0, turns, None

    def step(self, time, turns):
        """State at a time (s, rising) at which the control reads `turns`. The first call sets the clock and moves nothing."""
        gap = 0.0 if self._time is None else min(max(time - self._time, 0.0), _LONGEST)
        self.set_point = following.next_set_point(self.set_point, turns - self._turns, self.limits)
        self._time, self._turns = time, turns
        if gap:
            moved = following.follow_step(self.position, self.speed, self.set_point, 0.0, gap, self.max_speed, self.max_acceleration)
            self.position, self.speed = map(float, moved)
        behind, coast = abs(self.set_point - self.position), following.stopping_distance(abs(self.speed), self.max_acceleration, 0.0)
        return State(self.set_point, self.position, self.speed, behind, coast, max(behind, abs(self.speed)) > _AT_REST)


def _words(state):
    behind, speed, coast = (round(abs(x), 7) for x in (state.behind, state.speed, state.coast))  # m: a tenth of a micrometre
    return (f"Set-point {say(state.set_point, 'mm', 4)}, carriage {say(state.position, 'mm', 4)}: {say(behind, 'mm')} behind, at "
            f"{say(speed, 'mm/s')}. Let go now, it would coast {say(coast, 'mm')}.")


class _Live(anywidget.AnyWidget):
    """What both have in common: questions from the page, answers of the kernel, a stored page that shows words and a picture."""

    _css = _HERE / "panel.css"
    fixed = traitlets.Dict().tag(sync=True)

    def __init__(self, **fixed):
        super().__init__(fixed=fixed)
        self.on_msg(self._on_message)

    def _on_message(self, _, content, buffers):
        try:
            answer = self.answer(content)
        except Exception as fault:  # whatever it is, the reader must see it: nobody looks into the kernel's log
            answer = {"words": "", "status": f"{type(fault).__name__}: {fault}", "running": False}
        self.send(answer)

    def _repr_mimebundle_(self, **options):
        bundle, about = super()._repr_mimebundle_(**options)
        text, picture = self.stored()
        note = html.escape(f"{text} It runs in a page with a running kernel.")
        return {**bundle, "text/plain": text, "text/html": f"<figure>{picture}<figcaption>{note}</figcaption></figure>"}, about


class LiveHand(_Live):
    """Turn the control in the page, and the carriage follows: set-point, carriage, lag and coast, many times a second.

    recorded: (times in s, turns) of a hand; a stored page shows what the carriage makes of it. None: panels_hand.TURN.
    """

    _esm = _HERE / "hand.js"

    def __init__(self, hand, recorded=None):
        self.hand, self.recorded = hand, recorded or panels_hand.TURN
        (start, end), (_, low, high), switches = hand.marks, hand.limits, sorted(hand.switches)
        beside, turns = 0.15 * abs(end - start), [-1, round(abs(end - start) / hand.arrangement[0]) + 1]
        view = [max(low - beside, switches[0]), min(high + beside, switches[1])]
        super().__init__(title="A carriage led by your hand", turns=turns, positions=_POSITIONS, view=view, marks=[start, end],
                         ends=[f"switch {say(x, 'mm')}" if x in switches else "" for x in view],
                         names=[f"start mark {say(start, 'mm')}", f"end mark {say(end, 'mm')}"], words=_words(hand.step(0.0, 0.0)))
        hand.begin()

    def answer(self, asked):
        """Answer to {what: "hand", time, turns}, which moves on, or {what: "back", ...}, which returns to the start mark."""
        if asked["what"] == "back":
            self.hand.begin(float(asked["turns"]))
        time = float(asked["time"])
        state = self.hand.step(time, float(asked["turns"]))
        return {**state._asdict(), "time": time, "words": _words(state), "status": ""}

    def stored(self):
        """(words, picture) of the recorded turn."""
        hand = self.hand
        found = panels_hand.led(*self.recorded, hand.max_speed, hand.max_acceleration, *hand.arrangement)
        words = f"{self.fixed['title']}. A recorded turn: {panels_hand.led_sentence(found)}"
        return words, Drawing(panels_hand.led_picture).still(found, words).html


class RehearsalView(_Live):
    """A Rehearsal with a progress bar, and buttons to start, stop and begin again."""

    _esm = _HERE / "rehearsal.js"

    def __init__(self, rehearsal):
        self.rehearsal, name = rehearsal, rehearsal.plan.shot.name or "the plan"
        super().__init__(title=f"Rehearsal of {name}, {rehearsal.faster:g} times as fast", **self.answer({}))

    def answer(self, asked):
        """Message for the page after {what: "start", "stop", "again" or "look"}."""
        if asked.get("what") in ("start", "stop", "again"):
            getattr(self.rehearsal, asked["what"])()
        now = self.rehearsal.now()
        place = "on its way to the home switch" if now.position is None else f"at {say(now.position, 'mm', 4)}"
        return {"what": now.what, "share": float(now.share), "running": bool(now.running), "status": "",
                "words": f"Carriage {place}; frame {now.frame} of {now.frames}; {say(now.left, 's' if now.left < 120 else 'min')} left."}

    def stored(self):
        """(words, picture) of what is rehearsed."""
        picture = figures.timeline([(part.what, part.start, part.start + part.seconds) for part in self.rehearsal.parts])
        return f"{self.fixed['title']}. {picture.alt}", picture.html
