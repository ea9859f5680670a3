"""Compile the programs for a controller and run them: on this machine, and cycle by cycle in a simulator of the 8-bit chip.

Needs gcc, avr-gcc, avr-libc and libsimavr. Where they are missing, RECORDED holds what was measured with the compiler and
simulator that it names. The simulator's two faults, and how they are put right, stand in mcu/simrun.c.
"""

import functools
import json
import math
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
PORT_B = 8  # its first output
START = ((0, GO, 1), (0, GO, 0, 400_000))
_BUILD = tempfile.TemporaryDirectory(prefix="macrolib-controller-")
Run = namedtuple("Run", "edges widths routines outputs counted state cycles flash ram stack")
Run.__doc__ = """What a simulation saw, in cycles: edges (rising, of the step pin), widths of the pulses, (entry, exit) of each
interrupt routine, outputs (pin of port D, or of port B and 8, level, cycle), the count that the program keeps, state and cycles
at the end, bytes of flash, RAM and stack."""


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


@functools.cache
def _chip_program(text, source, defines):
    """(program, {symbol: address}, bytes of flash, of RAM) of a program for the chip."""
    folder = _folder(text)
    elf = folder / "m.elf"
    _call("avr-gcc", "-mmcu=atmega328p", "-std=gnu99", "-O2", "-Wall", "-Werror", *(f"-D{d}" for d in defines), f"-I{folder}",
          MCU / source, "-o", elf, "-lm")
    rows = [row.split() for row in _call("avr-nm", elf).splitlines()]
    code, data, bss = map(int, _call("avr-size", elf).splitlines()[1].split()[:3])
    return elf, {row[2]: int(row[0], 16) & 0xFFFF for row in rows if len(row) == 3}, code + data, data + bss


def _folder(text):
    folder = Path(tempfile.mkdtemp(dir=_BUILD.name))
    (folder / "move.h").write_text(text, "utf-8")
    return folder


def host_program(text):
    """The C core compiled on this machine with the text of a move.h: a function (segment, stop_after=-1) -> intervals in ticks."""
    folder = _folder(text)
    _call("gcc", "-O2", "-std=c99", "-Wall", "-Wextra", "-Werror", f"-I{folder}", MCU / "pulse_host.c", "-o", folder / "host")
    return lambda segment=0, stop_after=-1: np.array(_call(folder / "host", segment, stop_after).split(), dtype=np.int64)


def simulate(text="", source="pulse_avr.c", defines=(), inputs=(), most=60.0, fixes=3, start=START):
    """A Run of a program with the text of a move.h.

    defines: for the compiler, such as "COUNT=2000"; inputs: (pulse, input of port C, level) or with a fourth number, the cycles
    after that pulse; level 1 is an open switch. start: inputs before them; START opens the go switch and closes it again.
    most: simulated s; fixes: which faults of the simulator are put right (1 interrupt entry, 2 sleep).
    """
    elf, names, flash, ram = _chip_program(text, source, tuple(defines))
    events = [",".join(map(str, (*event, 0)[:4])) for event in (*start, *inputs)]
    text = _call(_runner(), elf, round(most * header.CLOCK), VECTOR, names["position"], fixes, *events)
    return _read(np.fromstring(text, np.int64, sep=" ").reshape(-1, 4), flash, ram)


def _read(rows, flash, ram):
    outputs, routines = (rows[rows[:, 0] == kind, 1:] for kind in (0, 1))
    step = outputs[outputs[:, 0] == STEP, 1:]
    up, down = (step[step[:, 0] == level, 1] for level in (1, 0))
    down = down[np.searchsorted(down, up[:1]).sum():][:up.size]  # the pin is low before the first edge
    stack, counted, state = rows[-2, 1:].tolist()
    return Run(up, down - up[:down.size], routines[:, 1:], outputs[outputs[:, 0] != STEP].tolist(), counted, state, int(rows[-1, 3]),
               flash, ram, stack)


ACCELERATION, QUICK, PROOF, RAMP = 50000, 8000, 1500, 640  # pulses/s^2, pulses/s, pulses, those of the ramp: what programs are measured on
LATE = 40  # cycles, 2.5 us: a pulse that comes later is not on time
_FIRST = round(pulses.integer_intervals(1, ACCELERATION, pieces.TIMER)[0])
PROGRAMS = {  # name: (source, defines)
    "even": ("timed.c", ["METHOD=0"]), "pieces": ("pulse_avr.c", []), "phase": ("phase.c", []),
    "division": ("timed.c", ["METHOD=1", f"FIRST={_FIRST}"]), "float": ("timed.c", ["METHOD=2"]),
    "polled": ("polled.c", ["EXTRA=0"]), "polled, position": ("polled.c", ["EXTRA=1"]), "polled, display": ("polled.c", ["EXTRA=2"])}
OPERATIONS = ("nothing", "add 32 bit", "multiply 32 bit", "divide 16 bit", "divide 32 bit", "add float", "multiply float",
              "divide float", "root of a float", "sine of a float", "float to text")


