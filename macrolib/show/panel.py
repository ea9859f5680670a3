"""A panel: a plain function, its sliders, one picture, one sentence in words, a line for errors.

    halves = Panel(_halves, "Half of it", [Slider("length", "length", "mm", 1, 100, 20)],
                   picture, sentence, shows="A bar from 0 to half the length.")
    halves.show(length="30 mm")

`function(**SI values) -> result` computes; `picture() -> (figure, moving, update)` draws once, `update(result)` then sets
the moving artists and returns True when axes changed too; `sentence(result)` says in words what is seen. While only the
moving artists change, nothing else is drawn again: that is what makes a slider quick.

The front end is a small one of our own: the handle of ipywidgets' sliders reaches a screen reader without a name, whatever
description or tooltip it has. A native <input type=range> inside its <label> has one, and typed values may carry a unit.
"""

import dataclasses
import html
import importlib
import inspect
import math
import pkgutil
from pathlib import Path

import anywidget
import numpy as np
import traitlets

from macrolib import units
from macrolib.show import style

__all__ = ["PANELS", "Panel", "Slider", "every_panel", "keep_in"]

PANELS = {}
"""Panels by name, in the order in which they were made."""


@dataclasses.dataclass(frozen=True)
class Slider:
    """One argument of a panel's function. low, high, start and choices are in `unit`; the function gets SI.

    names: a word for each choice, shown and spoken instead of its number.
    """

    name: str
    label: str
    unit: str
    low: float
    high: float
    start: float
    log: bool = False
    choices: tuple = ()
    names: tuple = ()

    def __post_init__(self):
        style.titled(self.label, self.unit)
        if not self.low <= self.start <= self.high or self.low == self.high or self.log and self.low <= 0:
            raise ValueError(f"{self.name}: start {self.start} must lie between {self.low} and {self.high}")
        if self.choices and ((self.low, self.high) != (self.choices[0], self.choices[-1]) or self.start not in self.choices):
            raise ValueError(f"{self.name}: the choices must begin at low, end at high and hold the start")
        if self.names and len(self.names) != len(self.choices):
            raise ValueError(f"{self.name}: each choice needs a name")

    @property
    def title(self):
        """Label with unit, the name that a screen reader speaks."""
        return style.titled(self.label, self.unit)

    @property
    def positions(self):
        """Numbers at which the handle can stand, ends included: the choices, or about 100 with few digits."""
        if self.choices:
            return [float(x) for x in self.choices]
        count = 1 + min(100, math.ceil(24 * math.log10(self.high / self.low))) if self.log else 101
        raw = np.geomspace(self.low, self.high, count) if self.log else np.linspace(self.low, self.high, count)
        inner = {float(f"{x:.3g}") for x in raw[1:-1]} | {float(self.start)}
        return sorted({float(self.low), float(self.high), *(x for x in inner if self.low < x < self.high)})

    def read(self, given):
        """A position, a name, or a text such as '2.5' or '2500 um', as a number in the slider's unit; ValueError outside its ends."""
        given = self.choices[self.names.index(given)] if given in self.names else given
        try:
            number = float(given)
        except ValueError:
            number = units.to_unit(units.parse(given, self.unit), self.unit)
        number = float(f"{number:.12g}")  # 0.002 m is 2 mm, without the last digits of the division
        if not self.low <= number <= self.high or self.choices and number not in self.choices:
            allowed = f"one of {', '.join(map(self.text, self.choices))}" if self.choices else self.reach
            raise ValueError(f"{self.label} can be {allowed}; {_plain(number)} is not")
        return number

    @property
    def reach(self):
        """'1 mm to 100 mm'."""
        return " to ".join(self.text(x) for x in (self.low, self.high))

    def text(self, number):
        """A number in the slider's unit as text with the unit; of a choice with a name, the name."""
        if self.names:
            return self.names[self.choices.index(number)]
        return _plain(number) if self.unit == "1" else f"{_plain(number)} {style.pretty(self.unit)}"


def _plain(number):
    return f"{number:.6g}"


