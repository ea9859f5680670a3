"""move.h of real plans: what stands in it, that nothing typed by a user can leave its comment, and that it compiles."""

import dataclasses
import re

import numpy as np
import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.controller import header, pieces
from tests.files.test_parts import PARTS

DATA = PARTS.parent
LINE = re.compile(r"""/\* [\w .,;:=/()-]* \*/|\#define\ MV_\w+\ (?:-?\d+|0x[0-9a-f]{8}UL|"[\w .-]*"|\\)
                  |\ \ \{[-\dxa-fUL, ]+\}(?:,\ \\)?""", re.X)
NASTY = 'x */ #include "a"\n#error \\ "); system(%s) ??/ é \x00 //' + "y" * 100


def _plan(shot="moss-capsule", rig="bench-screw", **names):
    rig = read_rig(DATA / "rigs" / f"{rig}.toml")
    rig = dataclasses.replace(rig, controller=dataclasses.replace(rig.controller, pulse_ceiling=40e3))
    return plan(dataclasses.replace(read_shot(DATA / "shots" / f"{shot}.toml"), **names), rig, mends=False)


STACK, TRAVERSE = _plan(), _plan("wing-case", "field-belt")


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


def test_the_plan_runs_on_the_chip(chip):
    text, sizes = header.header(TRAVERSE, homing=False)
    assert chip.simulate(text, most=0.01).flash == pytest.approx(sizes.flash, rel=0.1)


def test_nothing_typed_gets_out(chip):
    made = _plan(name=NASTY)
    text, _ = header.header(made)
    assert all(LINE.fullmatch(line) for line in text.splitlines())
    assert "#include" not in text and "#error" not in text
    assert chip.host_program(text)().size > 0


def test_what_cannot_be_sent_is_refused():
    with pytest.raises(ValueError, match="hand-led"):
        header.header(_plan("seed-tray-hand-led"))
    with pytest.raises(ValueError, match="first_frame is 0"):
        header.header(STACK, first_frame=0)
    with pytest.raises(ValueError, match="first_frame is 2"):
        header.header(TRAVERSE, first_frame=2)


def test_written_whole_or_not_at_all(tmp_path):
    path = tmp_path / "move.h"
    header.write_header(STACK, path)
    kept = path.read_text()
    with pytest.raises(FileExistsError):
        header.write_header(TRAVERSE, path)
    assert path.read_text() == kept
    header.write_header(TRAVERSE, path, replace=True)
    assert path.read_text() != kept
