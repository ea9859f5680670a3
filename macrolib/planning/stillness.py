"""Still when it must be: what rings, how long to wait, what drifts. Amplitudes in the subject, in m, zero to peak.

The worst case is taken: everything acts along the picture, and envelopes add. All but the texts broadcasts over arrays.
"""

import dataclasses
import functools
import math

import numpy as np

from macrolib.files import AUTO
from macrolib.parts import catalogue
from macrolib.physics import transmission, vibration
from macrolib.planning.checks import Check

# Used where the rig file has no data; a plan that uses one names it and calls the check 'not computed'.
PRESET_WAIT = 2.0  # s after a move, from memory: a stiff bench stand is quiet by then
PRESET_FOOTFALL_WAIT = 8.0  # s after a footfall, from memory: a timber floor of 8 Hz and 3 % is quiet by then
PRESET_ACCELERATION = 0.02  # m/s^2, from memory: gentle for a camera of 1 to 3 kg
PRESET_FLOOR = "timber joists"  # the one that asks for most patience
_ZERO = 1e-12  # m; below this nothing can be seen
_MANY_PERIODS = 3000  # beyond this the exact residual costs long and tells nothing more
_APART = 0.2  # share by which a speed must keep an excited frequency off a mode; common practice, no source
GIVEN, DERIVED, PRESET, UNDAMPED = "given", "auto", "preset", "preset, as nothing damps it"


def modes(rig):
    """The modes that a move can ring, as (name, frequency, damping ratio); those without data are left out."""
    lens = rig.lens
    found = [("rig on its stand", rig.stand.natural_frequency, rig.stand.damping_ratio),
             ("camera on its carriage", rig.carriage.natural_frequency, rig.carriage.damping_ratio),
             ("lens on its support", lens_frequency(rig), lens.support_damping)]
    return [mode for mode in found if mode[1] is not None and mode[2] is not None]


def stand_known(rig):
    """Whether the rig file says how the stand rings; without that nothing is known to be still."""
    return rig.stand.natural_frequency is not None and rig.stand.damping_ratio is not None


def lens_frequency(rig):
    """Natural frequency in Hz of the lens on its supports; None without their stiffness."""
    lens = rig.lens
    return None if lens.support_stiffness is None else vibration.spring_frequency(lens.support_stiffness * lens.supports, lens.mass)


def tolerance(shot, rig):
    """Allowed amplitude: half the peak to peak tolerance at the sensor over the magnification."""
    return shot.waits.tolerance * rig.camera.pixel_pitch / shot.picture.magnification / 2


def left_ringing(move, frequency, damping_ratio):
    """Envelope in m that a move leaves; after very many periods its bound, twice the give to the peak acceleration."""
    if np.ndim(move.duration) and not np.ndim(frequency):  # of many moves some are the same
        shape = np.shape(move.duration)
        rows = np.stack([np.broadcast_to(x, shape).ravel() for x in (move.distance, move.duration, move.peak_acceleration)], axis=-1)
        _, first, each = np.unique(rows, axis=0, return_index=True, return_inverse=True)
        return _left_ringing(move[np.unravel_index(first, shape)], frequency, damping_ratio)[each].reshape(shape)
    return _left_ringing(move, frequency, damping_ratio)


def _left_ringing(move, frequency, damping_ratio):
    many = move.duration * frequency > _MANY_PERIODS
    bound = 2 * move.peak_acceleration / (2 * math.pi * frequency) ** 2
    return bound if np.all(many) else np.where(many, bound, vibration.residual_vibration(move, frequency, damping_ratio))[()]


@dataclasses.dataclass(frozen=True)
class Ringing:
    """What a move leaves: decaying vibrations, each (amplitude, frequency, damping ratio); () where data lack."""

    parts: tuple
    missing: str = ""

    @classmethod
    def after_move(cls, rig, move):
        """What a move leaves ringing between camera and subject in every known mode."""
        if not stand_known(rig):
            return cls((), "rig.stand needs natural_frequency and damping_ratio")
        return cls(tuple((left_ringing(move, f, zeta), f, zeta) for _, f, zeta in modes(rig)))

    @property
    def lowest(self):
        """The lowest frequency in Hz."""
        return min(f for _, f, _ in self.parts)

    def amplitude(self, wait):
        """Sum of the envelopes after a wait in s; None without data."""
        return sum(a * np.exp(-2 * math.pi * f * zeta * wait) for a, f, zeta in self.parts) if self.parts else None

    def wait(self, allowed):
        """Seconds until the sum is surely below the allowed amplitude; None without data."""
        if not self.parts:
            return None
        share = allowed / len(self.parts)  # when each mode keeps to its share, the sum is surely below
        late = functools.reduce(np.maximum, (vibration.settling_time(np.maximum(a, _ZERO), share, f, zeta) for a, f, zeta in self.parts))
        never, early, end = ~np.isfinite(late), 0.0 * share, np.where(np.isfinite(late), late, 0.0)
        for _ in range(50):  # the sum falls steadily: halve the interval in which it passes what is allowed
            middle = (early + end) / 2
            above = self.amplitude(middle) > allowed
            early, end = np.where(above, middle, early), np.where(above, end, middle)
        return np.where(self.amplitude(0.0) <= allowed, 0.0, np.where(never, np.inf, end))[()]


