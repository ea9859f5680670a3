"""The tools of the controller's programs: without them a test is skipped and says so; where CI is set it fails."""

import os

import pytest

from macrolib.controller import simulate


@pytest.fixture(scope="session")
def find_chip(tool):
    """A function: macrolib.controller.simulate, when programs can be compiled and run here, else skip or fail."""

    def find():
        for name in ("gcc", "avr-gcc", "avr-nm", "avr-size"):
            tool(name)
        if missing := simulate.available():
            (pytest.fail if os.environ.get("CI") else pytest.skip)(missing)
        return simulate

    return find


@pytest.fixture(scope="session")
def chip(find_chip):
    """macrolib.controller.simulate, when programs can be compiled and run here."""
    return find_chip()
