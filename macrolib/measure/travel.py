"""Travel of the carriage: against pulses, at reversal, after a there-and-back test, and under a push."""

import dataclasses
import math

import numpy as np

from macrolib.measure.estimate import Estimate, by_formula, least_squares, length, numbers, pairs
from macrolib.physics import vibration

_OUTSIDE = 4.0  # residual deviations from which one reading stands out
_UNLIKELY = 0.001  # chance below which a periodic error counts as found
_ROUNDING = 1e-12  # of the travel: smaller residuals are the computer's, and mean nothing
_TRIALS = 2000  # of the Monte Carlo method: its own scatter is below 2 %


@dataclasses.dataclass(frozen=True)
class Travel:
    """The line through readings of position (m) against pulses.

    lead_error: travel per pulse over the nominal one, less one; None without the nominal. once_per_turn: amplitude (m, zero
    to peak) of the error that repeats with each motor turn, once_per_turn_phase (rad) such that the carriage is ahead by
    amplitude x cos(2 pi pulses / pulses_per_turn - phase); None when not asked for. covariance: 2 x 2, of offset and travel
    per pulse. notes: what a reader should know, such as readings that stand out.
    """

    travel_per_pulse: Estimate
    offset: Estimate
    residual_deviation: Estimate
    covariance: np.ndarray
    readings: int
    lead_error: Estimate | None = None
    once_per_turn: Estimate | None = None
    once_per_turn_found: bool = False
    once_per_turn_phase: Estimate | None = None
    notes: tuple = ()

    def at(self, pulses):
        """(positions in m on the line, their standard uncertainties), without the once-per-turn error; broadcasts."""
        x = np.asarray(pulses, float)
        c = self.covariance
        return self.offset + self.travel_per_pulse * x, np.sqrt(c[0, 0] + 2 * x * c[0, 1] + x**2 * c[1, 1])

    def interval(self, pulses, probability=0.95):
        """(low, high) in m: where one further reading falls with this probability (Student's t); broadcasts."""
        from scipy.stats import t

        where, spread = self.at(pulses)
        free = self.readings - 2 - 2 * (self.once_per_turn is not None)
        reach = t.ppf((1 + probability) / 2, free) * np.hypot(spread, self.residual_deviation)
        return where - reach, where + reach

    def for_rig(self, pulses_per_turn):
        """{'transmission.travel_per_turn': Estimate} for record()."""
        each = self.travel_per_pulse
        return {"transmission.travel_per_turn": Estimate(each * pulses_per_turn, each.standard_uncertainty * pulses_per_turn)}


def fit_travel(pulses, positions, pulses_per_turn=None, nominal=None, scale_uncertainty=0.0):
    """Travel per pulse and offset from readings of the position (m) at pulses: a Travel, by ordinary least squares.

    pulses_per_turn asks for the once-per-turn error as well (readings must lie at parts of a turn, over more than one turn);
    nominal, the travel per pulse (m) that was expected, for the lead error; scale_uncertainty, relative, of the scale that
    was read. At least 3 readings, in any order; all errors are taken to be in the positions, alike and independent.
    ValueError for fewer, for what is not finite, and for positions that do not follow the pulses. Source: JCGM 100:2008, H.3.
    """
    x, y = pairs(least=3, pulses=pulses, positions=positions)
    if np.ptp(x) == 0 or np.ptp(y) == 0:
        raise ValueError(f"{'pulses' if np.ptp(x) == 0 else 'positions'}: all {len(x)} are the same; nothing moved")
    columns, back = _columns(x, pulses_per_turn)
    found, covariance, residuals = least_squares(columns, y)
    found, covariance = back @ found, back @ covariance @ back.T
    slope, spread = found[1], math.sqrt(covariance[1, 1])
    if abs(slope) < 3 * spread:
        raise ValueError(f"positions: do not follow the pulses (slope {slope:.3g} m, standard uncertainty {spread:.2g} m)")
    free = len(x) - len(columns)
    turn = _once_per_turn(found[2:], covariance[2:, 2:], free) if pulses_per_turn else {}
    line = covariance[:2, :2] + scale_uncertainty**2 * np.outer(found[:2], found[:2])  # a wrong scale stretches both
    each = Estimate(slope, math.sqrt(line[1, 1]))
    deviation = math.sqrt(residuals @ residuals / free)
    return Travel(each, Estimate(found[0], math.sqrt(line[0, 0])), Estimate(deviation, deviation / math.sqrt(2 * free)), line, len(x),
                  lead_error=_lead_error(each, nominal), notes=_notes(x, y, residuals, deviation), **turn)


