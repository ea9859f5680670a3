"""Jog: how a mark is reached by hand on two keys, one for coarse and one for fine moves, and how finely it can be set."""

import dataclasses

import numpy as np

from macrolib.physics import following, ramps
from macrolib.planning import common, film

__all__ = ["jog"]


@dataclasses.dataclass(frozen=True)
class Jog:
    """One approach to a mark; SI."""

    coarse_speed: float
    coarse_time: float
    release: float  # distance before the mark at which the coarse key is let go
    fine_speed: float
    fine_distance: float  # the most that is left to the fine key
    fine_time: float
    time: float
    finest_move: float  # travel of one pulse
    finest_pixels: float  # what that moves the picture, at its edge in an axial move


def _limits(shot, rig, per_pulse):
    """(speed, acceleration) that pulse ceiling and torque allow, with margin."""
    for speed in 0.95 * shot.limits.ceiling_share * rig.pulse_ceiling * per_pulse * 0.8 ** np.arange(30):
        if (acceleration := common.acceleration_for_torque(rig, speed, shot.limits.torque_factor)) > 0:
            return float(speed), min(acceleration, 10.0)  # m/s^2: more shakes whatever is not screwed down
    raise ValueError(f"the motor cannot move the carriage with the limits.torque_factor of {shot.limits.torque_factor:g}: lower that, or "
                     "raise motor.holding_torque, driver.peak_current or supply.voltage")


def jog(shot, rig, distance, tolerance=10.0, reaction=0.25):
    """The quickest Jog over `distance` (m, above 0) to a mark that is met within `tolerance` (px of the picture).

    Each key is let go up to `reaction` (s) too late. The fine speed is such that this and the braking stay within the
    tolerance. The coarse key is let go so early that even then the mark is not passed; let go at once, the most is left
    for the fine key. So there is a best coarse speed. Jog the way the take will run: that takes up the backlash.
    ValueError for arguments not above 0 or a tolerance below a pulse. Source: derived, by trying 400 speeds.
    """
    rig = rig.as_used
    pulse = common.drive(rig).travel_per_pulse
    pixels, allowed = film.pixels_moved(shot, rig, pulse), tolerance / film.pixels_moved(shot, rig, 1.0)
    if not (np.isfinite([distance, tolerance, reaction]).all() and min(distance, reaction) > 0 and allowed >= pulse):
        raise ValueError(f"distance and reaction must be above 0, the tolerance at least a pulse, {pixels:.3g} px; got {distance} m, "
                         f"{reaction} s, {tolerance} px")
    top, acceleration = _limits(shot, rig, pulse)
    fine = min(following.stopping_distance.solve_for("speed")(allowed, acceleration, reaction), top)
    speeds = np.geomspace(fine, top, 400)
    left = np.minimum(speeds * reaction, distance)
    ways = (distance - left, speeds), (left, fine)
    coarse, slow = (np.asarray(ramps.trapezoid(way, speed, acceleration).duration) for way, speed in ways)
    k = int(np.argmin(coarse + slow))
    return Jog(float(speeds[k]), float(coarse[k]), following.stopping_distance(float(speeds[k]), acceleration, reaction), fine,
               float(left[k]), float(slow[k]), float(coarse[k] + slow[k]), pulse, pixels)
