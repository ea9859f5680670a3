"""Readings from phones and data loggers: text tables of any make, repaired and reported, or refused with the line number."""

import csv
import dataclasses
import datetime
import re
import types
from pathlib import Path

import numpy as np

from macrolib import units as _units
from macrolib.files import nearest
from macrolib.physics.transmission import STANDARD_GRAVITY

_LARGEST = 500_000_000  # bytes
_SAMPLE = 200  # lines at the beginning, and a quarter of them at the end, from which the make of the table is found
_GAP = 5.0  # times the usual interval
_UNEVEN = 0.05  # share of the interval by which even sampling may differ
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?(nan|inf)", re.I)
_SPELLINGS = {
    "sec": "s", "secs": "s", "second": "s", "seconds": "s", "msec": "ms", "millis": "ms", "milliseconds": "ms", "usec": "us",
    "µs": "us", "μs": "us", "µm": "um", "μm": "um", "m/s2": "m/s^2", "m/s²": "m/s^2", "m/s/s": "m/s^2", "m/s**2": "m/s^2",
    "pulses": "pulse", "steps": "pulse", "pixel": "px", "pixels": "px", "°C": "degC", "turns": "turn", "-": "1",
    "g_n": "gn", "g0": "gn", "G": "gn"}
_SUFFIXES = ("s", "ms", "us", "m", "mm", "um", "g", "N", "px", "pulse", "Hz")  # of names such as position_mm
_ACCELERATION = re.compile(r"acc|^a[ _]?[xyz]?$", re.I)


@dataclasses.dataclass(frozen=True)
class Log:
    """Columns of readings in SI, by name; units: in which they were read; notes: every fault that was found and what was done."""

    columns: types.MappingProxyType = dataclasses.field(repr=False)
    units: types.MappingProxyType
    notes: tuple
    rows: int

    def __getitem__(self, name):
        """The array of a column in SI; KeyError lists the names."""
        if name not in self.columns:
            raise KeyError(f"no column {name!r}; there are: {', '.join(self.columns)}")
        return self.columns[name]

    @property
    def times(self):
        """The column of times in s; KeyError without one."""
        name = _time_column(self.units)
        if name is None:
            raise KeyError(f"no column has a unit of time; there are: {', '.join(self.columns)}")
        return self.columns[name]


def _time_column(units):
    return next((name for name, unit in units.items() if unit != "gn" and _units.dimension(unit) == _units.dimension("s")), None)


def read_log(path, units=None, columns=None):
    """A text table of readings as a Log: comma, semicolon, tab or blanks between, decimal point or comma, any names.

    units: {name: unit} for columns whose heading holds none, or a wrong one ("gn" is standard gravity, "1" a bare number);
    columns: names that are wanted, all by default. Names are those of the heading without the unit, or "column 1" and so on.
    The first column of times orders the rows: unsorted rows are sorted, rows of one time are averaged, gaps and uneven
    sampling are told; nothing is interpolated. ValueError, with the line number, for text where a number should be, empty
    cells, rows of another length, two recordings in one file; also where a unit is missing or cannot be right.
    """
    path, notes = Path(path), []
    table = _Table(path, _lines(path, notes), notes)
    try:
        chosen = table.choose(units or {}, columns)
        data = table.numbers(chosen)
        names = [name for name, _, _ in chosen]
        found_units = {name: unit for name, unit, _ in chosen}
        for k, unit in enumerate(found_units.values()):
            data[:, k] = data[:, k] * STANDARD_GRAVITY if unit == "gn" else _units.from_unit(data[:, k], unit)
        time = _time_column(found_units)
        if time is not None:
            data = _in_order(data, names.index(time), table.at, notes)
        _refuse_wrong_gravity(data, found_units)
    except ValueError as problem:
        raise ValueError(f"{path}: {problem}") from None
    whole = {name: np.ascontiguousarray(data[:, k]) for k, name in enumerate(names)}
    return Log(types.MappingProxyType(whole), types.MappingProxyType(found_units), tuple(notes), len(data))


