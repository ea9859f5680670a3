"""Photographs: read them, and find how far one is shifted against another, to a small part of a pixel."""

import dataclasses
import warnings
from pathlib import Path

import numpy as np

from macrolib.formula import Formula, Symbol
from macrolib.measure.estimate import Estimate, by_formula
from macrolib.physics import symbols as s

_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)  # of red, green, blue: ITU-R BT.709
_LEAST = 48  # pixels of a picture each way
_COARSE = 1024  # pixels each way of the picture in which the rough shift is searched
_WINDOW = 1200  # pixels each way of the part that is fitted
_SMOOTH, _ROUGH, _RIM = 1.0, 17, 4  # pixels: finer is noise, coarser is uneven light; the rim of filtered parts is not used
_ALIKE = 0.3  # correlation of the overlapping parts from which they show the same
_TILES = 6  # each way; parts whose errors are taken as independent
_CLIPPED = 0.05  # share of pixels at the extreme from which it is said

picture_travel = Formula(
    Symbol("picture_travel", "m", "travel of the carriage along the picture, a magnitude", "d", least=0),
    (picture_shift := Symbol("picture_shift", "px", "shift of the picture, a magnitude", "k", least=0))
    * s.pixel_pitch / s.magnification, (picture_shift, s.pixel_pitch, s.magnification),
    "geometry: the picture moves m times as far", "a sideways move, everything in the picture at one distance")


@dataclasses.dataclass(frozen=True)
class Photograph:
    """pixels: brightness from 0 to 1 as stored (gamma not undone), rows x columns; notes: what was done to it."""

    pixels: np.ndarray = dataclasses.field(repr=False)
    name: str
    notes: tuple


def read_photograph(path):
    """A PNG, JPEG or TIFF as a Photograph in grey; ValueError for what is none, is cut short or has a kind that is not read."""
    from PIL import Image, ImageOps

    path, notes = Path(path), []
    try:
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always")
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(path, formats=("PNG", "JPEG", "TIFF")) as opened:
                turned = ImageOps.exif_transpose(opened)
                if turned.size != opened.size or opened.getexif().get(0x0112, 1) != 1:
                    notes.append("turned as the camera's position mark says")
                values, kind = _grey(turned, notes)
    except FileNotFoundError:
        raise FileNotFoundError(f"{path}: there is no such file") from None
    except (OSError, SyntaxError, Image.DecompressionBombWarning, Image.DecompressionBombError) as problem:
        raise ValueError(f"{path}: is no PNG, JPEG or TIFF that can be read: {problem}") from None
    notes += dict.fromkeys(f"damaged: {warning.message}" for warning in said)
    pixels = (values / np.float32(np.iinfo(kind).max)).astype(np.float32)
    for end, word in ((pixels <= 0, "black"), (pixels >= 1, "white")):
        if end.mean() > _CLIPPED:
            notes.append(f"{end.mean():.0%} of the pixels are {word}: nothing can be measured there")
    return Photograph(pixels, path.name, tuple(notes))


def _grey(picture, notes):
    """(values, type of the stored numbers)."""
    if picture.mode in ("P", "PA", "RGBA", "LA", "CMYK", "YCbCr"):
        notes.append(f"{picture.mode} turned into red, green, blue; transparency is left out")
        picture = picture.convert("RGB")
    if picture.mode == "1":
        raise OSError("black and white only; save it in grey or colour")
    values = np.asarray(picture)
    kind = np.dtype(np.uint16) if picture.mode.startswith("I") and values.min() >= 0 and values.max() < 65536 else values.dtype
    if values.ndim == 3:
        notes.append("colour turned into luminance")
        values = values @ _LUMINANCE
    if values.ndim != 2 or kind not in (np.uint8, np.uint16):
        raise OSError(f"mode {picture.mode} is not read; save it with 8 bits, or in grey with 16")
    return values, kind


def pixels_of(name, picture):
    """The grey values of a Photograph or of an array (rows x columns, with or without three colours)."""
    found = np.asarray(getattr(picture, "pixels", picture))
    if found.dtype.kind not in "iuf":
        raise ValueError(f"{name}: holds {found.dtype}, not numbers; read_photograph() reads a file")
    if found.ndim == 3 and found.shape[2] == 3:
        found = found @ _LUMINANCE
    if found.ndim != 2 or min(found.shape) < _LEAST:
        raise ValueError(f"{name}: has the shape {found.shape}; a picture has at least {_LEAST} rows and {_LEAST} columns")
    if not np.isfinite(found).all():
        raise ValueError(f"{name}: {np.sum(~np.isfinite(found))} pixels are no finite numbers")
    if not np.abs(found).max() < 1e12:
        raise ValueError(f"{name}: reaches {np.abs(found).max():g}; no brightness does")
    return found.astype(np.float32, copy=False)


