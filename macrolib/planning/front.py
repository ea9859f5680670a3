"""Aperture and spacing together: the fewest frames that keep a wanted transfer through a subject's depth."""

from typing import NamedTuple

import numpy as np

from macrolib.files import AUTO
from macrolib.physics import optics
from macrolib.planning import common
from macrolib.planning.budget import refuse_beyond_cutoff


class Choice(NamedTuple):
    """For each wanted transfer: aperture, frame spacing (m) and frames; frames is 0 where no aperture gives it."""

    wanted: np.ndarray
    f_number: np.ndarray
    spacing: np.ndarray
    frames: np.ndarray


def fewest_frames(shot, rig, wanted, frequency=None, apertures=160):
    """Choice of the marked f-number and spacing that need the fewest frames, for an array of wanted transfers.

    wanted: transfer (0 to 1) of diffraction and defocus together, at the edge of each frame's depth, at `frequency` (1/m
    at the sensor; by default the shot's, else a quarter of the sampling frequency). The shot's overlap is a reserve: with
    it, more is left halfway between two frames. Of apertures that need equally many frames the widest spacing wins.
    Searched over the lens's whole range, at `apertures` of them; near and far end are focus planes. ValueError for wanted
    outside 0 to 1, and for a stated frequency that even the widest aperture does not pass.
    """
    p, lens, pitch = shot.picture, rig.lens, rig.camera.pixel_pitch
    nu = frequency or common.sharpness_frequency(shot, rig)
    wanted = np.atleast_1d(np.asarray(wanted, float))
    if not ((0 < wanted) & (wanted < 1)).all():
        raise ValueError("wanted must lie between 0 and 1: it is a transfer")
    numbers = np.geomspace(lens.lowest_f_number, lens.highest_f_number, apertures)
    if frequency or p.frequency != AUTO:
        refuse_beyond_cutoff("frequency" if frequency else "shot.picture.frequency", nu, p.wavelength,
                             optics.effective_f_number(lens.lowest_f_number, p.magnification, lens.pupil_ratio))
    focused = optics.diffraction_mtf(nu / optics.cutoff_frequency(
        p.wavelength, optics.effective_f_number(numbers, p.magnification, lens.pupil_ratio)))
    kept = wanted[:, None] / np.maximum(focused, 1e-9)
    depths = optics.sharp_depth(p.magnification, numbers, lens.pupil_ratio, pitch, p.wavelength, np.clip(kept, 1e-6, 0.999), nu)
    depths = np.where(kept < 0.999, depths, 0.0)
    return _choose(shot, wanted, numbers, depths * (1 - shot.stack.overlap))


def _choose(shot, wanted, numbers, spacings):
    depth = abs(shot.stack.far_end - shot.stack.near_end)
    best = np.argmax(spacings, axis=1)
    spacing = np.take_along_axis(spacings, best[:, None], axis=1)[:, 0]
    possible = spacing > 0
    frames = np.zeros(len(wanted), int)
    if possible.any():
        frames[possible] = optics.frame_count(depth, spacing[possible], 0.0, ends_in_focus=True)
    return Choice(wanted, np.where(possible, numbers[best], np.nan), spacing, frames)


def front(shot, rig, points=40, frequency=None):
    """The Choice along the whole front between frames and sharpness, for `points` transfers from 0.02 to 0.9."""
    return fewest_frames(shot, rig, np.linspace(0.02, 0.9, points), frequency)
