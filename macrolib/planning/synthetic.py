"""See a stack before it is shot: an invented relief, photographed frame by frame, merged, compared with the original.

The relief is a height map with a fine texture, both computed from a seed. Each frame is exact in diffraction and defocus
(optics.defocused_otf at the defocus of every depth); it has the pixels' own blur, noise, the change of scale from frame to
frame, and, if asked for, vibration, errors of position and missed frames. What is left out: a near part hides nothing
behind it, the texture holds nothing finer than two pixels, the lens has no faults, and the scene repeats beyond its edges.

The merge takes each place from the frames that are sharpest there. It is made for teaching, so that what is seen comes
from the frames and not from a clever merge.
"""

import concurrent.futures
import dataclasses
import functools

import numpy as np

from macrolib.physics import optics, stepper

__all__ = ["Seen", "SyntheticStack", "text_progress"]

_LAYER = 0.2  # waves of defocus from layer to layer; the transfer has at most one period a wave, so a cubic between them does
_FARTHEST = 16.0  # waves; what is farther out of focus is a grey that no merge takes, and is computed as if it lay there
_TABLE_STEP = 1 / 32  # waves between computed transfers; straight lines between them are off by 0.001
_CYCLES = 10.0  # periods of the vibration in an exposure
_POWER = 4  # of the local contrast energy as weight: high, so that the sharpest frame rules


@dataclasses.dataclass(frozen=True)
class SyntheticStack:
    """What is photographed and how; plain SI numbers. `see()` does it; dataclasses.replace makes the next trial.

    depth: of the relief; frames lie on every `spacing` from its near end until its far end is passed. size: pixels
    down and across. kept, frequency: the wanted transfer, as in optics.sharp_depth. noise: standard deviation over
    white, at white. position_error: standard deviation of each frame's place; microstep_error: amplitude of an error that
    repeats with every full step of travel. missed: numbers of frames that are not there, from 1. vibration: amplitude at
    the sensor, sideways. aligned: the merge undoes the change of scale. ValueError for what optics refuses, or no frame left.
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

    @classmethod
    def of_plan(cls, plan, frames=12, **changes):
        """The first `frames` frames of a stack's Plan on a relief of that depth, with the rig's own microstep error."""
        shot, rig = plan.shot, plan.rig.as_used
        p, m = shot.picture, rig.motor
        strength = stepper.peak_torque(m.holding_torque, rig.driver.peak_current, m.rated_current)
        angle = stepper.position_error(m.detent_torque, 0.0, 0.0, 0.0, strength, m.rotor_teeth)
        given = {"magnification": p.magnification, "f_number": plan["f_number"], "spacing": plan["spacing"],
                 "depth": (frames - 1) * plan["spacing"], "pupil_ratio": rig.lens.pupil_ratio,
                 "focal_length": rig.lens.focal_length, "pixel_pitch": rig.camera.pixel_pitch, "wavelength": p.wavelength,
                 "kept": p.transfer_kept, "frequency": None if p.frequency == "auto" else p.frequency,
                 "microstep_error": stepper.shaft_travel(angle, rig.travel_per_turn),
                 "full_step": rig.travel_per_turn / m.full_steps_per_turn}
        return cls(**given | changes)
