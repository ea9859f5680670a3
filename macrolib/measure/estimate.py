"""What all measurements share: values with a standard uncertainty, checked numbers, least squares."""

import numpy as np

from macrolib import units
from macrolib.formula import standard_uncertainty


class Estimate(float):
    """A measured value: a plain float that carries its `standard_uncertainty`; what is computed with it is a bare float."""

    def __new__(cls, value, standard_uncertainty):
        self = super().__new__(cls, value)
        self.standard_uncertainty = float(standard_uncertainty)
        return self

    def __getnewargs__(self):
        return float(self), self.standard_uncertainty

    def __repr__(self):
        return f"Estimate({self.text()})"

    def text(self, unit="1"):
        """'31.24 ± 0.12 Hz': the value and its standard uncertainty, two digits of it, in a unit."""
        return units.show_uncertain(self, self.standard_uncertainty, unit)


def numbers(name, x, least=1, shape=None):
    """An array of finite floats; ValueError says what is wrong with it and where. shape: wanted axes, None for any length."""
    if np.ma.is_masked(x):
        raise ValueError(f"{name}: some values are masked; leave them out on purpose, or give them")
    try:
        found = np.asarray(x)
    except ValueError:
        raise ValueError(f"{name}: the rows differ in length") from None
    if found.size and found.dtype.kind not in "iufb" or found.dtype.kind == "b":
        raise ValueError(f"{name}: holds {found.dtype}, not numbers")
    if found.ndim != (1 if shape is None else shape):
        raise ValueError(f"{name}: has {found.ndim} axes, not {1 if shape is None else shape}")
    if len(found) < least:
        raise ValueError(f"{name}: has {len(found)} values; at least {least} are needed")
    found = found.astype(float, copy=False)
    if not np.isfinite(found).all():
        where = np.argwhere(~np.isfinite(found))[0].tolist()
        raise ValueError(f"{name}{where}: is {found[tuple(where)]}, which is no finite number")
    if not 1e-100 < np.abs(found).max(initial=1e-100 if found.any() else 1) < 1e100:
        raise ValueError(f"{name}: reaches {np.abs(found).max():g}; give SI numbers")
    return found


def pairs(least=3, **named):
    """Two arrays of numbers of the same length, given by name."""
    first, second = (numbers(name, x, least) for name, x in named.items())
    if len(first) != len(second):
        raise ValueError(f"{' and '.join(named)}: have {len(first)} and {len(second)} values; one belongs to one")
    return first, second


def least_squares(columns, y):
    """(coefficients, their covariance, residuals) of y as a sum of columns; ValueError where they cannot be told apart."""
    matrix = np.column_stack(columns)
    q, r = np.linalg.qr(matrix)
    size = np.abs(np.diag(r))
    if len(y) <= len(columns) or size.min() < 1e-9 * size.max():
        raise ValueError("the readings do not tell all that is asked for apart; take more, at other places")
    found = np.linalg.solve(r, q.T @ y)
    residuals = y - matrix @ found
    inverse, rounding = np.linalg.inv(r), np.finfo(float).eps * np.abs(y).max()
    return found, inverse @ inverse.T * max(residuals @ residuals / (len(y) - len(columns)), rounding**2), residuals


def curve_fit(model, y, start, scale, jacobian=None):
    """(values, covariance s^2 (J'J)^-1, residuals) that bring model(values) closest to y, by Levenberg and Marquardt.

    scale: the size of each value, so that all are near one inside; jacobian(values): slopes, a column a value, else differences.
    """
    from scipy.optimize import least_squares

    size, scale = np.ptp(y), np.asarray(scale, float)
    slopes = {} if jacobian is None else {"jac": lambda v: jacobian(v * scale) * scale / size}
    found = least_squares(lambda v: (model(v * scale) - y) / size, start / scale, method="lm", xtol=1e-11, ftol=1e-12, gtol=1e-12,
                          max_nfev=200, **slopes)
    covariance = np.linalg.pinv(found.jac.T @ found.jac, hermitian=True) * max(2 * found.cost / (len(y) - len(scale)), 1e-30)
    return found.x * scale, covariance * np.outer(scale, scale), -found.fun * size


def length(vector, covariance):
    """The length of a vector of two numbers as an Estimate, first order."""
    size = float(np.hypot(*vector))
    slope = np.asarray(vector) / size if size else np.sqrt([0.5, 0.5])
    return Estimate(size, np.sqrt(slope @ covariance @ slope))


def by_formula(formula, values, uncertainties):
    """The result of a Formula as an Estimate, first order in the uncertainties of its values."""
    return Estimate(formula(**values), standard_uncertainty(formula, values, uncertainties))