def _columns(x, pulses_per_turn):
    """Columns about the middle of the pulses, and the matrix that turns their coefficients into those about zero."""
    middle, wide = x.mean(), np.ptp(x)
    columns, back = [np.ones(len(x)), (x - middle) / wide], np.array([[1, -middle / wide], [0, 1 / wide]])
    if not pulses_per_turn:
        return columns, back
    if wide <= pulses_per_turn:
        raise ValueError("pulses: span less than one turn; a once-per-turn error needs readings over more")
    angle = 2 * np.pi * x / pulses_per_turn
    return [*columns, np.cos(angle), np.sin(angle)], np.block([[back, np.zeros((2, 2))], [np.zeros((2, 2)), np.eye(2)]])


def _lead_error(each, nominal):
    if nominal is None:
        return None
    ratio = each / nominal
    if not 0.8 < ratio < 1.25:
        raise ValueError(f"travel per pulse is {ratio:.3g} times the nominal one: check the units, the microsteps and the sign")
    return Estimate(ratio - 1, each.standard_uncertainty / nominal)


def _once_per_turn(wave, covariance, free):
    from scipy.stats import f

    chance = f.sf(wave @ np.linalg.solve(covariance, wave) / 2, 2, free)
    amplitude = length(wave, covariance)
    across = np.array([-wave[1], wave[0]]) / amplitude**2
    phase = Estimate(math.atan2(wave[1], wave[0]), math.sqrt(across @ covariance @ across))
    return {"once_per_turn": amplitude, "once_per_turn_found": bool(chance < _UNLIKELY), "once_per_turn_phase": phase}


def _notes(x, positions, residuals, deviation):
    """What speaks against independent errors of one size."""
    notes, worst = [], np.argmax(np.abs(residuals))
    if abs(residuals[worst]) > _OUTSIDE * deviation:
        notes.append(f"The reading at pulse {x[worst]:g} stands out by {abs(residuals[worst]) / deviation:.1f} residual deviations.")
    r = residuals[np.argsort(x, kind="stable")]
    together = r[1:] @ r[:-1] / max(r @ r, 1e-300)
    if len(r) >= 10 and deviation > _ROUNDING * np.ptp(positions) and together > 2.6 / math.sqrt(len(r)):
        notes.append("The residuals follow each other: the line is not all there is, and the uncertainties are too small. "
                     "Look for a once-per-turn error, play or a kink.")
    return tuple(notes)


@dataclasses.dataclass(frozen=True)
class Reversal:
    """Positioning both ways; all in m, each an Estimate or an array (a value a target). Letters as in ISO 230-2.

    reversal_at: B_i, forward less backward mean; mean_forward, mean_backward: of the deviations; deviation_forward,
    deviation_backward: their standard deviations s_i. reversal: B, the largest |B_i|; mean_reversal: mean of B_i, with its sign.
    repeatability: R (and each way); systematic: E, range of the means (and each way); mean_range: M; accuracy: A (and each way).
    """

    reversal: Estimate
    mean_reversal: Estimate
    repeatability_forward: Estimate
    repeatability_backward: Estimate
    repeatability: Estimate
    systematic_forward: Estimate
    systematic_backward: Estimate
    systematic: Estimate
    mean_range: Estimate
    accuracy_forward: Estimate
    accuracy_backward: Estimate
    accuracy: Estimate
    targets: np.ndarray
    mean_forward: np.ndarray
    mean_backward: np.ndarray
    deviation_forward: np.ndarray
    deviation_backward: np.ndarray
    reversal_at: np.ndarray
    reversal_at_uncertainty: np.ndarray
    notes: tuple = ()

    def for_rig(self):
        """{'transmission.backlash': Estimate} for record(): the mean, as the largest of several is too large by chance."""
        return {"transmission.backlash": Estimate(abs(self.mean_reversal), self.mean_reversal.standard_uncertainty)}