def _lines(path, notes):
    if not path.is_file():
        raise FileNotFoundError(f"{path}: there is no such file")
    if path.stat().st_size > _LARGEST:
        raise ValueError(f"{path}: has more than {_LARGEST:,} bytes; cut it")
    raw = path.read_bytes()
    for mark, code in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"", "utf-8"), (b"", "cp1252")):
        try:
            text = raw.decode(code) if raw.startswith(mark) else None
        except UnicodeDecodeError:
            continue
        if text is not None:
            break
    if text is None or "\0" in text:
        raise ValueError(f"{path}: is no text; export the log as CSV")
    if code != "utf-8":
        notes.append(f"read as {code}")
    if not text.strip():
        raise ValueError(f"{path}: is empty")
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _moment(cell):
    """Seconds of a date with a time, or of a time of day; ValueError otherwise."""
    try:
        then = datetime.datetime.fromisoformat(cell.strip())
        return then.replace(tzinfo=then.tzinfo or datetime.UTC).timestamp()
    except ValueError:
        hours, minutes, seconds = cell.split(":")
        return 3600 * int(hours) + 60 * int(minutes) + float(seconds)


def _kind(cell):
    """'number', 'moment' or 'text'."""
    if _NUMBER.fullmatch(cell):
        return "number"
    try:
        _moment(cell)
    except ValueError:
        return "text"
    return "moment"


