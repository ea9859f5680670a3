"""move.h: a plan's moves as plain defines for the pulse program, with sizes that fit the controller or a refusal."""

import json
import math
import re
import zlib
from collections import namedtuple
from pathlib import Path

import numpy as np

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
        raise ValueError(f"a {plan.shot.kind} shot cannot be written as move.h: the header is a table of moves that are computed "
                         f"beforehand, a set-point that a hand turns is not; allowed: {', '.join(_MAIN)}")
    per_pulse, main = plan["travel_per_pulse"], plan.moves[_MAIN[plan.shot.kind]]
    made = [pieces.fit(_approach((end - start) * per_pulse, seconds, plan["acceleration"]), per_pulse)
            for _, start, end, seconds in plan.approach if start is not None and start != end]
    return [*made, pieces.fit(main, per_pulse)._replace(way=_way(plan))]


def _way(plan):
    """1 when the move that counts goes away from the home switch."""
    names = ("first_position", "last_position") if plan.shot.kind == "stack" else ("start_position", "end_position")
    return 1 if plan[names[1]] >= plan[names[0]] else -1


def _approach(distance, seconds, acceleration):
    """The trapezoid of this duration and acceleration; a triangle where it needs more of it."""
    ramp = seconds / 2 * (1 - math.sqrt(max(0.0, 1 - 4 * abs(distance) / (acceleration * seconds**2))))
    return ramps.ramps_by_time(distance, ramp, duration=seconds)


def header(plan, first_frame=None, homing=True, flash=FLASH, ram=RAM):
    """(text of move.h, Sizes) of a plan. first_frame: the frame at which a stack goes on after a stop, numbered as in the schedule;
    homing: begin at the home switch, which must lie at the low end of the rail; flash, ram: bytes of the controller.

    ValueError where a move is too fast for the pulse program, too long, goes beyond the home switch, or does not fit the controller.
    """
    made = segments(plan)
    sizes = checked(made, plan.shot.limits.ceiling_share, flash, ram)
    rail, stack = plan.rig.rail, plan.shot.kind == "stack"
    timing = _timing(plan, made[-1], first_frame)
    _beyond_home(made, timing["MV_FRAMES"], rail, homing)
    reach = (rail.high_end_stop - rail.low_end_stop) / plan["travel_per_pulse"]
    body = defines(made, {**timing, "MV_HOME_PULSES": round(reach) if homing else 0, "MV_CREEP_US": _creep(plan),
                          "MV_HOLD": int(abs(rail.tilt) > 0.05)})
    about = [f"plan: {plain(plan.shot.name)} on {plain(plan.rig.name)}, {'a frame at a time' if stack else 'one take'}",
             f"macrolib {plain(plan.version)}; {sum(s.pulses for s in made)} pulses in {len(made)} moves, {sizes.pieces} pieces",
             f"flash {sizes.flash} of {flash} bytes, RAM {sizes.ram} of {ram} bytes; checksum {zlib.crc32(body.encode()):08x}",
             "units: intervals in 1/65536 of a timer tick of 0.5 us; _MS in ms, _US in us, _PULSES in pulses"]
    names = "".join(f'#define {key} "{plain(text)}"\n' for key, text in
                    (("MV_SHOT", plan.shot.name), ("MV_RIG", plan.rig.name), ("MV_VERSION", plan.version)))
    return "".join(f"/* {line} */\n" for line in about) + names + f"#define MV_CHECKSUM 0x{zlib.crc32(body.encode()):08x}UL\n" + body, sizes


def _beyond_home(made, frames, rail, homing):
    """ValueError where the program would home away from the switch, or run into the open switch on the way."""
    if homing and 2 * rail.home_switch > rail.low_end_stop + rail.high_end_stop:
        raise ValueError(f"the home switch at {1e3 * rail.home_switch:.4g} mm is nearer to the high end stop, and the program homes "
                         "towards the low one: put the switch there")
    places = np.cumsum([s.way * s.pulses for s in [*made[:-1], *made[-1:] * max(frames - 1, 0 if frames else 1)]])
    if places.size and places.min() <= 0:
        raise ValueError(f"a move would end {places.min()} pulses from the home switch, where it is open and the program stops; allowed: "
                         "above 0. Put the switch lower or the subject higher")


