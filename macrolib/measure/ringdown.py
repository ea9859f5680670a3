"""Ring-down: natural frequency and damping ratio from a log of a rig that was tapped and left alone."""

import dataclasses
import functools
import math

import numpy as np

from macrolib.measure.estimate import Estimate, curve_fit, length, pairs

_ROWS = 50_000  # readings above which blocks of them, far shorter than a period, are averaged
_BLOCKS = 40  # of them in a period
_SEARCHED = 20_000  # rows on which the start of the search is found
_POLES = 400  # rows on which neighbouring modes are told apart
_FEW, _HEAVY = 4.0, 0.1  # readings a period, and damping ratio, from which an alias looks the same
_CERTAIN = 1e-6  # chance below which something counts as found, whatever was searched
_POOR = 0.05  # of the ringing that a good fit may leave unexplained
_DAMPING_RATIOS = (0.003, 0.01, 0.03, 0.08, 0.2, 0.4)


@dataclasses.dataclass(frozen=True)
class Mode:
    """One mode: undamped natural frequency (Hz), damping ratio, amplitude at the start (zero to peak, unit of the signal)."""

    frequency: Estimate
    damping_ratio: Estimate
    amplitude: Estimate


@dataclasses.dataclass(frozen=True)
class Ringdown:
    """What fit_ringdown found: the strongest mode, and how far it can be trusted.

    amplitude, offset, residual_deviation in the unit of the signal, amplitude zero to peak at `start` (s). second: a second
    Mode, None where it was ruled out; hidden: amplitude, over the first mode's, up to which one could still hide.
    quality: "good" or "poor"; notes say why, and what else a reader should know.
    """

    frequency: Estimate
    damping_ratio: Estimate
    amplitude: Estimate
    offset: Estimate
    residual_deviation: Estimate
    second: Mode | None
    hidden: float
    quality: str
    notes: tuple
    start: float
    model: object = dataclasses.field(repr=False)  # the fitted signal as a function of the times

    def for_rig(self, table):
        """{'table.natural_frequency': ..., 'table.damping_ratio': ...} for record(); table: 'stand', 'carriage' or 'floor'."""
        return {f"{table}.natural_frequency": self.frequency, f"{table}.damping_ratio": self.damping_ratio}


def fit_ringdown(times, signal, start=None, expected=None):
    """Frequency, damping ratio and amplitude of a free decay, with a second mode found or ruled out: a Ringdown.

    times (s) must rise, but need not be even; signal in any unit of acceleration, speed or travel. Least squares of
    offset + A e^(-a t) cos(w t + phase) for one mode, then two; covariance s^2 (J'J)^-1, widened where the residuals are not
    white noise. start: when the free decay begins (s); left out, the record's beginning where it begins at once,
    else half a period after its largest reading. expected: rough frequency (Hz), which vouches that a coarse record is no alias; what
    rings above half the readings a second looks like less, and is not always seen to.
    ValueError for what is no ring-down: constant, clipped, too short, too coarse, nothing but noise.
    """
    t, x = pairs(least=16, times=times, signal=signal)
    _refuse_bad_records(t, x)
    record = _ringing(t, x, start)
    one = _fit(record, _first_guess(record))
    _refuse_noise(one, record)
    _refuse_aliases(one.alpha[0], one.omega[0], record.reading, expected)
    return _result(_with_second(one, record), record)


def _refuse_bad_records(t, x):
    late = np.flatnonzero(np.diff(t) <= 0)
    if late.size:
        raise ValueError(f"times[{late[0] + 1}]: {t[late[0] + 1]:g} s does not come after {t[late[0]]:g} s; read_log() sorts a log")
    if np.ptp(x) == 0:
        raise ValueError("signal: is constant; nothing rings")
    for side in (x, -x):
        levels, counts = np.unique(side[side > np.quantile(side, 0.5)], return_counts=True)
        if counts.size > 4 and counts[-1] >= 4 and counts[-1] > 4 * counts[-4:-1].max():
            raise ValueError(f"signal: is clipped: {counts[-1]} readings stand at its extreme {abs(levels[-1]):g}; "
                             "tap more gently, or choose a wider range")


def _spectrum(tau, x):
    """(frequencies, power) on even times; the power of white noise is its variance, whatever the length."""
    from scipy import fft

    even = np.linspace(tau[0], tau[-1], len(tau))
    if np.ptp(np.diff(tau)) > 0.01 * (even[1] - even[0]):
        x = np.interp(even, tau, x)
    power = np.abs(fft.rfft(x - x.mean()))**2 / len(x)
    return fft.rfftfreq(len(x), even[1] - even[0]), power


