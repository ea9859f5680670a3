"""See a stack before it is shot: an invented relief, photographed frame by frame, merged, compared with the original.

The relief is a height map with a fine texture, both computed from a seed. A frame is exact in diffraction and defocus:
at each depth the spectrum is multiplied by optics.defocused_otf. Pixels blur, light is noisy, the scale changes from
frame to frame; vibration, errors of position and missed frames come when asked for. Left out: a near part hides nothing
behind it, nothing is finer than two pixels, the lens has no faults, and the scene repeats beyond its edges.
The merge takes each place from the frames that are sharpest there: for teaching, so that what is seen comes from the frames.
"""

import concurrent.futures
import dataclasses
import functools

import numpy as np

from macrolib.physics import optics, stepper

__all__ = ["Seen", "SyntheticStack", "text_progress"]

_LAYER = 0.2  # waves of defocus from layer to layer; the transfer has at most a period a wave, so cubics between do
_FARTHEST = 16.0  # waves; farther out of focus all is grey that no merge takes, and is computed as if it lay there
_TABLE = 1 / 32  # waves between computed transfers; straight lines between them are off by 0.001
_CYCLES = 10.0  # periods of the vibration in an exposure
_BATCH, _MOST = 32, 100_000_000  # layers at a time; pixels of these and all frames: memory stays below 1 GB
_LEAST, _EDGE = 64, 8  # pixels: of a picture each way; of the upper and lower edge, not judged, where maps repeat their neighbours
_BAND = 0.2  # width of the band in which contrast is compared over its middle frequency, one standard deviation
_GREY = 0.5  # mean of the texture; a grey relief looks the same at every focus, so only what differs is put through the lens
_POWER = 16  # of the local contrast energy over the sharpest frame's, as weight: close to taking that frame alone


@dataclasses.dataclass(frozen=True)
class SyntheticStack:
    """What is photographed and how; plain SI numbers. `see()` does it; dataclasses.replace makes the next trial.

    depth: of the relief; frames lie on every `spacing` from its near end until its far end is reached. size: pixels
    down and across. kept, frequency: the wanted transfer, as in optics.sharp_depth. noise: standard deviation over
    white, at white. position_error: standard deviation of each frame's place; microstep_error: amplitude of an error
    that repeats with every full step of travel. missed: numbers of frames that are not there, from 1. vibration:
    amplitude at the sensor, sideways. aligned: the merge undoes the change of scale. ValueError for what cannot be done.
    """

    magnification: float
    f_number: float
    spacing: float
    depth: float
    pupil_ratio: float = 1.0
    focal_length: float = 0.065
    pixel_pitch: float = 4.4e-6
    wavelength: float = 550e-9
    kept: float = 0.8
    frequency: float | None = None
    size: tuple = (256, 256)
    noise: float = 0.01
    position_error: float = 0.0
    microstep_error: float = 0.0
    full_step: float = 10e-6
    missed: tuple = ()
    vibration: float = 0.0
    aligned: bool = True
    seed: int = 1

    def __post_init__(self):
        errors = (self.noise, self.position_error, self.microstep_error, self.vibration)
        if not (all(0 <= x < np.inf for x in errors) and min(self.size) >= _LEAST and 0 < self.kept < 1 and self.full_step > 0):
            raise ValueError(f"errors and noise must be 0 or more, size {_LEAST} or more each way, kept between 0 and 1, full_step "
                             f"above 0; got {errors}, {self.size}, {self.kept}, {self.full_step}")

    @classmethod
    def of_plan(cls, plan, frames=12, **changes):
        """The first `frames` frames of a stack's Plan on a relief of that depth, with the rig's own microstep error."""
        if plan.shot.kind != "stack":
            raise ValueError(f"a synthetic stack needs the plan of a stack; this is one of kind {plan.shot.kind!r}")
        p, rig, m = plan.shot.picture, plan.rig.as_used, plan.rig.as_used.motor
        strength = stepper.peak_torque(m.holding_torque, rig.driver.peak_current, m.rated_current)
        angle = stepper.position_error(m.detent_torque, 0.0, 0.0, 0.0, strength, m.rotor_teeth)
        given = {"magnification": p.magnification, "f_number": plan["f_number"], "spacing": plan["spacing"],
                 "depth": (min(frames, plan["frames"]) - 1) * plan["spacing"], "pupil_ratio": rig.lens.pupil_ratio,
                 "focal_length": rig.lens.focal_length, "pixel_pitch": rig.camera.pixel_pitch, "kept": p.transfer_kept,
                 "wavelength": p.wavelength, "frequency": None if p.frequency == "auto" else p.frequency,
                 "microstep_error": stepper.shaft_travel(angle, rig.travel_per_turn),
                 "full_step": rig.travel_per_turn / m.full_steps_per_turn}
        return cls(**given | changes)

    @functools.cached_property
    def positions(self):
        """{frame number: where its focused plane really lies, m from the near end}; the missed ones are left out."""
        count = optics.frame_count(self.depth, self.spacing, 0.0, ends_in_focus=True)
        if (count + _BATCH) * self.size[0] * self.size[1] > _MOST:
            raise ValueError(f"{count} frames of {self.size} pixels are too many: widen the spacing or take fewer pixels")
        if not set(self.missed) < set(range(1, count + 1)):
            raise ValueError(f"missed frames {self.missed}: the stack has frames 1 to {count}, one of which must be left")
        wanted = np.arange(count) * self.spacing
        error = self.position_error * np.random.default_rng(self.seed).standard_normal(count)
        error += self.microstep_error * (np.cos(2 * np.pi * wanted / self.full_step) - 1)  # counted from the first frame
        return {n + 1: float(z) for n, z in enumerate(wanted + error) if n + 1 not in self.missed}

    @property
    def widest(self):
        """The widest gap between two frames in m; at the ends twice what lies outside the first and the last."""
        places = np.sort(list(self.positions.values()))
        return float(max(2 * places[0], 2 * (self.depth - places[-1]), *np.diff(places), 1e-12))

    def predicted(self, gap):
        """The share of the transfer left halfway between two frames `gap` (m) apart: optics.edge_transfer."""
        return optics.edge_transfer(gap, self.magnification, self.f_number, self.pupil_ratio, self.pixel_pitch,
                                    self.wavelength, self.frequency)

    def see(self, progress=None):
        """Photograph, merge and compare: a Seen. progress, if given, is called now and then with the share done."""
        camera, (heights, texture), say = _Camera(self), _relief(self), progress or (lambda share: None)
        merged, frames = camera.merge(camera.expose(heights, texture, say), say)
        seen = _judge(self, camera.frequency, heights, camera.original(texture), merged, frames)
        say(1.0)
        return seen


