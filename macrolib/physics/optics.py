"""How sharp: conjugates and pupils, depth of field, diffraction, defocus, transfer functions.

Lengths in metres, spatial frequencies in cycles for a metre at the sensor. Depths and offsets
are at the subject, blur and motion at the sensor. The magnification is that of the focused
plane; the pupil ratio is exit over entrance and belongs to the lens as it stands (reversed_lens).
A transfer function says how much contrast of a fine pattern is left: 1 is all, 0 is none.
"""

import functools
from typing import NamedTuple

import numpy as np
from sympy import Abs, Float, Min, Rational, acos, exp, pi, sinc, sqrt

from macrolib.formula import Formula, Symbol
from macrolib.physics import symbols as s

__all__ = ["airy_radius", "aperture", "blur_at", "criterion_frequency", "cutoff_frequency", "defocus_waves",
           "defocused_otf", "depth_of_field", "diffraction_mtf", "disc_otf", "edge_transfer", "effective_f_number",
           "entrance_pupil_distance", "far_depth", "frame_count", "frame_spacing", "image_distance", "jitter_mtf",
           "microscope_depth", "near_depth", "numerical_aperture", "object_distance", "scale_change", "sharp_depth",
           "smear_mtf", "stack_f_number", "vibration_mtf", "wave_depth", "working_distance"]

_f, _m, _N, _P, _c = s.focal_length, s.magnification, s.f_number, s.pupil_ratio, s.blur_diameter
_lam, _Ne, _NA, _n = s.wavelength, s.effective_f_number, s.numerical_aperture, s.refractive_index
_nu, _pitch = s.spatial_frequency, s.pixel_pitch
_LENSES = "Jacobson, Photographic Lenses Tutorial (1995)"
_DERIVED = "derived from the lens equation and similar triangles at the pupils; ray matrices in the tests agree"
_GOODMAN = "Goodman, Introduction to Fourier Optics (edition and page from memory)"
_SMEAR = "Johnson, Applied Optics 32, 6503 (1993)"

# --- conjugates and pupils
object_distance = Formula(s.object_distance, _f * (1 + 1 / _m), (_f, _m), _LENSES, "measured to the principal plane")
image_distance = Formula(s.image_distance, _f * (1 + _m), (_f, _m), _LENSES, "measured from the principal plane")
_old_m = Symbol("known_magnification", "1", "magnification at which the working distance is known", "m_0", above=0)
_old_distance = Symbol("known_distance", "m", "working distance at that magnification", "w_0", above=0)
working_distance = Formula(
    Symbol("working_distance", "m", "front of the lens to the subject", "w", above=0),
    _old_distance + _f * (1 / _m - 1 / _old_m), (_old_distance, _f, _old_m, _m), _DERIVED,
    "a lens that moves as a whole to focus; the subject stays in front of it")
entrance_pupil_distance = Formula(
    s.pupil_distance, _f * (1 / _m + 1 / _P), (_f, _m, _P), _DERIVED, "the entrance pupil is the centre of perspective")
exit_pupil_distance = Formula(
    Symbol("exit_pupil_distance", "m", "exit pupil to the sensor", "d_X", above=0),
    _f * (_m + _P), (_f, _m, _P), _DERIVED)
effective_f_number = Formula(_Ne, _N * (1 + _m / _P), (_N, _m, _P), _LENSES, "a lens in air")
numerical_aperture = Formula(
    _NA, _m / (2 * _Ne), (_m, _Ne), "definition by sines: image side 1/(2 N_e), subject side m times that",
    "well corrected lens; an objective's engraved value holds at the magnification it is made for")


class Aperture(NamedTuple):
    """One aperture in its three ways of counting."""

    f_number: float
    effective_f_number: float
    numerical_aperture: float


