"""See a traverse before it is filmed: an invented texture, moved by the plan's own pulses, exposed frame by frame.

Light is added up over each exposure, so the blur within a frame, the ramps and whatever shakes come out as they would in
the film. Left out: depth (all lies in the focused plane), noise, the lens. The texture repeats beyond two picture widths.
Nothing flashes: `flashes` counts, and a sequence with more than three in a second is shown with less contrast.
"""

import dataclasses
import functools

import numpy as np

from macrolib.planning import film

__all__ = ["MOST_FLASHES", "Preview", "flashes"]

MOST_FLASHES = 3  # in any second: Web Content Accessibility Guidelines 2.2, success criterion 2.3.1; also ITU-R BT.1702
_CHANGE, _DARK = 0.1, 0.8  # of the largest luminance: a change counts from here on, where its darker side is below this
_BLOCK, _AREA = 4, 0.25  # pixels: finer patterns balance out; share of the picture that must flash together (same source)
_SAMPLES, _MOST = 48, 20_000_000  # moments in an exposure, at least; pixels of all frames together


@dataclasses.dataclass(frozen=True)
class Preview:
    """`seconds` of a sideways traverse's Plan from `start` (s in the take), in frames of `size` pixels (down, across).

    shrink: pixels of the sensor for one of the preview; None shows the whole width. ripple: amplitude (m) of an error of
    place that repeats with every ripple_travel (m, None: a full step). skewed: lines are exposed one after the other, as
    the rig's readout time says. ValueError for an axial move, a part outside the take, or too much of it.
    """

    plan: object
    start: float = 0.0
    seconds: float = 4.0
    size: tuple = (90, 320)
    shrink: float | None = None
    ripple: float = 0.0
    ripple_travel: float | None = None
    skewed: bool = False
    seed: int = 1

    def __post_init__(self):
        shot = self.plan.shot
        if shot.kind != "traverse" or shot.direction != "sideways":
            raise ValueError(f"a preview needs the plan of a sideways traverse; this is {shot.direction}, kind {shot.kind!r}")
        if not 0 <= self.start < self.plan["duration"] or self.times.size < 2 or self.ripple < 0 or min(self.size) < 2 * _BLOCK:
            raise ValueError(f"start must lie in the take of {self.plan['duration']:.3g} s, with two frames at least after it")
        if self.times.size * self.size[0] * self.size[1] > _MOST:
            raise ValueError(f"{self.times.size} frames of {self.size} pixels are too many: show fewer seconds or fewer pixels")

    @property
    def frame_rate(self):
        """Frames per second of the film."""
        return self.plan.shot.traverse.frame_rate

    @functools.cached_property
    def times(self):
        """When the shutter opens for each frame, s in the take."""
        end = min(self.start + self.seconds, self.plan["duration"])
        return self.start + np.arange(max(0, int((end - self.start) * self.frame_rate * (1 + 1e-12)))) / self.frame_rate

    @property
    def scale(self):
        """Pixels of the sensor for one of the preview."""
        camera = self.plan.rig.as_used.camera
        return self.shrink or camera.sensor_width / camera.pixel_pitch / self.size[1]

    @property
    def _period(self):
        return self.ripple_travel or self.plan["travel_per_pulse"] * self.plan["microsteps"]

    def travel(self, times):
        """Travel of the carriage (m) at times (s in the take): the plan's whole pulses, and the ripple."""
        pulse, wanted = self.plan["travel_per_pulse"], self.plan.moves["take"].position(np.asarray(times, float))
        return np.floor(wanted / pulse + 0.5) * pulse + self.ripple * np.sin(2 * np.pi * wanted / self._period)

    @functools.cached_property
    def _shutter(self):
        """(exposure in s, moments in it, number of the moment at which each line begins; one line if all begin together)."""
        camera, exposure = self.plan.rig.as_used.camera, self.plan["exposure_time"]
        waves = self.plan["speed"] * exposure / self._period if self.ripple else 0
        count = int(np.clip(8 * waves, _SAMPLES, 4 * _SAMPLES))
        heights = np.arange(self.size[0]) * self.scale * camera.pixel_pitch / camera.sensor_height
        return exposure, count, np.rint(heights * camera.readout_time / exposure * count).astype(int) if self.skewed else np.zeros(1, int)

    @functools.cached_property
    def offsets(self):
        """Pixels of the sensor that the picture has moved: (frames, moments from the first line's opening on)."""
        exposure, count, first = self._shutter
        moments = (np.arange(first[-1] + count) + 0.5) / count * exposure
        return film.pixels_moved(self.plan.shot, self.plan.rig.as_used, self.travel(self.times[:, None] + moments))

    @property
    def image_speeds(self):
        """px/frame from each frame to the next, on the sensor, in the middle of the exposures of the first line."""
        return np.diff(self.offsets[:, :self._shutter[1]].mean(axis=1))

    @functools.cached_property
    def light(self):
        """Luminance of the frames, 1 for white: (frames, down, across), at the contrast of the texture."""
        (_, count, first), marks = self._shutter, self.plan.shot.traverse
        spectrum = np.fft.rfft(texture((self.size[0], 2 * self.size[1]), self.seed))
        turn = 2j * np.pi * np.arange(spectrum.shape[1]) / (2 * self.size[1]) / self.scale * np.sign(marks.end_mark - marks.start_mark)
        made = np.empty((self.times.size, *self.size), np.float32)
        for frame, at in zip(made, self.offsets):  # a shift turns the spectrum; light adds up, from opening to closing of a line
            added = np.cumsum(np.exp(np.multiply.outer(np.append(0, at), turn)), axis=0)
            frame[:] = np.fft.irfft(spectrum * (added[first + count] - added[first]) / count)[:, :self.size[1]]
        return np.clip(made, 0, 1)

    @functools.cached_property
    def flashes(self):
        """Most flashes in any second, at the contrast of the texture."""
        return flashes(self.light, self.frame_rate)

    @functools.cached_property
    def shown(self):
        """The frames to look at: `light`, or with less contrast where that would flash more than three times a second."""
        if self.flashes <= MOST_FLASHES:
            return self.light
        return self.light.mean() + (self.light - self.light.mean()) * (0.99 * _CHANGE / np.ptp(self.light))


