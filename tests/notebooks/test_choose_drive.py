"""The worksheet of drives with other values in its first cell: it runs to its end whatever is asked."""

import contextlib
import io
import math
import re

import pytest

from tools.build import NOTEBOOKS, read

SOURCE = NOTEBOOKS / "src" / "design" / "choose-motor-and-drive.py"


def worksheet(**values):
    """(what it prints, its variables) with these values in the first cell."""
    text = SOURCE.read_text("utf-8")
    for name, value in values.items():
        text, count = re.subn(rf"^{name} = .*?(?=  #)", f"{name} = {value!r}", text, flags=re.M)
        assert count == 1, name
    said, names = io.StringIO(), {"display": lambda *_: None}
    with contextlib.chdir(NOTEBOOKS / "design"), contextlib.redirect_stdout(said):
        for cell in read(text).cells:
            if cell.cell_type == "code":
                exec(compile(cell.source, "cell", "exec"), names)
    return said.getvalue(), names


@pytest.mark.parametrize(("values", "holds"), [
    ({"LOAD": "0.4 kg", "TILT": "0 deg", "SPEED": "0.5 mm/s"}, True),
    ({"LOAD": "6 kg", "BRAKE": True, "SUPPLY": "lithium 4 cells 98 Wh", "SPEED": "3 mm/s"}, True),
    ({"SPEED": "40 mm/s", "FINEST": "0.2 um"}, False),
], ids=["light", "heavy with a brake", "impossible"])
def test_other_demands(values, holds):
    said, names = worksheet(**values)
    assert (names["found"][0].verdict == "holds") == holds == (names["chosen"].verdict == "holds")
    assert len(names["least"]) == 18 and "[transmission]" in said
    assert (re.search(r"^0 of 1440", said, re.M) is None) == holds


def test_a_pick_and_the_numbers_that_it_may_have():
    said, names = worksheet(PICK=("M17-48", "Tr8x4 (P2)", "D2.5"))
    assert list(names["chosen"].names.values()) == ["M17-48", "Tr8x4 (P2)", "D2.5", "mains 24 V 60 W"]
    assert "M17-48, Tr8x4 (P2), D2.5, mains 24 V 60 W: holds" in said


def test_what_a_load_that_runs_down_needs():
    """A brake of twice the load's torque, or a counterweight that leaves half the detent's: by hand, from the parts' values."""
    said, names = worksheet(LOAD="6 kg", BRAKE=True, PICK=("M17-48", "Tr8x8 (P2)", "D2.5"))
    back, lead, detent = names["seen"].back_efficiency, 8e-3, names["chosen"].rig.motor.detent_torque
    torque = 6 * 9.80665 * lead / (2 * math.pi) * back
    assert f"turns the motor back with {1e3 * torque:.3g} mN m; the detent resists with {1e3 * detent:.3g} mN m" in said
    assert f"holds {2e3 * torque:.3g} mN m, 2 times the load" in said
    left = (6 - names["counterweight"]) * 9.80665 * lead / (2 * math.pi) * back
    assert left == pytest.approx(detent / 2) and f"counterweight of {names['counterweight']:.3g} kg" in said
    assert "With the power off the load stays where it is." in worksheet(PICK=("M17-48", "Tr8x2", "D2.5"))[0]