def aperture(magnification, pupil_ratio, *, f_number=None, effective_f_number=None, numerical_aperture=None):
    """Aperture(f_number, effective_f_number, numerical_aperture) from exactly one of them.

    f_number is the marked one; many close-up lenses and cameras report the effective one instead.
    All broadcast. ValueError unless exactly one is given.
    """
    given = {"f_number": f_number, "effective_f_number": effective_f_number, "numerical_aperture": numerical_aperture}
    known = {name: value for name, value in given.items() if value is not None}
    if len(known) != 1:
        raise ValueError(f"aperture: give exactly one of {', '.join(given)}; got {' and '.join(known) or 'none'}")
    return _resolve(magnification, pupil_ratio, **known)


def _resolve(m, pupil_ratio, **known):
    (name, value), = ((name, _valid(getattr(s, name), value)) for name, value in known.items())
    if name == "f_number":
        marked, effective = value, effective_f_number(value, m, pupil_ratio)
    else:
        effective = value if name == "effective_f_number" else _inverse(numerical_aperture, "effective_f_number")(
            numerical_aperture=value, magnification=m)
        marked = _inverse(effective_f_number, "f_number")(
            effective_f_number=effective, magnification=m, pupil_ratio=pupil_ratio)
    return Aperture(marked, effective, value if name == "numerical_aperture" else numerical_aperture(m, effective))


@functools.cache
def _inverse(formula, name):
    return formula.solve_for(name)


@functools.cache
def _range_of(symbol):
    return Formula(symbol, symbol, (symbol,), "the argument itself")


def _valid(symbol, value):
    """The value as float or array, refused in a Formula's words when it is out of the symbol's range."""
    return _range_of(symbol)(value)


def reversed_lens(f_number, pupil_ratio):
    """(f_number, pupil_ratio) of the same lens turned round: (N / P, 1 / P).

    The stop does not change, but the old exit pupil is the new entrance pupil, so the marked
    number no longer holds. Source: definition of both; a traced lens in the tests agrees.
    """
    f_number, pupil_ratio = _valid(_N, f_number), _valid(_P, pupil_ratio)
    return f_number / pupil_ratio, 1 / pupil_ratio


# --- depth of field, geometric
class _MaybeInfinite(Formula):
    """A Formula that answers infinity where its denominator is no longer positive."""

    def __call__(self, *args, **named):
        near_depth(*args, **named)  # the same symbols: the same checks and messages
        depth = self.masked(*args, **named).filled(np.inf)
        return float(depth) if depth.ndim == 0 else depth


_geometric, _d_E, _disc = (_m, _N, _P, _c, _f), entrance_pupil_distance.expression, _m * _f / _N
near_depth = Formula(
    Symbol("near_depth", "m", "from the focused plane to the near limit", "D_n", above=0),
    _c * _d_E / (_disc + _c), _geometric, _DERIVED)
far_depth = _MaybeInfinite(
    Symbol("far_depth", "m", "from the focused plane to the far limit", "D_r", above=0),
    _c * _d_E / (_disc - _c), _geometric, _DERIVED, "infinite when m is not above N c / f")
depth_of_field = Formula(
    s.depth_of_field, 2 * _c * effective_f_number.expression / _m**2, (_m, _N, _P, _c), _DERIVED,
    "close up: m well above N c / f; see depth_shortfall for what it lacks")
depth_shortfall = Formula(
    Symbol("depth_shortfall", "1", "share that depth_of_field lacks of near and far together", r"\epsilon", least=0),
    (_N * _c / (_m * _f))**2, (_m, _N, _c, _f), _DERIVED, "m above N c / f, where the far depth is finite")
blur_at = Formula(
    Symbol("blur_at", "m", "diameter at the sensor of the geometric blur of a point", "b", least=0),
    _disc * Abs(s.offset) / (_d_E + s.offset), (s.offset, _m, _N, _P, _f), _DERIVED,
    "points in front of the entrance pupil")
hyperfocal_distance = Formula(
    Symbol("hyperfocal_distance", "m", "subject distance from which the far limit is infinite", "H", above=0),
    _f**2 / (_N * _c) + _f, (_f, _N, _c), _LENSES, "focused at distance H, where m = N c / f")