@dataclasses.dataclass(frozen=True)
class Shift:
    """The shift (px; down and across, with their signs) that lays the second picture on the first.

    likeness: correlation of what both show, 1 when alike. brightness: of the first over the second.
    """

    down: Estimate
    across: Estimate
    covariance: np.ndarray
    likeness: float
    brightness: float

    def travel(self, pixel_pitch, magnification, magnification_uncertainty=0.0):
        """Travel (m) of a sideways move as an Estimate, from the pixel pitch (m) and the magnification."""
        size = float(np.hypot(self.down, self.across))
        way = np.array([self.down, self.across]) / size if size else np.sqrt([0.5, 0.5])
        values = {"picture_shift": size, "pixel_pitch": float(pixel_pitch), "magnification": float(magnification)}
        spreads = {"picture_shift": float(np.sqrt(way @ self.covariance @ way)), "magnification": magnification_uncertainty}
        return by_formula(picture_travel, values, spreads)


def shift(first, second):
    """How far the second picture must be shifted to lie on the first: a Shift, in px.

    Photographs or arrays (rows x columns, grey or colour) of one size, at least 48 px each way, shifted by less than half of
    it; brightness and contrast may differ. Phase correlation finds whole pixels; least squares on the part with most
    texture, from coarse to fine, finds the rest. The uncertainty comes from 36 tiles whose errors count as independent:
    noise and small differences are in it, a turn of the camera or a change of scale only in part. ValueError where sizes
    differ, where nothing can be laid on each other, and where texture runs one way only. Sources: Guizar-Sicairos, Thurman
    and Fienup 2008, Opt. Lett. 33, 156 (phase correlation, sign); Lucas and Kanade 1981 (least squares, from memory).
    """
    a, b = pixels_of("first", first), pixels_of("second", second)
    if a.shape != b.shape:
        raise ValueError(f"first and second: have {a.shape} and {b.shape} pixels; photographs of one size are needed")
    for name, picture in (("first", a), ("second", b)):
        if np.ptp(picture) <= 1e-6 * abs(picture).max():
            raise ValueError(f"{name}: is without texture; all pixels are the same")
    found = None
    for level in _levels(a.shape):
        small = [_binned(x, level) for x in (a, b)]
        where = _whole_pixels(*small) if found is None else found.where / level
        finer = _refined(*small, where, level)
        if finer is not None:
            found = finer
        elif found is not None:
            break  # finer than this there is only noise
    if found is None:
        raise ValueError("first and second: nothing in them fits together: they are shifted by more than half, show different "
                         "things, or have no texture")
    spread = np.sqrt(np.diag(found.covariance))
    if not (spread < 0.5 * found.level).all():
        raise ValueError("first and second: the texture does not tell the shift in both directions, as with stripes")
    return Shift(*map(Estimate, found.where, spread), found.covariance, found.likeness, found.brightness)


def _levels(shape):
    """Sizes of bins, from coarse to fine."""
    level = 1
    while max(shape) / level > _COARSE and min(shape) / level >= 4 * _LEAST:
        level *= 2
    return [2**k for k in range(level.bit_length() - 1, -1, -1)]


