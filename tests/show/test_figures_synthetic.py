"""Pictures of a synthetic stack: what they say, and that what they show is what was computed."""

import dataclasses

import numpy as np
import pytest

from macrolib.planning.synthetic import SyntheticStack
from macrolib.show import figures_synthetic as draw
from macrolib.show.panels_stack import soft_bands

GOOD = SyntheticStack(3.0, 3.4, 30e-6, 180e-6, pupil_ratio=1.1, size=(192, 192))


@pytest.fixture(scope="module")
def seen():
    return [dataclasses.replace(GOOD, spacing=spacing).see() for spacing in (30e-6, 60e-6)]


def test_see_stack_says_and_shows_what_was_computed(seen):
    for one in seen:
        picture = draw.see_stack(one)
        assert f"{one.area:.0%} of the area keeps 80% of the transfer" in picture.alt
        images = [image for axes in picture.figure.axes for image in axes.images]
        assert len(images) == 5 and np.array_equal(images[3].get_array(), one.merged)
        numbers = [axes.get_title(loc="left").split(",")[0] for axes in picture.figure.axes[:3]]
        assert numbers == [f"frame {n}" for n in one.frames]
        share = picture.figure.axes[-1]
        assert share.lines[1].get_ydata() == pytest.approx(one.shares)
        assert len(share.collections[0].get_paths()) == len(one.bands)


def test_words(seen):
    good, wide = map(draw.describe, seen)
    assert good.startswith("7 frames, 30 µm apart at f/3.4: 100% of the area") and "No band of depth stays soft" in good
    assert "3 bands of depth stay soft, the worst from" in wide and wide.endswith(f"({seen[1].stack.predicted(60e-6):.0%} predicted).")
    missed = draw.describe(dataclasses.replace(GOOD, missed=(4,)).see())
    assert "6 frames" in missed and "One band of depth stays soft, from" in missed


def test_the_map_marks_where_the_soft_bands_end(seen):
    lost = draw.lost(seen[1])
    line = np.ma.getmaskarray(lost)
    assert 0.01 < line.mean() < 0.2
    assert np.abs(seen[1].local[line] - 0.8).max() < 0.12
    assert np.array_equal(lost.data, 1 - seen[1].local)


def test_a_single_frame_of_a_flat_subject():
    alt = draw.see_stack(dataclasses.replace(GOOD, depth=0.0).see()).alt
    assert "1 frame, 30 µm apart at f/3.4: 100% of the area keeps 80% of the transfer. No band of depth stays soft" in alt


def test_compare_bands(seen):
    picture = draw.compare_bands(seen, ["close", "wide"])
    assert picture.alt.count("% of the area") == 2 and "3 soft bands" in picture.alt
    for axes, one in zip(picture.figure.axes, seen):
        assert axes.lines[1].get_ydata() == pytest.approx(one.shares)
        assert axes.lines[2].get_xdata() == pytest.approx([z * 1e6 for z in one.stack.positions.values()])


def test_the_panel_says_when_there_is_no_such_frame_to_miss():
    words = {spacing: soft_bands.sentence(soft_bands.result(soft_bands.start(spacing=spacing, missed=6))) for spacing in (30e-6, 120e-6)}
    assert words[30e-6].startswith("Without frame 6: 10 frames,")
    assert words[120e-6].startswith("There is no frame 6 to miss. 4 frames,")