def reversal(targets, forward, backward):
    """Reversal value, repeatability and accuracy of positions (m) reached at targets (m) from both sides: a Reversal.

    targets: n places; forward, backward: positions reached, n x runs (runs x n is turned round where that is certain). The
    definitions of ISO 230-2:2014 (formulas from memory), which ask for 5 runs each way and 5 targets; from 2 runs on it
    computes, with a note. Uncertainties: Monte Carlo (JCGM 101:2008) over the scatter of the runs; that of the scale read comes on top.
    ValueError for one run, unequal shapes, what is not finite, and readings that are not near their targets.
    """
    x = numbers("targets", targets, 2)
    ways = [_runs(name, reached, x) - x[:, None] for name, reached in (("forward", forward), ("backward", backward))]
    means, spreads = [w.mean(axis=1) for w in ways], [w.std(axis=1, ddof=1) for w in ways]
    runs = [w.shape[1] for w in ways]
    random = np.random.default_rng(230)
    tried = [m + s / math.sqrt(n) * random.standard_normal((_TRIALS, len(x))) for m, s, n in zip(means, spreads, runs)]
    spread = [s * np.sqrt(random.chisquare(n - 1, (_TRIALS, len(x))) / (n - 1)) for s, n in zip(spreads, runs)]
    trials = _iso_230_2(*tried, *spread)
    figures = {name: Estimate(value, np.std(trials[name])) for name, value in _iso_230_2(*means, *spreads).items()}
    apart = np.sqrt(sum(s**2 / n for s, n in zip(spreads, runs)))
    short = min(runs) < 5 or len(x) < 5
    notes = (f"ISO 230-2 asks for 5 targets and 5 runs each way; here are {len(x)} and {min(runs)}.",) if short else ()
    return Reversal(**figures, targets=x, mean_forward=means[0], mean_backward=means[1], deviation_forward=spreads[0],
                    deviation_backward=spreads[1], reversal_at=means[0] - means[1], reversal_at_uncertainty=apart, notes=notes)


def _runs(name, reached, targets):
    found, n = numbers(name, reached, shape=2), len(targets)
    near = [np.abs(way - targets[:, None]).max() if len(way) == n else math.inf for way in (found, found.T)]
    if found.shape[0] != n and found.shape[1] == n or near[1] < near[0]:
        found = found.T
    if len(found) != n or found.shape[1] < 2:
        raise ValueError(f"{name}: has the shape {found.shape}; {n} targets need {n} rows of at least 2 runs")
    if min(near) > np.ptp(targets) / 2:
        raise ValueError(f"{name}: lies up to {min(near):.3g} m from the targets; give the positions reached, in m, not the deviations")
    return found


def _iso_230_2(up, down, s_up, s_down):
    """The figures of ISO 230-2 from means and standard deviations, targets along the last axis."""
    both = np.stack([up, down])
    at, high, low = up - down, np.max(both, axis=0), np.min(both, axis=0)
    reach = [(up + 2 * s_up, up - 2 * s_up), (down + 2 * s_down, down - 2 * s_down)]
    width = np.maximum.reduce([2 * s_up + 2 * s_down + np.abs(at), 4 * s_up, 4 * s_down])

    def span(high, low):
        return np.max(high, axis=-1) - np.min(low, axis=-1)

    return {"reversal": np.max(np.abs(at), axis=-1), "mean_reversal": np.mean(at, axis=-1),
            "repeatability_forward": np.max(4 * s_up, axis=-1), "repeatability_backward": np.max(4 * s_down, axis=-1),
            "repeatability": np.max(width, axis=-1), "systematic_forward": span(up, up), "systematic_backward": span(down, down),
            "systematic": span(high, low), "mean_range": span((up + down) / 2, (up + down) / 2),
            "accuracy_forward": span(*reach[0]), "accuracy_backward": span(*reach[1]),
            "accuracy": span(np.maximum(reach[0][0], reach[1][0]), np.minimum(reach[0][1], reach[1][1]))}


