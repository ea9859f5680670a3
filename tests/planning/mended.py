"""What every mend must do, whatever the kind of shot."""

import math

from macrolib import plan
from macrolib.planning.checks import FAILS, HOLDS, NOT_COMPUTED, TIGHT, apply

RANK = {HOLDS: 0, TIGHT: 1, NOT_COMPUTED: 2, FAILS: 3}


def worse(before, after):
    """Names of the checks of a plan that are worse in another one."""
    states = {c.name: c.state for c in before.checks}
    return {c.name for c in after.checks if RANK[c.state] > RANK[states.get(c.name, HOLDS)]}


def assert_mended(shot, rig, name):
    """The check fails, its mend applied makes it hold, and each check that is worse then is named; the Mend."""
    made = plan(shot, rig)
    check = made.check(name)
    assert check.state == FAILS
    assert check.mend is not None and math.isfinite(check.mend.value) and any(c.isdigit() for c in check.mend.text)
    again = plan(*apply(shot, rig, check.mend.key, check.mend.value), mends=False)
    assert again.check(name).state == HOLDS
    assert worse(made, again) == set(check.mend.breaks) and all(broken in check.mend.text for broken in check.mend.breaks)
    return check.mend