class Panel:
    """A function with sliders; made once at import, it registers itself in PANELS under the function's name."""

    def __init__(self, function, title, sliders, picture, sentence, shows):
        self.name, self.function, self.title = function.__name__.strip("_"), function, title
        self.sliders, self.picture, self.sentence, self.shows = tuple(sliders), picture, sentence, shows
        wanted, got = set(inspect.signature(function).parameters), [s.name for s in sliders]
        if wanted != set(got) or len(got) != len(wanted):
            raise TypeError(f"{self.name}: the function takes {sorted(wanted)}, the sliders give {sorted(got)}")
        PANELS[self.name] = self

    def start(self, **start):
        """{name: number in the slider's unit}: the start values, some replaced by SI numbers or texts with a unit."""
        if unknown := set(start) - {s.name for s in self.sliders}:
            raise TypeError(f"{self.name} has no slider {', '.join(sorted(unknown))}")
        return {s.name: s.read(x if isinstance(x := start[s.name], str) else units.to_unit(x, s.unit))
                if s.name in start else float(s.start) for s in self.sliders}

    def si(self, numbers):
        """The sliders' numbers as SI values."""
        return {s.name: units.from_unit(numbers[s.name], s.unit) for s in self.sliders}

    def result(self, numbers):
        """The function's result at the sliders' numbers; ValueError when it holds a number that is not finite."""
        result = self.function(**self.si(numbers))
        if bad := sorted(_not_finite(result)):
            raise ValueError(f"no finite value for {', '.join(bad)}")
        return result

    def alt(self, result):
        """What the picture shows, with its key numbers."""
        return f"{self.title}. {self.shows} {self.sentence(result)}"

    def limits(self):
        """Markdown table of the sliders' ends, for the text of a notebook; a test compares it with the code."""
        rows = [f"| {s.label} | {s.text(s.low)} | {s.text(s.high)} | {s.text(s.start)} |" for s in self.sliders]
        return "\n".join(["| slider | from | to | starts at |", "|---|---|---|---|", *rows])

    def still(self, **start):
        """The picture at the start values (or others), without sliders."""
        result = self.result(self.start(**start))
        return Drawing(self.picture).still(result, self.alt(result))

    def show(self, keep=None, **start):
        """The live panel. start: SI numbers or texts such as travel_per_turn="2 mm"; keep: see keep_in."""
        return View(self, self.start(**start), keep)


def every_panel():
    """PANELS once all modules of this folder are imported: so a test finds each panel by itself."""
    for module in pkgutil.iter_modules([str(Path(__file__).parent)]):
        importlib.import_module(f"macrolib.show.{module.name}")
    return PANELS


def _not_finite(result):
    """Names of the fields of a dataclass, namedtuple or dict that hold a number that is not finite."""
    if dataclasses.is_dataclass(result):
        fields = vars(result)
    else:
        fields = result._asdict() if hasattr(result, "_asdict") else result if isinstance(result, dict) else {"result": result}
    for name, value in fields.items():
        value = np.asarray(value)
        if value.dtype.kind in "fc" and not np.isfinite(value).all():
            yield name.replace("_", " ")


class Drawing:
    """One persistent picture: the resting part is drawn once and kept, the moving artists on top each time."""

    @style.styled
    def __init__(self, picture):
        self.figure, self.moving, self.update = picture()
        self.canvas, self._resting = self.figure.canvas, None
        for artist in self.moving:
            artist.set_animated(True)

    @style.styled
    def draw(self, result):
        """Draw a result; returns nothing, the canvas holds it."""
        if self.update(result) or self._resting is None:
            self.canvas.draw()
            self._resting = self.canvas.copy_from_bbox(self.figure.bbox)
        self.canvas.restore_region(self._resting)
        for artist in sorted(self.moving, key=lambda a: a.get_zorder()):
            (artist.axes or self.figure).draw_artist(artist)

    @style.styled
    def still(self, result, alt):
        """The drawing as a Picture of its own."""
        for artist in self.moving:
            artist.set_animated(False)
        self.update(result)
        return style.Picture(self.figure, alt)


