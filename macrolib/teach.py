"""Answers to exercises, checked: they may carry units, and a wrong one gets a hint at the slip that was probably made.

    check = exercises("../data/exercises/01-from-turns-to-travel.toml")
    check("2.5 mm", "belt")

A lesson's file holds a table for each exercise. It says how the library computes the answer, never the answer itself:

    [belt]
    unit = "mm"                                   # of the answer; "1" for a bare number
    formula = "transmission.pitch_travel"         # any formula or public function of macrolib.physics
    given = { pitch_count = 20, pitch = "2.5 mm", gear_ratio = 5 }
    usual = ["diameter for radius"]               # slips of USUAL that can happen here
    wrong = [{ change = { gear_ratio = 1 }, hint = "The gear is missing." }]

`solve_for` solves the formula for a symbol, `field` takes a field of a result (a number: an entry), `tolerance` is a share (0.01).
A value of `given` may be such a table again, or { product = { name = 200, ... } }. Where many answers are right, `must` holds
conditions in which "answer" stands for the learner's value: [{ formula, given, at_most or at_least, hint }]; `choices` lists what
can be set. A hint may name a `mistake` of the lesson's own list. A question with letters has no formula:

    [cause]
    options = { A = "What is said to those who choose A.", B = "..." }
    right = "3f0c9a51"                            # option_key("cause", "B"): not to be read off by a glance into the file
"""

import dataclasses
import hashlib
import importlib
import math
import tomllib

from macrolib import units

__all__ = ["Feedback", "Unfinished", "blank", "check", "exercises", "option_key"]

USUAL = {  # name: (factor, hint)
    "diameter for radius": (2, "Radius or diameter? One of them is twice the other."),
    "total for half depth": (2, "Half or total? A depth of field counts from the near limit to the far one."),
    "peak for peak to peak": (2, "Amplitude or swing? Peak to peak is twice zero to peak."),
    "rpm for turns/s": (60, "Turns per minute or per second? There are 60 s in a minute."),
    "radians for turns": (2 * math.pi, "Radians or turns? One turn is 2 pi radians."),
    "marked for effective f-number": (1, "Marked or effective f-number? Close up the effective one is larger."),
}
_PREFIX = "Look at the prefix: you are off by 1000, or by a power of it. A bare number counts in m, s, kg; a text names its unit."
_ANYWHERE = [(1e3, _PREFIX), (1e6, _PREFIX), (1e9, _PREFIX), (-1, "The size is right, the sign is not: which way does it go?"),
             (2, "You are off by a factor of two: what is counted twice, or left out?"), (60, "You are off by 60: minutes or seconds?"),
             (180 / math.pi, "Degrees or radians? One radian is 57.3 degrees."), (10, "You are off by ten: is the point in its place?"),
             (100, "You are off by 100: centimetres or metres? A share or per cent?")]


class Unfinished(ValueError):
    """A blank stood where a number was needed. A notebook shows its words without a traceback."""

    def _render_traceback_(self):
        return [str(self)]


class _Blank:
    """What stands in an exercise until its reader puts a value there: to compute with it gives a blank again."""

    def __repr__(self):
        return "blank"

    def __format__(self, _):
        return "blank"

    def _again(self, *_, **__):
        return self

    def _no_number(self, *_):
        raise Unfinished("There is still a blank in this line, or in one that it uses. Put your value in its place and run the cell again.")

    __add__ = __radd__ = __sub__ = __rsub__ = __mul__ = __rmul__ = __truediv__ = __rtruediv__ = __pow__ = __rpow__ = _again
    __floordiv__ = __rfloordiv__ = __mod__ = __rmod__ = __neg__ = __abs__ = __round__ = __array_ufunc__ = __getitem__ = _again
    __array__ = __float__ = __int__ = __index__ = __bool__ = __iter__ = __len__ = __lt__ = __gt__ = __le__ = __ge__ = _no_number


blank = _Blank()
"""The blank of an exercise."""


@dataclasses.dataclass(frozen=True)
class Feedback:
    """What a check says: `right` is True, False, or None while there is no answer; printed, it is its text."""

    right: bool | None
    text: str

    def __repr__(self):
        return self.text


def check(answer, expected, unit, *, tolerance=0.01, usual=(), wrong=()):
    """Feedback on an answer: a text such as "2.5 mm", or a number in SI; None or a blank is no answer yet.

    expected is in SI, unit the one to show; tolerance is a share of it. wrong: pairs (SI value of a wrong way, hint or name
    in USUAL); usual: names of USUAL. What is tried after them: a prefix, a factor of 2 or 60, the sign.
    """
    def verdict(value):
        def is_near(other, share=tolerance):
            return math.isclose(value, other, rel_tol=share)

        if is_near(expected):
            return Feedback(True, f"Right: {units.show(expected, unit)}.")
        slips = [(slip, USUAL.get(hint, (1, hint))[1]) for slip, hint in wrong]
        slips += [(expected * way, hint) for factor, hint in (*(USUAL[name] for name in usual), *_ANYWHERE)
                  for way in (factor, 1 / factor)]
        last = "You are close: round only at the end." if is_near(expected, 10 * tolerance) else (
            f"Too {'large' if abs(value) > abs(expected) else 'small'}. Write the unit beside each number and see what is left.")
        return Feedback(False, "Not yet. " + next((hint for slip, hint in slips if is_near(slip)), last))
    return _judged(answer, unit, verdict)


