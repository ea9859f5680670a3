"""move.h of real plans: what stands in it, that nothing typed by a user can leave its comment, and that it compiles."""

import dataclasses
import math
import re

import numpy as np
import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.controller import header, pieces
from macrolib.parts import catalogue
from tests.files.test_parts import PARTS

DATA = PARTS.parent
LINE = re.compile(r"""/\* [\w .,;:=/()-]* \*/|\#define\ MV_\w+\ (?:-?\d+|0x[0-9a-f]{8}UL|"[\w .-]*"|\\)
                  |\ \ \{[-\dxa-fUL, ]+\}(?:,\ \\)?""", re.X | re.A)
NASTY = {"end of comment": "a */ #error b /*", "lines": "a\n#error b\r\n\u2028\u0085#error c", "backslash": "a\\",
         "line joined": "a \\\n#error b",
         "quotes": "a\"); system(\"b\"); (\"", "single quotes": "a' b '", "trigraph": "a ??/\n #error ??) b",
         "accents": "Käfer-Flügel à 3 µm, ½ é",
         "other scripts": "蝶の羽 \u0661 крыло \u202e", "percent": "a %s %n $(b) `c` {d} <e>", "zero": "a\x00b\x1a\x7f", "long": "y" * 190,
         "empty": "", "include": '#include "/etc/hosts"'}


def _plan(shot="moss-capsule", rig="bench-screw", ceiling=40e3, parts=None, **names):
    """A plan of demo files; parts: {"shot.stack": {key: value}, ...} put in."""
    shot, rig = read_shot(DATA / "shots" / f"{shot}.toml"), read_rig(DATA / "rigs" / f"{rig}.toml")
    rig = dataclasses.replace(rig, controller=dataclasses.replace(rig.controller, pulse_ceiling=ceiling))
    for place, values in (parts or {}).items():
        what, table = place.split(".")
        if what == "shot":
            shot = dataclasses.replace(shot, **{table: dataclasses.replace(getattr(shot, table), **values)})
        else:
            rig = dataclasses.replace(rig, **{table: dataclasses.replace(getattr(rig, table), **values)})
    return plan(dataclasses.replace(shot, **names), rig, mends=False)


STACK, TRAVERSE = _plan(), _plan("wing-case", "field-belt")
# The home switch is near the subject, so that the way there is short to simulate.
NEAR = {"shot.stack": {"near_end": 46e-3, "far_end": 46.4e-3, "first_frame": 3, "last_frame": 6},
        "rig.rail": {"home_switch": 45.5e-3}, "shot.waits": {"wait_before_move": 1.5}}
SMALL = _plan(parts=NEAR)


@pytest.mark.parametrize("made", [STACK, TRAVERSE], ids=["stack", "traverse"])
def test_a_plan_becomes_plain_defines(made):
    text, sizes = header.header(made)
    assert all(LINE.fullmatch(line) for line in text.splitlines()), [x for x in text.splitlines() if not LINE.fullmatch(x)]
    assert made.version in text and header.plain(made.shot.name) in text
    checksum, body = re.search(r"MV_CHECKSUM 0x([0-9a-f]{8})UL\n(.*)", text, re.S).groups()
    assert f"checksum {checksum} */" in text and header.zlib.crc32(body.encode()) == int(checksum, 16)
    assert sizes.flash < header.FLASH / 2 and text.count("  {") == sizes.pieces + 3


def test_the_pulses_of_a_plan_are_those_of_its_schedule(chip):
    text, _ = header.header(STACK)
    parts = header.segments(STACK)
    sent = sum(s.way * s.pulses for s in parts[:-1])
    assert sent == STACK.schedule["position_pulses"][1][0] and parts[-1].pulses == STACK["spacing_pulses"]
    program = chip.host_program(text)
    for number, segment in enumerate(parts):
        assert np.array_equal(program(number), pieces.intervals(segment))
    seconds = [np.sum(pieces.intervals(s)) / pieces.TIMER for s in parts]
    # the last pulse comes half a pulse before the end of its move
    assert seconds == pytest.approx([step[3] for step in STACK.approach[1:]] + [STACK["move_time"]], rel=0.1)


@pytest.mark.parametrize(("shot", "rig"), [("moss-capsule", "bench-screw"), ("moss-capsule", "field-belt"),
                                          ("wing-case", "lab-ball-screw"), ("seed-tray-push-in", "field-belt")])
def test_the_size_is_that_of_the_program(chip, shot, rig):
    text, sizes = header.header(_plan(shot, rig))
    program = chip.simulate(text, most=0.0)
    # never too small; a traverse leaves out what serves frames
    assert 0 <= sizes.flash - program.flash < 400 and program.ram <= sizes.ram - header.STACK


