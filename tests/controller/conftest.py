"""The tools of the controller's programs: without them a test is skipped and says so; where CI is set it fails."""

import os

import pytest

from macrolib.controller import simulate


@pytest.fixture(scope="session")
def chip(tool):
    """macrolib.controller.simulate, when programs can be compiled and run here."""
    for name in ("gcc", "avr-gcc", "avr-nm", "avr-size"):
        tool(name)
    if missing := simulate.available():
        (pytest.fail if os.environ.get("CI") else pytest.skip)(missing)
    return simulate
