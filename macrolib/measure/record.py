"""What was measured goes into the rig file, beside the values that stood there."""

import dataclasses
import re
import tempfile
from pathlib import Path

from macrolib import units
from macrolib.files import FileFault, write_whole
from macrolib.rig import Measured, measured_key, read_rig, rig_text


def record(path, values, date, target=None):
    """Write measured values into a rig file and return the Rig, read again.

    values: {'table.key': Estimate} in SI, as from for_rig() of a result; date: '2030-01-31'. The tables of the file, typical
    values and remarks included, stay as they are; each measured value stands in a table of its own with its standard
    uncertainty (three digits) and the date, and replaces an earlier one of the same key. target: another file to write, which
    must not be there yet. FileFault (a ValueError) for an unknown key, a value out of its range, a wrong date: nothing is written.
    """
    path = Path(path)
    rig = read_rig(path)
    unknown = [f"[measured.{name}] is no value of a rig that can be measured" for name in values if measured_key(name) is None]
    if unknown:
        raise FileFault(path, unknown)
    found = {name: Measured(*_rounded(x, measured_key(name).unit), str(date)) for name, x in values.items()}
    wanted = dataclasses.replace(rig, measured=tuple({**dict(rig.measured), **found}.items()))
    whole = rig_text(wanted)
    for text in (_with_tables(path.read_bytes().decode("utf-8-sig"), found, whole), whole):
        try:
            again = _read_back(text)
        except FileFault as problem:
            faults = problem.faults
            continue
        if dict(again.measured) == dict(wanted.measured):  # else its tables are written in one line: all is written anew
            write_whole(target or path, text, replace=target is None)
            return again
    raise FileFault(path, faults)


def _rounded(estimate, unit):
    """(value, standard uncertainty) in SI with no more digits than they are worth, counted in the unit of the file."""
    apart = "K" if unit == "degC" else unit  # the unit of a difference
    spread = float(f"{units.to_unit(estimate.standard_uncertainty, apart):.3g}")
    places = -int(f"{spread:e}".split("e")[1]) + 3 if 0 < spread < float("inf") else 15
    return units.from_unit(round(units.to_unit(float(estimate), unit), places), unit), units.from_unit(spread, apart)


def _with_tables(text, names, written):
    """The text with the [measured.*] tables of these names taken from `written`, all else as it was."""
    for name in names:
        table = re.compile(rf"^\[measured\.{re.escape(name)}\]\s*\n(?:(?:(?:value|standard_uncertainty|date)\b.*)?\n)*", re.M)
        text = table.sub("", text + "\n").rstrip() + "\n\n" + table.search(written)[0].rstrip() + "\n"
    return text


def _read_back(text):
    with tempfile.TemporaryDirectory() as folder:
        trial = Path(folder, "rig.toml")
        trial.write_text(text, "utf-8")
        return read_rig(trial)
