"""Answers to exercises: units, tolerances, hints at usual slips, blanks, and what cannot be read."""

import math

import numpy as np
import pytest

from macrolib.physics import optics
from macrolib.teach import USUAL, Unfinished, blank, check, exercises, option_key


@pytest.mark.parametrize("answer", ["0.625 um", "0.625um", "625 nm", "6.25e-4 mm", "0.625 um/pulse", 6.25e-7, np.float64(6.25e-7),
                                    np.array(6.25e-7), "0.63 um"])
def test_right(answer):
    found = check(answer, 6.25e-7, "um", tolerance=0.01)
    assert found.right is True and repr(found) == "Right: 0.625 um."


@pytest.mark.parametrize("answer", [None, ..., "", "  ", "...", "?", "___", blank, 2 * blank**0.5 / np.float64(3), -blank % 7,
                                    np.sqrt(blank), np.ones(2) @ np.ones(2) - blank, blank[0] // 2, abs(blank),
                                    round(blank, 1), f"{blank:.2f} um"])
def test_a_blank_is_no_wrong_answer(answer):
    found = check(answer, 6.25e-7, "um")
    assert found.right is None and '"5 um"' in found.text


@pytest.mark.parametrize("use", [math.sqrt, float, int, bool, list, np.asarray, math.radians, [1, 2].__getitem__, lambda b: b > 1,
                                 lambda b: optics.airy_radius(550e-9, b), lambda b: optics.edge_transfer(b, 2, 4, 1, 4e-6, 550e-9)])
def test_a_blank_where_a_number_is_needed_says_so_without_a_traceback(use):
    with pytest.raises(Unfinished, match="still a blank") as caught:
        use(blank)
    assert caught.value._render_traceback_() == [str(caught.value)]


@pytest.mark.parametrize(("answer", "hint"), [
    ("0.625 mm", "prefix"), (0.625, "prefix"), ("-0.625 um", "sign"), ("1.25 um", "factor of two"), ("0.3125 um", "factor of two"),
    ("37.5 um", "minutes or seconds"), ("35.8 um", "Degrees or radians"),
    ("6.25 um", "point in its place"), ("62.5 um", "by 100"), ("0.66 um", "close"), ("9 um", "Too large"), ("0.09 um", "Too small")])
def test_slips_that_can_happen_anywhere(answer, hint):
    found = check(answer, 6.25e-7, "um")
    assert found.right is False and hint in found.text
    assert "0.625 um" not in found.text, "a hint does not give the answer away"


@pytest.mark.parametrize(("name", "factor"), [(n, f) for n, (f, _) in USUAL.items() if f != 1])
@pytest.mark.parametrize("way", [1, -1])
def test_named_slips_go_before_the_general_ones(name, factor, way):
    found = check(3.0 * factor**way, 3.0, "1", usual=[name])
    assert found.text == f"Not yet. {USUAL[name][1]}"


def test_marked_for_effective_f_number():
    effective = optics.effective_f_number(4, 3, 1)
    found = check(optics.airy_radius(550e-9, 4), optics.airy_radius(550e-9, effective), "um",
                  wrong=[(optics.airy_radius(550e-9, 4), "marked for effective f-number")])
    assert found.text == f"Not yet. {USUAL['marked for effective f-number'][1]}"


@pytest.mark.parametrize(("answer", "said"), [
    ("0,625 um", "0.625"), ("0.625", "without a unit"), ("0.625 s", "um"), ("9**9 um", "9**9"), ("0.625 micron", "um"),
    *((bad, "one number") for bad in (True, [1, 2], math.nan, math.inf, np.array([1.0, 2.0]), {}))])
def test_what_cannot_be_read_says_why(answer, said):
    found = check(answer, 6.25e-7, "um")
    assert found.right is False and found.text.startswith("This cannot be read") and said in found.text


def test_a_bare_number_may_come_as_text():
    assert check("16", 16, "1").right and check(" 16.0 ", 16, "1").right
    assert check("many", 16, "1").right is False


def test_pulse_rates_may_be_written_in_kilohertz():
    assert check("8 kHz", 8000.0, "pulse/s").right and check("8000 pulse/s", 8000.0, "pulse/s").right


FILE = """
[belt]
unit = "mm"
formula = "transmission.pitch_travel"
given = { pitch_count = 20, pitch = "2.5 mm", gear_ratio = 5 }
wrong = [{ change = { gear_ratio = 1 }, hint = "The gear is missing.", mistake = "The gear forgotten" }]
[speed]
unit = "mm/s"
formula = "transmission.pulse_rate"
solve_for = "speed"
given = { pulse_rate = "12 kHz", travel_per_turn = "2 mm", pulses_per_turn = { product = { full_steps = 200, microsteps = 16 } } }
wrong = [{ change = { microsteps = 1 }, hint = "Pulses, not full steps." }]
[time]
unit = "s"
formula = "ramps.trapezoid"
field = "duration"
given = { distance = "20 mm", speed = "10 mm/s", acceleration = "20 mm/s^2" }
[choose]
unit = "1"
choices = [1, 2, 4]
[[choose.must]]
formula = "transmission.travel_per_pulse"
given = { travel_per_turn = "2 mm", pulses_per_turn = { product = { full_steps = 200, microsteps = "answer" } } }
at_most = "5 um"
hint = "Too coarse."
[last]
unit = "mm"
formula = "following.hand_set_points"
field = -1
given = { turns = [0, 0.5], travel_per_hand_turn = "8 mm", start = "20 mm", end = "90 mm", overrun = "0 mm" }
[cause]
right = "RIGHT"
options = { A = "The pulses stop.", B = "A stronger motor stalls as well." }
[secret]
unit = "1"
formula = "transmission.np.prod"
given = {}
"""


@pytest.fixture
def lesson(tmp_path):
    (tmp_path / "lesson.toml").write_text(FILE.replace("RIGHT", option_key("cause", "A")))
    return exercises(tmp_path / "lesson.toml")


@pytest.mark.parametrize(("name", "answer", "text"), [
    ("belt", "10 mm", "Right: 10 mm."),
    ("belt", "50 mm", 'Not yet. The gear is missing. See the mistake "The gear forgotten".'),
    ("speed", "7.5 mm/s", "Right: 7.5 mm/s."), ("speed", "0.12 m/s", "Not yet. Pulses, not full steps."),
    ("time", "2.5 s", "Right: 2.5 s."), ("last", "24 mm", "Right: 24 mm."),
    ("choose", 2, "Right: 2 does it."), ("choose", "4", "Right: 4 does it."), ("choose", 1, "Not yet. Too coarse."),
    ("choose", 3, "This cannot be set: choose one of 1, 2, 4."),
    ("cause", "A", "Right. The pulses stop."), ("cause", " a.", "Right. The pulses stop."),
    ("cause", "B", "Not yet. A stronger motor stalls as well."),
    ("cause", "C", "This cannot be read: answer with one of the letters A, B."),
    ("cause", 2, "This cannot be read: answer with one of the letters A, B."),
    ("cause", blank, 'No answer yet. Put yours in the place of the blank, such as "A", and run the cell again.')])
def test_exercises_from_a_file(lesson, name, answer, text):
    assert repr(lesson(answer, name)) == text


def test_a_name_that_is_not_there_and_a_function_that_is_not_public(lesson):
    with pytest.raises(ValueError, match="belt, speed, time, choose, last, cause"):
        lesson("1 mm", "screw")
    with pytest.raises(ValueError, match="no formula and no public function"):
        lesson(1, "secret")
