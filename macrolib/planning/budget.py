"""The blur budget: what each cause takes from sharpness, as transfer at one frequency and in pixels at the sensor."""

import dataclasses
import functools
import math
from types import SimpleNamespace

from macrolib import units
from macrolib.physics import optics, vibration
from macrolib.planning import common, film
from macrolib.planning.checks import Check, Mend, apply, find_mend
from macrolib.planning.ripple import motor_ripple

_NOTHING = 1e-15  # m: a motion that takes nothing
_GOOD = 0.95  # transfer from which a cause is no longer worth mending


@dataclasses.dataclass(frozen=True)
class Cause:
    """One cause of blur. transfer is None where it was not computed; pixels is its width at the sensor."""

    name: str
    transfer: float | None
    pixels: float | None
    what: str
    knobs: tuple = ()


@dataclasses.dataclass(frozen=True)
class Budget:
    """The causes of a plan at one frequency (1/m at the sensor), the product of their transfers, and the mend of the largest."""

    frequency: float
    causes: tuple
    mend: Mend | None = None

    @property
    def total(self):
        """Product of all transfers that were computed."""
        return math.prod(c.transfer for c in self.causes if c.transfer is not None)

    @property
    def largest(self):
        """The cause that takes most, of those that can be mended; None if none can."""
        found = [c for c in self.causes if c.transfer is not None and c.knobs]
        return min(found, key=lambda c: c.transfer, default=None)


def blur_budget(plan, frequency=None, mends=True):
    """The Budget of a Plan, by default at the frequency of the sharpness criterion.

    Diffraction and defocus come from the exact transfer function, so their product is exact; the others are taken as
    independent. mends=False leaves out the search for the number that mends the largest cause. ValueError for a frequency
    that nothing passes.
    """
    p, effective = plan.shot.picture, plan["effective_f_number"]
    nu = frequency or common.sharpness_frequency(plan.shot, plan.rig.as_used, effective)
    refuse_beyond_cutoff("frequency", nu, p.wavelength, effective)
    found = Budget(nu, _causes(plan, nu))
    if not mends or found.largest is None or found.largest.transfer >= _GOOD:
        return found
    return dataclasses.replace(found, mend=_mend(plan, found))


def refuse_beyond_cutoff(key, frequency, wavelength, effective):
    """ValueError for a frequency (1/m at the sensor), stated by a key, that no lens passes at an effective f-number."""
    cutoff = optics.cutoff_frequency(wavelength, effective)
    if frequency >= cutoff:
        raise ValueError(f"{key} is {units.show(frequency, '1/mm')}, and at effective f-number {effective:.3g} nothing passes from the "
                         f"cutoff of {units.show(cutoff, '1/mm')} on: state a lower frequency, or open the aperture")


def _causes(plan, nu, simulate=True):
    rig = plan.rig.as_used
    return (*_optical(plan.shot, rig, plan.settings, nu), *_moving(plan, rig, nu, simulate))


def _optical(shot, rig, settings, nu):
    p, pitch, effective = shot.picture, rig.camera.pixel_pitch, settings["effective_f_number"].value
    q = nu / optics.cutoff_frequency(p.wavelength, effective)
    spread = settings["spacing"].value if "spacing" in settings else shot.subject.depth
    found = [Cause("diffraction", optics.diffraction_mtf(q), 2 * optics.airy_radius(p.wavelength, effective) / pitch,
                   "diameter of the first dark ring", (("shot.picture.f_number", "down"),))]
    if spread is None:
        found.append(Cause("defocus", None, None, "shot.subject needs depth"))
    else:
        kept = optics.edge_transfer(spread, p.magnification, settings["f_number"].value, rig.lens.pupil_ratio, pitch, p.wavelength, nu)
        blur = optics.blur_at(spread / 2, p.magnification, settings["f_number"].value, rig.lens.pupil_ratio, rig.lens.focal_length)
        knobs = (("shot.stack.spacing", "down"),) if shot.kind == "stack" else (("shot.picture.f_number", "up"),)
        where = "halfway between two frames" if shot.kind == "stack" else "at the edge of the subject's depth"
        found.append(Cause("defocus", abs(kept), blur / pitch, where, knobs))
    return [*found, Cause("pixel", optics.smear_mtf(nu, pitch), 1.0, "one pixel")]