_viewed = Symbol("viewed_blur", "m", "blur that is not seen in the viewed picture", "c_v", above=0)
_enlargement = Symbol("enlargement", "1", "viewed picture over sensor", "e", above=0)
viewing_blur = Formula(_c, _viewed / _enlargement, (_viewed, _enlargement), "geometry",
                       "0.2 or 0.25 mm seen from 0.25 m: common practice")

# --- diffraction and depth by waves
_RING = Float("1.2196698912665046")  # first zero of the Bessel function J1, over pi
cutoff_frequency = Formula(
    Symbol("cutoff_frequency", "1/m", "finest pattern that the lens transfers, at the sensor", r"\nu_c", above=0),
    1 / (_lam * _Ne), (_lam, _Ne), _GOODMAN, "incoherent light")
airy_radius = Formula(
    Symbol("airy_radius", "m", "radius of the first dark ring, at the sensor", "r_A", above=0),
    _RING * _lam * _Ne, (_lam, _Ne), "Airy pattern (2 J1(x) / x)^2, first zero of J1; the usual 1.22")
rayleigh_separation = Formula(
    Symbol("rayleigh_separation", "m", "distance of two points just told apart, at the subject", "r_R", above=0),
    _RING / 2 * _lam / _NA, (_lam, _NA), "Rayleigh: one point on the other's first dark ring; the usual 0.61")
wave_depth = Formula(
    Symbol("wave_depth", "m", "total depth in which the wavefront is within a quarter wave", "D_w", above=0),
    _lam * _n / _NA**2, (_lam, _NA, _n), "Keiser, Biophotonics (2016), p. 243; quarter-wave rule",
    "total, not the distance to one side; 12 % too much at NA/n = 0.65")
high_aperture_depth = Formula(
    Symbol("high_aperture_depth", "m", "wave depth without the small-angle step", "D_h", above=0),
    wave_depth.expression * (1 + sqrt(1 - (_NA / _n)**2)) / 2, (_lam, _NA, _n),
    "lambda / (4 n sin^2(alpha/2)), rewritten for NA = n sin alpha; found in microscopy texts (from memory)",
    "the numerical aperture stays at or below the index")
microscope_depth = Formula(
    Symbol("microscope_depth", "m", "wave depth and geometric depth added", "D_m", above=0),
    wave_depth.expression + _n * _c / (_m * _NA), (_lam, _NA, _n, _m, _c),
    "Inoue and Spring, Video Microscopy, p. 48 (cited second-hand)", "total depth; the sum is a convention")
defocus_waves = Formula(
    s.waves, s.offset * _m**2 / (8 * _lam * _Ne**2), (s.offset, _m, _Ne, _lam), "W020 = image shift / (8 N_e^2); "
    "wavefront of a defocused lens, Goodman", "subject in air; small angles: high_aperture_depth tells the error")
stack_f_number = Formula(
    _N, _m / 2 * sqrt(s.spacing / _lam) * _N / effective_f_number.expression, (_m, s.spacing, _lam, _P),
    "derived: a quarter wave of defocus half a spacing away", "the marked f-number")

# --- transfer functions at the sensor
_q = Min(s.q, 1)
diffraction_mtf = Formula(
    Symbol("diffraction_mtf", "1", "transfer of a perfect lens in focus", "M_d", least=0, most=1),
    2 / pi * (acos(_q) - _q * sqrt(1 - _q**2)), (s.q,), _GOODMAN, "round pupil, incoherent light; 0 from the cutoff on")
smear_mtf = Formula(
    Symbol("smear_mtf", "1", "transfer of one pixel, or of a steady motion", "M_b", least=0, most=1),
    Abs(sinc(pi * _nu * s.smear_length)), (_nu, s.smear_length), _SMEAR,
    "along the motion; a pixel that fills its pitch")
jitter_mtf = Formula(
    Symbol("jitter_mtf", "1", "transfer of a random motion", "M_j", least=0, most=1),
    exp(-2 * (pi * _nu * s.jitter)**2), (_nu, s.jitter), _SMEAR, "normally distributed, many periods in an exposure")
