"""Many plans at once: the functions of the planners on arrays of rigs and settings, a lane for each, and what becomes of their checks.

Formulas are masked: what is out of a formula's range is NaN, which counts as not computed. The motor's ripple is the closed form's.
"""

import contextvars
import dataclasses
from collections import namedtuple

import numpy as np

from macrolib.files import AUTO
from macrolib.formula import MASKING
from macrolib.planning import common, stack, traverse
from macrolib.rig import Rig

__all__ = []

KEPT, HELD = 20.0, 30.0  # least scores of a check that is tight, that holds
UNKNOWN, REFUSED = 10.0, -2e3  # of one that was not computed, of a plan that is refused; below UNKNOWN a check fails
_MOST_ROOM = 1e3  # more counts as this much
Judged = namedtuple("Judged", "refusals checks total moving_share")


class Lanes(Rig):
    """A Rig some values of which are arrays that broadcast. Two are never the same, so that what is known of one is kept with it."""

    __eq__, __hash__ = object.__eq__, object.__hash__

    @classmethod
    def of(cls, rig, **tables):
        """The rig with these tables in the place of its own."""
        return cls(**{f.name: getattr(rig, f.name) for f in dataclasses.fields(Rig)} | tables)

    @property
    def pulse_ceiling(self):
        """Most pulses per second that both controller and driver keep up."""
        return np.minimum(self.controller.pulse_ceiling, self.driver.pulse_ceiling)


def with_motion(shot, speed, kind, acceleration):
    """The shot with these in the place of all that says how it moves; whole moves have no acceleration of their own."""
    if shot.stack:
        return dataclasses.replace(shot, stack=dataclasses.replace(shot.stack, speed=speed, ramp=kind, acceleration=acceleration))
    acceleration = AUTO if kind in common.WHOLE else acceleration
    return dataclasses.replace(shot, traverse=dataclasses.replace(
        shot.traverse, speed=speed, ramp=kind, acceleration=acceleration, duration=AUTO, ramp_frames=None))


def motion_of(shot, rig):
    """(speed, kind of ramp, acceleration) that the plan of a shot on a rig as used has; ValueError for a hand-led move."""
    per_pulse = common.drive(rig).travel_per_pulse
    if shot.traverse:
        path = traverse._path(shot, rig, per_pulse)
        return path.speed, path.ramp, path.acceleration
    if not shot.stack:
        raise ValueError("only stacks and traverses are judged many at a time; this is a hand-led move")
    found = stack._motion(shot, rig, stack.focus_and_frames(shot, rig)[0], per_pulse)
    return found.speed, "trapezoid" if shot.stack.ramp == "auto" else shot.stack.ramp, found.acceleration


def judge(shot, rig, speed, kind, acceleration):
    """Judged of a stack or traverse whose rig, speed, acceleration (m/s, m/s^2) and marked f-number may be arrays that broadcast.

    refusals: [(where no plan is made, why)]; checks: as of a plan, with arrays of figures and limits, [] where all is refused.
    """
    context = contextvars.copy_context()
    context.run(MASKING.set, True)
    with np.errstate(all="ignore"):
        return context.run(_stack if shot.stack else _traverse, shot, rig, speed, kind, acceleration)


def _traverse(shot, rig, speed, kind, acceleration):
    shot, per_pulse, whole = with_motion(shot, AUTO, kind, AUTO), common.drive(rig).travel_per_pulse, kind in common.WHOLE
    if faults := shot.traverse.faults():
        return Judged([(np.True_, "; ".join(faults))], [], None, None)
    time = 0.0 if whole else traverse.ramp_time(speed, kind, acceleration)
    refusals = traverse.refusals(shot, per_pulse, speed, time)
    if any(np.all(where) for where, _ in refusals):
        return Judged(refusals, [], None, None)
    if not whole:  # what is refused is still computed, with a ramp that costs little
        time = np.where(refusals[-1][0], 1.0, time)
        acceleration = np.where(refusals[-1][0], traverse.ramp_time(speed, kind, 1.0), acceleration)
    timing, checks = traverse.judge(shot, rig, traverse.lay(shot, per_pulse, kind, speed, time, acceleration, {}), simulate=None)
    return Judged(refusals, checks, timing.total, timing.moving / timing.total)


def _stack(shot, rig, speed, kind, acceleration):
    focus, frames = stack.focus_and_frames(shot, rig)
    refusals = stack.refusals(frames)
    if any(np.all(where) for where, _ in refusals):
        return Judged(refusals, [], None, None)
    timing, checks = stack.judge(shot, rig, focus, frames, stack.lay(rig, focus.spacing, kind, speed, acceleration, ("", "")))
    return Judged(refusals, checks, timing.total, timing.moving / timing.total)


def margins(check):
    """(margin, room) of a Check with arrays, as Check.margin and drives have them; NaN where it was not computed.

    Room is the margin over the margin at which the check holds; where a limit is zero it is infinite, or what is missing.
    """
    figure, limit = (np.asarray(np.nan if x is None else x, float) for x in (check.figure, check.limit))
    least, zero = check.sense == "at least", limit == 0
    with np.errstate(all="ignore"):
        margin = figure / limit if least else np.where(figure > 0, limit / figure, np.inf)
    margin = np.where(zero, figure - limit if least else limit - figure, margin)
    margin = np.where(np.isnan(figure) | np.isnan(limit), np.nan, margin)
    return margin, np.where(zero, np.where(margin >= 0, np.inf, margin), margin / check.enough)


def score(check):
    """One number for state and room of a Check with arrays, so that the least of several is the worst: see KEPT and the others."""
    margin, room = margins(check)
    kept, holds = ((margin >= least * (1 - 1e-9)) | np.isposinf(room) for least in (1.0, check.enough))
    room = np.clip(room, -_MOST_ROOM, _MOST_ROOM)
    return np.select([np.isnan(margin), holds, kept], [UNKNOWN, HELD + room, KEPT + room], room).astype(np.float32)
