"""Tilt: the formulas against points and planes moved about in space."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from macrolib.formula import Formula, check_dimensions
from macrolib.physics import tilt
from macrolib.physics.tilt import misalignment, sensor_misalignment, shim_height, slope_travel, tipping_slope
from macrolib.physics.transmission import drive_force

angles = st.floats(0, 1.5)


@pytest.mark.parametrize("formula", [getattr(tilt, n) for n in tilt.__all__], ids=lambda f: f.result.name)
def test_units_fit_and_the_source_is_named(formula):
    assert isinstance(formula, Formula) and formula.source
    check_dimensions(formula)


@settings(max_examples=50, deadline=None)
@given(st.floats(1e-3, 0.5), st.floats(0, 0.5))
def test_focus_runs_off_by_the_distance_between_rail_and_plane(travel, angle):
    # the camera looks along y; the rail runs along x; the subject plane is turned about z by the angle
    normal, along = np.array([-math.sin(angle), math.cos(angle)]), np.array([travel, 0])
    before = (normal @ [0, 0.2]) / normal[1]  # distance along the view from the plane through (0, 0.2)
    after = (normal @ (np.array([0, 0.2]) - along)) / normal[1]
    assert misalignment(travel, angle) == pytest.approx(abs(after - before), rel=1e-9, abs=1e-12)


def test_the_angle_that_a_depth_of_field_allows():
    allowed = misalignment.solve_for("tilt_angle")
    assert allowed(misalignment=0.05e-3, distance=0.1) == pytest.approx(math.atan(0.0005))
    assert shim_height(0.2, allowed(misalignment=0.05e-3, distance=0.1)) == pytest.approx(0.1e-3)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.01, 0.05), st.floats(0.5, 5), st.floats(0, 0.3))
def test_a_turned_sensor_costs_what_a_turned_rail_costs_over_the_same_width(width, magnification, angle):
    assert sensor_misalignment(width, magnification, angle) == pytest.approx(
        misalignment(width / magnification, angle), rel=1e-12)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.01, 1), angles)
def test_a_slope_is_longer_than_its_level_length(level, angle):
    along = slope_travel(level, angle)
    assert along == pytest.approx(math.hypot(level, level * math.tan(angle)), rel=1e-9)


def test_the_load_along_a_slope_is_the_drive_force_at_rest():
    assert drive_force(2.0, 0, math.radians(30), 0, 0, 0, 9.80665) == pytest.approx(9.80665)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.05, 1), st.floats(0.05, 1))
def test_a_rig_tips_when_its_weight_leaves_the_feet(height, foot):
    slope = tipping_slope(foot, height)
    mass = np.array([-foot, height])  # seen from the lower feet, on the level
    turned = mass[0] * math.cos(slope) + mass[1] * math.sin(slope)
    assert turned == pytest.approx(0, abs=1e-12)


def test_angles_of_a_right_angle_or_below_zero_are_refused():
    for wrong in (math.pi / 2, -0.1, math.nan):
        with pytest.raises(ValueError, match="tilt_angle is .* rad; allowed: at least 0 and below"):
            misalignment(0.1, wrong)
