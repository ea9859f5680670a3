"""A check: one requirement with its figure, its limit, its margin and, where it does not hold, a mend that does.

A mend is found by trying: a knob (one key of the shot or the rig) is turned until the plan, made again, says
that the check holds and no other check is worse than before. So every mend that is shown has been applied once.
"""

import dataclasses
import functools
import math
from collections import namedtuple

from macrolib import files, units
from macrolib.physics import optics
from macrolib.rig import PARTS
from macrolib.shot import TABLES

HOLDS, TIGHT, FAILS, NOT_COMPUTED = "holds", "tight", "fails", "not computed"
_ORDER = (HOLDS, TIGHT, NOT_COMPUTED, FAILS)
NO_MEND = "no single number was found that mends it"
_BOUNDS = {"up": " or more", "down": " or less"}
_FACTORS = (1.05, 1.12, 1.2, 1.35, 1.6, 2, 2.6, 3.5, 5, 8, 15, 40, 150, 1000, 3e4)  # how far a knob is turned
_NEARER, _CLOSE = 6, 0.02  # tries towards the least turn that is enough; share of it that is near enough
_MOST_SKIPPED = 4  # steps of which one is tried at least
_IN_VAIN, _FURTHER = 3, slice(2, 9)  # tries after which what improves nothing is skipped; steps beyond what helps but breaks a check
_APERTURES, _POWERS_OF_TWO = ("f_number", "effective_f_number", "numerical_aperture"), "rig.driver.microsteps"
_COMFORT = 1.25  # margin from which a check holds, unless it states another


@dataclasses.dataclass(frozen=True)
class Mend:
    """A number that makes a check hold: the key, its value in SI, and the same in words."""

    key: str  # such as 'shot.stack.spacing' or 'rig.controller.pulse_ceiling'
    value: float
    text: str
    breaks: tuple = ()  # names of other checks that are worse with it; the text names them too


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
    return max((c.state for c in checks), key=_ORDER.index, default=NOT_COMPUTED)


def knob(shot, rig, key):
    """(value, Key) of 'shot.table.name' or 'rig.table.name'; the value may be "auto" or None; of a rig it is the measured one."""
    where, table, name = key.split(".")
    part = getattr(shot if where == "shot" else rig.as_used, table)
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


def find_mend(check, shot, rig, judge, settings, before=(), partly=False):
    """The first knob of a check, turned far enough that it holds and no other check is worse than before, as a Mend.

    Where every such number makes another check worse, the mend that breaks fewest, with their names; None if no knob does it.
    partly: instead of these the one number that comes nearest and breaks nothing.
    judge(shot, rig) -> checks of the plan made again, quickly; with a third argument whatever that takes. settings: those of
    the plan, for keys that say "auto"; before: the checks of the plan as it is.
    """
    best, before = None, {c.name: _ORDER.index(c.state) for c in before}
    for key, way in check.knobs:
        turned = _Knob(check, shot, rig, *_as_given(shot, key, way), judge, settings, before)
        value = turned.nearest() if partly else turned.value()
        mend = turned.mend(value) if value is not None else None
        if mend and not mend.breaks:
            return mend
        best = best if not mend or partly else min(best or mend, mend, key=lambda one: len(one.breaks))
    return best


def _as_given(shot, key, way):
    """The knob of the marked f-number as that of the aperture's key which the shot gives; a numerical aperture goes the other way."""
    if key != "shot.picture.f_number":
        return key, way
    given = next(name for name in _APERTURES if getattr(shot.picture, name) is not None)
    return f"shot.picture.{given}", {"up": "down", "down": "up"}[way] if given == _APERTURES[2] else way


def _bounds(shot, rig, key, described):
    """(low, high) of the values that file, lens and driver allow."""
    low, high, lens, name = described.low, described.high, rig.as_used.lens, key.split(".")[2]
    if key == "shot.picture.magnification":
        return lens.lowest_magnification, lens.highest_magnification
    if name in _APERTURES:
        ends = [optics.aperture(shot.picture.magnification, lens.pupil_ratio, f_number=n)[_APERTURES.index(name)]
                for n in (lens.lowest_f_number, lens.highest_f_number)]
        return max(low, min(ends)), min(high, max(ends))
    return low, (rig.driver.most_microsteps or 256) if key == _POWERS_OF_TWO else high


_Outcome = namedtuple("_Outcome", "margin holds breaks", defaults=(None, False, {}))  # breaks: {check that is worse: its state}


