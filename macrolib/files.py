"""Plain TOML files with units: tables described by dataclasses, read with all faults at once, written whole.

A part of a rig or a shot is a frozen dataclass whose fields come from quantity(), number(), whole(), choice()
and words(). The same description reads a file, writes it, and makes the key table for the reader.
"""

import dataclasses
import difflib
import math
import os
import tempfile
import tomllib
from pathlib import Path

from macrolib import units

AUTO = "auto"
_LARGEST_FILE = 1_000_000  # bytes; a rig or a shot has about 4,000


class FileFault(ValueError):
    """A file that cannot be used; .faults lists everything that is wrong with it."""

    def __init__(self, path, faults):
        self.path, self.faults = path, list(faults)
        super().__init__("\n".join(f"{path}: {fault}" for fault in self.faults))


@dataclasses.dataclass(frozen=True)
class Key:
    """How one key is read, checked, written and documented."""

    meaning: str
    kind: str  # quantity, number, whole, choice, words
    unit: str = "1"
    also: tuple = ()
    low: float = -math.inf
    high: float = math.inf
    open_low: bool = False
    choices: tuple = ()
    auto: bool = False
    many: bool = False

    @property
    def allowed(self):
        """What may stand there, in words."""
        if self.kind == "choice":
            text = "one of " + ", ".join(f'"{c}"' for c in self.choices)
        elif self.kind == "words":
            text = "a text of at most 200 characters"
        else:
            low, high = (self._bound(b) for b in (self.low, self.high))
            text = {"quantity": f'a text such as "5 {self.unit}"', "number": "a number", "whole": "a whole number"}[self.kind]
            text += f", {'above' if self.open_low else 'at least'} {low}" if self.low > -math.inf else ""
            text += f", at most {high}" if self.high < math.inf else ""
        return text + (" (a list of them)" if self.many else "") + (' or "auto"' if self.auto else "")

    def _bound(self, value):
        return units.show(value, self.unit) if math.isfinite(value) else ""

    def read(self, found):
        """The SI value of what the file holds; ValueError says what is wrong."""
        if self.auto and found == AUTO:
            return AUTO
        if self.many:
            if not isinstance(found, list) or not 1 <= len(found) <= 50:
                raise ValueError(f"found {_short(found)}; allowed: {self.allowed}")
            return tuple(self._one(item) for item in found)
        return self._one(found)

    def _one(self, found):
        if self.kind == "words" or self.kind == "choice":
            if not isinstance(found, str) or len(found) > 200 or (self.choices and found not in self.choices):
                close = difflib.get_close_matches(str(found), self.choices, 1)
                raise ValueError(f"found {_short(found)}; allowed: {self.allowed}"
                                 + (f'; did you mean "{close[0]}"?' if close else ""))
            return found
        if self.kind == "quantity":
            value = units.parse(found, self.unit, *self.also)
        elif isinstance(found, bool) or not isinstance(found, (int, float) if self.kind == "number" else int):
            raise ValueError(f"found {_short(found)}; allowed: {self.allowed}")
        else:
            value = found if self.kind == "whole" else float(found)
        if not (self.low < value if self.open_low else self.low <= value) or not value <= self.high or abs(value) > 1e15:
            raise ValueError(f"found {_short(found)}; allowed: {self.allowed}")
        return value

    def write(self, value):
        """The TOML text of an SI value; reading it gives the same float again."""
        if self.many:
            return "[" + ", ".join(dataclasses.replace(self, many=False).write(v) for v in value) + "]"
        if isinstance(value, str):
            return quoted(value)
        if self.kind != "quantity":
            return repr(value)
        number = units.to_unit(value, self.unit)
        nearby = [f"{float(f'{number:.{digits}g}'):.15g}" for digits in range(1, 16)]  # 10, not 1e+01
        nearby += [f"{number:.{digits}g}" for digits in (16, 17)]
        nearby += [repr(float(math.nextafter(number, toward))) for toward in (-math.inf, math.inf)]
        for text in nearby:
            if units.parse(f"{text} {self.unit}", self.unit) == value:
                return quoted(f"{text} {self.unit}")
        return quoted(f"{number!r} {self.unit}")  # one unit in the last place off, where no decimal gives the same float


