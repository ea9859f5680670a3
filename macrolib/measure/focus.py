"""Series of photographs: depth of field from a sweep through focus, settling from a burst after a move."""

import dataclasses
import math

import numpy as np

from macrolib.measure.estimate import Estimate, curve_fit, numbers, pairs
from macrolib.measure.photographs import pixels_of
from macrolib.physics import vibration

_LOBE = 0.2  # of the peak's power: what lies above it, next to the peak, is fitted
_STILL = 3.0  # standard deviations of the shifts that a tolerance must be above


def sharpness(picture, frequency=0.25):
    """Contrast of a picture in a band about a frequency (cycles for a pixel): root mean square over the mean, a bare number.

    A Photograph or an array; cut out what is to be judged. The band reaches from 0.9 to 1.1 of the frequency. Noise adds to
    it as squares: fit_focus() takes that off. As an amplitude it follows the lens's transfer: 0.8 of it is 80 % kept.
    """
    from scipy import fft

    pixels = pixels_of("picture", picture)
    if not 0.01 <= frequency <= 0.4:
        raise ValueError(f"frequency is {frequency} cycles for a pixel; allowed: 0.01 to 0.4")
    mean = float(pixels.mean())
    if mean <= 0:
        raise ValueError("picture: is black")
    rows, columns = pixels.shape
    window = np.hanning(rows)[:, None].astype(np.float32) * np.hanning(columns).astype(np.float32)
    power = np.abs(fft.rfft2((pixels - mean) * window))**2
    at = np.hypot(fft.fftfreq(rows)[:, None], fft.rfftfreq(columns)) / frequency
    return math.sqrt(2 * power[(at > 0.9) & (at < 1.1)].sum() / (rows * columns * np.sum(window**2))) / mean


@dataclasses.dataclass(frozen=True)
class FocusSweep:
    """best: position of best focus (m); depth: total depth (m) in which `kept` of the contrast is left; peak, floor: contrast
    in best focus and of the noise. notes: what a reader should know. curve: contrast at positions (m)."""

    best: Estimate
    depth: Estimate
    peak: Estimate
    floor: float
    kept: float
    notes: tuple
    curve: object = dataclasses.field(repr=False)


def fit_focus(positions, sharpness, kept=0.8):
    """Best focus and depth of field from the sharpness() of photographs at positions (m) along the axis: a FocusSweep.

    sharpness is a contrast (an amplitude). Its square is floor + peak^2 kept^(2 u^2 + c u^4), u from the best focus in half
    depths, fitted to the points about the peak with at least 0.2 of its power; the floor is that of the farthest points. So
    the depth is that of optics.sharp_depth when both use the same frequency. At least 5 points must lie about the peak:
    steps of at most a quarter of the depth. ValueError for fewer, and for a sweep that does not go beyond both sides.
    """
    z, contrast = pairs(least=7, positions=positions, sharpness=sharpness)
    if not 0 < kept < 1 or (contrast < 0).any():
        raise ValueError("kept must lie between 0 and 1, and no sharpness below 0")
    z, power = z[np.argsort(z, kind="stable")], contrast[np.argsort(z, kind="stable")]**2
    floor, lobe, notes = _floor_and_lobe(z, power)
    height, middle, half = power[lobe].max() - floor, z[lobe][np.argmax(power[lobe])], np.ptp(z[lobe]) / 3

    def curve(z, height, middle, half, fourth=0.0):
        squares = ((z - middle) / half)**2
        return floor + height * np.exp(np.clip(math.log(kept) * (2 * squares + fourth * (squares**2 - squares)), -700, 10))

    free = 4 if len(z[lobe]) >= 7 else 3  # with fewer points the form is a Gaussian
    start, scale = (np.array(x[:free]) for x in ([height, middle, half, 0.0], [height, half, half, 1.0]))
    found, covariance, residuals = curve_fit(lambda v: curve(z[lobe], *v), power[lobe], start, scale)
    spread, left = np.sqrt(np.diag(covariance)), np.std(residuals) / found[0]
    if left > 0.05:
        notes.append(f"Poor fit: {left:.0%} of the peak is not on the curve. The light may flicker, the subject may move or be deep.")
    peak = math.sqrt(max(found[0], 0.0))
    return FocusSweep(Estimate(found[1], spread[1]), Estimate(2 * abs(found[2]), 2 * spread[2]), Estimate(peak, spread[0] / (2 * peak)),
                      math.sqrt(floor), kept, tuple(notes), lambda z: np.sqrt(np.maximum(curve(np.asarray(z, float), *found), 0.0)))