class _Table:
    """The lines of a file, and how they are to be read."""

    def __init__(self, path, lines, notes):
        self.path, self.lines, self.notes = path, lines, notes
        sample = [n for n, line in enumerate(lines) if line.strip()]
        sample = sample[:_SAMPLE] + sample[_SAMPLE:][-_SAMPLE // 4:]
        quoted = any('"' in lines[n] for n in sample)  # only then may a comma be both
        makes = [(mark, point) for mark in (";", "\t", ",", "|", " ") for point in ".," if mark != point or quoted]
        score, (self.delimiter, self.point) = max(((self._score(sample, *make), make) for make in makes), key=lambda x: x[0])
        if not score:
            raise ValueError(f"{path}: no two columns of numbers were found; the last line reads {lines[sample[-1]][:60]!r}")
        lengths = [len(self.fields(n)) for n in sample if self._is_row(n)]
        self.width = max(set(lengths), key=lengths.count)
        self.first = next(n for n in range(len(lines)) if self._is_row(n) and len(self.fields(n)) == self.width)
        self.names, self.given = self._heading()
        if self.point == ",":
            notes.append("decimal comma")

    def fields(self, n, delimiter=None, point=None):
        """The cells of line n, with decimal points."""
        line, mark, point = self.lines[n], delimiter or self.delimiter, point or self.point
        cells = line.split() if mark == " " else next(csv.reader([line], delimiter=mark)) if '"' in line else line.split(mark)
        return [c.strip() if "." in c else c.strip().replace(point, ".") for c in cells]  # 1.234,5 is no number

    def _score(self, sample, delimiter, point):
        """How much of the sample reads as rows of two numbers or more."""
        total = 0.0
        for n in sample:
            cells = self.fields(n, delimiter, point)
            count = sum(_kind(c) != "text" for c in cells)
            total += count**2 / len(cells) if count >= 2 else 0
        return total

    def _is_row(self, n):
        return sum(_kind(c) != "text" for c in self.fields(n)) >= 2

    def _heading(self):
        """(names, units or None) from the lines before the first row."""
        before = [n for n in range(self.first) if self.lines[n].strip()]
        rows = [[c.strip() for c in self.fields(n, point="\0")] for n in before]
        rows = [[r[0].lstrip("#%/ "), *r[1:]] for r in rows]
        alike = [k for k, r in enumerate(rows) if len(r) == self.width]
        names, given, used = [f"column {k + 1}" for k in range(self.width)], [None] * self.width, set()
        if alike and alike[-1] == len(rows) - 1:
            used = {before[alike[-1]]}
            names = rows[alike[-1]]
            if len(alike) > 1 and all(_unit(c.strip("()[]"), "") for c in names if c):
                names, given, used = rows[alike[-2]], [_unit(c.strip("()[]"), "") for c in names], {before[k] for k in alike[-2:]}
        elif rows and self.delimiter == "," and 2 * len(rows[-1]) == self.width:
            raise ValueError(f"{self.path}: line {before[-1] + 1} has {len(rows[-1])} names, the rows {self.width} cells: commas stand for "
                             "decimals and between cells; export with semicolons or points")
        skipped = [n + 1 for n in before if n not in used]
        if skipped:
            self.notes.append(f"lines before the table left out: {_listed(skipped)}")
        self.heading = {self.lines[n] for n in used}
        pairs = [_name_and_unit(name or f"column {k + 1}") for k, name in enumerate(names)]
        unique = [name if [p[0] for p in pairs[:k]].count(name) == 0 else f"{name} {k + 1}" for k, (name, _) in enumerate(pairs)]
        return unique, [known or unit for known, (_, unit) in zip(given, pairs)]

    def choose(self, units, columns):
        """[(name, unit, place)] of the columns to read."""
        for name in (*units, *(columns or ())):
            if name not in self.names:
                raise ValueError(f"no column {name!r}{nearest(name, self.names)}")
        cells = self.fields(self.first)
        text = [name for name, cell in zip(self.names, cells) if _kind(cell) == "text" and (columns is None or name in columns)]
        if text and columns is not None:
            raise ValueError(f"line {self.first + 1}: {', '.join(text)} is no number but {cells[self.names.index(text[0])]!r}")
        if text:
            self.notes.append(f"columns of text left out: {', '.join(text)}")
        chosen = []
        for place, (name, cell, given) in enumerate(zip(self.names, cells, self.given)):
            if name in (columns or self.names) and name not in text:
                chosen.append((name, _asked(name, units[name]) if name in units else "s" if _kind(cell) == "moment" else given, place))
        lost = [name for name, unit, _ in chosen if unit is None]
        if lost:
            raise ValueError(f"columns without a unit that is known: {', '.join(lost)}; give them, such as units={{{lost[0]!r}: 'mm'}}, "
                             "or name the columns you want with columns=[...]")
        return chosen

    def numbers(self, chosen):
        """The rows of the chosen columns, as numbers in the units of the file; self.at holds the line of each."""
        body, mark = self.lines[self.first:], self.delimiter
        if any('"' in line for line in body):
            body, mark = ["\t".join(cells) for cells in csv.reader(body, delimiter=mark)], "\t"
        if self.point == ",":
            body = [line.replace(",", ".") for line in body]
        lengths = np.fromiter((len(x.split()) for x in body) if mark == " " else (x.count(mark) + 1 for x in body), int, len(body))
        kept = self._kept(body, lengths)
        self.at = np.flatnonzero(kept) + self.first + 1
        rows = body if kept.all() else [line for line, good in zip(body, kept) if good]
        del body
        if len(rows) < 2:
            raise ValueError(f"has {len(rows)} row of numbers; at least 2 are needed")
        places, cells = [place for _, _, place in chosen], self.fields(self.first)
        converters = {place: _moment for place in places if _kind(cells[place]) == "moment"}
        try:
            data = np.loadtxt(rows, delimiter=None if mark == " " else mark, usecols=places, converters=converters or None,
                              comments=None, ndmin=2, encoding="utf-8")
        except ValueError:
            self._refuse_first_bad(rows, mark, chosen)
            raise
        bad = np.argwhere(~np.isfinite(data))
        if bad.size:
            raise ValueError(f"line {self.at[bad[0][0]]}: {chosen[bad[0][1]][0]} is {data[tuple(bad[0])]}, which is no finite number")
        if converters:
            moments = [k for k, place in enumerate(places) if place in converters]
            data[:, moments] -= data[0, moments]
            self.notes.append(f"times counted from the first, {cells[places[moments[0]]]}")
        return data

    def _kept(self, body, lengths):
        """Which lines are rows; what is left out is noted, what cannot be explained refused."""
        blank = np.fromiter((not line or line.isspace() for line in body), bool, len(body))
        again = np.zeros(len(body), bool)
        last = int(np.flatnonzero(~blank)[-1])
        for n in np.flatnonzero((lengths != self.width) & ~blank).tolist():
            if body[n].lstrip().startswith(("#", "%", "//")):
                again[n] = True
            elif n == last:
                again[n] = True
                self.notes.append(f"line {n + self.first + 1}: cut short, left out: {body[n][:60]!r}")
            else:
                raise ValueError(f"line {n + self.first + 1}: has {lengths[n]} cells, not {self.width}: {body[n][:60]!r}")
        if self.heading:
            again |= np.fromiter((self.lines[n + self.first] in self.heading for n in range(len(body))), bool, len(body))
        others = np.flatnonzero(again) + self.first + 1
        others = others[others != last + self.first + 1]
        if others.size:
            self.notes.append(f"lines within the table that are no rows left out: {_listed(others.tolist())}")
        if blank[:last].any():
            self.notes.append(f"blank lines left out: {blank[:last].sum()}")
        return ~(blank | again)

    def _refuse_first_bad(self, rows, mark, chosen):
        cells = self.fields(self.first)
        for line, number in zip(rows, self.at):
            found = line.split() if mark == " " else line.split(mark)
            for name, _, place in chosen:
                if _kind(found[place].strip()) != _kind(cells[place]):
                    raise ValueError(f"line {number}: {name} is {found[place].strip()[:40]!r}, not a number" if found[place].strip()
                                     else f"line {number}: {name} is empty")


def _listed(numbers):
    return ", ".join(map(str, numbers[:8])) + (f" and {len(numbers) - 8} more" if len(numbers) > 8 else "")


def _unit(text, name):
    """A unit of the project for what a heading says, None if it is not known; g is gravity where the name is an acceleration's."""
    unit = _SPELLINGS.get(text.strip(), text.strip())
    if unit == "g" and _ACCELERATION.search(name):
        return "gn"
    try:
        return unit if unit == "gn" or _units.dimension(unit) is not None else None
    except ValueError:
        return None


def _asked(name, text):
    unit = _unit(text, name)
    if unit is None:
        _units.dimension(text)  # says what is meant
    return unit


def _name_and_unit(heading):
    """('Position', 'mm') from 'Position (mm)', 'Position [mm]', 'Position / mm', 'Position_mm' or 'Position in mm'."""
    bracket = re.fullmatch(r"(.*?\S)\s*[(\[]\s*([^()\[\]]+)\s*[)\]]\s*", heading)
    if bracket:
        return bracket[1], _unit(bracket[2], bracket[1])
    for form in (r"(.*\S)\s*/\s*(\S+)", r"(.*\S)\s+in\s+(\S+)", rf"(.+)_({'|'.join(_SUFFIXES)})"):
        found = re.fullmatch(form, heading)
        if found and (unit := _unit(found[2], found[1])):
            return found[1], unit
    return heading, None


def _in_order(data, k, at, notes):
    """Rows in the order of their times, one a time; gaps and uneven sampling noted."""
    t = data[:, k]
    steps = np.diff(t)
    if (steps < 0).any():
        _refuse_restart(t, steps, at)
        order = np.argsort(t, kind="stable")
        notes.append(f"rows earlier than the row before: {np.sum(steps < 0)}, the first in line {at[np.argmax(steps < 0) + 1]}: sorted")
        data, at = data[order], at[order]
        steps = np.diff(data[:, k])
    if (steps == 0).any():
        starts = np.flatnonzero(np.concatenate([[True], steps > 0]))
        first = at[np.argmax(steps == 0) + 1]
        notes.append(f"rows with the time of another: {len(data) - len(starts)}, the first in line {first}: averaged")
        data = np.add.reduceat(data, starts, axis=0) / np.diff([*starts, len(data)])[:, None]
        at = at[starts]
        steps = np.diff(data[:, k])
    if len(data) < 2:
        raise ValueError("all rows have the same time")
    usual = float(np.median(steps))
    gaps = np.flatnonzero(steps > _GAP * usual)
    if gaps.size:
        worst = gaps[np.argmax(steps[gaps])]
        notes.append(f"gaps: {gaps.size}, the longest of {steps[worst]:.4g} s before line {at[worst + 1]}: left as they are")
    low, high = np.quantile(steps[steps <= _GAP * usual], [0.01, 0.99])
    if high - low > _UNEVEN * usual:
        notes.append(f"uneven sampling, every {low:.4g} to {high:.4g} s, usually {usual:.4g} s: nothing was interpolated")
    return data


def _refuse_restart(t, steps, at):
    """Two recordings in one file: the time falls back by more than half of what has passed, and then rises again."""
    for n in np.flatnonzero(steps < 0)[:1000]:
        after = steps[n + 1:n + 11]
        if len(after) == 10 and (after > 0).all() and -steps[n] > 0.5 * (t[n] - t[0]) and t[n] > t[0] and n >= 10:
            raise ValueError(f"line {at[n + 1]}: the time starts again; cut the file into one recording each")


def _refuse_wrong_gravity(data, units):
    """A resting sensor shows the Earth's pull: about 9.8 m/s^2, or 1 in units of gravity."""
    wanted = _units.dimension("m/s^2")
    axes = [k for k, unit in enumerate(units.values()) if unit == "gn" or _units.dimension(unit) == wanted]
    rest = float(np.sqrt(sum(np.median(data[:, k])**2 for k in axes)))
    names = ", ".join(list(units)[k] for k in axes)
    if axes and 0.9 < rest < 1.1:
        raise ValueError(f"{names}: at rest {rest:.3g} m/s^2 is read; that is gravity in g, so give the unit 'gn'")
    if axes and 0.9 < rest / STANDARD_GRAVITY**2 < 1.1:
        raise ValueError(f"{names}: at rest {rest / STANDARD_GRAVITY:.3g} g is read; that is gravity in m/s^2, so give that unit")
