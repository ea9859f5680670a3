"""A shot on a rig: settings, schedule, checks, and what leaves."""

import dataclasses
import functools
import types

import macrolib
from macrolib.files import AUTO
from macrolib.planning import checks as _checks
from macrolib.planning.budget import refuse_beyond_cutoff
from macrolib.planning.checks import Check, Mend
from macrolib.planning.common import Setting
from macrolib.planning.hand_led import plan_hand_led
from macrolib.planning.stack import plan_stack
from macrolib.planning.traverse import plan_traverse
from macrolib.planning.uncertainty import figure_uncertainties

__all__ = ["Check", "Mend", "Plan", "Setting", "plan"]
PLANNERS = {"stack": plan_stack, "traverse": plan_traverse, "hand-led": plan_hand_led}


@dataclasses.dataclass(frozen=True, eq=False)
class Plan:
    """A shot put on a rig.

    settings: {name: Setting}; schedule: {column: (unit, array in SI)}, a row a frame; approach: the moves before the
    first row as (what, from pulse, to pulse, seconds); checks: a Check each; notes: sentences a reader should know;
    moves: {what: Move}; ringing: {what: (vibration, seconds since it began, key of the wait)}.
    """

    shot: object
    rig: object
    settings: dict
    schedule: dict
    approach: tuple
    checks: tuple
    notes: tuple
    moves: dict
    ringing: dict
    version: str = macrolib.__version__

    def __getitem__(self, name):
        """The SI value of a setting."""
        return self.settings[name].value

    @functools.cached_property
    def verdict(self):
        """The worst state of all checks."""
        return _checks.verdict(self.checks)

    def check(self, name):
        """The Check of that name; KeyError lists the names."""
        for found in self.checks:
            if found.name == name:
                return found
        raise KeyError(f"no check {name!r}; there are: {', '.join(c.name for c in self.checks)}")

    @functools.cached_property
    def typical(self):
        """The tables of the rig whose values are typical of their kind, not the reader's own."""
        return tuple(f.name for f in dataclasses.fields(self.rig)
                     if getattr(getattr(self.rig, f.name), "basis", "") == "typical of its kind")

    @functools.cached_property
    def uncertainties(self):
        """{setting or check: standard uncertainty in SI} of what rests on values of the rig that were measured."""
        return figure_uncertainties(lambda shot, rig: PLANNERS[shot.kind](shot, rig.as_used, rows=False), self)


def plan(shot, rig, mends=True):
    """Put a Shot on a Rig: a Plan with settings, schedule and checks.

    Each check that fails or is tight has a mend, or says in its `why` that no single number was found to mend it. mends=False
    leaves the search out, which is quicker. ValueError for a shot that cannot be planned at all.
    """
    made = make(shot, rig)
    checks = _mended(made, shot, rig) if mends else made.checks
    settings, schedule, moves, ringing = (types.MappingProxyType(x) for x in (made.settings, made.schedule, made.moves, made.ringing))
    return Plan(shot, rig, settings, schedule, tuple(made.approach), tuple(checks), tuple(made.notes), moves, ringing)


def make(shot, rig, rows=True):
    """The Made of a shot on a rig; without rows, no schedule is written and nothing simulated."""
    made, p = PLANNERS[shot.kind](shot, rig.as_used, rows), shot.picture
    if p.frequency != AUTO:
        refuse_beyond_cutoff("shot.picture.frequency", p.frequency, p.wavelength, made.settings["effective_f_number"].value)
    return made


def _mended(made, shot, rig):
    """The checks, each that fails or is tight with its mend."""
    judge = functools.cache(lambda *changed: make(*changed[:2], rows=len(changed) > 2).checks)
    for check in made.checks:
        if check.state in (_checks.HOLDS, _checks.NOT_COMPUTED):
            yield check
        elif mend := _checks.find_mend(check, shot, rig, judge, made.settings, made.checks):
            yield dataclasses.replace(check, mend=mend)
        else:
            yield dataclasses.replace(check, why=f"{check.why}; {_checks.NO_MEND}".removeprefix("; "))
