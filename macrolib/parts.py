"""The parts catalogue: notebooks/data/parts, where each row can take the place of a table of a rig.

    motor = catalogue("motors")["M17-40"]
    rig = dataclasses.replace(rig, motor=motor)

A file holds a table for each part, with the keys of the rig's table. All values are typical of their kind.
"""

import functools
import types
from pathlib import Path

from macrolib import files
from macrolib.rig import Controller, Driver, Floor, Motor, Supply, Transmission

__all__ = ["catalogue"]

_FOLDER = Path(__file__).resolve().parents[1] / "notebooks" / "data" / "parts"
_KINDS = {"motors": Motor, "screws": Transmission, "belts": Transmission, "drivers": Driver, "controllers": Controller,
          "supplies": Supply, "floors": Floor}


@functools.cache
def catalogue(kind, folder=_FOLDER):
    """{designation: part} of motors, screws, belts, drivers, controllers, supplies or floors, read-only, in the order of the file.

    folder: another folder with a file of that name, such as your own. ValueError for another kind, FileFault (a ValueError) that
    lists all faults of the file, FileNotFoundError without it.
    """
    if kind not in _KINDS:
        raise ValueError(f"there is no catalogue of {kind!r}; there are: {', '.join(_KINDS)}")
    path, faults, found = Path(folder) / f"{kind}.toml", [], {}
    for name, row in files.load(path).items():
        if kind == "floors" and isinstance(row, dict):
            row = {"kind": name, **row}  # a floor knows its name, so that a plan can say which one stands in
        found[name] = files.build(_KINDS[kind], row, name, faults)
    if faults:
        raise files.FileFault(path, faults)
    return types.MappingProxyType(found)