criterion_frequency = Formula(
    _nu, Min(1 / (4 * _pitch), Rational(2, 5) / (_lam * _Ne)), (_pitch, _lam, _Ne), "chosen for this library",
    "a quarter of the sampling frequency, at most 0.4 of the cutoff")


def _in_blocks(function, *values, rows=2048):
    """function of flat arrays, over broadcast values, some rows at a time so that memory stays bounded."""
    arrays = np.broadcast_arrays(*values)
    flat = [np.ravel(a) for a in arrays]
    result = np.empty(flat[0].size)
    for i in range(0, result.size, rows):
        result[i:i + rows] = function(*(a[i:i + rows] for a in flat))
    return float(result[0]) if arrays[0].ndim == 0 else result.reshape(arrays[0].shape)


def defocused_otf(q, waves):
    """Transfer of a perfect lens out of focus, diffraction and defocus together; negative where contrast reverses.

    q: frequency over cutoff, at least 0 (0 is the answer from 1 on); waves: defocus W020 at the edge
    of the pupil in wavelengths, at most 1e12 either way. Both broadcast. Round pupil, incoherent light.
    Never multiply it by diffraction_mtf, which it contains. Source: Hopkins, Proc. R. Soc. A 231 (1955)
    (from memory), reduced to (4/pi) int_0^(1-q) sqrt(1 - (x+q)^2) cos(8 pi W q x) dx. Error below 1e-12.
    """
    return _in_blocks(_otf, _valid(s.q, q), _valid(s.waves, waves))


# With x = (1-q)(1-v), v = t^2 and the phase F = 8 pi W q (1-q) the integral is
# (8/pi) (1-q)^1.5 int_0^1 t^2 sqrt(2 - (1-q) t^2) cos(F (1 - t^2)) dt.
_F_MAX = 20.0  # below it 16 points are enough, above it the paths below converge to rounding error
_T, _W = (half[16:] for half in np.polynomial.legendre.leggauss(32))  # even in t: one half does
_V, _VW = _T**2, _W * _T**2
_HERMITE, _HERMITE_W = (half[6:] for half in np.polynomial.hermite.hermgauss(12))
_LAGUERRE, _LAGUERRE_W = np.polynomial.laguerre.laggauss(8)


def _otf(q, waves):
    rest = 1 - np.minimum(q, 1)
    phase = 8 * np.pi * np.abs(waves) * q * rest
    slow = phase < _F_MAX
    result = np.empty(q.shape)
    result[slow] = np.sum(_pupil(rest[slow]) * np.cos(np.multiply.outer(phase[slow], 1 - _V)), axis=-1)
    result[~slow] = _fast_oscillation(rest[~slow], phase[~slow])
    return 8 / np.pi * rest**1.5 * result


def _pupil(rest):
    return np.sqrt(2 - np.multiply.outer(rest, _V)) * _VW


def _fast_oscillation(rest, phase):
    """The same integral along the two paths v = -is/F and v = 1 - is/F, on which nothing oscillates.

    Gauss-Hermite from the end v = 0 (root there, s = r^2), Gauss-Laguerre from v = 1. Source: Huybrechs
    and Vandewalle, SIAM J. Numer. Anal. 44, 1026 (2006).
    """
    turn = -1j / phase
    v = 1 + np.multiply.outer(turn, _LAGUERRE)
    last = np.sum(_LAGUERRE_W * np.sqrt(v * (2 - rest[:, None] * v)), axis=-1)
    first = np.sum(2 * _HERMITE_W * _HERMITE**2 * np.sqrt(2 - np.multiply.outer(rest * turn, _HERMITE**2)), axis=-1)
    return (turn * (np.exp(1j * phase) * np.sqrt(turn) * first - last)).real / 2


def _bessel(orders, x):
    """J_n(x), one row for an x: the mean of cos(n t - x sin t) over one turn (Bessel's integral)."""
    count = 64 + 2 * int(np.max(x)) + int(np.max(orders))
    angle = np.arange(count) * (2 * np.pi / count)
    inner, turns = np.multiply.outer(x, np.sin(angle)), np.multiply.outer(angle, orders)
    return (np.cos(inner) @ np.cos(turns) + np.sin(inner) @ np.sin(turns)) / count


