"""Compile the programs for a controller and run them: on this machine, and cycle by cycle in a simulator of the 8-bit chip.

Needs gcc, avr-gcc, avr-libc and libsimavr. Where they are missing, RECORDED holds what was measured with the compiler and
simulator that it names. The simulator's two faults, and how they are put right, stand in mcu/simrun.c.
"""

import functools
import json
import shutil
import subprocess
import tempfile
from collections import namedtuple
from pathlib import Path

import numpy as np

from macrolib.controller import header, pieces
from macrolib.physics import pulses, ramps

__all__ = ["RECORDED", "available", "ceiling", "host_program", "record", "simulate"]

RECORDED = header.RECORDED
"""Results recorded with the tools that its "made_with" names."""
MCU = Path(__file__).with_name("mcu")
VECTOR = 11  # of timer 1, compare A
HOME, END, GO, STOP = range(4)  # inputs of port C
STEP, DIRECTION, ENABLE, SHUTTER = 2, 3, 4, 5  # outputs of port D
_BUILD = tempfile.TemporaryDirectory(prefix="macrolib-controller-")
Run = namedtuple("Run", "edges widths routines outputs value state cycles flash ram")
Run.__doc__ = """What a simulation saw, in cycles: edges (rising, of the step pin), widths of the pulses, (entry, exit) of each
interrupt routine, outputs (port, bit, level, cycle), value of the symbol asked for, state and cycles at the end, bytes."""


def available():
    """'' when programs can be compiled and simulated here, else what is missing."""
    missing = [name for name in ("gcc", "avr-gcc") if shutil.which(name) is None]
    try:
        return f"missing here: {', '.join(missing)}" if missing else str(_runner())[:0]
    except RuntimeError:
        return "missing here: libsimavr with its headers"


def _call(*words):
    done = subprocess.run([str(w) for w in words], capture_output=True, text=True, timeout=300)
    if done.returncode:
        raise RuntimeError(f"{Path(words[0]).name} ended with {done.returncode}: {done.stderr[-2000:]}")
    return done.stdout


@functools.cache
def _runner():
    target = Path(_BUILD.name) / "simrun"
    _call("gcc", "-O2", "-Wall", MCU / "simrun.c", "-o", target, "-lsimavr")
    return target


def _folder(text):
    folder = Path(tempfile.mkdtemp(dir=_BUILD.name))
    (folder / "move.h").write_text(text, "utf-8")
    return folder


def host_program(text):
    """The C core compiled on this machine with the text of a move.h: a function (segment, stop_after=-1) -> intervals in ticks."""
    folder = _folder(text)
    _call("gcc", "-O2", "-std=c99", "-Wall", "-Wextra", "-Werror", f"-I{folder}", MCU / "pulse_host.c", "-o", folder / "host")
    return lambda segment=0, stop_after=-1: np.array(_call(folder / "host", segment, stop_after).split(), dtype=np.int64)


def simulate(text="", source="pulse_avr.c", defines=(), inputs=(), most=60.0, fixes=3, symbol="position"):
    """A Run of a program with the text of a move.h.

    defines: for the compiler, such as "COUNT=2000"; inputs: (pulse, input of port C, level), level 1 is an open switch;
    most: simulated s; fixes: which faults of the simulator are put right (1 interrupt entry, 2 sleep).
    """
    folder = _folder(text)
    elf = folder / "m.elf"
    _call("avr-gcc", "-mmcu=atmega328p", "-std=gnu99", "-O2", "-Wall", "-Werror", *(f"-D{d}" for d in defines), f"-I{folder}",
          MCU / source, "-o", elf, "-lm")
    names = {row.split()[-1]: int(row.split()[0], 16) & 0xFFFF for row in _call("avr-nm", elf).splitlines() if len(row.split()) == 3}
    code, data, bss = map(int, _call("avr-size", elf).splitlines()[1].split()[:3])
    events = [",".join(map(str, event)) for event in inputs]
    lines = _call(_runner(), elf, round(most * header.CLOCK), VECTOR, names.get(symbol, 256), fixes, *events).splitlines()
    return _read([line.split() for line in lines], code + data, data + bss)


def _read(rows, flash, ram):
    outputs = [(r[1], int(r[2]), int(r[3]), int(r[4])) for r in rows if r[0] == "P"]
    step = [(level, cycle) for port, bit, level, cycle in outputs if (port, bit) == ("D", STEP)]
    up, down = (np.array([cycle for level, cycle in step if level == wanted]) for wanted in (1, 0))
    down = down[down > up[0]][:up.size] if up.size else down[:0]
    routines = np.array([(int(r[1]), int(r[2])) for r in rows if r[0] == "I"]).reshape(-1, 2)
    last = {r[0]: r for r in rows[-2:]}
    return Run(up, down - up[:down.size], routines, [o for o in outputs if o[:2] != ("D", STEP)], int(last["M"][1]),
               int(last["S"][1]), int(last["S"][2]), flash, ram)


