"""What was measured goes into the rig file, beside the values that stood there."""

import dataclasses
import re
import tempfile
from pathlib import Path

from macrolib.files import FileFault, write_whole
from macrolib.rig import Measured, measured_key, read_rig, rig_text


def record(path, values, date, target=None):
    """Write measured values into a rig file and return the Rig, read again.

    values: {'table.key': Estimate} in SI, as from for_rig() of a result; date: '2030-01-31'. The tables of the file, typical
    values and remarks included, stay as they are; each measured value stands in a table of its own with its standard
    uncertainty and the date, and replaces an earlier one of the same key. target: another file to write, which must not be
    there yet. FileFault (a ValueError) for an unknown key, a value out of its range or a wrong date: then nothing is written.
    """
    path, found = Path(path), {name: Measured(float(x), float(x.standard_uncertainty), str(date)) for name, x in values.items()}
    rig = read_rig(path)
    unknown = [f"[measured.{name}] is no value of a rig that can be measured" for name in found if measured_key(name) is None]
    if unknown:
        raise FileFault(path, unknown)
    wanted = dataclasses.replace(rig, measured=tuple({**dict(rig.measured), **found}.items()))
    text = _with_tables(path.read_bytes().decode("utf-8-sig"), found, rig_text(wanted))
    again = _read_back(text, path.name)
    if dict(again.measured) != dict(wanted.measured):  # such as a table written in one line: then all is written anew
        text = rig_text(wanted)
        again = _read_back(text, path.name)
    write_whole(target or path, text, replace=target is None)
    return again


def _with_tables(text, names, written):
    """The text with the [measured.*] tables of these names taken from `written`, all else as it was."""
    for name in names:
        table = re.compile(rf"^\[measured\.{re.escape(name)}\][^\[]*", re.M)
        text = table.sub("", text).rstrip() + "\n\n" + table.search(written)[0].rstrip() + "\n"
    return text


def _read_back(text, name):
    with tempfile.TemporaryDirectory() as folder:
        trial = Path(folder, name)
        trial.write_text(text, "utf-8")
        return read_rig(trial)
