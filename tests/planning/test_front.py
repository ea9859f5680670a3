"""Aperture and spacing together: no other aperture does with fewer frames, and the front never turns back."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from macrolib import read_rig, read_shot
from macrolib.physics import optics
from macrolib.planning.front import fewest_frames, front

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
SHOT, RIG = read_shot(DATA / "shots" / "moss-capsule.toml"), read_rig(DATA / "rigs" / "bench-screw.toml")
NU = 1 / (4 * RIG.camera.pixel_pitch)


def transfer(f_number, spacing):
    view = (SHOT.picture.magnification, f_number, RIG.lens.pupil_ratio)
    effective = optics.effective_f_number(f_number, *view[::2])
    focused = optics.diffraction_mtf(NU / optics.cutoff_frequency(SHOT.picture.wavelength, effective))
    return focused * optics.edge_transfer(spacing, *view, RIG.camera.pixel_pitch, SHOT.picture.wavelength, NU)


@pytest.mark.parametrize("wanted", [0.1, 0.3, 0.45])
def test_the_choice_keeps_what_was_wanted_and_no_other_aperture_does_better(wanted):
    shot = dataclasses.replace(SHOT, stack=dataclasses.replace(SHOT.stack, overlap=0.0))
    choice = fewest_frames(shot, RIG, wanted)
    assert transfer(choice.f_number[0], choice.spacing[0]) == pytest.approx(wanted, rel=1e-6)
    for other in np.geomspace(RIG.lens.lowest_f_number, RIG.lens.highest_f_number, 25):
        assert transfer(other, choice.spacing[0] * 1.01) <= wanted * (1 + 1e-3)


def test_more_sharpness_never_costs_fewer_frames():
    found = front(SHOT, RIG)
    frames = found.frames[found.frames > 0]
    assert len(frames) > 10 and (np.diff(frames) >= 0).all()
    assert (np.diff(found.f_number[found.frames > 0]) <= 1e-9).all()  # and asks for a wider aperture


def test_what_no_aperture_gives_has_no_frames():
    choice = fewest_frames(SHOT, RIG, 0.89)
    assert choice.frames[0] == 0 and np.isnan(choice.f_number[0])


@pytest.mark.parametrize("bad", [0.0, 1.0, -0.1, np.nan])
def test_bad_transfer(bad):
    with pytest.raises(ValueError, match="between 0 and 1"):
        fewest_frames(SHOT, RIG, bad)
