"""How sure the figures of a plan are, where they rest on values of the rig that were measured."""

import dataclasses
import math

from macrolib import units
from macrolib.rig import measured_key

_STEP = 1e-3  # standard uncertainties by which a value is moved: so little that pulses, frames and rounded settings stay
_SMALL = 1e-9  # of the figure; less is rounding
_BEND = 0.1  # by which the two sides of a step may differ; beyond it one side jumped


def figure_uncertainties(make, plan):
    """{setting or check: standard uncertainty in SI} of what depends on a measured value of the rig; the rest is left out.

    make(shot, rig) -> Made. First order (JCGM 100:2008, 5.1.2), each measured value moved by a thousandth of its
    standard uncertainty both ways and the plan made again; the values count as independent. What is set in whole pulses or
    in round numbers stays as it is set: then its travel is uncertain, not its count.
    """
    rig, squares = plan.rig, {}
    middle = _figures(make, plan.shot, rig)
    for name, found in rig.measured:
        step, sides = _STEP * found.standard_uncertainty, []
        for move in (-step, step) if step else ():
            moved = tuple((n, dataclasses.replace(m, value=m.value + move) if n == name else m) for n, m in rig.measured)
            try:
                there = _figures(make, plan.shot, dataclasses.replace(rig, measured=moved))
                sides.append({n: (there[n] - middle[n]) / move for n in middle if n in there})
            except ValueError:  # such as a damping ratio of 0, which has one side only
                continue
        for figure in middle if sides else ():
            slopes = sorted((side[figure] for side in sides if figure in side), key=abs)
            if slopes:
                slope = slopes[0] if abs(slopes[-1] - slopes[0]) > _BEND * abs(slopes[-1]) else sum(slopes) / len(slopes)
                squares[figure] = squares.get(figure, 0.0) + (slope * found.standard_uncertainty)**2
    return {n: math.sqrt(s) for n, s in squares.items() if math.sqrt(s) > _SMALL * abs(middle[n])}


def _figures(make, shot, rig):
    made = make(shot, rig)
    found = {n: s.value for n, s in made.settings.items()} | {c.name: c.figure for c in made.checks}
    return {n: float(x) for n, x in found.items() if x is not None and math.isfinite(x)}


def measured_notes(rig):
    """A sentence for each value of the rig that was measured: with uncertainty and date, and what it replaces."""
    notes = ["± is the standard uncertainty that comes from the measured values; that of all others is not in it."] if rig.measured else []
    for name, found in rig.measured:
        table, key = name.split(".")
        unit, before = measured_key(name).unit, getattr(getattr(rig, table), key)
        notes.append(f"Measured: {name} {units.show_uncertain(found.value, found.standard_uncertainty, unit)} ({found.date}), "
                     f"{'where nothing stood' if before is None else 'instead of ' + units.show(before, unit)}.")
    return notes
