"""A check: one requirement with its figure, its limit, its margin and, where it does not hold, a mend that does.

A mend is found by trying: a knob (one key of the shot or the rig) is turned until the plan, made again, says
that the check holds. So every mend that is shown has been applied once.
"""

import dataclasses
import math

from macrolib import files, units
from macrolib.rig import PARTS
from macrolib.shot import TABLES

HOLDS, TIGHT, FAILS, NOT_COMPUTED = "holds", "tight", "fails", "not computed"
_BOUNDS = {"up": " or more", "down": " or less"}
_FACTORS = (1.05, 1.12, 1.2, *(1.3**n for n in range(1, 40)))  # how far a knob is turned, from a nudge to 28,000 times
_COMFORT = 1.25  # margin from which a check holds, unless it states another


@dataclasses.dataclass(frozen=True)
class Mend:
    """A number that makes a check hold: the key, its value in SI, and the same in words."""

    key: str  # such as 'shot.stack.spacing' or 'rig.controller.pulse_ceiling'
    value: float
    text: str


@dataclasses.dataclass(frozen=True)
class Check:
    """One requirement. figure and limit in SI; None where they cannot be computed; `why` says what that rests on.

    margin: limit / figure where the figure must be at most the limit, figure / limit where at least, so that above 1
    is good; with a limit of zero the difference instead (0 counts as kept). knobs: (key, "up" or "down" or a value) pairs to try.
    """

    name: str
    figure: float | None
    limit: float | None
    unit: str
    sense: str = "at most"
    enough: float = _COMFORT
    why: str = ""
    knobs: tuple = ()
    mend: Mend | None = None

    @property
    def margin(self):
        """Above 1 is good; None where it was not computed."""
        if self.figure is None or self.limit is None or math.isnan(self.figure) or math.isnan(self.limit):
            return None
        if self.limit == 0:
            return self.limit - self.figure if self.sense == "at most" else self.figure - self.limit
        if self.sense == "at least":
            return self.figure / self.limit
        return self.limit / self.figure if self.figure > 0 else math.inf

    @property
    def state(self):
        """holds, tight, fails or not computed."""
        margin = self.margin
        if margin is None:
            return NOT_COMPUTED
        if self.limit == 0:
            return HOLDS if margin >= 0 else FAILS
        return HOLDS if margin >= self.enough * (1 - 1e-9) else TIGHT if margin >= 1 - 1e-9 else FAILS

    def in_words(self):
        """'figure (at most limit)' with units."""
        nothing = None not in (self.figure, self.limit) and abs(self.figure) < 1e-6 * abs(self.limit)
        figure, limit = (_shown(x, self.unit) for x in (0.0 if nothing else self.figure, self.limit))
        return f"{figure} ({self.sense} {limit})"


def _shown(value, unit):
    if value is None or math.isnan(value):
        return "not computed"
    if not math.isfinite(value):
        return "no limit"
    return f"{value:,.0f} pulses/s".replace(",", " ") if unit == "1/s" else units.show(value, unit)


def verdict(checks):
    """The worst state of all checks, in the order holds, tight, not computed, fails."""
    order = (HOLDS, TIGHT, NOT_COMPUTED, FAILS)
    return max((c.state for c in checks), key=order.index, default=NOT_COMPUTED)


def knob(shot, rig, key):
    """(value, Key) of 'shot.table.name' or 'rig.table.name'; the value may be "auto" or None."""
    where, table, name = key.split(".")
    part = getattr(shot if where == "shot" else rig, table)
    return getattr(part, name), files.keys(type(part))[name]


def apply(shot, rig, key, value):
    """(shot, rig) with one key set to an SI value; a measured value of the rig is taken back for it."""
    where, table, name = key.split(".")
    holder = shot if where == "shot" else rig
    changes = {table: dataclasses.replace(getattr(holder, table), **{name: value})}
    if where == "rig":
        changes["measured"] = tuple(m for m in rig.measured if m[0] != f"{table}.{name}")
    changed = dataclasses.replace(holder, **changes)
    return (changed, rig) if where == "shot" else (shot, changed)


def find_mend(check, shot, rig, judge, start):
    """The first knob of a check, turned far enough that it holds, as a Mend; None if no knob does it.

    judge(shot, rig) -> checks of the plan made again; start(key) -> the value in use where the key says "auto".
    """
    for key, direction in check.knobs:
        described = knob(shot, rig, key)[1]

        def holds(trial, key=key, described=described):
            if not described.low <= trial <= described.high:
                return False
            try:
                again = judge(*apply(shot, rig, key, trial))
            except ValueError:
                return False
            return any(c.name == check.name and c.state == HOLDS for c in again)

        if direction in _BOUNDS:
            value = _turn(shot, rig, key, direction, holds, start)
        else:
            value = direction if holds(direction) else None
        if value is not None:
            return Mend(key, value, f"{key.split('.', 1)[1]} = {units.show(value, described.unit)}{_BOUNDS.get(direction, '')}")
    return None


def _turn(shot, rig, key, direction, holds, start):
    value, described = knob(shot, rig, key)
    value = start(key) if value in (files.AUTO, None) else value
    if value is None or (value <= 0 and direction == "down"):
        return None
    value = value if value > 0 else units.from_unit(1.0, described.unit)  # from zero the first try is one unit
    before = value
    for factor in _FACTORS:
        trial = _rounded(value * factor if direction == "up" else value / factor, described, direction)
        if not described.low <= trial <= described.high:
            return None
        if holds(trial):
            return _refine(trial, before, described, direction, holds)
        before = trial
    return None


def _refine(good, bad, described, direction, holds):
    for _ in range(5):  # closer to the least change that is enough
        trial = _rounded(math.sqrt(good * bad), described, direction)
        good, bad = (trial, bad) if holds(trial) else (good, trial)
    return good


def _rounded(value, described, direction):
    """Three digits in the unit of the key, away from the start, so that what is read is what was tried."""
    turn = math.ceil if direction == "up" else math.floor
    if described.kind == "whole":
        return turn(value)
    number = units.to_unit(value, described.unit)
    step = 10.0 ** (math.floor(math.log10(abs(number))) - 2) if number else 1.0
    return units.from_unit(float(f"{turn(number / step) * step:.6g}"), described.unit)


def described(name):
    """The meaning of 'table.key' in rig or shot, for tables and cards."""
    table, key = name.split(".")
    return files.keys({**PARTS, **TABLES}[table])[key].meaning