def run_program(name, speed=QUICK, count=PROOF, extra=(), **options):
    """A Run of one of PROGRAMS on a ramp of ACCELERATION to a speed in pulses/s, `count` pulses in all; options of `simulate`."""
    source, defines = PROGRAMS[name]
    text = header.defines([_proof(count, speed)]) if name == "pieces" else ""
    given = [f"SPEED={float(speed)}", f"ACCELERATION={ACCELERATION}.0", f"COUNT={count}"]
    return simulate(text, source, [*defines, *given, *extra], **options)


def ceiling(name):
    """{flash, ram, mean, longest, pulses_per_second} of a program of PROGRAMS: bytes, cycles a pulse, what it keeps up.

    Programs in an interrupt: by their longest routine, when the controller does nothing else. Polled ones: asked for more
    than they can, their mean rate; `longest` is then their longest gap.
    """
    if name.startswith("polled"):
        run = run_program(name, 60000, 4 * PROOF)
        cycles = np.diff(run.edges)[PROOF // 5:]
        mean, longest = float(cycles.mean()), int(cycles.max())
        return _figures(mean, longest, header.CLOCK / mean, run.flash, run.ram)
    run = run_program(name)
    cycles = np.diff(run.routines, axis=1)[:, 0]
    longest, flash = cycles.max(), run.flash
    if name == "pieces":  # the way back down the ramp in is longer; what belongs to the move is not the program's
        longest = max(longest, np.diff(run_program(name, inputs=[(RAMP // 2, STOP, 1)]).routines).max())
        moves = [_proof(PROOF, QUICK)] * 3
        data = header.PIECE_BYTES * sum(len(s.pieces) for s in moves) + header.SEGMENT_BYTES * len(moves)
        flash = simulate(header.defines(moves, _EVERYTHING), most=0.0).flash - data
    whole = 8 * math.ceil(longest / 8) if name == "even" else longest  # without a fraction that is carried, a whole tick
    return _figures(float(cycles[:RAMP].mean()), int(longest), pulses.pulse_ceiling(header.CLOCK, float(whole)), flash, run.ram)


# a stack with homing: no part of the program is left out
_EVERYTHING = {"MV_FRAMES": 500, "MV_FIRST_FRAME": 300, "MV_FIRST_WAIT_MS": 1, "MV_SETTLE_MS": 70000, "MV_SHUTTER_MS": 70000,
               "MV_AFTER_MS": 70000, "MV_HOME_PULSES": 1000000, "MV_CREEP_US": 12345}


def _figures(mean, longest, rate, flash, ram):
    return {"flash": flash, "ram": ram, "mean": round(mean, 1), "longest": longest, "pulses_per_second": round(rate)}


def on_time(name, rate):
    """Whether each pulse on a ramp to a rate in 1/s, and 1000 pulses at it, comes in time: within LATE cycles, or, where a loop asks
    the clock, within one interval. Phase accumulation: the same for its ticks, at a rate of ticks."""
    late, ramp = LATE, 0 if name == "even" else math.ceil(rate**2 / (2 * ACCELERATION))
    if name == "phase":
        ticks = round(header.CLOCK / rate)
        seen = run_program(name, 0.99 * header.CLOCK / ticks, 2000, [f"TICKS={ticks}"]).routines[:, 0]
        due = np.full(seen.size - 1, ticks)
    elif name == "pieces":
        count = 2 * ramp + 1000
        seen = run_program(name, rate, count, most=0.2 + (rate / ACCELERATION) + 1000 / rate).edges
        due = pieces.intervals(_proof(count, rate))[1:seen.size] * 8
    else:
        wants = name
        if name.startswith("polled"):
            late, wants = header.CLOCK / rate, "polled"
        seen = run_program(name, rate, ramp + 1000).edges
        due = np.diff(run_program(wants, rate, ramp + 1000, ["SLOW"]).edges) // 8
        seen = seen[:due.size + 1]  # a pulse more may come before the main loop has seen the last one
    return bool(np.max(seen[1:] - seen[0] - np.cumsum(due)) <= late)


def found_ceiling(name):
    """The highest rate in 1/s at which a program is `on_time`, by bisection to half a percent."""
    rate = ceiling(name)["pulses_per_second"]
    low, high = rate / (20 if name == "polled, display" else 1.5), 1.5 * rate
    while high > 1.005 * low:
        middle = round((low * high) ** 0.5)
        low, high = (middle, high) if on_time(name, middle) else (low, middle)
    return round(low)


def _proof(count, speed):
    return pieces.fit(ramps.trapezoid(float(count), float(speed), float(ACCELERATION)), 1.0)


def operations():
    """{operation: cycles} of single operations, operands from memory, the two cycles of the pin taken off."""
    outputs = [o for o in simulate(source="operations.c").outputs if o[0] == PORT_B]
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
    simple = {name: {**ceiling(name), "found": found_ceiling(name)} for name in PROGRAMS}
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