def _frames(chip, made, **options):
    """Cycles at which the shutter closes and opens, (frames, 2); pulses sent before each frame; the Run of a plan's header."""
    run = chip.simulate(header.header(made, homing=False, **options)[0])
    changes = [(level, cycle) for pin, level, cycle in run.outputs if pin == chip.SHUTTER]
    shots = np.array([(a, b) for (up, a), (down, b) in zip(changes, changes[1:]) if up and not down])
    return shots, np.searchsorted(run.edges, shots[:, 0]), run


def test_a_part_of_a_stack_on_the_chip_is_its_schedule(chip):
    """Times and places of all exposures; the program begins at the home switch."""
    made = SMALL
    shots, places, run = _frames(chip, made)
    schedule = {name: column for name, (_, column) in made.schedule.items()}
    assert schedule["frame"].tolist() == [3, 4, 5, 6]
    assert places.tolist() == (schedule["position_pulses"] - made.approach[0][2]).tolist() and run.counted == places[-1]
    opens = shots[:, 0] / header.CLOCK
    assert np.diff(opens) == pytest.approx(np.diff(schedule["trigger"]), abs=5e-3)  # waits are rounded up to whole ms
    pressed = made.rig.camera.trigger_latency + made.shot.picture.exposure_time
    assert np.diff(shots, axis=1) / header.CLOCK == pytest.approx(pressed, abs=2e-3)
    # from the first edge: the way there, what is left of the wait after the last footfall, and the settling wait
    assert opens[0] - run.edges[0] / header.CLOCK == pytest.approx(1.5 + made["settling_wait"], abs=0.03)


def test_a_stack_goes_on_at_frame_5_of_its_schedule(chip):
    made = SMALL
    text, _ = header.header(made, first_frame=5)
    assert "MV_FRAMES 4\n" in text and "MV_FIRST_FRAME 3\n" in text
    _, places, run = _frames(chip, made, first_frame=5)
    wanted = made.schedule["position_pulses"][1] - made.approach[0][2]
    assert places.tolist() == wanted[2:].tolist() and run.counted == wanted[-1]
    for frame in (2, 7):
        with pytest.raises(ValueError, match=f"first_frame is {frame} of 4 frames; allowed: 3 to 6"):
            header.header(made, first_frame=frame)


@pytest.mark.parametrize("quiet", [20.0, 0.0])
def test_a_traverse_waits_before_it_starts(quiet):
    made = _plan("wing-case", parts={"shot.waits": {"wait_before_move": quiet, "settling_wait": 0.25}})
    wanted = max(quiet - sum(step[3] for step in made.approach[1:]), 0.25)
    assert f"MV_FIRST_WAIT_MS {math.ceil(1e3 * wanted)}\n" in header.header(made)[0]


def test_the_first_frame_of_a_stack_waits_for_the_take_up():
    """Moves of 20 um in whole periods of the stand leave nothing; the take-up does."""
    made = _plan("moss-capsule", parts={"rig.stand": {"natural_frequency": 31.0, "damping_ratio": 0.01},
                                        "rig.lens": {"support_stiffness": None}, "rig.carriage": {"natural_frequency": None},
                                        "shot.waits": {"tolerance": 0.1},
                                        "shot.stack": {"spacing": 20e-6, "acceleration": 20e-6 * 31.0**2, "speed": 5e-3}})
    wanted = made.schedule["trigger"][1][0] - made.schedule["arrive"][1][0] - made["settling_wait"]
    assert wanted > 0.3 and f"MV_FIRST_WAIT_MS {math.ceil(1e3 * wanted)}\n" in header.header(made)[0]


def test_no_take_up_is_no_move():
    parts = header.segments(_plan("wing-case", parts={"rig.transmission": {"backlash": 0.0}}))
    assert len(parts) == 2 < len(header.segments(_plan("wing-case")))


@pytest.mark.parametrize("name", NASTY)
@pytest.mark.parametrize("where", ["shot", "rig"])
def test_nothing_typed_gets_out(name, where):
    made = dataclasses.replace(SMALL, **{where: dataclasses.replace(getattr(SMALL, where), name=NASTY[name])})
    text, usual = header.header(made)[0], header.header(SMALL)[0]
    assert all(LINE.fullmatch(line) for line in text.split("\n")[:-1]) and text.isascii()
    assert len(text.splitlines()) == len(text.split("\n")) - 1 == len(usual.splitlines())
    assert text.split("#define MV_CHECKSUM")[1] == usual.split("#define MV_CHECKSUM")[1]  # and the moves are those of the plan


