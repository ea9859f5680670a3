"""Logs and photographs of a real rig -> values with their standard uncertainty, and from there into the rig file.

>>> log = read_log("ringdown.csv")                                        # doctest: +SKIP
>>> found = fit_ringdown(log.times, log["acceleration x"])                # doctest: +SKIP
>>> record("rig.toml", found.for_rig("stand"), "2030-01-31")              # doctest: +SKIP
"""

from macrolib.measure.estimate import Estimate
from macrolib.measure.focus import fit_focus, settling, sharpness
from macrolib.measure.logs import read_log
from macrolib.measure.photographs import read_photograph, shift
from macrolib.measure.record import record
from macrolib.measure.ringdown import fit_ringdown
from macrolib.measure.travel import fit_stiffness, fit_travel, missed_steps, reversal

__all__ = ["Estimate", "fit_focus", "fit_ringdown", "fit_stiffness", "fit_travel", "missed_steps", "read_log", "read_photograph", "record",
           "reversal", "settling", "sharpness", "shift"]
