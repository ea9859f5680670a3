"""move.h: a plan's moves as plain defines for the pulse program, with sizes that fit the controller or a refusal."""

import json
import math
import re
import zlib
from collections import namedtuple
from pathlib import Path

from macrolib.controller import pieces
from macrolib.files import write_whole
from macrolib.physics import pulses, ramps

__all__ = ["Sizes", "header", "segments", "write_header"]

Sizes = namedtuple("Sizes", "flash ram pieces")
Sizes.__doc__ = """Bytes in flash and RAM of the pulse program with its move, and the number of pieces."""
CLOCK, FLASH, RAM, STACK = 16e6, 32768, 2048, 128  # of the 8-bit controller, Hz and bytes (its data sheet); our own reserve
PIECE_BYTES, SEGMENT_BYTES = 15, 9
ENABLE_MS, DIRECTION_US = 100, 20  # driver awake, direction before a pulse; common practice, no source
RECORDED = json.loads(Path(__file__).with_name("recorded.json").read_text("utf-8"))
_MAIN = {"stack": "between frames", "traverse": "take"}


def plain(text):
    """Text that cannot leave a comment or a string: letters, digits, blank, '_', '.' and '-' are kept, 60 of them."""
    return re.sub(r"[^A-Za-z0-9 _.-]", "_", str(text))[:60]


def segments(plan):
    """The Segments of a plan: the way from the home switch to the start, then the move that counts. ValueError for hand-led."""
    if plan.shot.kind not in _MAIN:
        raise ValueError(f"a {plan.shot.kind} shot has no move that can be computed beforehand; allowed: {', '.join(_MAIN)}")
    per_pulse, main = plan["travel_per_pulse"], plan.moves[_MAIN[plan.shot.kind]]
    made = [pieces.fit(_approach((end - start) * per_pulse, seconds, plan["acceleration"]), per_pulse)
            for _, start, end, seconds in plan.approach if start is not None]
    return [*made, pieces.fit(main, per_pulse)._replace(way=_way(plan))]


def _way(plan):
    """1 when the move that counts goes away from the home switch."""
    names = ("first_position", "last_position") if plan.shot.kind == "stack" else ("start_position", "end_position")
    return 1 if plan[names[1]] >= plan[names[0]] else -1


def _approach(distance, seconds, acceleration):
    """The trapezoid of this duration and acceleration; a triangle where it needs more of it."""
    ramp = seconds / 2 * (1 - math.sqrt(max(0.0, 1 - 4 * abs(distance) / (acceleration * seconds**2))))
    return ramps.ramps_by_time(distance, ramp, duration=seconds)


def header(plan, first_frame=1, homing=True):
    """(text of move.h, Sizes) of a plan. first_frame: where a stack goes on after a stop; homing: begin at the home switch.

    ValueError where the move is too fast for the pulse program or does not fit the controller.
    """
    made = segments(plan)
    sizes = checked(made)
    rail, stack = plan.rig.rail, plan.shot.kind == "stack"
    reach = (rail.high_end_stop - rail.low_end_stop) / plan["travel_per_pulse"]
    body = defines(made, {**_timing(plan, first_frame), "MV_HOME_PULSES": round(reach) if homing else 0, "MV_CREEP_US": _creep(plan),
                          "MV_HOLD": int(abs(rail.tilt) > 0.05)})
    about = [f"plan: {plain(plan.shot.name)} on {plain(plan.rig.name)}, {'a frame at a time' if stack else 'one take'}",
             f"macrolib {plain(plan.version)}; {sum(s.pulses for s in made)} pulses in {len(made)} moves, {sizes.pieces} pieces",
             f"flash {sizes.flash} of {FLASH} bytes, RAM {sizes.ram} of {RAM} bytes; checksum {zlib.crc32(body.encode()):08x}",
             "units: intervals in 1/65536 of a timer tick of 0.5 us; _MS in ms, _US in us, _PULSES in pulses"]
    names = "".join(f'#define {key} "{plain(text)}"\n' for key, text in
                    (("MV_SHOT", plan.shot.name), ("MV_RIG", plan.rig.name), ("MV_VERSION", plan.version)))
    return "".join(f"/* {line} */\n" for line in about) + names + f"#define MV_CHECKSUM 0x{zlib.crc32(body.encode()):08x}UL\n" + body, sizes