ACCELERATION, QUICK, PROOF, RAMP = 50000, 8000, 1500, 640  # pulses/s^2, pulses/s, pulses, those of the ramp: what programs are measured on
_FIRST = round(pulses.integer_intervals(1, ACCELERATION, pieces.TIMER)[0])
PROGRAMS = {  # name: (source, defines)
    "even": ("timed.c", ["METHOD=0"]), "pieces": ("pulse_avr.c", []), "phase": ("phase.c", ["TICKS=400"]),
    "division": ("timed.c", ["METHOD=1", f"FIRST={_FIRST}"]), "float": ("timed.c", ["METHOD=2"]),
    "polled": ("polled.c", ["EXTRA=0"]), "polled, position": ("polled.c", ["EXTRA=1"]), "polled, display": ("polled.c", ["EXTRA=2"])}
OPERATIONS = ("nothing", "add 32 bit", "multiply 32 bit", "divide 16 bit", "divide 32 bit", "add float", "multiply float",
              "divide float", "root of a float", "sine of a float", "float to text")


def run_program(name, speed=QUICK, count=PROOF, extra=()):
    """A Run of one of PROGRAMS on a ramp of ACCELERATION to a speed in pulses/s, `count` pulses in all."""
    source, defines = PROGRAMS[name]
    text = header.defines([_proof(count, speed)]) if name == "pieces" else ""
    return simulate(text, source, [*defines, f"SPEED={speed}.0", f"ACCELERATION={ACCELERATION}.0", f"COUNT={count}", *extra])


def ceiling(name):
    """{flash, ram, mean, longest, pulses_per_second} of a program of PROGRAMS: bytes, cycles a pulse, what it keeps up.

    Programs in an interrupt: by their longest routine, when the controller does nothing else. Polled ones: asked for more
    than they can, their mean rate; `longest` is then their longest gap.
    """
    data = 0
    if name.startswith("polled"):
        run = run_program(name, 60000, 4 * PROOF)
        cycles = np.diff(run.edges)[PROOF // 5:]
        mean, longest = float(cycles.mean()), int(cycles.max())
        rate = header.CLOCK / mean
    else:
        run = run_program(name)
        cycles = np.diff(run.routines, axis=1)[:, 0]
        mean, longest = float(cycles[:RAMP].mean()), int(cycles.max())
        rate = pulses.pulse_ceiling(header.CLOCK, longest)
        if name == "pieces":  # what belongs to the move is not the program's
            data = header.PIECE_BYTES * len(_proof(PROOF, QUICK).pieces) + header.SEGMENT_BYTES
    return {"flash": run.flash - data, "ram": run.ram, "mean": round(mean, 1), "longest": longest,
            "pulses_per_second": round(rate)}


def _proof(count, speed):
    return pieces.fit(ramps.trapezoid(float(count), float(speed), float(ACCELERATION)), 1.0)


def operations():
    """{operation: cycles} of single operations, operands from memory, the two cycles of the pin taken off."""
    outputs = [o for o in simulate(source="operations.c").outputs if o[:2] == ("B", 0)]
    ends = [cycle for *_, level, cycle in outputs if level == 1], [cycle for *_, level, cycle in outputs if level == 0]
    spent = np.array(ends[1][-len(ends[0]):]) - np.array(ends[0])
    return {name: int(cycles - spent[0]) for name, cycles in zip(OPERATIONS, spent)}


def made_with():
    """{compiler, simulator}: what is installed here."""
    try:
        version = _call("dpkg-query", "-W", "-f", "${Version}", "libsimavr2").split("+")[0]
    except (OSError, RuntimeError):
        version = "of unknown version"
    return {"compiler": _call("avr-gcc", "-dumpversion").strip(), "simulator": f"libsimavr {version}, its faults put right"}


def record(path):
    """Measure everything and write it as JSON: what RECORDED is read from."""
    simple = {name: ceiling(name) for name in PROGRAMS}
    high = 20000  # pulses/s, above what the division keeps up
    above = np.diff(run_program("division", high, 8000).edges) / header.CLOCK
    hole = int(np.argmax(above))
    shown = run_program("even", 4000, 2000, ["DISPLAY"])
    late = np.diff(shown.edges) - header.CLOCK / 4000
    slow = np.diff(run_program("polled, display", 4000, 4000).edges)[1000:]
    content = {
        "made_with": made_with(),
        "programs": simple, "operations": operations(),
        "above_the_ceiling": {"wanted": high, "gaps": [round(float(g), 8) for g in above[hole - 12:hole + 6]]},
        "with_display": {"rate": 4000, "interrupt_jitter": round(float(np.ptp(late)) / header.CLOCK, 8),
                         "polled_longest_gap": round(float(slow.max()) / header.CLOCK, 7)}}
    Path(path).write_text(json.dumps(content, indent=1) + "\n", "utf-8")
    header.RECORDED.update(content)
    return content
