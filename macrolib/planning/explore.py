"""Every combination of parts and settings for a shot, each judged as a plan judges it: what is left, and why the others drop out.

    found = explore(shot, rig, {"motor": catalogue("motors"), "microsteps": [8, 16, 32], "speed": [2e-3, 4e-3]})
    found.states, found.reasons, found.front[0].figures, plan(*found.setting(found.front[0].number))

A check is computed once for the candidates that it depends on, not once for each combination: that is what makes it quick.
"""

import dataclasses
import itertools
import math
import time
from collections import namedtuple
from collections.abc import Mapping

import numpy as np

from macrolib import units
from macrolib.physics import stepper
from macrolib.planning import common, drives, lanes, stack
from macrolib.planning.checks import FAILS, HOLDS, NOT_COMPUTED, TIGHT
from macrolib.planning.lanes import HELD, KEPT, REFUSED, UNKNOWN

__all__ = ["explore"]

# {axis: table or key of the rig that a candidate takes the place of, unit of plain numbers}, those first that the ripple depends on
_AXES = {"transmission": ("transmission", None), "motor": ("motor", None), "driver": ("driver", None),
         "microsteps": ("driver.microsteps", "1"), "gear": ("transmission.gear_ratio", "1"), "current": ("driver.peak_current", "A"),
         "speed": (None, "mm/s"), "ramp": (None, None), "aperture": (None, "1"), "controller": ("controller", None),
         "supply": ("supply", None), "voltage": ("supply.voltage", "V")}
_WORDS = ("basis", "program")  # keys of a part that no check rests on
_BLOCK = 2**17  # combinations at a time: about 100 MB
_APART = math.log(1.05)  # of the front: figures closer than 5 % count as equal
_SLIGHT = 0.01  # of the tolerance: less ripple is no better
_PATIENCE = 1.0  # s after which the progress is told
_TOO_FINE = "the driver makes fewer microsteps"

Reason = namedtuple("Reason", "fails not_computed tight first alone")
Found = namedtuple("Found", "number names figures room")


@dataclasses.dataclass(frozen=True, eq=False)
class Explored:
    """What became of all combinations; the ripple is the closed form's throughout.

    axes: {axis: {name: candidate}}; states: {state: combinations}, of plans that are refused under "refused"; reasons: {check:
    Reason}, most combinations first: fails, not_computed and tight count the combinations of which that is true, first those that it
    turns away with the least room of all checks, alone those that would hold without it; front: those that hold (where none does,
    those that are tight) and that no other one beats in everything (differences below 5 %, and ripple below 1 % of the tolerance,
    do not count), the quickest first, each with its number, the names of its candidates, figures (SI; ripple in px) and room as in
    drives.Choice. The top speed is the one up to which the pulses keep up, within their usable share, with full torque.
    """

    shot: object
    rig: object
    axes: dict
    states: dict
    reasons: dict
    front: tuple

    @property
    def count(self):
        """How many combinations there are."""
        return math.prod(map(len, self.axes.values()))

    def names(self, number):
        """{axis: name} of a combination."""
        at = np.unravel_index(number, tuple(map(len, self.axes.values())))
        return {axis: list(found)[i] for (axis, found), i in zip(self.axes.items(), at)}

    def setting(self, number):
        """(shot, rig) of a combination, as plan takes them."""
        chosen = {axis: self.axes[axis][name] for axis, name in self.names(number).items()}
        rig, shot = _rig(self.rig, {axis: chosen[axis] for axis in ("motor", "driver") if axis in chosen}), self.shot
        if _sets_current(self.axes):
            rig = drives.by_heat(rig)
        rig = _rig(rig, {axis: value for axis, value in chosen.items() if axis not in ("motor", "driver")})
        if "aperture" in chosen:
            shot = _with_aperture(shot, chosen["aperture"])
        return lanes.with_motion(shot, chosen["speed"], *chosen["ramp"]), rig