def _is_blank(answer):
    return answer is None or answer is ... or isinstance(answer, _Blank) or (
        isinstance(answer, str) and (not answer.strip(" .?_") or "blank" in answer))


def _judged(answer, unit, verdict):
    """Feedback by verdict(SI value) for an answer that can be read."""
    if _is_blank(answer):
        example = {"1": "16", "letter": '"A"'}.get(unit, f'"5 {unit}"')
        return Feedback(None, f"No answer yet. Put yours in the place of the blank, such as {example}, and run the cell again.")
    try:
        return verdict(_read(answer, unit))
    except ValueError as fault:
        return Feedback(False, f"This cannot be read: {fault}")


def _read(answer, unit):
    """The answer in SI; ValueError says what is wrong with it. '2 mm/turn' is as good as '2 mm'."""
    if isinstance(answer, str) and unit != "1":
        also = {"pulse/s": ["1/s"], "1/s": ["pulse/s"]}.get(unit, [f"{unit}/turn", f"{unit}/pulse"])
        return units.parse(answer, unit, *also)
    try:
        value = math.nan if isinstance(answer, bool) else float(answer)
    except (TypeError, ValueError):
        value = math.nan
    if not math.isfinite(value):
        raise ValueError(f"found {answer!r}; give one number" + ("" if unit == "1" else f', or a text such as "5 {unit}"'))
    return value


def exercises(path):
    """The check of a lesson's exercise file: a function (answer, name of the exercise) -> Feedback."""
    with open(path, "rb") as file:
        tables = tomllib.load(file)

    def check_one(answer, name):
        if name not in tables:
            raise ValueError(f"there is no exercise {name!r} in {path}; there are: {', '.join(tables)}")
        table = tables[name]
        if "options" in table:
            return _by_letter(answer, name, table)
        if "must" in table:
            return _judged(answer, table["unit"], lambda value: _by_conditions(value, table))
        wrong = [(_value(_changed(table, slip["change"])), _hint(slip)) for slip in table.get("wrong", ())]
        options = {name: table[name] for name in ("tolerance", "usual") if name in table}
        return check(answer, _value(table), table["unit"], wrong=wrong, **options)
    return check_one


def option_key(name, letter):
    """What an exercise file states as `right` of the question `name`."""
    return hashlib.sha256(f"{name} {letter}".encode()).hexdigest()[:8]


def _hint(slip):
    return slip["hint"] + (f" See the mistake \"{slip['mistake']}\"." if "mistake" in slip else "")


def _by_letter(answer, name, table):
    if _is_blank(answer):
        return _judged(answer, "letter", None)
    letter, right = str(answer).strip(" .:)").upper(), table["right"]
    if letter not in table["options"]:
        return Feedback(False, f"This cannot be read: answer with one of the letters {', '.join(table['options'])}.")
    found = option_key(name, letter) == right
    return Feedback(found, f"{'Right.' if found else 'Not yet.'} {table['options'][letter]}")


def _by_conditions(value, table):
    if value not in table.get("choices", (value,)):
        return Feedback(False, f"This cannot be set: choose one of {', '.join(map(str, table['choices']))}.")
    for rule in table["must"]:
        found, low, high = _value(rule, value), _value(rule.get("at_least", -math.inf)), _value(rule.get("at_most", math.inf))
        if not (low <= found <= high or math.isclose(found, low) or math.isclose(found, high)):
            return Feedback(False, f"Not yet. {_hint(rule)}")
    return Feedback(True, f"Right: {units.show(value, table['unit'])} does it.")


def _value(given, answer=None):
    """The SI value of what an exercise file says: a number, a text with unit, "answer", a product, a function's result."""
    if isinstance(given, str):
        number, _, unit = given.partition(" ")
        return answer if given == "answer" else units.parse(given, unit) if number[:1] in "-.0123456789" else given
    if not isinstance(given, dict) or "product" in given:
        return given if not isinstance(given, dict) else math.prod(_value(factor, answer) for factor in given["product"].values())
    result = _function(given)(**{name: _value(value, answer) for name, value in given["given"].items()})
    field = given.get("field")
    return result if field is None else getattr(result, field) if isinstance(field, str) else result[field]


def _function(table):
    module, _, name = table["formula"].partition(".")
    home = importlib.import_module(f"macrolib.physics.{module}")
    found = vars(home).get(name)
    if not (name in home.__all__ or hasattr(found, "latex")):
        raise ValueError(f"{table['formula']} is no formula and no public function of macrolib.physics")
    return found.solve_for(table["solve_for"]) if "solve_for" in table else found


def _changed(table, change):
    """The table with some given values replaced, however deep they stand."""
    return {name: change[name] if name in change else _changed(value, change) if isinstance(value, dict) else value
            for name, value in table.items()}