def disc_otf(spatial_frequency, blur_diameter):
    """Transfer 2 J1(z) / z, z = pi c nu, of a blur disc without diffraction; signed; broadcasts; z up to 1000.

    Only for comparison, or for many waves of defocus: defocused_otf contains the diffraction as well.
    """
    z = np.pi * np.asarray(_valid(_nu, spatial_frequency)) * _valid(_c, blur_diameter)
    return _in_blocks(lambda z: _bessel([0, 2], z).sum(axis=-1), _valid(s.swing, z))  # J0 + J2, also good at z = 0


def vibration_mtf(spatial_frequency, amplitude, cycles):
    """Transfer of a sine motion of `amplitude` (m at the sensor, zero to peak), `cycles` periods an exposure.

    |J0(a)|, a = 2 pi nu A, from three cycles on (there within about 0.03 of any phase); below, the exact
    one at the worst phase. Broadcasts; a up to 1000. Sources: Wulich and Kopeika, Opt. Eng. 26, 529 (1987);
    Hadar, Fisher and Kopeika, Opt. Eng. 31, 581 (1992): few cycles leave it to the phase.
    """
    swing = 2 * np.pi * np.asarray(_valid(_nu, spatial_frequency)) * _valid(s.amplitude, amplitude)
    return _in_blocks(_vibration, _valid(s.swing, swing), _valid(s.cycles, cycles))


def _vibration(swing, cycles):
    few = cycles < 3
    result = np.abs(_bessel([0], swing)[:, 0])
    if few.any():
        result[few] = _worst_phase(swing[few], cycles[few])
    return result


def _worst_phase(swing, cycles):
    """Least |mean of exp(i a sin(2 pi c t + phase)) over -1/2 < t < 1/2|: the sum of J_n(a) sinc(n c) e^(i n phase)."""
    most = float(np.max(swing))
    orders = np.arange(1, 40 + int(1.2 * most))
    phases = np.multiply.outer(orders, np.linspace(0, np.pi / 2, 33 + int(most)))  # the other quarters repeat this one
    parts = 2 * _bessel(orders, swing) * np.sinc(np.multiply.outer(cycles, orders))
    real = _bessel([0], swing) + parts[:, 1::2] @ np.cos(phases[1::2])
    return np.hypot(real, parts[:, ::2] @ np.sin(phases[::2])).min(axis=1)


# --- the plan's criterion: transfer kept at the edge of a frame's depth
def _share_of_cutoff(pixel_pitch, wavelength, effective, frequency):
    """q at the stated frequency, or at the criterion's when it is None."""
    if frequency is None:
        frequency = criterion_frequency(pixel_pitch, wavelength, effective)
    else:
        _valid(_pitch, pixel_pitch)
    return _valid(_nu, frequency) / cutoff_frequency(wavelength, effective)


def sharp_depth(magnification, f_number, pupil_ratio, pixel_pitch, wavelength, kept, frequency=None):
    """Total depth (m) within which the transfer at `frequency` stays at or above `kept` of its value in focus.

    kept: between 0 and 1; frequency in 1/m at the sensor, by default criterion_frequency's. Subject in air.
    All broadcast. Infinite at frequency 0, and 0 from the cutoff on: no transfer is there to keep.
    """
    effective = effective_f_number(f_number, magnification, pupil_ratio)
    q = _share_of_cutoff(pixel_pitch, wavelength, effective, frequency)
    waves = _in_blocks(_waves_keeping, q, _valid(s.kept, kept))
    return 2 * waves / defocus_waves(1.0, magnification, effective, wavelength)