def texture(size, seed):
    """An invented pattern (down, across), periodic, of luminance 0.06 to 0.72: spots of many sizes with soft edges."""
    radius = np.hypot(*np.meshgrid(*map(np.fft.fftfreq, size), indexing="ij"))
    noise = np.fft.fft2(np.random.default_rng(seed).standard_normal(size))
    rough = np.fft.ifft2(noise * (radius > 0) / np.maximum(radius, 0.02)**1.3 * np.exp(-(radius / 0.22)**2)).real
    return 0.39 + 0.33 * np.tanh(2 * rough / rough.std())


def flashes(light, frame_rate):
    """Most flashes in any second that a quarter of the picture shows at least.

    light: relative luminance 0 to 1, shape (frames, down, across). A flash is a rise and a fall (or the other way) of 0.1
    or more, with the darker below 0.8, over 4 x 4 pixels. Source: as for MOST_FLASHES.
    """
    light = np.asarray(light, float)
    down, across = (n // _BLOCK for n in light.shape[1:])
    blocks = light[:, :down * _BLOCK, :across * _BLOCK].reshape(-1, down, _BLOCK, across, _BLOCK).mean(axis=(2, 4))
    low = high = blocks[0]
    way, changes = np.zeros(blocks.shape[1:]), np.zeros(blocks.shape, int)
    for number, now in enumerate(blocks):
        rise = (now - low >= _CHANGE) & (low < _DARK) & (way < 1)
        fall = (high - now >= _CHANGE) & (now < _DARK) & (way > -1)
        changes[number] = rise | fall
        way = np.where(rise, 1, np.where(fall, -1, way))
        low, high = (np.where(rise | fall, now, bound(kept, now)) for bound, kept in ((np.minimum, low), (np.maximum, high)))
    total, second = np.cumsum(changes, axis=0), max(1, round(frame_rate))
    in_a_second = total[second:] - total[:-second] if len(total) > second else total[-1:]
    return int(np.quantile(in_a_second // 2, 1 - _AREA, axis=(1, 2), method="lower").max())
