"""Pictures of sharpness: what they say and what their lines hold, against numbers found another way."""

import dataclasses
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.physics import optics
from macrolib.planning.budget import Budget, Cause, blur_budget
from macrolib.planning.front import Choice, fewest_frames
from macrolib.show import figures_sharpness as figures
from macrolib.show.panel import PANELS
from macrolib.show.panels import aperture_and_spacing, depth_of_field

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
RIG, SHOT = read_rig(DATA / "rigs" / "bench-screw.toml"), read_shot(DATA / "shots" / "moss-capsule.toml")


def test_four_depths_by_hand():
    found = figures.depths(3, 4.0, 1.0, 4.4e-6)  # effective f/16
    assert found["geometric"] == pytest.approx(2 * 8.8e-6 * 16 / 9)
    assert found["wave"] == pytest.approx(4 * 550e-9 * 16**2 / 9)
    assert found["summed"] == pytest.approx(found["geometric"] + found["wave"])
    waves = found["sharp"] / 2 * 9 / (8 * 550e-9 * 16**2)
    assert optics.defocused_otf(0.4, waves) == pytest.approx(0.8 * optics.diffraction_mtf(0.4))
    assert list(found) == list(figures.MEASURES)
    assert figures.depths(3, np.array([4.0, 8.0]), 1.0, 4.4e-6)["sharp"][0] == pytest.approx(found["sharp"])


@pytest.mark.parametrize(("value", "text"), [(48.3e-6, "48.3 µm"), (999.4e-6, "999 µm"), (999.9e-6, "1 mm"), (2e-3, "2 mm")])
def test_depths_as_text(value, text):
    assert figures.depth_text(value) == text


def test_depth_pictures():
    picture = figures.depth_measures(3, 1.0, 4.4e-6, 4.0)
    here = figures.depths(3, 4.0, 1.0, 4.4e-6)
    assert [line.get_ydata()[0] for line in picture.figure.axes[0].lines[1:-1:2]] == pytest.approx([x * 1e6 for x in here.values()])
    assert "wave depth: a quarter wave: 62.6 µm" in picture.alt
    picture = figures.depth_by_magnification((2.8, 5.6), 1.0, 4.4e-6)
    for line, number in zip(picture.figure.axes[0].lines, (2.8, 5.6)):
        assert (np.diff(line.get_ydata()) < 0).all()
        assert line.get_ydata()[-1] == pytest.approx(1e6 * figures.depths(10, number, 1.0, 4.4e-6)["sharp"])


def test_curves_out_of_focus():
    picture = figures.defocused()
    for line, waves in zip(picture.figure.axes[0].lines, (0, 0.25, 0.5, 1)):
        assert line.get_ydata() == pytest.approx(optics.defocused_otf(line.get_xdata(), waves))
    assert "0.25 wave: 0.66" in picture.alt and len(picture.figure.axes) == 5
    stripes = picture.figure.axes[4].images[0].get_array()  # one wave: reversed against the stripes in focus at 0.3 of the cutoff
    focused = picture.figure.axes[1].images[0].get_array()
    assert (stripes[0, 450:500] * focused[0, 450:500] <= 0).all() and (stripes[0, 50:150] * focused[0, 50:150] >= 0).all()


def test_the_product_takes_twice():
    picture = figures.geometry_and_waves(0.4)
    exact, disc, product = picture.figure.axes[0].lines[:3]
    assert np.interp(0.25, exact.get_xdata(), exact.get_ydata()) == pytest.approx(0.379422, abs=1e-5)  # prysm agrees to 1.1e-4
    assert product.get_ydata() == pytest.approx(disc.get_ydata() * optics.diffraction_mtf(0.4))
    assert "0.379" in picture.alt and "0.198" in picture.alt


def test_budget_of_a_plan():
    budget = blur_budget(plan(SHOT, RIG, mends=False))
    picture = figures.blur_budget(budget)
    left, right = picture.figure.axes
    blue = [bar.get_width() for bar in left.patches if bar.get_x() == 0]
    assert blue == pytest.approx([*(c.transfer for c in budget.causes), budget.total])
    assert sum(bar.get_width() for bar in right.patches) == pytest.approx(sum(c.pixels for c in budget.causes))
    assert budget.mend.text in picture.alt and f"all together {budget.total:.0%}" in picture.alt