@dataclasses.dataclass
class _Record:
    """The readings from which the decay is fitted: times since the start, signal, rough frequency, time between them."""

    tau: np.ndarray
    signal: np.ndarray
    start: float
    rest: float  # taken off the signal
    rough: float
    reading: float  # time between readings as they were taken
    block: int  # readings averaged to one
    after: tuple  # times and signal that were left out, for the noise in them; none where blocks were averaged
    notes: tuple

    @property
    def amplitude(self):
        return np.ptp(self.signal) / 2

    @property
    def step(self):
        return self.reading * self.block


def _ringing(t, x, start):
    """The _Record from where the free decay begins until nothing is left of it."""
    rest = float(np.median(x[-(len(x) // 4):]))
    x = x - rest
    peak = int(np.argmax(np.abs(x)))
    begun = peak if start is None else int(np.searchsorted(t, start))
    if len(t) - begun < 16:
        raise ValueError(f"signal: only {len(t) - begun} readings after the decay begins; 16 are needed")
    end = begun + _visible(x[begun:])
    frequencies, power = _spectrum(t[begun:end], x[begun:end])
    rough = frequencies[2 + np.argmax(power[2:])]  # the two lowest hold offset and drift
    if start is None:  # a record that does not begin at once holds the tap, which is no free decay
        at_once = np.abs(x[t - t[0] < 0.3 / rough]).max() > 0.7 * np.abs(x[peak])
        begun = 0 if at_once else int(np.searchsorted(t, t[peak] + 0.5 / rough))
    if end - begun < 16 or np.ptp(x[begun:end]) == 0:
        raise ValueError("signal: ends too soon after its largest reading; record at least ten periods of the decay")
    notes = (f"The last {len(t) - end} of {len(t)} readings come after the ringing and were left out.",) if end < len(t) else ()
    reading, later = (t[end - 1] - t[begun]) / (end - begun - 1), slice(end, end + _SEARCHED)
    after, tau, x = (t[later] - t[begun], x[later]), t[begun:end] - t[begun], x[begun:end]
    block = max(1, int(1 / (_BLOCKS * rough * reading))) if end - begun > _ROWS else 1
    if block > 1:
        after = (np.empty(0), np.empty(0))
        tau, x = (v[:len(v) // block * block].reshape(-1, block).mean(axis=1) for v in (tau, x))
    return _Record(tau - tau[0], x, float(t[begun] + tau[0]), rest, rough, reading, block, after, notes)


def _visible(x):
    """Readings worth fitting: four times those that hold 98 % of the energy above the level of the record's last quarter."""
    noise = np.mean(x[-(len(x) // 4):]**2)
    energy = np.cumsum(x**2 - noise)
    most = energy.max()
    return min(len(x), max(4 * int(np.argmax(energy > 0.98 * most)), 64)) if most > 10 * noise * math.sqrt(2 * len(x)) else len(x)


@dataclasses.dataclass
class _Fit:
    """offset and, for each mode, decay rate, angular frequency (1/s) and the parts in cosine and sine."""

    values: np.ndarray  # offset, then alpha, omega, a, b for each mode
    covariance: np.ndarray
    residuals: np.ndarray

    @property
    def alpha(self):
        return self.values[1::4]

    @property
    def omega(self):
        return self.values[2::4]

    @property
    def amplitude(self):
        return np.hypot(self.values[3::4], self.values[4::4])

    @property
    def squares(self):
        return self.residuals @ self.residuals


def _columns(tau, alpha, omega):
    turn = np.exp(np.minimum(-alpha * tau, 100.0)) * np.exp(1j * omega * tau)
    return turn.real, turn.imag


def _model(values, tau):
    total = np.full(np.shape(tau), values[0])
    for alpha, omega, a, b in values[1:].reshape(-1, 4):
        c, s = _columns(tau, alpha, omega)
        total += a * c + b * s
    return total


def _jacobian(values, tau):
    columns = [np.ones(len(tau))]
    for alpha, omega, a, b in values[1:].reshape(-1, 4):
        c, s = _columns(tau, alpha, omega)
        columns += [-tau * (a * c + b * s), tau * (b * c - a * s), c, s]
    return np.column_stack(columns)


def _linear(tau, x, poles):
    """Offset and amplitudes for given (alpha, omega) pairs, as the start of _fit, and the squares left."""
    matrix = np.column_stack([np.ones(len(tau)), *(c for pole in poles for c in _columns(tau, *pole))])
    found = np.linalg.lstsq(matrix, x, rcond=None)[0]
    left = x - matrix @ found
    values = np.concatenate([found[:1], *([*pole, *found[1 + 2 * k:3 + 2 * k]] for k, pole in enumerate(poles))])
    return values, left @ left


def _fit(record, poles):
    """Least squares of all values, from rough poles."""
    rate, tau, size = poles[0][1], record.tau, record.amplitude
    scale = np.concatenate([[size], np.tile([rate, rate, size, size], len(poles))])
    return _Fit(*curve_fit(lambda v: _model(v, tau), record.signal, _linear(tau, record.signal, poles)[0], scale,
                           lambda v: _jacobian(v, tau)))


def _first_guess(record):
    thin, omega = max(1, int(1 / (6 * record.rough * record.step))), 2 * np.pi * record.rough
    tau, x = record.tau[::thin][:_SEARCHED], record.signal[::thin][:_SEARCHED]
    trials = [[(omega * zeta, omega)] for zeta in _DAMPING_RATIOS]
    return min(trials, key=lambda poles: _linear(tau, x, poles)[1])


def _refuse_aliases(alpha, omega, step, expected):
    frequency, each = abs(omega) / (2 * np.pi), 2 * np.pi / (abs(omega) * step)
    if expected is not None and expected * step > 0.5:
        raise ValueError(f"times: {1 / step:.4g} readings a second are fewer than two a period of {expected:g} Hz; sample faster")
    if expected is not None and not 0.7 < frequency / expected < 1.4:
        raise ValueError(f"signal: rings at {frequency:.4g} Hz, not near the {expected:g} Hz that were expected")
    if expected is None and (each < _FEW or each < 10 and alpha > _HEAVY * abs(omega) or alpha * step > 0.1):
        raise ValueError(f"times: {each:.1f} readings a period, {1 / (alpha * step):.0f} in the decay, are too few: this may be "
                         f"{frequency:.4g} Hz, or an alias of {1 / step - frequency:.4g} Hz; sample faster, or give the rough "
                         "frequency as expected=")
    if not 0.1 < frequency < 20e3:
        raise ValueError(f"times: the signal would ring at {frequency:.3g} Hz; are the times in seconds?")


def _refuse_noise(one, record):
    from scipy.stats import f

    free, total = len(record.tau) - 5, np.sum((record.signal - record.signal.mean())**2)
    if f.sf((total / max(one.squares, 1e-300) - 1) * free / 4, 4, free) > _CERTAIN:
        raise ValueError("signal: nothing rings in it that stands out of the noise")
    if one.alpha[0] <= 0 or one.alpha[0] < 2 * math.sqrt(one.covariance[1, 1]):
        raise ValueError(f"signal: shakes steadily at {one.omega[0] / 2 / np.pi:.4g} Hz and does not decay: no ring-down")


def _ringing_rows(fit, tau, times=4):
    """Rows in which the strongest mode still rings: so many times the time in which it falls to 37 %."""
    return max(int(np.searchsorted(tau, times / fit.alpha[np.argmax(fit.amplitude)])), min(64, len(tau)))


def _colour(fit, record):
    """Power of the noise near the strongest mode over its mean power, from the quiet end: 1 where that may be chance."""
    noise = np.concatenate([fit.residuals[_ringing_rows(fit, record.tau, 8):], record.after[1] - _model(fit.values, record.after[0])])
    if len(noise) < 64:
        return 1.0
    frequencies, power = _spectrum(np.arange(len(noise)) * record.step, noise)
    ratio = frequencies[1:] * 2 * np.pi / fit.omega[np.argmax(fit.amplitude)]
    near = power[1:][(ratio > 0.7) & (ratio < 1.4)]
    colour = near.mean() / max(power[1:].mean(), 1e-300) if near.size else 1.0
    return float(colour) if colour > 1 + 3 / math.sqrt(max(near.size, 1)) else 1.0


def _chance(fit, tau, colour=1.0):
    """Chance that noise alone leaves such a peak in the spectrum of the residuals while it rings."""
    rows = _ringing_rows(fit, tau)
    power = _spectrum(tau[:rows], fit.residuals[:rows])[1][1:]
    peak = power.max() / max(power.mean() * colour, 1e-300)
    return len(power) * math.exp(-min(peak, 700.0))


def _with_second(one, record):
    """The fit with two modes where the second is certain, else the one given."""
    from scipy.stats import f

    tau, step, free = record.tau, record.step, len(record.tau) - 9
    if free < 9 or _chance(one, tau) > 0.05:
        return one
    two = min((_fit(record, poles) for poles in _second_guesses(one, record)), key=lambda fit: fit.squares)
    gain = (one.squares / max(two.squares, 1e-300) - 1) * free / 4 / _colour(two, record)
    return two if _are_modes(two, step) and f.sf(gain, 4, free) < _CERTAIN else one


def _second_guesses(one, record):
    """Pairs of poles: the first mode with the residuals' strongest frequency, and what linear prediction sees."""
    tau, rows = record.tau, _ringing_rows(one, record.tau)
    frequencies, power = _spectrum(tau[:rows], one.residuals[:rows])
    other = 2 * np.pi * frequencies[1 + np.argmax(power[1:])]
    guesses = [[(one.alpha[0], one.omega[0]), (one.alpha[0], other)]]
    step = record.step * max(1, int(2 * np.pi / (12 * one.omega[0] * record.step)))
    even = np.arange(min(_POLES, int(tau[-1] / step))) * step
    seen = _poles(np.interp(even, tau, record.signal), step)
    return [*guesses, seen] if len(seen) == 2 else guesses


def _poles(x, step):
    """The two strongest poles of an even record, by the shift invariance of its Hankel matrix (two modes and an offset)."""
    from scipy.linalg import hankel

    if len(x) < 30:
        return []
    half = len(x) // 2
    u = np.linalg.svd(hankel(x[:half], x[half - 1:]), full_matrices=False)[0][:, :5]
    z = np.linalg.eigvals(np.linalg.pinv(u[:-1]) @ u[1:])
    rates = np.log(z[z.imag > 0]) / step
    return [(max(-p.real, 1e-3 * p.imag), p.imag) for p in rates]


def _are_modes(fit, step):
    """Whether both modes decay, stand out, differ, and are sampled often enough."""
    spread = np.sqrt(np.diag(fit.covariance))
    outstanding = fit.amplitude > 4 * np.hypot(spread[3::4], spread[4::4]) / math.sqrt(2)
    apart = abs(fit.omega[0] - fit.omega[1]) > 3 * np.hypot(*spread[2::4])
    return bool((fit.alpha > 0).all() and (fit.omega > 0).all() and outstanding.all() and apart
                and (fit.omega * step < 2 * np.pi / 2.2).all() and (fit.alpha < fit.omega).all())


def _result(fit, record):
    tau, free = record.tau, len(record.tau) - len(fit.values)
    colour = _colour(fit, record)
    structured = _chance(fit, tau, colour) < _CERTAIN
    covariance, rows = fit.covariance * colour, _ringing_rows(fit, tau)
    modes = [_mode(fit.values[k:k + 4], covariance[k:k + 4, k:k + 4], record) for k in range(1, len(fit.values), 4)]
    modes.sort(key=lambda m: -m.amplitude)
    first, deviation = modes[0], math.sqrt(fit.squares / free)
    unexplained = np.linalg.norm(fit.residuals[:rows]) / np.linalg.norm(record.signal[:rows] - fit.values[0])
    poor = []
    if structured and unexplained > _POOR:
        poor.append(f"Poor fit: {unexplained:.0%} of the ringing is no decaying sine and no noise. The damping may change with "
                    "the amplitude, more may ring, or something moved; a second mode nearby may only imitate that.")
    if first.damping_ratio.standard_uncertainty > 0.25 * first.damping_ratio:
        poor.append("Poor fit: the damping is known to no better than a quarter of itself; tap harder, or record longer.")
    notes = [*poor, *record.notes]
    if colour > 1:
        notes.append(f"The noise is stronger near the mode than elsewhere: uncertainties are wider by {math.sqrt(colour):.2g}.")
    if 2 * np.pi / (fit.omega.max() * record.reading) < 10:
        notes.append(f"Fewer than ten readings a period: true where nothing rings above {0.5 / record.reading:.4g} Hz.")
    energy = np.sum(np.exp(-4 * np.pi * first.damping_ratio * first.frequency * tau))
    hidden = 10 * deviation * math.sqrt(2 * colour / energy) / first.amplitude
    values = fit.values + np.eye(1, len(fit.values))[0] * record.rest
    return Ringdown(first.frequency, first.damping_ratio, first.amplitude, Estimate(values[0], math.sqrt(covariance[0, 0])),
                    Estimate(deviation, deviation / math.sqrt(2 * free)), modes[1] if len(modes) > 1 else None, float(hidden),
                    "poor" if poor else "good", tuple(notes), record.start, functools.partial(_signal, values=values, start=record.start))


def _signal(times, values, start):
    return _model(values, np.asarray(times, float) - start)


def _mode(values, covariance, record):
    """A Mode of (alpha, omega, a, b) and their covariance, first order; averaging of blocks took a little of the amplitude."""
    alpha, omega = values[:2]
    whole, kept = math.hypot(alpha, omega), np.sinc(omega / (2 * np.pi) * record.step * (record.block > 1))
    slopes = np.array([[alpha / whole / (2 * np.pi), omega / whole / (2 * np.pi)], [omega**2 / whole**3, -alpha * omega / whole**3]])
    spread = np.sqrt(np.diag(slopes @ covariance[:2, :2] @ slopes.T))
    return Mode(Estimate(whole / (2 * np.pi), spread[0]), Estimate(alpha / whole, spread[1]),
                length(values[2:] / kept, covariance[2:, 2:] / kept**2))
