"""How sure a plan is: which inputs move its checks most, and the chance that all of them hold although inputs are uncertain.

The settings of the plan stay as they are, waits and aperture too: it is the rig and the scene that differ from what was put in.
"""

import dataclasses
import math

import numpy as np

from macrolib import files
from macrolib.planning import checks, lanes
from macrolib.planning.lanes import HELD, KEPT, UNKNOWN
from macrolib.rig import PARTS, Measured
from macrolib.shot import TABLES

__all__ = ["chance", "sensitivities"]

_TYPICAL = {  # relative standard uncertainty of inputs for which nothing better is stated; from memory
    "rig.carriage": {"mass": 0.03, "guide_friction": 0.3, "drag_force": 0.3, "natural_frequency": 0.1, "damping_ratio": 0.3},
    "rig.transmission": {"friction": 0.2, "efficiency": 0.03, "drag_torque": 0.3, "inertia": 0.1, "backlash": 0.3},
    "rig.motor": {"holding_torque": 0.1, "resistance": 0.1, "inductance": 0.2, "rotor_inertia": 0.1, "detent_torque": 0.3,
                  "thermal_resistance": 0.2, "step_accuracy": 0.3},
    "rig.driver": {"pulse_ceiling": 0.02}, "rig.controller": {"pulse_ceiling": 0.05},
    "rig.rail": {"misalignment": 0.5, "expansion": 0.1, "warming": 0.3},
    "rig.lens": {"pupil_ratio": 0.05, "support_stiffness": 0.3, "support_damping": 0.3, "working_distance": 0.02},
    "rig.stand": {"natural_frequency": 0.1, "damping_ratio": 0.3},
    "rig.floor": {"natural_frequency": 0.15, "damping_ratio": 0.3, "footfall_amplitude": 0.5},
    "rig.supply": {"voltage": 0.05, "energy": 0.1, "converter_efficiency": 0.03}, "rig.room": {"drift": 0.5},
    "shot.picture": {"magnification": 0.02}, "shot.waits": {"operator_distance": 0.1},
    "shot.subject": {"natural_frequency": 0.2, "damping_ratio": 0.3, "sway": 0.5},
}
_TRAVEL = "rig.transmission.travel_per_turn"  # stands among what was measured only
GIVEN, MEASURED, TYPICAL = "given", "measured", "typical"


@dataclasses.dataclass(frozen=True)
class Input:
    """An uncertain input: value and standard uncertainty in SI, and where the latter comes from: given, measured or typical."""

    value: float
    uncertainty: float
    origin: str


@dataclasses.dataclass(frozen=True, eq=False)
class Sensitivities:
    """What one standard uncertainty of each input does.

    inputs: {key: Input}, those first that move the least room most; margins: {check: margin}, those first that an input moves most,
    against their limit; changes: {key: {check: change of its margin}} for one uncertainty up, half the difference between up and
    down; room: the least room of all checks (as in drives.Choice); rooms: {key: (down, up)}, the same with the input one uncertainty
    off, NaN where a check is not computed there. left_out: {check: why} of what is not computed.
    """

    inputs: dict
    margins: dict
    changes: dict
    room: float
    rooms: dict
    left_out: dict


@dataclasses.dataclass(frozen=True, eq=False)
class Chance:
    """The share of samples in which every check holds, and in which none fails (margins of 1 and more), with standard errors.

    checks: {check: (share that holds, share that does not fail, share that is not computed and counts as neither)}, the rarest
    first; inputs: {key: Input}; left_out: {check: why} of what is not computed even for the plan: of these checks nothing is said.
    """

    holds: float
    holds_error: float
    kept: float
    kept_error: float
    checks: dict
    inputs: dict
    left_out: dict
    samples: int


def uncertain(plan, uncertainties=None):
    """{key: Input} of a Plan: the uncertainties (SI) that are given, else those measured with the rig, else typical ones.

    uncertainties: {'rig.table.key' or 'shot.table.key': standard uncertainty}, 0 for exact. ValueError for a key that is unknown,
    that has no number, or that no plan with arrays takes.
    """
    rig, stated, found = plan.rig.as_used, dict(uncertainties or {}), {}
    measured = {f"rig.{name}": entry for name, entry in plan.rig.measured}
    typical = {f"{table}.{key}": share for table, shares in _TYPICAL.items() for key, share in shares.items()}
    strange = [key for key in stated if key not in typical and key not in measured]
    if strange:
        raise ValueError(f"{', '.join(strange)}: no such uncertain input; there are: {', '.join((*typical, *measured))}")
    for key in dict.fromkeys((*typical, *measured)):
        value = measured[key].value if key in measured else checks.knob(plan.shot, rig, key)[0]
        if isinstance(value, (int, float)) and value:
            u, origin = ((stated[key], GIVEN) if key in stated else (measured[key].standard_uncertainty, MEASURED) if key in measured
                         else (typical[key] * abs(value), TYPICAL))
            if not 0 <= u < math.inf:
                raise ValueError(f"{key}: the uncertainty is {u:g}; allowed: at least 0")
            found[key] = Input(value, u, origin)
    return {key: entry for key, entry in found.items() if entry.uncertainty}