def explore(shot, rig, candidates, progress=None):
    """Judge every combination of the candidates for a stack or a traverse on a rig: an Explored.

    candidates: {axis: {name: candidate} or a sequence of numbers}. transmission, motor, driver, controller, supply: parts, as from
    parts.catalogue; gear, microsteps, current (A, peak), speed (m/s), aperture (marked f-number), voltage (V): numbers; ramp:
    pairs of its kind and the acceleration in m/s^2, which a whole move of a traverse does without (None). What has no candidates
    is as rig and shot have it, or as their plan sets it. Where motors or drivers are tried, the current is the largest that motor,
    driver and heat allow, unless there are currents to try. progress(share) is called now and then once a second has passed.
    ValueError for what is not among these, and for a hand-led move.
    """
    space = _Space(shot, rig, candidates)
    blocks, begun, sums = list(space.blocks()), time.monotonic(), _Sums()
    for done, block in enumerate(blocks, 1):
        sums.add(block, *space.judge(block))
        if progress is not None and time.monotonic() - begun > _PATIENCE:
            progress(done / len(blocks))
    states, reasons = sums.counted(space)
    names = [list(found) for found in space.axes.values()]
    front = [Found(n, {axis: names[d][i] for d, (axis, i) in enumerate(zip(space.axes, np.unravel_index(n, space.shape)))}, figures, room)
             for n, figures, room in sums.best()]
    return Explored(space.shot, space.rig, space.axes, states, reasons, tuple(front))


def _sets_current(axes):
    return "current" not in axes and ("motor" in axes or "driver" in axes)


def _with_aperture(shot, f_number):
    picture = dataclasses.replace(shot.picture, f_number=f_number, effective_f_number=None, numerical_aperture=None)
    return dataclasses.replace(shot, picture=picture)


def _rig(rig, chosen):
    """The rig with chosen candidates of some axes, parts before single values."""
    for axis, value in chosen.items():
        table, _, key = (_AXES[axis][0] or "").partition(".")
        if table:
            rig = dataclasses.replace(rig, **{table: dataclasses.replace(getattr(rig, table), **{key: value}) if key else value})
    return rig


def _named(axis, found):
    """{name: candidate} with names for plain numbers; ValueError for an unknown axis or an empty one."""
    if axis not in _AXES:
        raise ValueError(f"there are no candidates of {axis!r}; there are: {', '.join(_AXES)}")
    if not isinstance(found, Mapping):
        unit = _AXES[axis][1]
        if unit is None:
            raise ValueError(f"candidates of {axis} need names: {{name: candidate}}")
        found = {units.show(value, unit): value for value in found}
    if not found:
        raise ValueError(f"no candidates of {axis} are given")
    return dict(found)


