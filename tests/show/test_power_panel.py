"""The panel of power and heat against numbers worked by hand from the field rig's values."""

import numpy as np
import pytest

from macrolib.show.panels_power import TIME_CONSTANT, power_and_heat

RUNNING = 1.2**2 * 2.6  # W: 1.2 A peak through 2.6 ohm, both phases together


def test_start():
    p = power_and_heat.result(power_and_heat.start())
    loss = RUNNING * (0.3 + 0.7 * 0.6**2)
    draw = (loss + 0.5 + 0.3 + 3.5 + 8) / 0.88  # driver, controller, camera, lamp; then the converter
    assert (p.loss, p.draw, p.parts.sum()) == pytest.approx((loss, draw, draw))
    cold = 0.85 + 0.15 * 9 / 20  # between 0 and 20 degrees
    assert p.usable == pytest.approx(98 * 3600 * 0.8 * 0.9 * cold)
    assert (p.lasts, p.promised) == pytest.approx((p.usable / draw, 98 * 3600 / draw))
    assert p.case == pytest.approx(282.15 + 6 * loss)
    assert p.warming[0] == pytest.approx(282.15) and p.warming[-1] == pytest.approx(p.case - 6 * loss * np.exp(-7200 / TIME_CONSTANT))


def test_what_the_lesson_says_of_the_panel():
    def at(**more):
        return power_and_heat.result(power_and_heat.start(**more))

    full, half = at(hold_share=1.0), at(hold_share=0.5)
    assert full.loss == pytest.approx(RUNNING) and at(hold_share=1.0, moving_share=0.0).loss == pytest.approx(RUNNING)
    assert (full.loss - half.loss) == pytest.approx(0.7 * 0.75 * RUNNING)
    assert at(light_power=0.0).lasts > 2 * at().lasts and at(temperature="-20 degC").lasts < 0.7 * at().lasts
    assert at(peak_current=2.4).loss == pytest.approx(4 * at().loss)


@pytest.mark.parametrize(("settings", "words"), [
    ({}, "not hot to touch"), ({"peak_current": 2.4}, "too hot to hold"),
    ({"peak_current": 2.4, "temperature": "25 degC"}, "within seconds"),
    ({"peak_current": 2.4, "hold_share": 1.0}, "hotter than it may be")])
def test_words_for_the_case(settings, words):
    assert words in power_and_heat.sentence(power_and_heat.result(power_and_heat.start(**settings)))