@dataclasses.dataclass(frozen=True)
class Footfall:
    """What a footfall leaves, as the arguments of vibration.footfall_ring after the time; () where data lack."""

    arguments: tuple
    missing: str = ""
    preset: str = ""

    @classmethod
    def on(cls, shot, rig, frequency=None, damping_ratio=None):
        """On the stand, or on another mode such as the subject's own; a preset floor where the rig's lacks values."""
        own = frequency is not None
        frequency, damping_ratio = (frequency, damping_ratio) if own else (rig.stand.natural_frequency, rig.stand.damping_ratio)
        if frequency is None or damping_ratio is None:
            return cls((), "rig.stand needs natural_frequency and damping_ratio")
        floor, preset = rig.floor, ""
        if any(x is None for x in (floor.natural_frequency, floor.damping_ratio, floor.footfall_amplitude)):
            preset = floor.kind if floor.kind in catalogue("floors") else PRESET_FLOOR
            floor = catalogue("floors")[preset]
        amplitude = vibration.footfall_amplitude(floor.footfall_amplitude, floor.footfall_distance, shot.waits.operator_distance,
                                                 floor.distance_exponent) * shot.waits.operator_steps
        ring = (amplitude, floor.natural_frequency, floor.damping_ratio, frequency, damping_ratio, rig.stand.base == "two" and not own)
        return cls(ring, f"rig.floor lacks values; the preset '{preset}' stands in for them" if preset else "", preset)

    @property
    def lowest(self):
        """The lower of the two frequencies in Hz."""
        return min(self.arguments[1], self.arguments[3])

    def amplitude(self, wait):
        """Bound after a wait in s; None without data, and where a preset stands in for them."""
        return None if not self.arguments or self.preset else vibration.footfall_ring(wait, *self.arguments)[()]

    def wait(self, allowed):
        """Seconds until it is below the allowed amplitude, with a preset floor if need be; None without a stand."""
        return vibration.footfall_wait(self.arguments[0], allowed, *self.arguments[1:]) if self.arguments else None


def wait_after_move(shot, rig, move):
    """(seconds, origin, Ringing) after a move; automatic ones end with the margin at which a check holds."""
    return _wait(shot.waits.settling_wait, Ringing.after_move(rig, move), PRESET_WAIT, tolerance(shot, rig))


def wait_after_footfall(shot, rig):
    """(seconds, origin, Footfall) from the last footfall until the picture is still."""
    return _wait(shot.waits.wait_before_move, Footfall.on(shot, rig), PRESET_FOOTFALL_WAIT, tolerance(shot, rig))


def _wait(given, ringing, preset, allowed):
    if given != AUTO:
        return given, GIVEN, ringing
    wait = ringing.wait(allowed / 1.25)
    if wait is None or not np.any(np.isfinite(wait)):
        return preset, PRESET if wait is None else UNDAMPED, ringing
    return np.where(np.isfinite(wait), wait, preset)[()], PRESET if ringing.missing else DERIVED, ringing


def still_check(name, ringing, wait, shot, rig, key, *knobs):
    """Check that the picture moves less than the tolerance, peak to peak, when the exposure begins; knobs: further ones."""
    amplitude = ringing.amplitude(wait)
    pixels = None if amplitude is None else vibration.image_vibration(amplitude, shot.picture.magnification, rig.camera.pixel_pitch)
    after = f"{np.max(wait):.3g} s"  # of arrays the longest
    why = f"{ringing.missing}; the wait of {after} rests on a preset" if ringing.missing else f"{after} after it began"
    return Check(name, pixels, shot.waits.tolerance, "px", why=why, knobs=((key, "up"), *knobs, ("shot.waits.tolerance", "up")))