def _timing(plan, first_frame):
    """Defines of frames and waits; a traverse has no frames, its camera films."""
    count = int(plan["frames"]) if plan.shot.kind == "stack" else 0
    if not 1 <= first_frame <= max(count, 1) or count > 65535:
        raise ValueError(f"first_frame is {first_frame} of {count} frames; allowed: 1 to {max(count, 1)}, and at most 65535 frames")
    if not count:
        return {"MV_FRAMES": 0, "MV_FIRST_FRAME": 1, "MV_SETTLE_MS": 0, "MV_SHUTTER_MS": 0, "MV_AFTER_MS": 0}
    settle, pressed = plan["settling_wait"], plan.rig.camera.trigger_latency + plan.shot.picture.exposure_time
    after = plan["frame_cycle"] - settle - pressed
    times = [max(math.ceil(round(1e3 * t, 6)), least) for t, least in ((settle, 0), (pressed, 1), (after, 0))]
    return {"MV_FRAMES": count, "MV_FIRST_FRAME": first_frame, **dict(zip(("MV_SETTLE_MS", "MV_SHUTTER_MS", "MV_AFTER_MS"), times))}


def _creep(plan):
    """us between two pulses of homing: no faster than the plan's own ramp after one full step, so that it can stop at once."""
    per_pulse = plan["travel_per_pulse"]
    speed = min(plan.rig.rail.homing_speed, math.sqrt(2 * plan["acceleration"] * per_pulse * plan.rig.driver.microsteps))
    return math.ceil(1e6 * per_pulse / speed)


def checked(made):
    """Sizes of the program with these Segments; ValueError where it is too fast or too large for the controller."""
    program = RECORDED["programs"]["pieces"]
    ceiling = pulses.pulse_ceiling(CLOCK, program["longest"])
    for segment in made:
        rate = pieces.TIMER / min(pieces.intervals(segment)[1:], default=math.inf)
        if rate > ceiling:
            raise ValueError(f"the move needs {rate:,.0f} pulses/s, the pulse program keeps up {ceiling:,.0f}: fewer microsteps, or slower")
    count = sum(len(s.pieces) for s in made)
    flash = program["flash"] + PIECE_BYTES * count + SEGMENT_BYTES * len(made)
    if flash > FLASH or program["ram"] + STACK > RAM:
        raise ValueError(f"the program with {count} pieces takes {flash:,} bytes of flash, the controller has {FLASH:,}: a shorter or "
                         "simpler move, or a larger controller")
    return Sizes(flash, program["ram"] + STACK, count)


def defines(made, values=None):
    """The part of move.h that the program reads: numbers only."""
    rows, marks, first = [], [], 0
    for s in made:
        rows += [f"{{{p.count}, {p.slices}, 0x{p.start:08x}UL, 0x{p.last:08x}UL, 0x{p.change:08x}UL}}" for p in s.pieces]
        marks.append(f"{{{first}, {first + s.cruise}, {first + s.out}, {first + len(s.pieces)}, {s.way}}}")
        first += len(s.pieces)
    numbers = {"MV_PRESCALE": round(CLOCK / pieces.TIMER), "MV_PIECES": len(rows), "MV_SEGMENTS": len(made), "MV_FRAMES": 0,
               "MV_FIRST_FRAME": 1, "MV_SETTLE_MS": 0, "MV_SHUTTER_MS": 0, "MV_AFTER_MS": 0, "MV_HOME_PULSES": 0,
               "MV_CREEP_US": 1000, "MV_HOLD": 0, "MV_ENABLE_MS": ENABLE_MS, "MV_DIRECTION_US": DIRECTION_US, **(values or {})}
    lists = {"MV_SEGMENT_LIST": marks, "MV_PIECE_LIST": rows}
    return ("".join(f"#define {key} {int(value)}\n" for key, value in numbers.items())
            + "".join(f"#define {key} \\\n" + ", \\\n".join(f"  {row}" for row in rows) + "\n" for key, rows in lists.items()))


def write_header(plan, path, replace=False, **options):
    """Write move.h whole or not at all; returns its Sizes. Options as for `header`; an existing file is replaced only when asked."""
    text, sizes = header(plan, **options)
    write_whole(path, text, replace)
    return sizes