def sensitivities(plan, uncertainties=None):
    """Sensitivities of a Plan of a stack or traverse to its uncertain inputs; uncertainties: as for `chance`."""
    inputs = uncertain(plan, uncertainties)
    steps = np.concatenate((np.zeros((len(inputs), 1)), np.eye(len(inputs)), -np.eye(len(inputs))), axis=1)
    values = {key: _within(key, entry.value + row * entry.uncertainty) for (key, entry), row in zip(inputs.items(), steps)}
    judged, left_out = _judged(plan, values)
    margins, rooms = (np.array([np.broadcast_to(x, steps.shape[1]) for x in pair]) for pair in zip(*map(lanes.margins, judged)))
    least, size = np.min(rooms, axis=0), len(inputs)
    with np.errstate(all="ignore"):  # infinite margins stay what they are
        change, used = (np.nan_to_num((x[:, 1:size + 1] - x[:, size + 1:]) / 2, posinf=0.0, neginf=0.0) for x in (margins, 1 / rooms))
    moved = np.nan_to_num(np.abs(least[1:].reshape(2, size) - least[0]).max(axis=0), nan=np.inf)
    order = np.lexsort((-np.abs(used).max(axis=0, initial=0), -moved))  # what moves the verdict, then what takes most of a limit
    keys, names = list(inputs), [check.name for check in judged]
    firm = np.argsort(-np.abs(used).max(axis=1, initial=0), kind="stable")
    return Sensitivities({keys[i]: inputs[keys[i]] for i in order}, {names[i]: float(margins[i, 0]) for i in firm},
                         {keys[i]: dict(zip(names, map(float, change[:, i]))) for i in order}, float(least[0]),
                         {keys[i]: (float(least[1 + size + i]), float(least[1 + i])) for i in order}, left_out)


def chance(plan, uncertainties=None, samples=4000, seed=1):
    """Chance of a Plan of a stack or traverse: inputs are drawn at random around their values, independently of each other.

    Positive inputs by a lognormal distribution with their value as mean, so that none turns negative; all kept within the range of
    their key. The ripple is the closed form's. uncertainties: {key: standard uncertainty in SI}, see `uncertain`; the others are
    those that the rig states, or typical ones. The standard error is that of a share of so many samples, never 0 (the standard
    deviation of its beta distribution). ValueError for a hand-led move.
    """
    if not 1 <= samples <= 1_000_000:
        raise ValueError(f"samples is {samples}; allowed: 1 to 1 000 000")
    inputs, rng = uncertain(plan, uncertainties), np.random.default_rng(seed)
    judged, left_out = _judged(plan, {key: _drawn(key, entry, rng.standard_normal(samples)) for key, entry in inputs.items()})
    scores = {check.name: np.broadcast_to(lanes.score(check), samples) for check in judged}
    shares = {name: tuple(float(np.mean(x)) for x in (s >= HELD, s >= KEPT, s == UNKNOWN)) for name, s in scores.items()}
    least = np.min(list(scores.values()), axis=0)
    found = [x for share in (np.mean(least >= HELD), np.mean(least >= KEPT)) for x in (float(share), _error(share, samples))]
    return Chance(*found, dict(sorted(shares.items(), key=lambda item: item[1])), inputs, left_out, samples)


def _error(share, samples):
    hits = share * samples + 1
    return math.sqrt(hits * (samples + 2 - hits) / (samples + 2) ** 2 / (samples + 3))


def _drawn(key, entry, normal):
    if entry.value < 0:
        return _within(key, entry.value + entry.uncertainty * normal)
    spread = math.sqrt(math.log1p((entry.uncertainty / entry.value) ** 2))
    return _within(key, entry.value * np.exp(spread * normal - spread**2 / 2))


def _within(key, values):
    if key == _TRAVEL:
        return np.maximum(values, 1e-9)
    _, table, name = key.split(".")
    described = files.keys({**PARTS, **TABLES}[table])[name]
    return np.clip(values, np.nextafter(described.low, np.inf) if described.open_low else described.low, described.high)


def _judged(plan, values):
    """([Check] with arrays, {check: why} of what is not even computed without any error) for {key: values} of all inputs."""
    rig = plan.rig.as_used
    speed, kind, acceleration = lanes.motion_of(plan.shot, rig)
    shot = _as_set(plan)
    exact = lanes.judge(shot, lanes.Lanes.of(rig), speed, kind, acceleration).checks
    left_out = {check.name: check.why for check in exact if lanes.score(check) == UNKNOWN}
    measured = tuple((name, Measured(values.get(f"rig.{name}", found.value), 0.0, found.date)) for name, found in rig.measured)
    rig = lanes.Lanes.of(rig, measured=measured)
    for key, found in values.items():
        where, table, name = key.split(".")
        holder = shot if where == "shot" else rig
        if key != _TRAVEL:
            holder = dataclasses.replace(holder, **{table: dataclasses.replace(getattr(holder, table), **{name: found})})
        shot, rig = (holder, rig) if where == "shot" else (shot, holder)
    found = lanes.judge(shot, rig, speed, kind, acceleration)
    return [check for check in found.checks if check.name not in left_out], left_out


def _as_set(plan):
    """The shot with everything in it that the plan derived."""
    shot = plan.shot
    waits = dataclasses.replace(shot.waits, settling_wait=plan["settling_wait"], wait_before_move=plan["wait_before_move"])
    picture = dataclasses.replace(shot.picture, f_number=plan["f_number"], effective_f_number=None, numerical_aperture=None)
    stack = shot.stack and dataclasses.replace(shot.stack, spacing=plan["spacing"])
    return dataclasses.replace(shot, waits=waits, picture=picture, stack=stack)
