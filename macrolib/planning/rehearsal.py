"""Rehearse a plan: a stack or a traverse played in real time, or faster, without a rig; it can be stopped and resumed.

A Rehearsal keeps no thread and waits for nothing: whoever shows it asks `now()` as often as he likes. Its clock is passed
in, so that a test can play an hour in no time.
"""

import bisect
import dataclasses
import time

__all__ = ["Rehearsal"]


@dataclasses.dataclass(frozen=True)
class Moment:
    """What happens at one moment; SI. position is None while the carriage is on its way to the home switch."""

    what: str
    position: float | None
    frame: int  # 0 before the first
    frames: int
    elapsed: float  # of the plan's own time
    left: float
    share: float
    running: bool


@dataclasses.dataclass(frozen=True)
class _Part:
    """A part of the plan: from `start` on for `seconds`, the carriage from one place to another."""

    what: str
    start: float
    seconds: float
    origin: float | None
    goal: float
    move: object = None  # a Move; without one the carriage is shown at a steady speed
    frames: tuple = (0, 0.0)  # number at its beginning, frames per second

    def place(self, t):
        """Position after t seconds of this part."""
        if self.origin is None:
            return None
        share = self.move.position(t) / self.move.distance if self.move and self.move.distance else t / self.seconds
        return float(self.origin + share * (self.goal - self.origin))


class Rehearsal:
    """A Plan in time. faster: plan seconds for a second of the clock; clock: a function that returns seconds and rises.

    parts: what happens, one after the other, each with `what`, `start` and `seconds`; total: seconds of the whole plan.
    """

    def __init__(self, plan, faster=1.0, clock=time.monotonic):
        if plan.shot.kind not in _PARTS or not 0 < faster < float("inf"):
            raise ValueError(f"a stack or a traverse can be rehearsed, at a rate above 0; this is {plan.shot.kind!r}, {faster}")
        self.plan, self.faster, self._clock = plan, faster, clock
        self.parts = list(_PARTS[plan.shot.kind](plan))
        self._starts = [part.start for part in self.parts]
        self.total = self.parts[-1].start + self.parts[-1].seconds
        self._frames, self._done, self._since = len(plan.schedule["frame"][1]), 0.0, None

    def start(self):
        """Start, or go on where it was stopped; at the end nothing more happens."""
        if self._since is None:
            self._since = self._clock()

    def stop(self):
        """Stop; `start` resumes."""
        self._done, self._since = self._elapsed(), None

    def again(self):
        """Stop, and back to the beginning."""
        self._done, self._since = 0.0, None

    def _elapsed(self):
        run = 0.0 if self._since is None else (self._clock() - self._since) * self.faster
        return min(self._done + run, self.total)

    def now(self):
        """The Moment that the clock says."""
        elapsed = self._elapsed()
        part = self.parts[max(0, bisect.bisect_right(self._starts, elapsed) - 1)]
        inside = min(elapsed - part.start, part.seconds)
        first, rate = part.frames
        frame = min(first + int(inside * rate * (1 + 1e-12)), self._frames)
        return Moment(part.what, part.place(inside), frame, self._frames, elapsed, self.total - elapsed, elapsed / self.total,
                      self._since is not None and elapsed < self.total)


def _in_a_row(parts, start=0.0):
    """_Parts from (what, seconds, origin, goal, move, frames), one after the other; those of no length are left out."""
    for what, seconds, *rest in parts:
        if seconds > 1e-9:
            yield _Part(what, start, float(seconds), *rest)
            start += float(seconds)


def _approach(plan, until):
    """The way to the first frame, and the wait there `until` (s) is reached."""
    q = plan["travel_per_pulse"]
    way = [(what, seconds, None if a is None else a * q, b * q) for what, a, b, seconds in plan.approach]
    return [*way, ("wait", until - sum(step[1] for step in way), way[-1][3], way[-1][3])]


def _stack_parts(plan):
    numbers, places, arrive, trigger, ready = (plan.schedule[n][1] for n in ("frame", "position", "arrive", "trigger", "ready"))
    parts = _approach(plan, arrive[0])
    for k, (number, place) in enumerate(zip(range(1, len(numbers) + 1), places)):
        parts += [("settle", trigger[k] - arrive[k], place, place, None, (number, 0.0)),
                  ("expose and write", ready[k] - trigger[k], place, place, None, (number, 0.0))]
        if number < len(numbers):
            parts.append(("move", arrive[k + 1] - ready[k], place, places[k + 1], plan.moves["between frames"], (number, 0.0)))
    return _in_a_row(parts)


def _traverse_parts(plan):
    t, back, settle, start, end = plan.shot.traverse, *(plan[n] for n in ("return_time", "settling_wait", "start_position", "end_position"))
    take = plan["duration"], start, end, plan.moves["take"], (1, t.frame_rate)
    first = plan["total_time"] - t.takes * plan["duration"] - (t.takes - 1) * (back + settle)
    parts = [*_approach(plan, first), ("take 1", *take)]
    for number in range(2, t.takes + 1):
        parts += [("return run", back, end, start), ("wait", settle, start, start), (f"take {number}", *take)]
    return _in_a_row(parts)


_PARTS = {"stack": _stack_parts, "traverse": _traverse_parts}
