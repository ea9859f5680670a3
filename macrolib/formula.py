"""A formula is written once: one object that typesets, computes and can be solved.

    m = Symbol("magnification", "1", "image size over object size", "m", above=0)
    effective = Formula(N_e, N * (1 + m / P), (N, m, P), source="...")
    effective(f_number=4, magnification=3, pupil_ratio=1)     # SI in, SI out; arrays broadcast
    effective.latex, effective.solve_for("f_number")

The functions below the class use a Formula for the rest: the working, the sensitivities,
the standard uncertainty, the dimension check and the tables of formulas and symbols.
"""

import contextvars
import math

import numpy as np
import sympy

from macrolib import units

_TINY, _HUGE = 5e-324, float(np.finfo(float).max)
_HUGE_BITS = np.float64(_HUGE).view(np.uint64)
MASKING = contextvars.ContextVar("MASKING", default=False)  # True: called with arrays, formulas give NaN where `masked` masks


class Symbol(sympy.Symbol):
    """A named quantity: unit, meaning, TeX and the range in which formulas may use it.

    above / below are open bounds, least / most closed ones; without any, every finite number is allowed.
    """

    def __new__(cls, name, unit, meaning, tex=None, *, above=None, least=None, below=None, most=None):
        if above == 0:
            kind = {"positive": True}
        else:
            kind = {"nonnegative": True} if least is not None and least >= 0 else {"real": True}
        self = sympy.Symbol.__xnew__(cls, name, **kind)
        self.unit, self.meaning, self.tex = unit, meaning, tex or name.replace("_", r"\_")
        self.low = -_HUGE if above is None and least is None else (
            float(least) if above is None else math.nextafter(above, math.inf))
        self.high = _HUGE if below is None and most is None else (
            float(most) if below is None else math.nextafter(below, -math.inf))
        low = "" if self.low == -_HUGE else f"at least {least:g}" if above is None else f"above {above:g}"
        high = "" if self.high == _HUGE else f"at most {most:.6g}" if below is None else f"below {below:.6g}"
        self.allowed = " and ".join(filter(None, (low, high))) or "any finite number"
        return self