def _timing(plan, main, first_frame):
    """Defines of frames and waits; a traverse has no frames, its camera films. main: the Segment between frames."""
    stack, settle = plan.shot.kind == "stack", plan["settling_wait"]
    numbers = plan.schedule["frame"][1] if stack else [1]
    wanted = numbers[0] if first_frame is None else first_frame
    if not numbers[0] <= wanted <= numbers[-1] or len(numbers) > 0xFFFF:
        raise ValueError(f"first_frame is {wanted} of {len(numbers)} frames; allowed: {numbers[0]} to {numbers[-1]}, "
                         "and at most 65535 frames")
    # homing may take no time, so only the moves after it count as waiting
    way = [step[3] for step in plan.approach]
    first = max(plan["wait_before_move"] - sum(way[1:]), plan.schedule["trigger"][1][0] - sum(way) - settle if stack else settle)
    times = {"MV_FIRST_WAIT_MS": (first, 0), "MV_SETTLE_MS": (0, 0), "MV_SHUTTER_MS": (0, 0), "MV_AFTER_MS": (0, 0)}
    if stack:
        pressed = plan.rig.camera.trigger_latency + plan.shot.picture.exposure_time
        tail = float(plan.moves[_MAIN["stack"]].duration) - pieces.intervals(main).sum() / pieces.TIMER  # half a pulse is left
        times |= {"MV_SETTLE_MS": (settle + tail, 0), "MV_SHUTTER_MS": (pressed, 1),
                  "MV_AFTER_MS": (plan["frame_cycle"] - settle - pressed, 0)}
    waits = {key: max(math.ceil(round(1e3 * t, 6)), least) for key, (t, least) in times.items()}
    if max(waits.values()) > 0xFFFFFFFF:
        raise ValueError(f"a wait of {max(waits.values()) / 1e3:,.0f} s is too long for the program; allowed: 4,294,967 s")
    return {"MV_FRAMES": len(numbers) if stack else 0, "MV_FIRST_FRAME": int(wanted - numbers[0]) + 1, **waits}


def _creep(plan):
    """us between two pulses of homing: no faster than the plan's own ramp after one full step, so that it can stop at once."""
    per_pulse = plan["travel_per_pulse"]
    speed = min(plan.rig.rail.homing_speed, math.sqrt(2 * plan["acceleration"] * per_pulse * plan.rig.driver.microsteps))
    return math.ceil(1e6 * per_pulse / speed)


def checked(made, share=1.0, flash=FLASH, ram=RAM):
    """Sizes of the program with these Segments; ValueError where it is too fast or too large for the controller.

    share: of the program's measured ceiling that may be used; flash, ram: bytes of the controller.
    """
    program = RECORDED["programs"]["pieces"]
    ceiling = pulses.pulse_ceiling(CLOCK, program["longest"])
    rate = max(s.fastest for s in made)
    if rate > share * ceiling * (1 + pieces.INTERVAL_ERROR):
        raise ValueError(f"the fastest move needs {rate:,.0f} pulses/s, allowed: {share * ceiling:,.0f}, {share:.0%} of the {ceiling:,.0f} "
                         "that the pulse program keeps up. Fewer microsteps, or slower")
    count = sum(len(s.pieces) for s in made)
    needs = Sizes(program["flash"] + PIECE_BYTES * count + SEGMENT_BYTES * len(made), program["ram"] + STACK, count)
    if needs.flash > flash or needs.ram > ram:
        raise ValueError(f"the program with {count} pieces takes {needs.flash:,} bytes of flash and {needs.ram:,} of RAM, the controller "
                         f"has {flash:,} and {ram:,}: a shorter or simpler move, or a larger controller")
    return needs


def defines(made, values=None):
    """The part of move.h that the program reads: numbers only."""
    rows, marks, first = [], [], 0
    for s in made:
        rows += [f"{{{p.count}, {p.slices}, 0x{p.start:08x}UL, 0x{p.last:08x}UL, 0x{p.change:08x}UL}}" for p in s.pieces]
        marks.append(f"{{{first}, {first + s.cruise}, {first + s.out}, {first + len(s.pieces)}, {s.way}}}")
        first += len(s.pieces)
    numbers = {"MV_PRESCALE": round(CLOCK / pieces.TIMER), "MV_PIECES": len(rows), "MV_SEGMENTS": len(made), "MV_FRAMES": 0,
               "MV_FIRST_FRAME": 1, "MV_FIRST_WAIT_MS": 0, "MV_SETTLE_MS": 0, "MV_SHUTTER_MS": 0, "MV_AFTER_MS": 0, "MV_HOME_PULSES": 0,
               "MV_CREEP_US": 1000, "MV_HOLD": 0, "MV_ENABLE_MS": ENABLE_MS, "MV_DIRECTION_US": DIRECTION_US, **(values or {})}
    lists = {"MV_SEGMENT_LIST": marks, "MV_PIECE_LIST": rows}
    return ("".join(f"#define {key} {int(value)}\n" for key, value in numbers.items())
            + "".join(f"#define {key} \\\n" + ", \\\n".join(f"  {row}" for row in rows) + "\n" for key, rows in lists.items()))


def write_header(plan, path, replace=False, **options):
    """Write move.h whole or not at all; returns its Sizes. Options as for `header`; an existing file is replaced only when asked."""
    text, sizes = header(plan, **options)
    write_whole(path, text, replace)
    return sizes