def _binned(picture, level):
    rows, columns = (n // level for n in picture.shape)
    return picture[:rows * level, :columns * level].reshape(rows, level, columns, level).mean(axis=(1, 3)) if level > 1 else picture


def _whole_pixels(a, b):
    """Where the phase correlation peaks, in whole pixels within half the picture each way."""
    from scipy import fft

    rows, columns = a.shape
    window = np.hanning(rows)[:, None].astype(np.float32) * np.hanning(columns).astype(np.float32)
    product = fft.rfft2((a - a.mean()) * window) * np.conj(fft.rfft2((b - b.mean()) * window))
    squares = fft.fftfreq(rows)[:, None]**2 + fft.rfftfreq(columns)**2
    product *= np.exp(-squares / 0.25**2) / np.maximum(np.abs(product), 1e-30)  # the finest is mostly noise
    peak = np.unravel_index(np.argmax(fft.irfft2(product, a.shape)), a.shape)
    return np.array([p - n if p > n // 2 else p for p, n in zip(peak, a.shape)], float)


@dataclasses.dataclass
class _Found:
    where: np.ndarray  # px of the whole picture, down and across
    covariance: np.ndarray
    likeness: float
    brightness: float
    level: int


def _refined(a, b, where, level):
    """The _Found at one level by Gauss-Newton from a rough shift (px of this level); None where the parts are not alike."""
    from scipy import ndimage

    whole = None
    for _ in range(5):
        if whole is None or np.abs(where - whole).max() > 0.6:
            whole = np.rint(where)
            part = _overlap(a, b, whole.astype(int))
            if part is None:
                return None
            first, second = (_texture(p) for p in part)
            fixed = _with_slopes(first)
        moved = _with_slopes(ndimage.shift(second, where - whole, order=3, mode="nearest"))
        normal = moved @ moved.T
        if np.linalg.cond(normal) > 1e9:
            return None
        gain, *step = np.linalg.solve(normal, moved @ fixed[0])
        likeness = moved[0] @ fixed[0] / np.sqrt(normal[0, 0] * (fixed[0] @ fixed[0]) + 1e-300)
        if likeness < _ALIKE or max(np.abs(step)) > 3 * gain:
            return None
        where = where + np.array(step) / gain
        if max(np.abs(step)) < 1e-3 * gain:
            break
    # Slopes of one picture against those of the other: noise, which they do not share, tells nothing of the shift.
    shared = moved @ fixed.T
    inverse = np.linalg.inv((shared + shared.T) / 2)
    scores = _tile_sums((fixed[0] - gain * moved[0] - np.array(step) @ moved[1:]) * moved, np.subtract(first.shape, 2 * _RIM))
    covariance = (inverse @ (scores @ scores.T) @ inverse)[1:, 1:] * _TILES**2 / (_TILES**2 - 3)
    known = np.linalg.eigvalsh(shared[1:, 1:] + shared[1:, 1:].T)[0] > 0
    return _Found(where * level, covariance * level**2 if known else np.full((2, 2), np.inf), float(likeness), float(gain), level)


def _texture(picture):
    """What is neither so fine that it is mostly noise nor so coarse that it is mostly light that falls unevenly."""
    from scipy import ndimage

    return ndimage.gaussian_filter(picture, _SMOOTH) - ndimage.uniform_filter(picture, _ROUGH)


def _with_slopes(picture):
    """The picture without its rim and its two slopes against a shift, as rows. Five points: right to 3 % for periods from 6 px up."""
    from scipy import ndimage

    five = np.array([1, -8, 0, 8, -1]) / -12
    rows = (picture, *(ndimage.correlate1d(picture, five, axis=axis, mode="nearest") for axis in (0, 1)))
    return np.stack([x[_RIM:-_RIM, _RIM:-_RIM].ravel() for x in rows])


def _overlap(a, b, whole):
    """The part of both that shows the same, cut to the window with most texture; None where it is less than half."""
    cuts = []
    for n, k in zip(a.shape, whole):
        if n - abs(k) < max(n / 2, 24):
            return None
        cuts.append((slice(max(k, 0), n + min(k, 0)), slice(max(-k, 0), n + min(-k, 0))))
    one, other = a[cuts[0][0], cuts[1][0]], b[cuts[0][1], cuts[1][1]]
    if max(one.shape) > _WINDOW:
        cut = _most_texture(one)
        one, other = one[cut], other[cut]
    return one.astype(float), other.astype(float)


def _most_texture(picture):
    """Slices of the window whose neighbouring pixels differ most, searched in steps of an eighth of it."""
    step = _WINDOW // 8
    rows, columns = (n // step for n in picture.shape)
    energy = (np.diff(picture, axis=0)[:rows * step - 1, :columns * step]**2)
    energy = np.pad(energy, ((0, rows * step - len(energy)), (0, 0))).reshape(rows, step, columns, step).sum(axis=(1, 3))
    sums = np.pad(energy.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    high, wide = min(8, rows), min(8, columns)
    inside = sums[high:, wide:] - sums[:-high, wide:] - sums[high:, :-wide] + sums[:-high, :-wide]
    top, left = np.unravel_index(np.argmax(inside), inside.shape)
    return slice(top * step, (top + high) * step), slice(left * step, (left + wide) * step)


def _tile_sums(values, shape):
    """Sums of each row of values over tiles of the picture they were taken from."""
    rows, columns = (np.arange(n) * _TILES // n for n in shape)
    tile = (rows[:, None] * _TILES + columns).ravel()
    return np.stack([np.bincount(tile, row, _TILES**2) for row in values])