class Formula:
    """result = expression(symbols), with its source and the limits of its validity in words.

    Call it with SI numbers, by name or in the order of `symbols`: floats give a float, arrays
    broadcast. A missing or unknown argument raises TypeError; one that is not finite or out of
    its range, or a result that is, raises ValueError and says what is allowed.
    """

    def __init__(self, result, expression, symbols, source, limits=""):
        self.result, self.expression = result, sympy.sympify(expression)
        self.symbols, self.source, self.limits = tuple(symbols), source, limits
        strange = self.expression.free_symbols ^ set(self.symbols)
        if strange:
            raise ValueError(f"{result.name}: expression and symbols differ in {sorted(map(str, strange))}")
        self.names = tuple(s.name for s in self.symbols)
        self._bounds = tuple((s.low, s.high) for s in self.symbols)
        self._low, self._high = result.low, result.high
        factors = {f.as_base_exp()[0] for f in sympy.Mul.make_args(self.expression)}
        self._product = self._low <= _TINY and self._high == _HUGE and all(
            f.is_number and f.is_positive or f in self.symbols and (f.low, f.high) == (_TINY, _HUGE) for f in factors)
        self._compiled = None
        self.__name__ = result.name
        self.__doc__ = f"{result.meaning} ({result.unit}) from {', '.join(f'{s.name} ({s.unit})' for s in symbols)}."

    @property
    def compiled(self):
        """The bare numpy function of the arguments in the order of `symbols`, without any check."""
        if self._compiled is None:
            self._compiled = sympy.lambdify(self.symbols, self.expression, "numpy", cse=True)
        return self._compiled

    @property
    def latex(self):
        """The formula as TeX, such as 'N_{e} = N (1 + m / P)'."""
        return f"{self.result.tex} = {sympy.latex(_short(self.expression), symbol_names={s: s.tex for s in self.symbols})}"

    def __call__(self, *args, **named):
        if named or len(args) != len(self.names):
            args = self._in_order(args, named)
        for x, (low, high) in zip(args, self._bounds):
            if type(x) is not float and type(x) is not int:
                return self._on_arrays(args)
            if not low <= x <= high:
                self._refuse(args)
        try:
            result = (self._compiled or self.compiled)(*args)
            if self._low <= result <= self._high:
                return float(result)
        except (ArithmeticError, TypeError, RuntimeWarning):  # a division by zero, an overflow, a complex root
            result = math.nan
        self._refuse_result(result, args)

    def masked(self, *args, **named):
        """The same over arrays, as a masked array: what is out of range is masked, not refused."""
        values = [_as_floats(self, n, x) for n, x in zip(self.names, self._in_order(args, named))]
        good = np.True_
        for x, (low, high) in zip(values, self._bounds):
            good = good & (low <= x) & (x <= high)
        with np.errstate(all="ignore"):
            result = np.asarray(self.compiled(*(np.where((low <= x) & (x <= high), x, np.nan)
                                                for x, (low, high) in zip(values, self._bounds))), float)
            good = good & (self._low <= result) & (result <= self._high)
        return np.ma.masked_array(np.where(good, result, np.nan), mask=~np.broadcast_to(good, result.shape))

    def solve_for(self, name):
        """A Formula for another of the symbols; ValueError unless exactly one admissible root exists."""
        wanted = next((s for s in self.symbols if s.name == name), None)
        if wanted is None:
            raise ValueError(f"{self.result.name} does not contain {name!r}; it has {', '.join(self.names)}")
        roots = [r for r in sympy.solve(sympy.Eq(self.result, self.expression), wanted, check=False)
                 if r.is_real is not False and not (wanted.low >= 0 and r.is_negative)]
        if len(roots) > 1 and wanted.low >= 0:  # such as +b and -b, where b may be zero
            roots = [r for r in roots if not r.is_nonpositive]
        if len(roots) != 1:
            raise ValueError(f"{self.result.name} has {len(roots)} admissible roots for {name!r}, not one")
        rest = [self.result] + [s for s in self.symbols if s is not wanted]
        return Formula(wanted, roots[0], [s for s in rest if s in roots[0].free_symbols], self.source, self.limits)

    def _in_order(self, args, named):
        try:
            if not args and len(named) == len(self.names):
                return [named[n] for n in self.names]
        except KeyError:
            pass
        named = dict(zip(self.names, args), **named) if len(args) <= len(self.names) else named
        unknown, missing = [n for n in named if n not in self.names], [n for n in self.names if n not in named]
        if unknown or missing or len(args) > len(self.names):
            faults = [f"; {what}: {', '.join(n)}" for what, n in (("missing", missing), ("unknown", unknown)) if n]
            raise TypeError(f"{self.result.name} needs {', '.join(self.names)}" + "".join(faults))
        return [named[n] for n in self.names]

    def _on_arrays(self, args):
        if MASKING.get():
            return self.masked(*args).filled(np.nan)[()]
        values = [_as_floats(self, n, x) for n, x in zip(self.names, args)]
        quick = self._product_of(values) if self._product else None
        result = self._checked(values) if quick is None else quick
        shape = np.broadcast_shapes(*(x.shape for x in values))
        return float(result) if shape == () else result if np.shape(result) == shape else np.full(shape, result)

    def _product_of(self, values):
        """A product of powers of positive factors, with one look at each array; None where that shows a fault."""
        # Without sign, as whole numbers, finite floats from 0 up have at most the largest one's bits. A factor 0 leaves no result above 0.
        if not all(x.size and x.view(np.uint64).max() <= _HUGE_BITS for x in values):
            return None
        result = self._flagged(values)
        return result if result is not None and np.min(result) > 0 else None

    def _checked(self, values):
        for x, (low, high) in zip(values, self._bounds):
            if x.size and not (low <= x.min() and x.max() <= high):
                self._refuse(values)
        result = self._flagged(values)
        if result is None:
            with np.errstate(all="ignore"):
                self._refuse_result(self.compiled(*values), values)
        if np.size(result) and not (self._low <= np.min(result) and np.max(result) <= self._high):
            self._refuse_result(result, values)
        return result

    def _flagged(self, values):
        """The result, or None where the processor's flags say that it is not finite: cheaper than a look at it."""
        try:
            with np.errstate(over="raise", divide="raise", invalid="raise", under="ignore"):
                return self.compiled(*values)
        except FloatingPointError:
            return None

    def _refuse(self, args):
        for s, x in zip(self.symbols, args):
            bad = np.ravel(x)[~((s.low <= np.ravel(x)) & (np.ravel(x) <= s.high))]
            if bad.size:
                raise ValueError(f"{self.result.name}: {s.name} is {bad[0]:g} {s.unit}; allowed: {s.allowed}"
                                 + (f" ({self.limits})" if self.limits else ""))

    def _refuse_result(self, result, args):
        bad = np.ravel(result)[~((self._low <= np.ravel(result)) & (np.ravel(result) <= self._high))]
        inputs = ", ".join(f"{n} {np.ravel(x)[0]:g}" + (" ..." if np.size(x) > 1 else "") for n, x in zip(self.names, args))
        raise ValueError(f"{self.result.name} comes out as {bad[0] if bad.size else math.nan:g} {self.result.unit}; allowed: "
                         f"{self.result.allowed} ({self.limits or 'the arguments are beyond what floats hold'}); from {inputs}")


