"""A formula typesets, computes, refuses, masks, can be solved; the functions beside it use it for the rest."""

import math

import numpy as np
import pytest
import sympy
from hypothesis import given
from hypothesis import strategies as st

from macrolib.formula import (
    Formula,
    Symbol,
    check_dimensions,
    formula_sheet,
    sensitivities,
    standard_uncertainty,
    symbol_table,
    working,
)

a = Symbol("length", "m", "a length", "a", above=0)
b = Symbol("width", "m", "another length", "b", above=0)
k = Symbol("share", "1", "a share", "k", least=0, most=1)
angle = Symbol("angle", "rad", "an angle", r"\alpha", least=0, below=math.pi / 2)
x = Symbol("offset", "m", "a length with a sign", "x")
ratio = Formula(Symbol("ratio", "1", "their ratio", "r", above=0), a / b, (a, b), "definition")
area = Formula(Symbol("area", "m^2", "an area", "A", least=0), a * b * k, (a, b, k), "geometry", "flat")
rest = Formula(Symbol("rest", "m", "what is left", "d", least=0), a - b, (a, b), "geometry", "the first is the longer")
slope = Formula(Symbol("slope", "m", "height", "h"), x * sympy.tan(angle), (x, angle), "geometry")


def test_computes_by_name_and_by_order():
    assert ratio(3, 2.0) == ratio(length=3.0, width=2) == 1.5
    assert isinstance(ratio(3, 2), float)


def test_broadcasts_and_keeps_shapes():
    grid = ratio(np.array([[1.0], [2.0]]), np.array([1.0, 2.0, 4.0]))
    assert grid.shape == (2, 3) and grid[1, 2] == 0.5
    assert area(1.0, 2.0, np.zeros(4)).tolist() == [0.0] * 4
    assert ratio(np.array([1, 2]), 2).tolist() == [0.5, 1.0]
    assert ratio(np.array([]), 2.0).shape == (0,)
    assert isinstance(ratio(np.float64(1.0), 2.0), float)


@pytest.mark.parametrize("arguments, says", [
    ((0.0, 1.0), "length is 0 m; allowed: above 0"), ((math.nan, 1.0), "length is nan"), ((1.0, math.inf), "width is inf"),
    ((np.array([1.0, -2.0]), 1.0), "length is -2 m"), ((np.array([1.0, np.nan]), 1.0), "length is nan"),
])
def test_refuses_what_is_out_of_range(arguments, says):
    with pytest.raises(ValueError, match=says):
        ratio(*arguments)


@pytest.mark.parametrize("bad", ["1", None, True, 1j, [1.0, "a"], object()])
def test_refuses_what_is_no_number(bad):
    if bad is True:
        bad = np.array([True])
    with pytest.raises((TypeError, ValueError)):
        ratio(bad, 1.0)


def test_refuses_missing_unknown_and_too_many():
    for call, says in ((lambda: ratio(length=1.0), "missing: width"), (lambda: ratio(length=1.0, widht=1.0), "unknown: widht"),
                       (lambda: ratio(1.0, 2.0, 3.0), "needs length, width"), (lambda: ratio(1.0), "missing: width")):
        with pytest.raises(TypeError, match=says):
            call()


def test_a_result_out_of_its_range_is_refused_with_the_limits():
    for arguments in ((1.0, 2.0), (np.array([3.0, 1.0]), 2.0)):
        with pytest.raises(ValueError, match="the first is the longer"):
            rest(*arguments)


def test_overflow_underflow_and_division_by_zero_are_refused():
    pole = Formula(Symbol("pole", "1", "has a pole", "p"), 1 / (a - b), (a, b), "made up")
    for formula, arguments in ((ratio, (1e300, 1e-300)), (ratio, (1e-300, 1e300)), (pole, (1.0, 1.0))):
        with pytest.raises(ValueError):
            formula(*arguments)
        with pytest.raises(ValueError):
            formula(*(np.array([x, x]) for x in arguments))


def test_masked_hides_what_is_out_of_range_and_never_calls_it_good():
    found = ratio.masked(np.array([1.0, -1.0, np.nan, 4.0]), 2.0)
    assert found.mask.tolist() == [False, True, True, False] and found[3] == 2.0
    assert not np.ma.filled(found > 0, False)[1] and not (found.data[1] > 0)
    assert rest.masked(np.array([1.0, 3.0]), 2.0).mask.tolist() == [True, False]
    with pytest.raises(TypeError):
        ratio.masked(width=1.0)


@given(st.floats(1e-6, 1e6), st.floats(1e-6, 1e6), st.floats(0, 1))
def test_arrays_and_scalars_agree(length, width, share):
    assert area(length, width, share) == pytest.approx(float(area(np.array([length]), width, share)[0]), rel=1e-14, abs=1e-300)


