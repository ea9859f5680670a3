"""Text with units: what is read, what is refused, and how."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from macrolib import units

READ = [
    ("12.5 mm", "m", 0.0125), ("1 mm", "m", 0.001), ("3.9 um", "m", 3.9e-6), ("550 nm", "m", 550e-9), ("3.9µm", "m", 3.9e-6),
    ("300 turn/min", "turn/s", 5.0), ("0.4 N m", "N m", 0.4), ("0.4 Nm", "N m", 0.4), ("40 Ncm", "N m", 0.4), ("40 N cm", "N m", 0.4),
    ("15 deg", "rad", math.radians(15)), ("20 degC", "K", 293.15), ("8 kHz", "1/s", 8000.0), ("24 fps", "frame/s", 24.0),
    ("2 mm/turn", "m/turn", 0.002), ("54 g cm^2", "kg m^2", 5.4e-6), ("98 Wh", "N m", 352800.0), ("12 um/m/K", "1/K", 1.2e-5),
    ("2 min", "s", 120.0), ("-3 mm", "m", -0.003), (".5 A", "A", 0.5), ("1e3 mA", "A", 1.0), ("2.8 mH", "H", 0.0028),
]
REFUSED = [
    ("12,5 mm", "12.5 mm"), ("9**9**9 mm", "not a unit"), ("0.4 lb", "kg"), ("8", "8 mm"), ("mm", "number"), ("1e400 m", "finite"),
    ("nan mm", "number"), ("inf mm", "number"), ("5 rpm", "turn/min"), ("5 Mm", "mm"), ("5 kg", "no unit for this"), ("", "number"),
    ("5 mm; 6", "not a unit"), ("__import__('os')", "number"), ("5 mm^9", "not a unit"), ("1 000 mm", "not a unit"),
    ("5" * 90, "characters"),
    ("5 turn", "no unit for this"), ("0x10 mm", "not a unit"), ("5 (mm)", "not a unit"), ("1.2.3 mm", "not a unit"),
]


@pytest.mark.parametrize("text, unit, value", READ)
def test_reads(text, unit, value):
    assert units.parse(text, unit) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize("text, hint", REFUSED)
def test_refuses_with_a_hint(text, hint):
    with pytest.raises(ValueError, match=hint.replace("*", r"\*")):
        units.parse(text, "mm")


@pytest.mark.parametrize("found", [5, 5.0, None, True, ["5 mm"], {"mm": 5}])
def test_only_text_is_read(found):
    with pytest.raises(ValueError, match="text with a unit"):
        units.parse(found, "mm")


def test_counts_are_units_of_their_own():
    with pytest.raises(ValueError):
        units.parse("5 turn/s", "1/s")  # a turn never becomes a plain number in what people type
    assert units.dimension("turn/s") != units.dimension("1/s")
    assert units.dimension("turn/s", counts=False) == units.dimension("1/s")


def test_data_have_a_unit_of_their_own():
    assert units.parse("2.5 GB", "GB") == 2.5e9 and units.show(2.5e9, "GB") == "2.5 GB"
    for other in ("1", "W", "px"):
        assert units.dimension("GB") != units.dimension(other)
    with pytest.raises(ValueError, match="no unit for this"):
        units.parse("5 GB", "mm")


def test_closed_list_has_about_forty_spellings():
    assert 35 <= len(units.known_units()) <= 50


@given(st.text(max_size=30))
def test_no_text_does_harm(text):
    try:
        value = units.parse(text, "mm")
    except ValueError:
        return
    assert math.isfinite(value)


@given(st.floats(-1e6, 1e6), st.sampled_from(["mm", "um", "deg", "degC", "min", "kHz"]))
def test_there_and_back(number, unit):
    assert units.to_unit(units.from_unit(number, unit), unit) == pytest.approx(number, rel=1e-12, abs=1e-9)


def test_shows_what_people_read():
    assert units.show(0.0125, "mm") == "12.5 mm"
    assert units.show(293.15, "degC") == "20 degC"
    assert units.show(3.0, "1") == "3"