def test_what_is_not_computed_is_never_a_bar_of_good():
    causes = (Cause("diffraction", 0.5, 3.0, "", (("shot.picture.f_number", "down"),)), Cause("floor", None, None, "stand unknown"))
    picture = figures.blur_budget(Budget(5e4, causes))
    assert "floor not computed" in picture.alt and "all together 50%" in picture.alt and "Mend:" not in picture.alt
    hatched = [bar for bar in picture.figure.axes[0].patches if bar.get_hatch()]
    assert len(hatched) == 1 and "not computed" in [t.get_text() for t in picture.figure.axes[0].texts]
    nothing = figures.blur_budget(Budget(5e4, (causes[1],)))
    assert "Largest" not in nothing.alt


def test_front_with_its_f_numbers():
    choice = Choice(np.array([0.1, 0.3, 0.5, 0.8]), np.array([8.0, 4.0, 2.5, np.nan]), np.array([3e-4, 1e-4, 2e-5, 0]),
                    np.array([11, 31, 151, 0]))
    picture = figures.front(choice, (120, 0.4, "this plan: 120 frames"), 200)
    assert picture.figure.axes[0].lines[0].get_xdata().tolist() == [11, 31, 151]
    assert "f/2.5: 151 frames, 50%; f/2.8: 151 frames" in picture.alt and "f/8: 11 frames, 10%" in picture.alt
    assert picture.alt.endswith("this plan: 120 frames: 40%.")
    assert "limit: 200 frames " in [t.get_text() for t in picture.figure.axes[0].texts]


# --- panels
def test_depth_panel_shows_near_and_far_of_the_geometric_depth():
    d = depth_of_field.result(depth_of_field.start(magnification=2.0, f_number=4.0, pupil_ratio=1.0, pixel_pitch=5e-6))
    assert (d.near, d.far) == pytest.approx((29.994e-6, 30.006e-6), rel=1e-6)  # blur 10 um: 30 um less or more N c / (m f), f = 100 mm
    assert d.near + d.far == pytest.approx(d.depths[1, -1], rel=1e-6)
    assert d.effective == pytest.approx(12)


def _asked(**numbers):
    return aperture_and_spacing.result(aperture_and_spacing.start(**numbers))


def test_aperture_panel_agrees_with_the_plan_s_search():
    stack = dataclasses.replace(SHOT.stack, near_end=0.0, far_end=3e-3, overlap=0.0)
    lens = SimpleNamespace(pupil_ratio=1.0, lowest_f_number=2.0, highest_f_number=32.0)
    rig = SimpleNamespace(lens=lens, camera=SimpleNamespace(pixel_pitch=4e-6))
    one = fewest_frames(dataclasses.replace(SHOT, stack=stack), rig, 0.4)
    found = _asked(depth=3e-3, magnification=3.0, wanted=0.4, widest=2.0, pixel_pitch=4e-6)
    assert (found.chosen, found.f_number, found.spacing) == pytest.approx((one.frames[0], one.f_number[0], one.spacing[0]))
    assert np.interp(0.4, found.transfer, found.frames) == pytest.approx(one.frames[0], abs=1.5)


def test_with_the_most_frames_the_most_transfer_is_kept():
    found = _asked(most_frames=100.0)
    spacing = 2e-3 / 99
    effective = optics.effective_f_number(np.geomspace(2.8, 32, 400), 3.0, 1.0)
    q = 1 / (4 * 4e-6) / optics.cutoff_frequency(figures.GREEN_LIGHT, effective)
    left = optics.defocused_otf(q, optics.defocus_waves(spacing / 2, 3.0, effective, figures.GREEN_LIGHT))
    assert found.best == pytest.approx(left.max(), abs=0.005)
    assert (np.diff(found.transfer) > 0).all() and (np.diff(found.frames) > 0).all()


def test_what_is_out_of_reach_is_said():
    assert "No aperture keeps 80%" in aperture_and_spacing.sentence(_asked(wanted=0.8))
    assert "too many frames" in aperture_and_spacing.sentence(_asked(most_frames=10.0))
    blind = _asked(magnification=10.0, widest=8.0, pixel_pitch=1e-6)
    assert blind.frames.size == 0 and "less than 3%" in aperture_and_spacing.sentence(blind)
    assert "aperture_and_spacing" in PANELS