@dataclasses.dataclass(frozen=True)
class MissedSteps:
    """drift: after less before (m); full_steps: the same in full steps; verdict in words."""

    drift: Estimate
    full_steps: Estimate
    missed: int | None  # full steps, a multiple of four; None where the drift is something else, or cannot be told
    verdict: str


def missed_steps(before, after, full_step):
    """What a fast run there and back has lost: a MissedSteps.

    before, after: positions (m) read at one mark, reached from the same side, at least two each; full_step (m): travel of a
    full step. A stepping motor loses whole electrical cycles, so four full steps or a multiple; another drift is slip, play
    or warming. ValueError for fewer readings or what is not finite.
    """
    first, last = numbers("before", before, 2), numbers("after", after, 2)
    if not full_step > 0:
        raise ValueError(f"full_step is {full_step}; allowed: above 0 m")
    free = len(first) + len(last) - 2
    pooled = sum(np.sum((x - x.mean())**2) for x in (first, last)) / free
    drift = Estimate(last.mean() - first.mean(), math.sqrt(pooled * (1 / len(first) + 1 / len(last))))
    steps = Estimate(drift / full_step, drift.standard_uncertainty / full_step)
    whole = 4 * round(steps / 4)
    if steps.standard_uncertainty > 0.5:
        missed, verdict = None, "cannot be told: the readings scatter by more than half a full step"
    elif abs(steps - whole) > max(3 * steps.standard_uncertainty, 0.5):
        missed, verdict = None, "no whole number of electrical cycles: look for slip at a coupling or pulley, for play and for warming"
    else:
        missed, verdict = whole, f"{abs(whole)} full steps lost" if whole else "no step lost"
    return MissedSteps(drift, steps, missed, verdict)


@dataclasses.dataclass(frozen=True)
class Stiffness:
    """stiffness (N/m); frequency (Hz) with the mass on that spring, None without a mass; residual_deviation (m)."""

    stiffness: Estimate
    frequency: Estimate | None
    residual_deviation: Estimate


def fit_stiffness(forces, deflections, mass=None, mass_uncertainty=0.0):
    """Stiffness from pressing with known forces (N) and looking how far it gives (m): a Stiffness.

    The slope of give against force, at least 3 readings; one of them may be without a force. mass (kg), with its standard
    uncertainty, gives the natural frequency. ValueError for fewer, and for a give that does not grow with the force.
    """
    x, y = pairs(least=3, forces=forces, deflections=deflections)
    if np.ptp(x) == 0:
        raise ValueError("forces: are all the same; press with different weights")
    (_, give), covariance, residuals = least_squares([np.ones(len(x)), x], y)
    spread, free = math.sqrt(covariance[1, 1]), len(x) - 2
    if give < 3 * spread:
        raise ValueError(f"deflections: do not grow with the forces ({give:.3g} m/N, standard uncertainty {spread:.2g} m/N)")
    values = {"force": 1.0, "deflection": float(give)}
    stiffness = by_formula(vibration.press_stiffness, values, {"deflection": spread})
    frequency = None if mass is None else by_formula(
        vibration.spring_frequency, {"stiffness": float(stiffness), "mass": float(mass)},
        {"stiffness": stiffness.standard_uncertainty, "mass": mass_uncertainty})
    deviation = math.sqrt(residuals @ residuals / free)
    return Stiffness(stiffness, frequency, Estimate(deviation, deviation / math.sqrt(2 * free)))
