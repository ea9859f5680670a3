"""A machine without a compiler or the simulator: tests are skipped and say why; where CI is set they fail. What needs neither works."""

import functools
import shutil

import pytest

from macrolib.controller import header, pieces, simulate
from macrolib.physics import ramps

EACH = pytest.mark.parametrize(("ci", "outcome"), [(None, pytest.skip.Exception), ("true", pytest.fail.Exception)], ids=["here", "CI"])


@pytest.fixture
def machine(monkeypatch, tmp_path):
    """A function (programs, CI): only these programs are on the path, given as {name: path or text of a script}."""

    def make(programs, ci):
        for name, what in programs.items():
            place = tmp_path / name
            if what.startswith("#!"):
                place.write_text(what)
                place.chmod(0o755)
            else:
                place.symlink_to(what)
        monkeypatch.setenv("PATH", str(tmp_path))
        monkeypatch.setenv("CI", ci) if ci else monkeypatch.delenv("CI", raising=False)
        monkeypatch.setattr(simulate, "_runner", functools.cache(simulate._runner.__wrapped__))

    return make


@EACH
@pytest.mark.parametrize("name", ["gcc", "avr-gcc", "avr-nm", "avr-size"])
def test_without_a_compiler(machine, find_chip, name, ci, outcome):
    machine({other: "#!/bin/sh\n" for other in ("gcc", "avr-gcc", "avr-nm", "avr-size") if other != name}, ci)
    with pytest.raises(outcome, match=f"the program {name} is not installed"):
        find_chip()


@EACH
def test_without_the_simulator(chip, machine, find_chip, ci, outcome):
    programs = {name: shutil.which(name) for name in ("avr-gcc", "avr-nm", "avr-size")}
    gcc = "#!/bin/sh\ncase \"$*\" in *-lsimavr*) echo cannot find -lsimavr >&2; exit 1;; esac\n"
    machine({**programs, "gcc": gcc}, ci)
    with pytest.raises(outcome, match="missing here: libsimavr with its headers"):
        find_chip()


def test_the_record_serves_without_tools(machine):
    machine({}, None)
    assert simulate.available() == "missing here: gcc, avr-gcc"
    assert set(header.RECORDED["made_with"]) == {"compiler", "simulator"}
    assert header.checked([pieces.fit(ramps.trapezoid(1000.0, 5e3, 2e4), 1.0)]).flash > header.RECORDED["programs"]["pieces"]["flash"]
