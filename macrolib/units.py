"""Text with units <-> SI numbers, on a closed list of units.

Inside the library every number is a plain SI float. Units appear where a person reads or
types. pint converts, on a registry that knows only the units below, so that nothing can be
misread: a comma is never a thousands mark, a turn is never 2 pi radians, and no text is
ever evaluated.
"""

import difflib
import functools
import math
import re

# turn, pulse, px, frame, rad and B (a byte of data) are dimensions of their own in what people type.
_DEFINITIONS = """
m = [length]; s = [time]; kg = [mass]; A = [current]; K = [temperature]
turn = [rotation]; pulse = [pulses]; px = [pixels]; frame = [frames]; rad = [angle]; B = [data]
cm = 0.01 m; mm = 1e-3 m; um = 1e-6 m; nm = 1e-9 m
min = 60 s; h = 3600 s; ms = 1e-3 s; us = 1e-6 s
Hz = 1 / s; kHz = 1e3 Hz; MHz = 1e6 Hz; fps = frame / s
g = 1e-3 kg; N = kg * m / s ** 2; mN = 1e-3 N
Nm = N * m; Ncm = 0.01 N * m; mNm = 1e-3 N * m
mA = 1e-3 A; W = N * m / s; mW = 1e-3 W; V = W / A; mV = 1e-3 V; Wh = 3600 W * s
ohm = V / A; H = V * s / A; mH = 1e-3 H; GB = 1e9 B
degC = K; offset: 273.15
deg = 0.017453292519943295 rad
"""
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?")
_UNIT = re.compile(r"(?:1|[A-Za-z]+(?:\^-?[1-4])?)(?:(?: ?[*/] ?| )[A-Za-z]+(?:\^-?[1-4])?){0,4}")
_SAME = {"µ": "u", "μ": "u", "·": " ", "⋅": " ", "Ω": "ohm", "°C": "degC", "°": "deg", "²": "^2", "³": "^3"}
_ALIASES = {  # what people write instead -> what this list calls it (used in messages only)
    "rpm": "turn/min", "lb": "kg", "lbs": "kg", "oz": "g", "in": "mm", "inch": "mm", "ft": "m",
    "micron": "um", "mins": "min", "sec": "s", "hr": "h", "amp": "A", "amps": "A", "C": "degC",
    "F": "degC", "pixel": "px", "pixels": "px", "degree": "deg", "degrees": "deg", "rev": "turn",
    "frames": "frame", "pulses": "pulse", "turns": "turn", "steps": "pulse", "step": "pulse",
}


@functools.cache
def _registry():
    import pint

    registry = pint.UnitRegistry(None)
    # A line with 'offset:' is one definition: it keeps its semicolon.
    for line in _DEFINITIONS.strip().splitlines():
        for definition in [line] if "offset" in line else line.split(";"):
            registry.define(definition.strip())
    return registry


def known_units():
    """The spellings of single units that text may use, as a sorted list."""
    return sorted(re.findall(r"(\w+) =", _DEFINITIONS))


def _nearest(unit):
    for word in re.findall(r"[A-Za-z]+", unit):
        if word not in known_units():
            known = {name.lower(): name for name in known_units()}
            close = difflib.get_close_matches(word.lower(), known, n=1, cutoff=0.5)
            return word, _ALIASES.get(word) or (known[close[0]] if close else None)
    return unit, None


@functools.lru_cache(maxsize=512)
def _scale(unit):
    """(factor, offset, dimension) of a unit's text: SI value = factor x number + offset."""
    import pint

    if unit == "1":
        return 1.0, 0.0, ()
    if not _UNIT.fullmatch(unit):
        raise ValueError(f"{unit!r} is not a unit; write for example mm, mm/s or kg m^2")
    registry = _registry()
    try:
        zero, one = (registry.Quantity(number, unit.replace("1/", "1 / ")).to_base_units() for number in (0.0, 1.0))
    except (pint.errors.PintError, AttributeError, TypeError, ValueError) as problem:
        word, meant = _nearest(unit)
        hint = f"; did you mean {meant!r}?" if meant else f"; known units: {' '.join(known_units())}"
        raise ValueError(f"the unit {word!r} is not known{hint}") from problem
    factor = one.magnitude - zero.magnitude
    short = float(f"{factor:.12g}")  # so that 1 mm is 0.001 m to the last bit, whatever the order of multiplying was
    exact = short if math.isclose(short, factor, rel_tol=1e-15) else factor
    return exact, zero.magnitude, tuple(sorted((k, round(v, 9)) for k, v in one.dimensionality.items()))


