"""The blur budget: causes, their product, and the mend of the largest."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.physics import optics
from macrolib.planning.budget import blur_budget
from macrolib.planning.checks import apply
from tests.planning.mended import worse

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
RIG, BELT = read_rig(DATA / "rigs" / "bench-screw.toml"), read_rig(DATA / "rigs" / "field-belt.toml")
STACK, FILM, HAND, PUSH = (read_shot(DATA / "shots" / f"{name}.toml")
                           for name in ("moss-capsule", "wing-case", "seed-tray-hand-led", "seed-tray-push-in"))


def changed(holder, **tables):
    return dataclasses.replace(holder, **{t: dataclasses.replace(getattr(holder, t), **keys) for t, keys in tables.items()})


def cause(budget, name):
    return next(c for c in budget.causes if c.name == name)


def test_diffraction_and_defocus_multiply_to_the_exact_transfer():
    made = plan(STACK, RIG, mends=False)
    budget = blur_budget(made, mends=False)
    effective = made["effective_f_number"]
    q = budget.frequency / optics.cutoff_frequency(STACK.picture.wavelength, effective)
    waves = optics.defocus_waves(made["spacing"] / 2, STACK.picture.magnification, effective, STACK.picture.wavelength)
    product = cause(budget, "diffraction").transfer * cause(budget, "defocus").transfer
    assert product == pytest.approx(abs(float(optics.defocused_otf(q, waves))), rel=1e-9)


def test_pixel_at_its_own_sampling_frequency():
    budget = blur_budget(plan(STACK, RIG, mends=False), 0.5 / RIG.camera.pixel_pitch, mends=False)
    assert cause(budget, "pixel").transfer == pytest.approx(2 / np.pi)


@pytest.mark.parametrize("shot, rig", [(STACK, RIG), (FILM, BELT), (HAND, BELT)], ids=["stack", "film", "hand-led"])
def test_the_mend_of_the_largest_cause_helps_as_said(shot, rig):
    budget = blur_budget(plan(shot, rig, mends=False))
    name = budget.largest.name
    assert budget.mend is not None
    better = blur_budget(plan(*apply(shot, rig, budget.mend.key, budget.mend.value), mends=False), budget.frequency, mends=False)
    assert cause(better, name).transfer > cause(budget, name).transfer


def test_diffraction_is_mended_by_the_widest_aperture_that_leaves_all_checks_as_they_are():
    made = plan(STACK, RIG, mends=False)
    budget = blur_budget(made)
    assert (budget.largest.name, budget.mend.key, budget.mend.value) == ("diffraction", "shot.picture.f_number", RIG.lens.lowest_f_number)
    assert "or less" not in budget.mend.text, "the lens ends there"
    better = plan(*apply(STACK, RIG, budget.mend.key, budget.mend.value), mends=False)
    after = blur_budget(better, budget.frequency, mends=False)
    assert f"(leaves {cause(after, 'diffraction').transfer:.0%})" in budget.mend.text and after.total > budget.total
    assert not worse(made, better)


@pytest.mark.parametrize("shot, rig", [(PUSH, BELT), (STACK, changed(RIG, lens={"lowest_f_number": 1.0}))], ids=["push-in", "fast lens"])
def test_the_mend_of_the_budget_harms_nothing(shot, rig):
    made = plan(shot, rig, mends=False)
    budget = blur_budget(made)
    better = plan(*apply(shot, rig, budget.mend.key, budget.mend.value), mends=False)
    assert budget.mend.key == "shot.picture.f_number" and budget.mend.value >= rig.lens.lowest_f_number
    assert not worse(made, better) and blur_budget(better, budget.frequency, mends=False).total > budget.total


def test_film_moves_blur_and_a_missing_stand_is_not_computed():
    budget = blur_budget(plan(FILM, changed(BELT, stand={"natural_frequency": None}), mends=False), mends=False)
    assert cause(budget, "motion within the exposure").transfer < 0.5
    for name in ("ringing after a move", "floor"):
        assert cause(budget, name).transfer is None and "stand" in cause(budget, name).what
    known = [c.transfer for c in budget.causes if c.transfer is not None]
    assert budget.total == pytest.approx(np.prod(known))


def test_a_shorter_wait_costs_sharpness():
    rough = changed(STACK, stack={"acceleration": 0.1})
    lamp = changed(RIG, light={"kind": "lamp"})
    def left(wait):
        made = plan(changed(rough, waits={"settling_wait": wait}), lamp, mends=False)
        return cause(blur_budget(made, mends=False), "ringing after a move").transfer
    assert left(0.0) < left(0.2) < left(1.0)