class _Knob:
    """One key that is turned one way (or set to one value) for the sake of a check. before: {check: rank of its state}."""

    def __init__(self, check, shot, rig, key, way, judge, settings, before):
        self.check, self.shot, self.rig, self.key, self.way, self.judge, self.before = check, shot, rig, key, way, judge, before
        self.look = functools.cache(self._look)
        value, self.described = knob(shot, rig, key)
        self.start = getattr(settings.get(key.split(".")[2]), "value", None) if value in (files.AUTO, None) else value
        ends = zip(_bounds(shot, rig, key, self.described), ("up", "down"))
        self.low, self.high = (self._rounded(end, way) if math.isfinite(end) else end for end, way in ends)

    def _look(self, trial, *sure):
        """The _Outcome with the key at a value; without `sure` what a quick plan does not compute breaks nothing."""
        if not self.low <= trial <= self.high:
            return _Outcome()
        try:
            again = {c.name: c for c in self.judge(*apply(self.shot, self.rig, self.key, trial), *sure)}
            this = again.pop(self.check.name)
        except (ValueError, KeyError):  # no plan, or one without this check
            return _Outcome()
        breaks = {name: c.state for name, c in again.items() if _ORDER.index(c.state) > self.before.get(name, 0)
                  and (sure or c.state != NOT_COMPUTED)}
        return _Outcome(this.margin, this.state == HOLDS, breaks)

    def value(self):
        """The least turn that makes the check hold and breaks nothing, else the least that makes it hold; None if none does."""
        if self.way not in _BOUNDS:
            return self.way if self.look(self.way).holds else None
        least = self._first(self.start, self._trials(self.start), lambda found: found.holds, self.key != _POWERS_OF_TWO)
        if least is None or not self.look(least).breaks:
            return least
        further, harm = self._trials(least)[_FURTHER], lambda trial: sum(map(_ORDER.index, self.look(trial).breaks.values()))
        if all(harm(trial) >= harm(least) for trial in further[:_MOST_SKIPPED]):
            return least
        clean = self._first(least, further, lambda found: found.holds and not found.breaks, False)
        return least if clean is None else clean

    def nearest(self):
        """The value that brings the check nearest to holding and breaks nothing; None if none helps."""
        margins = {x: found.margin for x in self._trials(self.start) if (found := self.look(x)).margin and not found.breaks}
        best = max(margins, key=margins.get, default=None)
        return best if best is not None and margins[best] > self.check.margin else None

    def _first(self, start, trials, fits, skip):
        """The least turn from a start that fits, found by trials; None if none does. skip: leave out what looks useless."""
        tried, better = [start], False
        for n, trial in enumerate(trials):
            if skip and n % _MOST_SKIPPED and trial != trials[-1]:
                aim = self._place(*tried[-2:]) if n > 1 else None
                if (not better and n >= _IN_VAIN) or (aim is not None and (trial < aim) == (self.way == "up")):
                    continue  # the knob does nothing, or the last two tries say that it takes more
            found = self.look(trial)
            if fits(found):
                return self._least(trial, tried[-1], fits)
            better = better or None in (found.margin, self.check.margin) or found.margin > self.check.margin
            tried.append(trial)
        return None

    def _trials(self, start):
        """Values farther and farther from the start, the last one where the range ends."""
        up, found = self.way == "up", [start]
        if self.key == _POWERS_OF_TWO:
            powers = [2**n for n in range(11) if self.low <= 2**n <= self.high]
            return [n for n in powers if n > start] if up else [n for n in powers[::-1] if n < start]
        for factor in _FACTORS if start is not None else ():
            step = (factor - 1) * (abs(start) or units.from_unit(1.0, self.described.unit))  # from zero: shares of one unit
            trial = start + step if up else start - step if self.described.low < 0 else start / factor  # positions may be below zero
            trial = min(max(self._rounded(trial, self.way), self.low), self.high)
            if trial != found[-1] and (trial > found[-1]) == up:
                found.append(trial)
        return found[1:]

    def _place(self, first, second):
        """The value at which the margin would be enough, as the margins at two values say; None where they say nothing."""
        margins = [self.look(x).margin if x != self.start else self.check.margin for x in (first, second)]
        wanted = self.check.enough if self.check.limit else 0.0
        if None in margins or not all(map(math.isfinite, margins)) or math.isclose(*margins):
            return None
        powers = min(*margins, wanted, first, second) > 0
        (x, y), at = (map(math.log, margins), math.log(wanted)) if powers else (margins, wanted)
        share = min((at - x) / (y - x), 30.0)
        if share < 0:  # the second is worse
            return None
        return first * (second / first) ** share if powers else first + share * (second - first)

    def _least(self, good, bad, fits):
        """The value nearest to the start that still fits, between one that does and one that does not."""
        for n in range(0 if self.key == _POWERS_OF_TWO else _NEARER):
            trial = self._place(bad, good) if n < 2 else None
            if trial is None or not min(good, bad) < trial < max(good, bad):
                trial = math.sqrt(good * bad) if good > 0 < bad else (good + bad) / 2
            trial = self._rounded(trial, self.way)
            if trial in (good, bad) or abs(good - bad) < _CLOSE * abs(good):
                break
            good, bad = (trial, bad) if fits(self.look(trial)) else (good, trial)
        return good

    def _rounded(self, value, way):
        """Three digits in the unit of the key, away from the start, so that what is read is what was tried."""
        turn = math.ceil if way == "up" else math.floor
        if self.described.kind == "whole":
            return turn(value)
        number = units.to_unit(value, self.described.unit)
        step = 10.0 ** (math.floor(math.log10(abs(number))) - 2) if number else 1.0
        return units.from_unit(float(f"{turn(number / step) * step:.6g}"), self.described.unit)

    def mend(self, value):
        """The Mend, in words as well, with everything computed."""
        found = self.look(value, True)
        further = _BOUNDS.get(self.way, "") if value not in (self.low, self.high) else ""
        text = f"{self.key.split('.', 1)[1]} = {units.show(value, self.described.unit)}{further}"
        if self.key == _POWERS_OF_TWO and self.rig.driver.most_microsteps is None:
            text += " (if the driver offers it)"
        if found.breaks:
            text += "; this breaks: " + ", ".join(f"{name} ({state})" for name, state in found.breaks.items())
        return Mend(self.key, value, text, tuple(found.breaks))


def described(name):
    """The meaning of 'table.key' in rig or shot, for tables and cards."""
    table, key = name.split(".")
    return files.keys({**PARTS, **TABLES}[table])[key].meaning