def test_the_compilers_take_what_was_typed(chip):
    wanted, names = pieces.intervals(header.segments(SMALL)[1]), list(NASTY.values())
    for shot, rig in zip(names[::2], names[1::2]):
        made = dataclasses.replace(SMALL, shot=dataclasses.replace(SMALL.shot, name=shot), rig=dataclasses.replace(SMALL.rig, name=rig))
        assert np.array_equal(chip.host_program(header.header(made)[0])(1), wanted)
    assert chip.simulate(header.header(made)[0], most=0.0).flash > 0


@pytest.mark.parametrize(("shot", "parts", "words"), [
    ("seed-tray-hand-led", {}, "a hand-led shot cannot be written as move.h: .* table of moves .* set-point that a hand turns"),
    ("moss-capsule", {"rig.rail": {"home_switch": 0.182}}, "home switch at 182 mm is nearer to the high end stop"),
    ("moss-capsule", {"shot.stack": {"near_end": 1e-5, "far_end": 1e-3}}, "would end -.* pulses from the home switch"),
    ("moss-capsule", {"shot.stack": {"speed": 0.035, "acceleration": 0.1}}, "needs 5.,... pulses/s, allowed: 48,..., 80% of the 60"),
    ("moss-capsule", {"shot.stack": {"speed": 1e-7}}, "does not fit the timer"),
    ("wing-case", {"rig.driver": {"microsteps": 1024}, "rig.transmission": {"gear_ratio": 100.0}, "shot.traverse": {"speed": 2e-3}},
     "the move has .* pulses; allowed: 16,777,216"),
])
def test_what_cannot_be_sent_is_refused(shot, parts, words):
    made = _plan(shot, parts=parts)
    with pytest.raises(ValueError, match=words):
        header.header(made)


def test_a_smaller_controller_is_refused_with_what_it_lacks():
    text, sizes = header.header(SMALL, flash=8192, ram=512)
    assert f"flash {sizes.flash} of 8192 bytes, RAM {sizes.ram} of 512 bytes" in text
    for small in ({"flash": sizes.flash - 1}, {"ram": 128}):
        with pytest.raises(ValueError, match=f"takes {sizes.flash:,} bytes of flash and {sizes.ram} of RAM, the controller has"):
            header.header(SMALL, **small)


def test_frames_are_whole_and_known():
    with pytest.raises(ValueError, match="first_frame is 0"):
        header.header(STACK, first_frame=0)
    with pytest.raises(ValueError, match="first_frame is 2"):
        header.header(TRAVERSE, first_frame=2)


# --- the plan's own check

@pytest.mark.parametrize("name", ["8-bit, floats and a display in a loop", "8-bit, additions in an interrupt"])
def test_a_plan_keeps_a_reserve_below_the_ceiling_of_its_program(name):
    """The check holds at 0.8 of the program's ceiling and fails above; its mend of microsteps makes it hold."""
    controller = catalogue("controllers")[name]
    rig, shot = read_rig(DATA / "rigs" / "bench-screw.toml"), read_shot(DATA / "shots" / "wing-case.toml")
    rig = dataclasses.replace(rig, controller=controller)
    shot = dataclasses.replace(shot, limits=dataclasses.replace(shot.limits, ceiling_share=0.8))
    allowed = 0.8 * min(controller.pulse_ceiling, rig.driver.pulse_ceiling) * (2e-3 / 3200)
    for part, state in ((0.99, "holds"), (1.01, "fails")):
        fast = dataclasses.replace(shot, traverse=dataclasses.replace(shot.traverse, speed=part * allowed, ramps="outside"))
        check = plan(fast, rig, mends=False).check("pulse rate under the ceiling")
        assert check.state == state and check.limit == pytest.approx(0.8 * min(controller.pulse_ceiling, rig.driver.pulse_ceiling))
        assert "80%" in check.why
    finer = dataclasses.replace(rig, driver=dataclasses.replace(rig.driver, microsteps=rig.driver.microsteps // 2))
    # common practice, no source: fewer microsteps make the same controller faster in travel
    assert plan(fast, finer, mends=False).check("pulse rate under the ceiling").state == "holds"


def test_written_whole_or_not_at_all(tmp_path):
    path = tmp_path / "move.h"
    header.write_header(SMALL, path)
    kept = path.read_text()
    with pytest.raises(FileExistsError):
        header.write_header(TRAVERSE, path)
    assert path.read_text() == kept
    header.write_header(TRAVERSE, path, replace=True)
    assert path.read_text() != kept