class _Space:
    """All combinations as a grid, an axis for each kind of candidate, cut into blocks that are judged at once."""

    def __init__(self, shot, rig, candidates):
        axes = {axis: _named(axis, found) for axis, found in candidates.items()}
        rig = rig.as_used
        if not {"speed", "ramp"} <= set(axes):
            speed, kind, acceleration = lanes.motion_of(shot, rig)
            axes = {"speed": {units.show(speed, "mm/s"): speed}, "ramp": {kind: (kind, acceleration)}} | axes
        measured = () if {"transmission", "gear"} & set(axes) else tuple(m for m in rig.measured if m[0] == "transmission.travel_per_turn")
        self.shot, self.rig = shot, dataclasses.replace(rig, measured=measured)
        self.axes = {axis: axes[axis] for axis in _AXES if axis in axes}
        self.lists = {axis: list(found.values()) for axis, found in self.axes.items()}
        self.shape, self.refused = tuple(map(len, self.axes.values())), {}
        for index, part in enumerate(self.lists.get("transmission", ())):
            try:
                common.drive(_rig(self.rig, {"transmission": part}))
            except ValueError as problem:
                self.refused[index] = str(problem)
        self.currents = self._currents() if _sets_current(self.axes) else None

    def _currents(self):
        """The current for each motor with each driver, an axis each."""
        motors, found = (self.lists.get(table, [getattr(self.rig, table)]) for table in ("motor", "driver"))
        return np.array([[drives.by_heat(dataclasses.replace(self.rig, motor=motor, driver=driver)).driver.peak_current
                          for driver in found] for motor in motors])

    def blocks(self):
        """{axis: indices of candidates} of each block; in it, parts differ in numbers alone."""
        groups = []
        for axis, found in self.lists.items():
            alike = {}
            for index, candidate in enumerate(found):
                if axis != "transmission" or index not in self.refused:
                    alike.setdefault(_structure(candidate), []).append(index)
            groups.append(list(alike.values()))
        for chosen in itertools.product(*groups):
            yield from self._cut(dict(zip(self.axes, chosen)))

    def _cut(self, block):
        size = math.prod(map(len, block.values()))
        axis = next((axis for axis, found in block.items() if len(found) > 1), None)
        if size <= _BLOCK or axis is None:
            yield {name: np.array(found) for name, found in block.items()}
            return
        step = max(1, len(block[axis]) * _BLOCK // size)
        for first in range(0, len(block[axis]), step):
            yield from self._cut(block | {axis: block[axis][first:first + step]})

    def _along(self, axis, values):
        return np.array(values, float).reshape([-1 if name == axis else 1 for name in self.axes])

    def lanes(self, block):
        """(shot, rig, speeds, kind of ramp, accelerations) of a block, as lanes.judge takes them."""
        merged, chosen = {}, {axis: [self.lists[axis][i] for i in found] for axis, found in block.items()}
        for axis, found in chosen.items():
            merged[axis] = _merged(found, lambda values, axis=axis: self._along(axis, values)) if dataclasses.is_dataclass(found[0]) else (
                self._along(axis, found) if axis != "ramp" else None)
        rig, shot = lanes.Lanes.of(_rig(self.rig, merged)), self.shot
        if self.currents is not None:
            picked = self.currents[np.ix_(*(block.get(table, [0]) for table in ("motor", "driver")))]
            shape = [len(found) if axis in ("motor", "driver") else 1 for axis, found in block.items()]
            driver = dataclasses.replace(rig.driver, peak_current=picked.reshape(shape))
            rig = lanes.Lanes.of(rig, driver=driver)
        if "aperture" in merged:
            shot = _with_aperture(shot, merged["aperture"])
        kind, first = chosen["ramp"][0]
        return shot, rig, merged["speed"], kind, first if first is None else self._along("ramp", [a for _, a in chosen["ramp"]])

    def judge(self, block):
        """({check or refusal: scores}, {what is compared: figures}, the numbers along each axis) of a block."""
        shot, rig, speed, kind, acceleration = self.lanes(block)
        found = lanes.judge(shot, rig, speed, kind, acceleration)
        refusals = [*found.refusals, (self._too_fine(block), _TOO_FINE)]
        scores = {why: np.where(where, np.float32(REFUSED), np.float32(2 * HELD)) for where, why in refusals if np.any(where)}
        scores |= {check.name: lanes.score(check) for check in found.checks}
        return scores, _compared(shot, rig, found) if found.checks else {}, self.shape

    def _too_fine(self, block):
        if "microsteps" not in self.axes:
            return False
        parts = [self.lists["driver"][i] for i in block["driver"]] if "driver" in self.axes else [self.rig.driver]
        most = [part.most_microsteps or (part.microsteps if "driver" in self.axes else np.inf) for part in parts]
        return self._along("microsteps", [self.lists["microsteps"][i] for i in block["microsteps"]]) > self._along("driver", most)


def _structure(candidate):
    """What lanes of one block must have in common."""
    if dataclasses.is_dataclass(candidate):
        values = {f.name: getattr(candidate, f.name) for f in dataclasses.fields(candidate)}
        return tuple(v if isinstance(v, str) else v is None for name, v in values.items() if name not in _WORDS)
    return (candidate[0], candidate[1] is None) if isinstance(candidate, tuple) else ()


def _merged(parts, along):
    """One part whose numbers are arrays where those of the parts differ."""
    columns = {f.name: [getattr(part, f.name) for part in parts] for f in dataclasses.fields(parts[0]) if f.name not in _WORDS}
    return dataclasses.replace(parts[0], **{name: along(found) for name, found in columns.items() if any(x != found[0] for x in found)})


def _compared(shot, rig, found):
    """{what: figures in SI}, of which the front takes the small ones, of the top speed the large ones."""
    d, m = common.drive(rig), rig.motor
    corner = stepper.corner_speed.masked(rig.supply.voltage, rig.driver.peak_current, m.resistance, m.inductance, m.holding_torque,
                                         m.rated_current, m.rotor_teeth).filled(0.0)
    ripple = next((check.figure for check in found.checks if check.name == "ripple of the motor"), None)
    return {"resolution": d.travel_per_pulse,
            "top speed": np.minimum(shot.limits.ceiling_share * d.top_speed, corner * d.travel_per_turn),
            **({"position uncertainty": stack.position_uncertainty(rig, d)} if ripple is None else
               {"ripple": np.maximum(ripple, _SLIGHT * shot.waits.tolerance)}),
            "time": found.total, "power": common.mean_power(rig, found.moving_share)}


_EDGES = {"refused": REFUSED + 1, FAILS: UNKNOWN, NOT_COMPUTED: KEPT, TIGHT: HELD, HOLDS: np.inf}  # each state lies below its edge
_LEVELS, _ROOMS = 1 << 10, 1 << 13  # of a figure, and of the room, in the number that stands for a combination's figures


class _Sums:
    """What is counted over the blocks, and the front so far."""

    def __init__(self):
        self.numbers, self.counts, self.below = {}, np.zeros((255, len(Reason._fields)), np.int64), np.zeros(len(_EDGES), np.int64)
        self.level, self.what, self.keys, self.at, self.rooms, self.figures = KEPT, (), [], [], [], []

    def add(self, block, scores, figures, shape):
        """Count a block and merge what holds, or is tight as long as nothing holds, into the front."""
        size = tuple(map(len, block.values()))
        total, numbered = math.prod(size), []
        for name, found in scores.items():
            number = self.numbers.setdefault(name, len(self.numbers))
            numbered.append((number, found))
            below = [np.count_nonzero(found < edge) for edge in (UNKNOWN, KEPT, HELD)]
            self.counts[number, :3] += total // found.size * np.diff(below, prepend=0)
        least, which, faults = (np.broadcast_to(x, size) for x in _worst(numbered))
        self.counts[:, 3] += np.bincount(which[least < HELD], minlength=255)
        self.counts[:, 4] += np.bincount(which[faults == 1], minlength=255)
        self.below += [np.count_nonzero(least < edge) for edge in _EDGES.values()]
        if self.level < HELD and (least >= HELD).any():  # until now none held
            self.level, self.at = HELD, []
        if (least >= self.level).any():
            self._merge(block, least, figures, shape)

    def _merge(self, block, least, figures, shape):
        good = least >= self.level
        self.what, found = tuple(figures), [np.broadcast_to(x, least.shape)[good] for x in figures.values()]
        steps = [np.rint((-1 if what == "top speed" else 1) * np.log(np.maximum(x, 1e-12)) / _APART) for what, x in zip(figures, found)]
        key = np.zeros(len(steps[0]), np.int64)
        for step in steps:
            key = key * _LEVELS + np.clip(step + _LEVELS // 2, 0, _LEVELS - 1).astype(np.int64)
        rooms = least[good] - self.level
        order = np.argsort(key * _ROOMS - np.minimum(rooms * 100, _ROOMS - 1).astype(np.int64), kind="stable")
        order = order[np.concatenate(([True], np.diff(key[order]) > 0))]
        local = np.unravel_index(np.flatnonzero(good)[order], least.shape)
        at = np.ravel_multi_index([found[i] for found, i in zip(block.values(), local)], shape)
        new = [np.array([step[order] for step in steps]), at, rooms[order], np.array([x[order] for x in found])]
        if len(self.at):
            new = [np.concatenate(pair, axis=-1) for pair in zip((self.keys, self.at, self.rooms, self.figures), new)]
        kept = _undominated(new[0], new[1], np.rint(-100 * new[2]))
        self.keys, self.at, self.rooms, self.figures = (x[..., kept] for x in new)

    def counted(self, space):
        """({state: combinations}, {check: Reason}) when all blocks are added; refused parts of the space count as well."""
        whole, below = math.prod(space.shape), self.below.copy()
        reasons = {name: Reason(*map(int, self.counts[number])) for name, number in self.numbers.items()}
        each = whole // space.shape[0] if space.refused else 0
        for why in space.refused.values():
            before = reasons.get(why, Reason(0, 0, 0, 0, 0))
            reasons[why] = before._replace(fails=before.fails + each, first=before.first + each)
        below += each * len(space.refused)
        states = dict(zip(_EDGES, map(int, np.diff(below, prepend=0))))
        return states, dict(sorted(reasons.items(), key=lambda item: (-item[1].first, -item[1].fails)))

    def best(self):
        """(number, {what: figure}, room) of the front, the one that takes the shortest time first."""
        return [(int(self.at[i]), dict(zip(self.what, map(float, self.figures[:, i]))), float(self.rooms[i]))
                for i in (np.argsort(self.figures[self.what.index("time")], kind="stable") if self.what else ())]


def _worst(scores):
    """(least score, number of the check that has it, how many do not hold), of as few lanes as that takes."""
    shapes = {}
    for number, found in scores:
        row = found, np.uint8(number), (found < HELD).astype(np.uint8) + (found <= REFUSED)
        shapes[found.shape] = _both(shapes[found.shape], row) if found.shape in shapes else row
    rows = sorted(shapes.values(), key=lambda row: row[0].size)
    worst = rows[0]
    for row in rows[1:]:
        worst = _both(worst, row)
    return worst


def _both(one, other):
    return np.minimum(one[0], other[0]), np.where(other[0] < one[0], other[1], one[1]), one[2] + other[2]


def _undominated(points, *ties):
    """Indices of the columns that no other column is at most equal to in every row and below in one; of equals the first by ties."""
    order = np.lexsort((*ties, points.sum(axis=0)))
    rest, kept = np.ascontiguousarray(points[:, order]), []
    while order.size:
        kept.append(order[0])
        left = (rest < rest[:, :1]).any(axis=0)
        order, rest = order[left], rest[:, left]
    return np.array(kept, int)