def quoted(text):
    """Text as a TOML string of one line."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in escaped) + '"'


def _short(found):
    text = repr(found)
    return text if len(text) <= 60 else text[:57] + "..."


def _field(default, key):
    if default is dataclasses.MISSING:
        return dataclasses.field(metadata={"key": key}, kw_only=True)
    return dataclasses.field(default=default, metadata={"key": key}, kw_only=True)


def _limits(above, least, most):
    if above is not None:
        return {"low": above, "open_low": True, "high": math.inf if most is None else most}
    return {"low": -math.inf if least is None else least, "high": math.inf if most is None else most}


def quantity(meaning, unit, default=dataclasses.MISSING, *, also=(), above=None, least=None, most=None, auto=False, many=False):
    """A number with a unit; limits and default in SI."""
    return _field(default, Key(meaning, "quantity", unit, also, **_limits(above, least, most), auto=auto, many=many))


def number(meaning, default=dataclasses.MISSING, *, above=None, least=None, most=None, auto=False):
    """A plain number without a unit."""
    return _field(default, Key(meaning, "number", **_limits(above, least, most), auto=auto))


def whole(meaning, default=dataclasses.MISSING, *, least=1, most=1_000_000, auto=False):
    """A whole number."""
    return _field(default, Key(meaning, "whole", low=least, high=most, auto=auto))


def choice(meaning, *choices, default=dataclasses.MISSING):
    """One of a few words."""
    return _field(default, Key(meaning, "choice", choices=choices))


def words(meaning, default=""):
    """Free text of one line."""
    return _field(default, Key(meaning, "words"))


def keys(part):
    """{name: Key} of a part's dataclass."""
    return {f.name: f.metadata["key"] for f in dataclasses.fields(part) if "key" in f.metadata}


def load(path):
    """The content of a TOML file as a dict; FileFault for what is no such file."""
    path = Path(path)
    if path.is_dir():
        raise FileFault(path, ["is a folder; give the file in it"])
    if not path.exists():
        raise FileNotFoundError(f"{path}: there is no such file")
    if not path.is_file() or path.stat().st_size > _LARGEST_FILE:
        raise FileFault(path, [f"is no plain file of at most {_LARGEST_FILE:,} bytes"])
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except UnicodeDecodeError as problem:
        raise FileFault(path, [f"byte {problem.start} is not UTF-8 text; save the file as UTF-8"]) from None
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as problem:
        raise FileFault(path, [f"is not TOML: {str(problem) or 'it is nested too deeply'}"]) from None


def build(part, content, table, faults):
    """An instance of `part` from a TOML table; each fault is added to `faults` and gives None."""
    known, values, before = keys(part), {}, len(faults)
    if not isinstance(content, dict):
        faults.append(f"[{table}]: found {_short(content)}; allowed: a table of keys")
        return None
    for name, found in content.items():
        if name not in known:
            faults.append(f"[{table}] {name}: is not a known key" + nearest(name, known))
            continue
        try:
            values[name] = known[name].read(found)
        except ValueError as problem:
            faults.append(f"[{table}] {name}: {problem}")
    needed = [f.name for f in dataclasses.fields(part) if f.name in known and f.default is dataclasses.MISSING]
    faults.extend(f"[{table}] {name}: is missing ({known[name].meaning}); allowed: {known[name].allowed}"
                  for name in needed if name not in content)
    if len(faults) > before:
        return None
    made = part(**values)
    faults.extend(f"[{table}] {fault}" for fault in (made.faults() if hasattr(made, "faults") else ()))
    return made


def words_at_top(content, name, faults):
    """The text that stands before the tables, '' if there is none."""
    try:
        return Key("", "words").read(content.get(name, ""))
    except ValueError as problem:
        faults.append(f"{name}: {problem}")
        return ""


def nearest(name, known):
    """'; did you mean ...?' for the nearest of the known names."""
    close = difflib.get_close_matches(name, list(known), 1, 0.4)
    return f'; did you mean "{close[0]}"?' if close else f"; known: {', '.join(known)}"


def table_text(part, heading):
    """The TOML text of one part, with keys that stand at their default left out."""
    lines = [f"[{heading}]"] if heading else []
    for f in dataclasses.fields(part):
        value = getattr(part, f.name)
        if "key" in f.metadata and value is not None and value != f.default:
            lines.append(f"{f.name} = {f.metadata['key'].write(value)}")
    return "\n".join(lines)


def write_whole(path, content, replace=False):
    """Write text or bytes to a file whole or not at all; an existing file is replaced only when asked.

    Raises FileExistsError when the file is there and `replace` is False, OSError when it cannot be written.
    """
    path = Path(path)
    if path.is_dir():
        raise IsADirectoryError(f"{path}: is a folder; give a file name")
    if path.exists() and not replace:
        raise FileExistsError(f"{path}: exists already; it is replaced only when asked")
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content if isinstance(content, bytes) else content.encode("utf-8"))
            out.flush()
            os.fsync(out.fileno())
        os.chmod(temporary, 0o666 & ~_umask())
        if replace:
            os.replace(temporary, path)
        else:
            os.link(temporary, path)  # fails if somebody else wrote it meanwhile
    finally:
        if os.path.exists(temporary):
            os.unlink(temporary)
    return path


def _umask():
    mask = os.umask(0)
    os.umask(mask)
    return mask


def key_table(tables):
    """Markdown: one row a key, from {table name: dataclass}."""
    rows = ["| table | key | meaning | allowed | default |", "|---|---|---|---|---|"]
    for table, part in tables.items():
        for f in dataclasses.fields(part):
            key = f.metadata.get("key")
            if key:
                default = "needed" if f.default is dataclasses.MISSING else "-" if f.default is None else key.write(f.default)
                rows.append(f"| {table} | {f.name} | {key.meaning} | {key.allowed} | {default} |")
    return "\n".join(rows)