def dimension(unit, counts=True):
    """Exponents of the base dimensions of a unit, as a dict such as {'[length]': 1, '[time]': -1}.

    counts=False drops rotations, pulses, pixels, frames and angles: the check of formulas
    treats them as plain numbers, what people type does not.
    """
    drop = () if counts else ("[rotation]", "[pulses]", "[pixels]", "[frames]", "[angle]")
    return {name: power for name, power in _scale(unit)[2] if name not in drop}


def parse(text, unit, *also):
    """Read '12.5 mm' as an SI float of the same dimension as `unit` (or one of `also`).

    Raises ValueError with the spelling that was probably meant: for a missing number or unit,
    a decimal comma, a unit that is not on the list or of another dimension, and for a number
    that is not finite. Nothing in the text is ever evaluated.
    """
    if not isinstance(text, str):
        raise ValueError(f"found {text!r}; write a text with a unit, such as \"5 {unit}\"")
    if len(text) > 80:
        raise ValueError(f"found a text of {len(text)} characters; a quantity is one number and one unit")
    clean = " ".join(text.split())
    for odd, plain in _SAME.items():
        clean = clean.replace(odd, plain)
    if re.match(r"[+-]?\d+,\d", clean):
        raise ValueError(f"found {text!r}; write a point for decimals: {clean.replace(',', '.', 1)!r}")
    number = _NUMBER.match(clean)
    if not number:
        raise ValueError(f"found {text!r}, which does not begin with a number; write for example '5 {unit}'")
    rest = clean[number.end():].strip()
    if not rest:
        raise ValueError(f"found {text!r} without a unit; did you mean '{clean} {unit}'?")
    return _si(text, float(number.group()), rest, (unit, *also))


def _si(text, number, found, wanted):
    try:
        factor, offset, kind = _scale(found)
    except ValueError as problem:
        raise ValueError(f"found {text!r}: {problem}") from None
    if kind not in [_scale(unit)[2] for unit in wanted]:
        raise ValueError(f"found {text!r}, but {found!r} is no unit for this; write it in {' or '.join(wanted)}")
    value = number * factor + offset
    if not math.isfinite(value):
        raise ValueError(f"found {text!r}, which is not a finite number")
    return value


def to_unit(value, unit):
    """An SI number (float or array) as a number in `unit`."""
    factor, offset, _ = _scale(unit)
    return (value - offset) / factor if offset else value / factor


def from_unit(number, unit):
    """A number in `unit` (float or array) as an SI number."""
    factor, offset, _ = _scale(unit)
    return number * factor + offset


def show(value, unit, digits=4):
    """An SI float as text in `unit`, such as '12.5 mm'; '1' shows the bare number."""
    number = f"{to_unit(float(value), unit):.{digits}g}"
    if "e" in number and 1e-4 <= abs(float(number)) < 1e9:
        number = f"{float(number):,.0f}".replace(",", " ") if abs(float(number)) >= 1 else f"{float(number):f}".rstrip("0")
    return number if unit == "1" else f"{number} {unit}"


def show_uncertain(value, uncertainty, unit):
    """A value and its standard uncertainty (SI) as text in `unit`, such as '31.24 ± 0.12 Hz': two digits of the uncertainty."""
    number = to_unit(float(value), unit)
    spread = abs(to_unit(float(value) + float(uncertainty), unit) - number) if uncertainty else 0.0
    if not spread or not math.isfinite(spread):
        return show(value, unit) if not spread else f"{number:.4g} ± unknown{'' if unit == '1' else ' ' + unit}"
    places = min(max(0, 1 - math.floor(math.log10(spread))), 15)
    return f"{number:.{places}f} ± {spread:.{places}f}" + ("" if unit == "1" else f" {unit}")