@dataclasses.dataclass(frozen=True, eq=False)
class Seen:
    """What came out. Pictures are arrays of stack.size, 1 is white.

    heights: m from the near end; original: the same view, every depth in focus; frames: {number: as photographed}, the
    first, the middle, the last; local: share of the original's transfer that the merged picture has around a pixel;
    depths, shares: the same for each small range of depth (its mean, m); bands: (from, to, worst share) of what stays
    below the wanted share between two frames; area: share of the picture that keeps it; worst: the least of shares.
    """

    stack: SyntheticStack
    heights: np.ndarray
    original: np.ndarray
    merged: np.ndarray
    frames: dict
    local: np.ndarray
    depths: np.ndarray
    shares: np.ndarray
    bands: tuple
    area: float
    worst: float


def text_progress(share):
    """A bar of text for `see`, on one line: [########............] 40%."""
    print(f"\r[{'#' * round(20 * share):.<20}] {share:.0%}", end="\n" if share >= 1 else "", flush=True)


# --- the scene
def _grid(size):
    """Frequencies in cycles a pixel, down and across, as rfft2 orders them."""
    return np.fft.fftfreq(size[0])[:, None].astype(np.float32), np.fft.rfftfreq(size[1])[None, :].astype(np.float32)


def _filtered(picture, factor):
    return np.fft.irfft2(np.fft.rfft2(picture) * factor.astype(np.float32), s=picture.shape)


def _relief(stack):
    """(heights in m, texture from 0 to 1): a slope with low hills, and a grain that is coarse and fine alike."""
    radius = np.hypot(*_grid(stack.size))
    random = np.random.default_rng([stack.seed, 7]).standard_normal((2, *stack.size), dtype=np.float32)
    hills, grain = _filtered(random[0], np.exp(-(radius * min(stack.size) / 1.5)**2)), _filtered(random[1], 1 / np.hypot(radius, 0.08))
    slope = np.linspace(0, 1, stack.size[0], dtype=np.float32)[:, None]
    heights = slope + 0.1 * hills / hills.std() * np.sin(np.pi * slope)  # level at both ends, so that these are seen as well
    return (heights - heights.min()) / np.ptp(heights) * stack.depth, np.clip(_GREY + 0.16 * grain / grain.std(), 0.02, 0.98)