def test_solves_for_a_symbol_and_back():
    other = area.solve_for("width")
    assert other.result.name == "width" and other(area=6.0, length=2.0, share=0.5) == pytest.approx(6.0)
    square = Formula(Symbol("square", "m^2", "a square", "S", above=0), a**2, (a,), "geometry")
    assert square.solve_for("length")(square=9.0) == 3.0  # the negative root is not admissible


def test_solving_refuses_unknown_names_and_two_roots():
    with pytest.raises(ValueError, match="does not contain"):
        area.solve_for("height")
    two = Formula(Symbol("two", "m^2", "has two roots", "z"), (x - 1) ** 2, (x,), "made up")
    with pytest.raises(ValueError, match="2 admissible roots"):
        two.solve_for("offset")


def test_expression_and_symbols_must_agree():
    with pytest.raises(ValueError, match="width"):
        Formula(k, a / b, (a,), "made up")


def test_working_is_one_typeset_line_with_numbers_and_unit():
    line = working(area, length=2.0, width=3.0, share=0.5)
    assert line.startswith("A = ") and r"\times" in line and line.endswith(r"3\ \mathrm{m^2}")
    assert "length" not in line
    assert area.latex.startswith("A = ") and working(ratio, length=6.0, width=4.0).endswith("= 1.5")


def test_sensitivities_against_differences():
    point = {"offset": 2.0, "angle": 0.4}
    for name, derivative in sensitivities(slope, **point).items():
        up, down = ({**point, name: point[name] + sign * 1e-6} for sign in (1, -1))
        assert derivative == pytest.approx((slope(**up) - slope(**down)) / 2e-6, rel=1e-6)


def test_standard_uncertainty_with_and_without_covariance():
    """JCGM 100:2008, 5.2.2: for r = a/b with fully correlated relative errors of one size the ratio is exact."""
    values, spread = {"length": 3.0, "width": 2.0}, {"length": 0.03, "width": 0.02}
    assert standard_uncertainty(ratio, values, spread) == pytest.approx(1.5 * 0.01 * math.sqrt(2))
    assert standard_uncertainty(ratio, values, spread, {("length", "width"): 0.03 * 0.02}) == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(ValueError, match="does not contain"):
        standard_uncertainty(ratio, values, {"height": 1.0})
    with pytest.raises(ValueError, match="covariances"):
        standard_uncertainty(ratio, values, spread, {("length", "width"): 1.0})


@pytest.mark.parametrize("wrong", [
    Formula(Symbol("wrong", "m", "wrong unit", "w"), a * b, (a, b), "made up"),
    Formula(Symbol("wrong", "m", "sum of unlike", "w"), a + a * b, (a, b), "made up"),
    Formula(Symbol("wrong", "1", "sine of a length", "w"), sympy.sin(a), (a,), "made up"),
    Formula(Symbol("wrong", "1", "length as exponent", "w"), 2**a, (a,), "made up"),
])
def test_the_dimension_check_can_fail(wrong):
    with pytest.raises(ValueError):
        check_dimensions(wrong)


def test_the_dimension_check_passes_what_is_right():
    for formula in (ratio, area, rest, slope):
        check_dimensions(formula)


def test_tables_name_every_symbol_and_source():
    sheet, symbols = formula_sheet([ratio, area]), symbol_table([ratio, area])
    assert "definition" in sheet and "flat" in sheet and f"${area.latex}$" in sheet
    assert all(f"| {name} |" in symbols for name in ("length", "width", "share", "area", "ratio"))


@pytest.mark.parametrize("bad", [0.0, -0.0, -1.0, math.nan, -math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("place", [0, 1, 2])
@pytest.mark.parametrize("name", ["length", "width"])
def test_the_quick_check_of_products_lets_no_bad_element_through(name, place, bad):
    assert ratio._product and not area._product and not slope._product
    values = {"length": np.array([1.0, 2.0, 3.0]), "width": np.array([3.0, 2.0, 1.0])}
    assert ratio(**values).tolist() == [1 / 3, 1.0, 3.0]
    values[name][place] = bad
    with pytest.raises(ValueError, match=name):
        ratio(**values)


def test_the_quick_check_takes_views_small_floats_and_foreign_byte_order():
    grid = np.arange(1.0, 13.0).reshape(3, 4)
    for view in (grid.T, grid[::2, ::-1], grid.astype(np.float32), grid.astype(">f8"), grid.astype(int)):
        assert np.array_equal(ratio(view, 2.0), np.asarray(view, float) / 2)
    assert ratio(np.array([1e-310]), 1.0)[0] == 1e-310