def _waves_keeping(q, kept):
    """First defocus, in waves, at which defocused_otf(q, waves) is down at kept times its value at 0.

    In y = phase^2 the transfer falls and is convex down to its first zero (phase below 4.49 for every q),
    so Newton's steps from 0 come closer from one side and never leave the first crossing.
    """
    inside = (q > 0) & (q < 1)
    rest = 1 - np.where(inside, q, 0.5)
    share = _pupil(rest)
    share /= share.sum(axis=-1, keepdims=True)
    x, y = 1 - _V, np.zeros(q.shape)
    for _ in range(60):
        angle = np.multiply.outer(np.sqrt(y), x)
        slope = np.sum(share * x**2 * np.sinc(angle / np.pi), axis=-1) / 2
        step = (np.sum(share * np.cos(angle), axis=-1) - kept) / slope
        y = np.maximum(y + step, 0)
        if np.all(np.abs(step) <= 1e-13 * y):
            break
    waves = np.sqrt(y) / (8 * np.pi * (1 - rest) * rest)
    return np.where(inside, waves, np.where(q > 0, 0.0, np.inf))


def edge_transfer(spacing, magnification, f_number, pupil_ratio, pixel_pitch, wavelength, frequency=None):
    """Share of the transfer in focus that is left half a frame spacing away; signed; 0 from the cutoff on.

    spacing in m at the subject, frequency as in sharp_depth; all broadcast. At spacing = sharp_depth(..., kept)
    it is `kept`.
    """
    effective = effective_f_number(f_number, magnification, pupil_ratio)
    q = _share_of_cutoff(pixel_pitch, wavelength, effective, frequency)
    waves = defocus_waves(np.asarray(_valid(s.spacing, spacing)) / 2, magnification, effective, wavelength)
    left, focused = np.broadcast_arrays(defocused_otf(q, waves), defocused_otf(q, 0.0))
    share = np.divide(left, focused, out=np.zeros(left.shape), where=focused > 0)
    return float(share) if share.ndim == 0 else share


# --- stacks: spacing, frames, and what moves
frame_spacing = Formula(s.spacing, (1 - s.overlap) * s.depth_of_field, (s.depth_of_field, s.overlap),
                        "definition of overlap")
_frames = Symbol("frame_count", "frame", "frames that cover the depth", "n_f", least=1, most=1e9)


def frame_count(depth, depth_of_field, overlap, ends_in_focus=False):
    """Least number of frames (int, or an array of them) that cover a depth (m); all broadcast.

    The two ends lie inside some frame's depth of field or, with ends_in_focus, on the first and the last
    focused plane. A rounding error of 1e-9 of a spacing does not cost a frame.
    """
    spacing = np.asarray(frame_spacing(depth_of_field, overlap))
    to_cover = np.asarray(_valid(s.depth, depth)) - (0 if ends_in_focus else np.asarray(depth_of_field))
    count = _valid(_frames, np.maximum(np.ceil(to_cover / spacing - 1e-9), 0) + 1)
    return int(count) if isinstance(count, float) else count.astype(np.int64)


scale_change = Formula(
    Symbol("scale_change", "1", "relative change of a fixed plane's image from frame to frame", r"\Delta_m", least=0),
    s.spacing / _d_E, (s.spacing, _f, _m, _P), _DERIVED,
    "the whole camera moves and with it the centre of perspective; with image radius r a point moves by r times it")
_layer = Symbol("thickness", "m", "thickness of a flat layer between subject and lens", "t", least=0)
focus_shift = Formula(
    Symbol("focus_shift", "m", "travel of the focused plane, positive towards the lens side", r"\delta_F"),
    (1 - 1 / _m**2) * s.lens_shift + s.sensor_shift / _m**2, (s.lens_shift, s.sensor_shift, _m), _DERIVED,
    "shifts small against m f; camera as a whole: both shifts alike; the lens alone does nothing at 1:1")
cover_shift = Formula(
    Symbol("cover_shift", "m", "how much farther the focus lies behind a flat layer", r"\delta_n", least=0),
    _layer * (1 - 1 / _n), (_layer, _n), "refraction at a plane, small angles",
    "cover glass, or the water above the subject, in which a rail travel x so moves the focus by n x")