def _moving(plan, rig, nu, simulate=True):
    shot, settings = plan.shot, plan.settings
    pitch, m = rig.camera.pixel_pitch, shot.picture.magnification
    exposure = settings["exposure_time"].value if "exposure_time" in settings else shot.picture.exposure_time
    if shot.kind == "stack" and rig.light.kind == "flash":
        exposure = rig.light.flash_duration
    found = []
    if "blur" in settings:
        pixels, table = settings["blur"].value, film.table(shot)[1]
        found.append(Cause("motion within the exposure", optics.smear_mtf(nu, max(pixels * pitch, _NOTHING)), pixels, "at full speed",
                           ((f"shot.{table}.shutter_angle", "down"), *film.slower(shot))))
        found.append(_ripple(shot, rig, settings, nu, simulate))
    for name, (ringing, wait, key) in plan.ringing.items():
        found.append(_sine(name, ringing, wait, m / pitch, nu * pitch, exposure, key))
    return found


def _ripple(shot, rig, settings, nu, simulate):
    found = motor_ripple(rig, settings["speed"].value, shot, simulate)
    if found.in_step is not True:
        return Cause("ripple of the motor", None, None, found.method if found.in_step is None else "the rotor falls out of step")
    transfer = float(optics.jitter_mtf(nu, max(found.rms_pixels * rig.camera.pixel_pitch, _NOTHING)))
    return Cause("ripple of the motor", transfer, found.pixels, f"peak to peak, by the {found.method}",
                 (("rig.driver.microsteps", "up"), ("rig.motor.detent_torque", "down")))


def _sine(name, ringing, wait, per_metre, cycles_per_pixel, exposure, key):
    """A remaining vibration, taken as one sine of the summed amplitude at its lowest frequency."""
    amplitude = ringing.amplitude(wait)
    if amplitude is None:
        return Cause(name, None, None, ringing.missing)
    seen = vibration.exposure_smear(amplitude, ringing.lowest, exposure) * per_metre
    transfer = float(optics.vibration_mtf(cycles_per_pixel, min(amplitude * per_metre, 100.0), ringing.lowest * exposure))
    return Cause(name, transfer, float(seen), f"after a wait of {wait:.3g} s", ((key, "up"),))


def _mend(plan, budget):
    """The number that brings the largest cause to 0.95, or as near as one can, with no check of the plan and not the whole worse."""
    from macrolib.planning import make

    @functools.cache
    def again(shot, rig, sure=False):
        made = make(shot, rig, sure)
        trial = SimpleNamespace(shot=shot, rig=rig, settings=made.settings, ringing=made.ringing)
        causes = _causes(trial, budget.frequency, sure)
        missing = any(c.transfer is None and old.transfer is not None for c, old in zip(causes, budget.causes))
        return {c.name: c.transfer for c in causes}[budget.largest.name], None if missing else Budget(0, causes).total, made.checks

    def judge(*changed):
        one, total, checks = again(*changed)
        return [dataclasses.replace(wanted, figure=one),
                Check("transfer of all causes", total, budget.total, "1", "at least", 1.0), *checks]

    wanted = Check("transfer of the cause", budget.largest.transfer, _GOOD, "1", "at least", 1.0, knobs=budget.largest.knobs)
    search = functools.partial(find_mend, wanted, plan.shot, plan.rig, judge, plan.settings, plan.checks)
    whole = search()
    found = whole if whole and not whole.breaks else search(partly=True) or whole
    left = found and again(*apply(plan.shot, plan.rig, found.key, found.value))[0]
    return found and dataclasses.replace(found, text=f"{found.text} (leaves {left:.0%})")