def other_checks(shot, rig, exposure, wait):
    """Checks of shutter shock, a subject that sways by itself, and the lens on its support, where the files have data."""
    found = []
    if rig.camera.shutter != "electronic" and rig.camera.shutter_shock > 0 and rig.stand.natural_frequency is None:
        found.append(Check("shutter shock", None, shot.waits.tolerance, "px", why="rig.stand needs natural_frequency"))
    elif rig.camera.shutter != "electronic" and rig.camera.shutter_shock > 0:
        moved = vibration.exposure_smear(rig.camera.shutter_shock, rig.stand.natural_frequency, exposure) / rig.camera.pixel_pitch
        found.append(Check("shutter shock", moved, shot.waits.tolerance, "px", why=f"within {exposure * 1e3:.3g} ms, at the stand's pace",
                           knobs=(("rig.camera.shutter_shock", "down"), ("shot.waits.tolerance", "up"))))
    subject = shot.subject
    if subject.natural_frequency is not None and subject.damping_ratio is not None:
        sway = Footfall.on(shot, rig, subject.natural_frequency, subject.damping_ratio)
        found.append(still_check("quiet subject", sway, wait, shot, rig, "shot.waits.wait_before_move"))
    if subject.natural_frequency is not None and subject.sway is not None:
        seen = vibration.exposure_smear(subject.sway, subject.natural_frequency, exposure)
        seen *= shot.picture.magnification / rig.camera.pixel_pitch
        found.append(Check("sway in the draught", seen, shot.waits.tolerance, "px", why=f"within {exposure * 1e3:.3g} ms",
                           knobs=(("shot.subject.sway", "down"), ("shot.waits.tolerance", "up"))))
    if rig.lens.support_stiffness is not None and rig.stand.natural_frequency is not None:
        found.append(Check("lens stiffer than the stand", lens_frequency(rig), 1.5 * rig.stand.natural_frequency, "Hz", "at least", 1.0,
                           why="natural frequency of the lens on its supports, against 1.5 times the stand's; common practice, no source",
                           knobs=(("rig.lens.support_stiffness", "up"),)))
    return found


def droop(rig):
    """How far in m the weight of the lens presses its supports down; None without their stiffness."""
    lens = rig.lens
    if lens.support_stiffness is None:
        return None
    return lens.mass * transmission.STANDARD_GRAVITY * math.cos(rig.rail.tilt) / (lens.support_stiffness * lens.supports)


def droop_check(shot, rig, depth):
    """Check that the droop of the lens is small against the depth that is sharp; [] without data."""
    if droop(rig) is None:
        return []
    return [Check("droop of the lens", droop(rig), depth, "um", why="give of the supports under the lens against the depth of a frame",
                  knobs=(("rig.lens.support_stiffness", "up"),))]


def drift(rig, position, time):
    """How far in m a screw or belt lengthens between its fixed end (the home switch) and a position, in a time in s.

    The room's steady drift, and the warming of the screw towards its long-run rise.
    """
    length = max(abs(position - rig.rail.home_switch), 1e-9)
    warm = vibration.thermal_drift(length, rig.rail.expansion, rig.rail.warming, time, rig.rail.warming_time)
    return warm + length * rig.rail.expansion * abs(rig.room.drift) * time


def drift_check(rig, position, time, spacing, knobs):
    """Check that the whole drift stays below one frame spacing."""
    return Check("drift with temperature", drift(rig, position, time), spacing, "um", why="over the whole stack, against one frame spacing",
                 knobs=(*knobs, ("rig.rail.warming", "down"), ("rig.room.drift", "down")))


def nearest(pairs):
    """(least, what) of pairs of a distance and what it is to; of arrays the least of each lane, and what is nearest in all."""
    least = functools.reduce(np.minimum, (distance for distance, _ in pairs))
    return least, next((what for distance, what in pairs if np.all(distance == least)), "one or another")


def resonance_check(rig, speed, excited):
    """Check that a steady speed shakes no known mode: the nearest of the excited frequencies, as a share of the mode's.

    excited: {cause: frequency in Hz} from vibration.excited_frequencies.
    """
    pairs = [(abs(frequency / mode[1] - 1), f"{cause} against {mode[0]}") for cause, frequency in excited.items() for mode in modes(rig)]
    if not pairs or not stand_known(rig):
        return Check("speed off the resonances", None, _APART, "1", "at least", 1.0, why="rig.stand lacks frequency or damping")
    distance, what = nearest(pairs)
    return Check("speed off the resonances", distance, _APART, "1", "at least", 1.0, why=f"nearest: {what}",
                 knobs=(("shot.traverse.speed", "down"), ("shot.traverse.speed", "up")))


def notes(settle_origin, quiet_origin, acceleration_origin, footfall):
    """Sentences that name each preset in use."""
    found = []
    if settle_origin == PRESET:
        found.append(f"No data of the stand: the settling wait is the preset of {PRESET_WAIT:g} s.")
    undamped = "A damping ratio is 0: undamped, {} never settles. No wait is long enough; the preset of {:g} s stands in for it."
    found += [undamped.format(what, preset) for origin, what, preset in (
        (settle_origin, "the rig", PRESET_WAIT), (quiet_origin, "what a footfall shakes", PRESET_FOOTFALL_WAIT)) if origin == UNDAMPED]
    if quiet_origin == PRESET:
        found.append(f"No data of the floor: the preset '{footfall.preset}' stands in for it." if footfall.preset else
                     f"No data of the stand: the wait after a footfall is the preset of {PRESET_FOOTFALL_WAIT:g} s.")
    if acceleration_origin == PRESET:
        found.append(f"No natural frequency is known: the acceleration is the preset of {PRESET_ACCELERATION * 1e3:g} mm/s^2.")
    return found