def _layers(heights, texture, step):
    """Pictures of the texture on layers `step` apart, from -step on; each height is a cubic through four of them."""
    place = heights.ravel() / step
    below = np.floor(place).astype(np.int32)
    x = place - below
    parts = [(texture.ravel() - _GREY) * weight for weight in (-x * (x - 1) * (x - 2) / 6, (x + 1) * (x - 1) * (x - 2) / 2,
                                                     -(x + 1) * x * (x - 2) / 2, (x + 1) * x * (x - 1) / 6)]
    order = np.argsort(below, kind="stable")
    groups = np.split(order, np.searchsorted(below[order], np.arange(1, below.max() + 1)))
    for layer in range(len(groups) + 3):
        picture = np.zeros(texture.size, np.float32)
        for k, part in enumerate(parts):
            if 0 <= layer - k < len(groups):
                picture[groups[layer - k]] = part[groups[layer - k]]
        yield picture.reshape(texture.shape)


# --- the camera
class _Camera:
    """Lens and sensor. Frequencies are sorted into rings as narrow as the grid's step, or narrower; a ring has one transfer."""

    def __init__(self, stack):
        (down, across), pitch = _grid(stack.size), stack.pixel_pitch
        effective = optics.effective_f_number(stack.f_number, stack.magnification, stack.pupil_ratio)
        self.frequency = stack.frequency or optics.criterion_frequency(pitch, stack.wavelength, effective)
        fine = max(*stack.size, 512)  # rings in one cycle a pixel
        ring = np.rint(np.hypot(down, across).ravel() * fine).astype(np.int32)
        q = np.arange(ring.max() + 1) / fine / pitch / optics.cutoff_frequency(stack.wavelength, effective)
        q = q[q < 1]
        self.order = np.argsort(ring, kind="stable")[:np.count_nonzero(ring < q.size)]
        self.ends = np.searchsorted(ring[self.order], np.arange(q.size + 1))
        self.stack, self.places = stack, np.array(list(stack.positions.values()))
        self.waves = optics.defocus_waves(1.0, stack.magnification, effective, stack.wavelength)  # for one metre
        self.farthest = min(_FARTHEST, self.waves * (stack.depth + np.abs(self.places).max()))
        away = np.arange(0, self.farthest + 2 * _TABLE, _TABLE)
        self.table = optics.defocused_otf(q[:, None], away).astype(np.float32)
        pixel = [optics.smear_mtf(np.abs(x) / pitch, pitch) for x in (down, across)]
        shake = optics.vibration_mtf(np.abs(across) / pitch, stack.vibration, _CYCLES)
        self.still, self.blur = pixel[0] * pixel[1], (pixel[0] * pixel[1] * shake).astype(np.float32)

    def _picture(self, spectrum, blur):
        whole = np.zeros(blur.size, np.complex64)
        whole[self.order] = spectrum
        return np.fft.irfft2(whole.reshape(blur.shape) * blur.astype(np.float32), s=self.stack.size) + np.float32(_GREY)

    def original(self, texture):
        """The texture with every depth in focus, without noise or vibration."""
        spectrum = np.fft.rfft2(texture - _GREY).ravel()[self.order]
        return self._picture(spectrum * np.repeat(self.table[:, 0], np.diff(self.ends)), self.still)

    def expose(self, heights, texture, say):
        """Spectra of all frames: real and imaginary parts of the sorted frequencies in turn, a column a frame."""
        step = _LAYER / self.waves
        layers, count = _layers(heights, texture, step), int(heights.max() / step) + 4
        found = np.zeros((2 * self.order.size, self.places.size), np.float32)
        batch = np.empty((_BATCH, self.blur.size), np.complex64)
        for start in range(0, count, _BATCH):
            filled = [np.copyto(row, np.fft.rfft2(layer).ravel()) for row, layer in zip(batch, layers)]
            at = (np.arange(start, start + len(filled)) - 1) * step
            away = np.minimum(np.abs(at[:, None] - self.places) * self.waves, self.farthest) / _TABLE
            low, part = away.astype(np.int32), (away % 1).astype(np.float32)
            for transfer, a, b in zip(self.table, self.ends, self.ends[1:]):
                between = transfer[low] * (1 - part) + transfer[low + 1] * part
                block = batch[:len(filled)].take(self.order[a:b], axis=1).view(np.float32).T
                for c in range(0, len(block), 128):  # products so small that they need not wait for another thread
                    found[2 * a + c:min(2 * a + c + 128, 2 * b)] += block[c:c + 128] @ between
            say(0.5 * min(1, (start + _BATCH) / count))
        return found

    def merge(self, spectra, say):
        """(merged picture, {number: frame as photographed} of the first, the middle and the last)."""
        numbers, shown = list(self.stack.positions), {}
        total, weights, best = np.full((3, *self.stack.size), 1e-12, np.float32)
        with concurrent.futures.ThreadPoolExecutor(2) as pool:
            for start in range(0, len(numbers), 2):
                pair = range(start, min(start + 2, len(numbers)))
                for column, (photo, seen, energy) in zip(pair, pool.map(functools.partial(self._frame, spectra), pair)):
                    top = np.maximum(best, energy)
                    before, now = (best / top)**_POWER, (energy / top)**_POWER
                    total, weights, best = total * before + seen * now, weights * before + now, top
                    if column in (0, len(numbers) // 2, len(numbers) - 1):
                        shown[numbers[column]] = photo
                say(0.5 + 0.48 * (start + 2) / (len(numbers) + 1))
        return total / weights, shown

    def _frame(self, spectra, column):
        """A frame as photographed, as the merge sees it, and the energy of its finest contrast around each pixel."""
        from scipy import ndimage

        s = self.stack
        behind = max(float(np.max(self.places) - self.places[column]), 1e-12)  # of the frame with the largest scale
        scale = 1 + optics.scale_change(behind, s.focal_length, s.magnification, s.pupil_ratio)
        photo = self._picture(np.ascontiguousarray(spectra[:, column]).view(np.complex64), self.blur)
        photo = _resample(photo, 1 / scale)
        random = np.random.default_rng([s.seed, column]).standard_normal(s.size, dtype=np.float32)
        photo += np.float32(s.noise) * np.sqrt(np.maximum(photo, 0)) * random  # photons: noise is the root of the light
        seen = _resample(photo, scale) if s.aligned else photo
        fine = 4 * seen - sum(np.roll(seen, shift, axis) for shift in (-1, 1) for axis in (0, 1))
        return photo, seen, ndimage.uniform_filter(fine * fine, 7, mode="wrap") + np.float32(1e-8)


def _resample(picture, scale):
    """The picture `scale` times as large about its middle: a sinc of eight points under a wider one, down and across."""
    from scipy import sparse

    for size in picture.shape:
        at = size / 2 + (np.arange(size) - size / 2) / scale
        taps = np.floor(at).astype(int)[:, None] + np.arange(-3, 5)
        weights = np.sinc(at[:, None] - taps) * np.sinc((at[:, None] - taps) / 4)
        weights = (weights / weights.sum(axis=1, keepdims=True)).astype(np.float32)
        rows = sparse.csr_matrix((weights.ravel(), taps.ravel() % size, np.arange(0, 8 * size + 1, 8)), (size, size))
        picture = np.ascontiguousarray((rows @ picture).T)
    return picture


# --- the comparison
def _judge(stack, frequency, heights, original, merged, frames):
    """A Seen: contrast of the merged picture along the original's, in a band about the wanted frequency."""
    from scipy import ndimage

    wanted = frequency * stack.pixel_pitch
    radius = np.hypot(*_grid(stack.size))
    ring = np.rint(radius * min(stack.size)).astype(int)
    power = (np.bincount(ring.ravel(), np.abs(np.fft.rfft2(original).ravel())**2) / np.bincount(ring.ravel()))[ring]
    # Coarse grains have more contrast, fine ones more directions: without both, the band leans to one side.
    band = np.exp(-((radius / wanted - 1) / _BAND)**2 / 2) / np.sqrt(power * np.maximum(radius, 0.01))
    band *= original.size / band.max()
    first, second = _filtered(original, band), _filtered(merged, band)
    inner = np.s_[_EDGE:-_EDGE]  # beyond the edge the scene begins anew, with the other end of its depth
    cross, power = (first * second)[inner], (first * first)[inner]
    local = np.divide(*(ndimage.gaussian_filter(x, 1 / wanted, mode="nearest") for x in (cross, power)))
    depths, shares = _by_depth(stack, heights[inner], cross, power)
    places, bands = np.sort([0, *stack.positions.values(), np.inf]), []
    for a, b in zip(places, places[1:]):
        soft = (depths > a) & (depths <= b) & (shares < stack.kept)
        if soft.any():
            bands.append((float(depths[soft].min()), float(depths[soft].max()), float(shares[soft].min())))
    area, local = float(np.mean(local >= stack.kept)), np.pad(local, ((_EDGE, _EDGE), (0, 0)), mode="edge")
    return Seen(stack, heights, original, merged, frames, local, depths, shares, tuple(bands), area, float(shares.min()))


def _by_depth(stack, heights, cross, power):
    """(mean depth, share of the transfer) of ranges that hold equally many pixels, about forty to a spacing."""
    order = np.argsort(heights, axis=None)
    count = max(4, min(order.size // 150, round(40 * stack.depth / stack.spacing)))
    starts = np.linspace(0, order.size, count, endpoint=False).astype(int)
    depth, cross, power = (np.add.reduceat(x.ravel()[order], starts, dtype=float) for x in (heights, cross, power))
    return depth / np.diff([*starts, order.size]), cross / power
