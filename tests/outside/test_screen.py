"""Motion on screen against published numbers; each check names its source."""

import math

import pytest

from macrolib.physics.screen import (
    CROSSING_FRAMES, crossing_speed, crossing_time, exposure_time, flicker, flicker_beat, frame_blur, image_speed)

# Lists of shutter angles at 24 frames a second (HGB Leipzig, film course notes; provideocoalition.com). Both also print
# 45 degrees as 1/198 (1/192 is exact), and one gives 178.8 for 1/50 (172.8 is exact): left out.
SHUTTER = {360: 24, 270: 32, 180: 48, 172.8: 50, 144: 60, 90: 96, 72: 120}


@pytest.mark.parametrize("degrees, one_over", SHUTTER.items())
def test_shutter_angles_at_24_frames(degrees, one_over):
    assert exposure_time(math.radians(degrees), 24) == pytest.approx(1 / one_over, rel=1e-12)


def test_a_picture_width_in_seven_seconds():
    # a camera maker's tutorial on panning speed: no faster than one picture width in 7 s, at 24 frames a second and a
    # 180 degree shutter; the pixel figures were computed from it
    wait = crossing_time(CROSSING_FRAMES, 24)
    assert wait == pytest.approx(7)
    for pixels, a_frame in ((1920, 11.43), (3840, 22.86)):
        speed = crossing_speed(0.036, 2, wait)
        found = image_speed(speed, 2, 0.036 / pixels, 24)
        assert speed == pytest.approx(2.571e-3, abs=5e-7)
        assert found == pytest.approx(a_frame, abs=5e-3)
        assert frame_blur(found, math.pi) == pytest.approx(a_frame / 2, abs=5e-3)


def test_the_rule_of_hand_drawn_animation():
    # moves above 0.1 inch a frame tend to strobe (an animation text quoted at joshuanava.biz); on a field 12 inches wide
    # (from memory) that is 120 frames, 5 s at 24 a second
    assert crossing_time(12 / 0.1, 24) == pytest.approx(5)


# "Flicker free equation", a cinematographer's note (tumgag.com/tag/setlights): light pulses at twice the mains frequency
@pytest.mark.parametrize("degrees", [75, 150, 225, 300])
def test_shutter_angles_that_do_not_flicker(degrees):
    exposure = exposure_time(math.radians(degrees), 25)  # 25 frames a second under 120 pulses a second
    assert flicker(1, 120, exposure) < 1e-12 < flicker_beat(120, 25)
    assert flicker(1, 120, exposure_time(math.radians(degrees - 20), 25)) > 0.02


@pytest.mark.parametrize("rate", [120, 60, 40, 30, 24, 20, 120 / 7, 15, 120 / 9, 12, 6])
def test_frame_rates_that_do_not_flicker_at_any_angle(rate):
    assert flicker_beat(120, rate) == pytest.approx(0, abs=1e-9)


def test_25_frames_under_100_pulses_and_24_do_not_agree():
    assert flicker_beat(100, 25) == 0  # the same note
    assert flicker(1, 100, exposure_time(math.radians(172.8), 24)) < 1e-12  # and the list above: 1/50 s at 24 frames
    assert flicker_beat(100, 24) > 3