def _as_floats(formula, name, x):
    x = np.asarray(x)
    if x.dtype.kind not in "iuf":
        raise TypeError(f"{formula.result.name}: {name} is {x.dtype}; give a number or an array of numbers in SI")
    return x.astype(float, copy=False)


def _short(expression):
    """The same with every decimal constant at five digits, to be read."""
    return expression.xreplace({x: sympy.Float(x, 5) for x in expression.atoms(sympy.Float)})


def _number(x):
    head, e, power = f"{x:.4g}".partition("e")
    return rf"{head} \cdot 10^{{{int(power)}}}" if e else head


def _put_in(x):
    return rf"\left({_number(x)}\right)" if x < 0 or "cdot" in _number(x) else _number(x)


def working(formula, **values):
    """One typeset line: the formula, the numbers put in (SI), the result with its unit."""
    put_in = sympy.latex(_short(formula.expression), mul_symbol="times",
                         symbol_names={s: _put_in(values[s.name]) for s in formula.symbols if s.name in values})
    result, unit = _number(formula(**values)), formula.result.unit
    return f"{formula.latex} = {put_in} = {result}" + ("" if unit == "1" else rf"\ \mathrm{{{unit.replace(' ', '~')}}}")


def sensitivities(formula, **values):
    """Partial derivatives of the result, {name: d result / d name in SI}, at scalar values."""
    formula(**values)  # the same checks and messages as any call
    point = {s: values[s.name] for s in formula.symbols}
    return {s.name: float(formula.expression.diff(s).subs(point)) for s in formula.symbols}


def standard_uncertainty(formula, values, uncertainties, covariances=None):
    """Standard uncertainty of the result, first order (JCGM 100:2008, 5.1.2 and 5.2.2).

    uncertainties: {name: u}, a name that is left out is exact; covariances: {(name, name): u12}.
    """
    slope = sensitivities(formula, **values)
    unknown = {*uncertainties, *(n for pair in covariances or {} for n in pair)} - set(slope)
    if unknown:
        raise ValueError(f"{formula.result.name} does not contain {', '.join(sorted(unknown))}")
    variance = sum((slope[n] * u) ** 2 for n, u in uncertainties.items())
    variance += sum(2 * slope[a] * slope[b] * c for (a, b), c in (covariances or {}).items())
    if variance < 0:
        raise ValueError("the covariances are larger than the uncertainties allow")
    return math.sqrt(variance)


def check_dimensions(formula):
    """Raise ValueError where the units of the two sides differ; turns, pulses, px, frames, rad count as numbers."""
    found = _dimension(formula.expression)
    wanted = units.dimension(formula.result.unit, counts=False)
    if found is not None and found != wanted:
        raise ValueError(f"{formula.result.name}: the unit is {formula.result.unit} {wanted}, the expression gives {found}")


def _dimension(node):
    """Exponents of the base dimensions; None stands for a bare zero, which fits every unit."""
    if isinstance(node, Symbol):
        return units.dimension(node.unit, counts=False)
    if node.is_zero:
        return None
    if node.is_number:
        return {}
    parts = [_dimension(a) for a in node.args]
    if isinstance(node, sympy.Mul):
        total = {}
        for part in parts:
            for name, power in (part or {}).items():
                total[name] = total.get(name, 0) + power
        return {n: p for n, p in total.items() if abs(p) > 1e-12}
    if isinstance(node, sympy.Pow) and node.exp.is_number:
        return {n: p * float(node.exp) for n, p in parts[0].items()}
    alike = isinstance(node, (sympy.Add, sympy.Min, sympy.Max, sympy.Abs, sympy.atan2))
    kinds = [p for p in parts if p is not None]
    if any(p != (kinds[0] if alike else {}) for p in kinds):
        raise ValueError(f"the parts of {node} have the units' dimensions {kinds}")
    return kinds[0] if alike and not isinstance(node, sympy.atan2) and kinds else {}


def formula_sheet(formulas):
    """Markdown table: what it gives, formula, limits and source."""
    rows = [f"| {f.result.meaning} | ${in_table(f.latex)}$ | {f.limits + '; ' if f.limits else ''}source: {f.source} |" for f in formulas]
    return "\n".join(["| what | formula | holds where, source |", "|---|---|---|", *rows])


def in_table(tex):
    """TeX for a Markdown table, in which a bar would end the column."""
    return tex.replace("|", r"\vert ")


def symbol_table(formulas):
    """Markdown table of every symbol that the formulas use: sign, name, unit, meaning, range."""
    symbols = {s.name: s for f in formulas for s in (*f.symbols, f.result)}
    rows = [f"| ${in_table(s.tex)}$ | {n} | {s.unit} | {s.meaning} | {s.allowed} |" for n, s in sorted(symbols.items())]
    return "\n".join(["| symbol | name | unit | meaning | allowed |", "|---|---|---|---|---|", *rows])