class View(anywidget.AnyWidget):
    """A panel in a notebook. `asked` comes from the page, `shown` and `png` go to it."""

    _esm, _css = (Path(__file__).with_name(f"panel.{kind}") for kind in ("js", "css"))
    fixed = traitlets.Dict().tag(sync=True)
    asked = traitlets.Dict({"count": 0, "numbers": {}}).tag(sync=True)
    shown = traitlets.Dict().tag(sync=True)
    png = traitlets.Bytes().tag(sync=True)

    def __init__(self, panel, numbers, keep=None):
        self._panel, self._keep, self.numbers = panel, keep, numbers
        self._drawing = Drawing(panel.picture)
        width, height = (round(96 * inches) for inches in self._drawing.figure.get_size_inches())
        super().__init__(fixed={
            "title": panel.title, "width": width, "height": height, "keeps": keep is not None,
            "sliders": [{"name": s.name, "title": s.title, "unit": "" if s.unit == "1" else style.pretty(s.unit),
                         "positions": s.positions, "names": s.names, "start": numbers[s.name]} for s in panel.sliders]})
        self.on_msg(self._on_message)
        self._show(numbers)  # a panel that fails at its start values says so when the notebook runs

    def _show(self, numbers, count=0):
        result = self._panel.result(numbers)
        sentence = self._panel.sentence(result)
        self._drawing.draw(result)
        self.numbers = numbers
        with self.hold_sync():
            self.png = style.png(self._drawing.canvas)
            self.shown = {"count": count, "numbers": numbers, "sentence": sentence, "alt": self._panel.alt(result),
                          "status": "", "stale": False}

    def _say(self, status, stale=False, **more):
        """Change the status line; stale: the picture no longer belongs to the sliders."""
        self.shown = {**self.shown, "status": status, "stale": stale, **more}

    @traitlets.observe("asked")
    def _on_asked(self, change):
        count, asked, refused = change.new["count"], change.new["numbers"], []
        numbers = dict(self.numbers)
        for slider in self._panel.sliders:
            try:
                numbers[slider.name] = slider.read(asked.get(slider.name, numbers[slider.name]))
            except (TypeError, ValueError) as fault:
                refused.append(str(fault))
        try:
            self._show(numbers, count)
        except Exception as fault:  # whatever it is, the reader must see it: nobody looks into the kernel's log
            kind = "" if isinstance(fault, ValueError) else f"{type(fault).__name__}: "
            self._say(f"No result for these values. {kind}{fault}", True, count=count, numbers=numbers,
                      sentence="No result for these values; the picture shows the last ones that had one.")
            self.numbers = numbers
        if refused:
            self._say(" ".join([*refused, self.shown["status"]]).strip(), self.shown["stale"])

    def _on_message(self, _, content, buffers):
        if content.get("what") == "keep" and self._keep:
            try:
                if self.shown["stale"]:
                    raise ValueError("these values have no result")
                self._say(self._keep(self._panel.si(self.numbers), bool(content.get("replace"))))
            except Exception as fault:  # as above
                self._say(f"Not kept. {fault}", self.shown["stale"])

    def _repr_mimebundle_(self, **options):
        bundle, about = super()._repr_mimebundle_(**options)
        result = self._panel.result(self.numbers)
        picture = Drawing(self._panel.picture).still(result, self._panel.alt(result))
        values = "; ".join(f"{s.label} {s.text(self.numbers[s.name])}" for s in self._panel.sliders)
        note = html.escape(f"{self._panel.sentence(result)} Shown at: {values}. The sliders need a running kernel.")
        return {**bundle, "text/plain": f"{self._panel.title}. {self._panel.sentence(result)}",
                "text/html": f"<figure>{picture.html}<figcaption>{note}</figcaption></figure>"}, about


def keep_in(path, thing, write, keys):
    """A `keep` for Panel.show: the button writes the panel's values into a rig or shot file.

    thing: the Rig or Shot to begin with; write: write_rig or write_shot; keys: {slider: "driver.microsteps"}.
    An existing file is replaced only when the box beside the button is ticked.
    """
    def keep(values, replace):
        changed = thing
        for name, key in keys.items():
            table, field = key.split(".")
            part = getattr(changed, table)
            value = round(values[name]) if isinstance(getattr(part, field), int) else values[name]
            changed = dataclasses.replace(changed, **{table: dataclasses.replace(part, **{field: value})})
        write(changed, path, replace=replace)
        return f"Kept in {path}: {', '.join(keys.values())}."
    return keep