def _floor_and_lobe(z, power):
    """(power far from focus, slice of the points about the peak, notes)."""
    top, notes = int(np.argmax(power)), []
    low = power < power.min() + 0.1 * np.ptp(power)
    floor = float(np.median(power[low])) if np.ptp(power) > 0.7 * power[top] else 0.0
    if floor == 0.0:
        notes.append("The sweep ends where it is still fairly sharp: the noise is taken as none.")
    share = (power - floor) / (power[top] - floor) if power[top] > floor else np.ones(len(power))
    above = np.flatnonzero(share < _LOBE)
    first, last = max(above[above < top], default=-1) + 1, min(above[above > top], default=len(z))
    if share[first] > 0.5 and first == 0 or share[last - 1] > 0.5 and last == len(z):
        raise ValueError(f"sharpness: is highest near {z[top]:.6g} m, too near an end of the sweep; go on until both sides are blurred")
    if len(np.unique(z[first:last])) < 5:
        raise ValueError(f"positions: only {last - first} lie where it is sharp, 5 are needed; use steps of a quarter of the depth")
    outside = np.delete(share, np.arange(first, last))
    if outside.size and outside.max() > 0.5:
        notes.append("It is sharp at a second place: the part that is judged holds two depths, or something moved.")
    return floor, slice(first, last), notes


@dataclasses.dataclass(frozen=True)
class Settling:
    """Stillness after a move, seen in a burst. wait (s): from time 0 until the envelope is within the tolerance.

    amplitude (px, zero to peak, at time 0) and decay_rate (1/s) of the envelope; seen (s): the first frame from which all
    are within it, which may be earlier by chance; noise (px): scatter of a frame at rest.
    """

    wait: Estimate
    amplitude: Estimate
    decay_rate: Estimate
    seen: float
    noise: float
    notes: tuple = ()


def settling(times, motion, tolerance):
    """How long to wait until a picture stands still, from a burst of photographs: a Settling.

    times (s) of the frames since the move ended; motion (px): shift of each frame along one line, or down and across (n x 2),
    against any reference, as from shift(); tolerance (px) peak to peak. A burst is slower than the vibration: each frame
    catches another phase, so the mean square of the motion, noise + A^2 e^(-2 a t) / 2, is fitted for A and a, each square
    with the variance that a sine at an unknown phase has (quasi-likelihood; derived). At least 12 frames, 4 of them moving,
    the last third still; and the time between frames must not be a whole number of periods. ValueError otherwise.
    """
    t, y = numbers("times", times, 12), np.asarray(motion)
    y = numbers("motion", motion, len(t), 2 if y.ndim == 2 else 1)
    if len(y) != len(t) or (np.diff(t) <= 0).any():
        raise ValueError("times: must rise, one for each frame")
    y, noise = _along(y.reshape(len(t), -1), len(t) - len(t) // 3)
    if tolerance / 2 < _STILL * noise:
        raise ValueError(f"tolerance: {tolerance:g} px cannot be seen; the still frames scatter by {noise:.2g} px, or are not still")
    outside = np.flatnonzero(np.abs(y) > tolerance / 2)
    moving = int(np.sum(np.abs(y) > _STILL * noise))
    if moving < 4:
        raise ValueError(f"motion: only {moving} frames stand out of the noise; take more frames sooner after the move")
    seen = t[outside[-1] + 1] if outside.size else t[0]
    level, rate, noise, covariance = _envelope(t, y, noise)
    amplitude = math.exp(level)
    wait = vibration.settling_time(amplitude, tolerance / 2, rate, 1 / (2 * math.pi))  # only the product of the two matters
    slopes = np.array([1, -wait]) / rate
    spread = math.sqrt(slopes @ covariance @ slopes)
    if rate <= 0 or math.sqrt(covariance[1, 1]) > 0.5 * rate:
        raise ValueError("motion: does not die away within the burst in a way that can be told")
    return Settling(Estimate(wait, spread), Estimate(amplitude, amplitude * math.sqrt(covariance[0, 0])),
                    Estimate(rate, math.sqrt(covariance[1, 1])), float(seen), noise)


def _along(y, still):
    """Motion along its main direction about where it comes to rest, and the scatter of the frames at rest."""
    y = y - y[still:].mean(axis=0)
    if not y.any():
        raise ValueError("motion: is constant; nothing moved")
    way = np.linalg.svd(y, full_matrices=False)[2][0]
    along = y @ way
    return along, max(float(np.std(along[still:], ddof=1)), 1e-12 * np.abs(along).max())


def _envelope(t, y, noise):
    """(logarithm of the amplitude at time 0, decay rate, noise, covariance of the first two) by Fisher scoring."""
    early = np.abs(y) > _STILL * noise
    rate = 2 / max(t[early][-1] - t[0], t[1] - t[0])
    found = np.array([math.log(np.sqrt(2 * np.mean(y[early]**2))) + rate * np.mean(t[early]) / 2, rate, math.log(noise)])
    for _ in range(100):
        moved, still = np.exp(2 * (found[0] - found[1] * t)) / 2, math.exp(2 * found[2])
        slopes = 2 * np.stack([moved, -moved * t, np.full(len(t), still)])
        variance = moved**2 / 2 + 4 * moved * still + 2 * still**2  # of the square, at a phase that is not known
        fisher = slopes / variance @ slopes.T
        step = np.linalg.solve(fisher, slopes / variance @ (y**2 - moved - still))
        most = np.array([1, abs(found[1]) / 2, 1])
        found = found + np.clip(step, -most, most)
        found[2] = max(found[2], math.log(noise) - 5)  # where all frames still move, the noise cannot be told
        if np.abs(step).max() < 1e-9 * max(1.0, rate):
            break
    return found[0], found[1], math.exp(found[2]), np.linalg.inv(fisher)[:2, :2]
