"""Led by hand: the carriage follows a set-point within its speed and acceleration limits."""

import math

import numpy as np

from macrolib.formula import Formula, Symbol
from macrolib.physics import symbols as s

__all__ = ["follow", "hand_set_points", "stopping_distance"]

stopping_distance = Formula(
    Symbol("stopping_distance", "m", "coast after release, and lag behind a steady set-point", "D_c", least=0),
    s.speed**2 / (2 * s.acceleration) + s.speed * s.delay, (s.speed, s.acceleration, s.delay),
    "constant braking; the following law keeps the carriage this far behind, so that it can always stop",
    "speed below the limit; delay is the reaction time, or the time constant of a smoothed set-point")


def hand_limits(travel_per_hand_turn, start, end, overrun=0.0, switches=(-math.inf, math.inf), mounted_reversed=False):
    """(travel for one turn, with its sign, lowest and highest set-point), all in m, as hand_set_points uses them."""
    low = max(min(start, end) - overrun, min(switches))
    high = min(max(start, end) + overrun, max(switches))
    if not low <= start <= high or overrun < 0 or start == end:
        raise ValueError("start and end must differ, the start lie between the switches, the overrun be at least 0")
    return math.copysign(travel_per_hand_turn, end - start) * (-1 if mounted_reversed else 1), low, high


def next_set_point(point, turned, limits):
    """The set-point (m) after the control was turned on by `turned` turns; limits as hand_limits gives them."""
    travel, low, high = limits
    return min(max(point + travel * turned, low), high)


def hand_set_points(turns, travel_per_hand_turn, start, end, overrun=0.0, switches=(-math.inf, math.inf),
                    mounted_reversed=False):
    """Set-points (m) on the rail from the readings of a hand control (turns from its first reading; one axis, in time).

    Turning forward leads from the start mark to the end mark, wherever they lie; mounted_reversed says that the
    control turns the other way. The set-point goes `overrun` (m) beyond either mark, and never beyond the switches
    (their rail positions, m). What is turned beyond a limit is forgotten: turning back moves it at once.
    """
    limits = hand_limits(travel_per_hand_turn, start, end, overrun, switches, mounted_reversed)
    points = [float(start)]
    for turned in np.diff(np.asarray(turns, float)):
        points.append(next_set_point(points[-1], turned, limits))
    return np.array(points)


def follow_step(position, speed, set_point, set_speed, step, max_speed, max_acceleration):
    """(position, speed) one `step` (s) later, led to where the set-point (m) is then; plain floats.

    The speed asked for is sign(e) sqrt(2 a |e|) at the distance e that is left at the end of the step, so a
    set-point at rest is never overshot, whatever the step: from there braking at a (m/s^2) still ends on it.
    set_speed (m/s) is the speed of the set-point that is fed forward, 0 without. Source: derived; constant braking.
    """
    feed = min(max(set_speed, -max_speed), max_speed)
    ahead, own = set_point - feed * step - position, speed - feed
    side = math.copysign(1.0, ahead or own)
    ahead, own = abs(ahead), side * own  # from here on the set-point lies in front and at rest
    change = max_acceleration * step
    if own * abs(own) <= 2 * max_acceleration * ahead:  # it can stop in time
        # w^2 = 2 a (ahead - (own + w) step / 2): the fastest speed from which braking still ends on the set-point
        asked = math.sqrt(max((change / 2)**2 + 2 * max_acceleration * ahead - change * own, 0.0)) - change / 2
        if asked <= 0 <= own:
            return position + side * ahead + feed * step, feed
        after = side * min(asked, own + change) + feed
    elif own <= change:  # passes the set-point, brakes, rests
        return position + side * own**2 / (2 * max_acceleration) + feed * step, feed
    else:
        after = side * (own - change) + feed
    after = min(max(after, -max_speed), max_speed)
    return position + (speed + after) / 2 * step, after


def follow(times, set_points, max_speed, max_acceleration, feed_forward=False):
    """Positions (m) of the carriage at `times` (s, rising), led by set_points (m) given at the same times.

    set_points has shape (..., times); limits (m/s, m/s^2, above 0) broadcast over the leading axes. Starts at rest
    on the first set-point; between two samples the set-point moves steadily. The speed is sign(e) sqrt(2 a |e|)
    within max_speed, and changes by at most max_acceleration: a steady hand is followed `stopping_distance` behind,
    and a set-point that comes to rest is never overshot. feed_forward=True adds the set-point's own speed: no steady
    lag, but a hand that stops at once is overshot. Samples far apart are refined, by 20 at most. Source: derived.
    """
    times, points = np.asarray(times, float), np.asarray(set_points, float)
    limits = [np.asarray(x, float) for x in (max_speed, max_acceleration)]
    if times.ndim != 1 or points.shape[-1:] != times.shape or not times.size or not (np.diff(times) > 0).all():
        raise ValueError("times must rise, and set_points must have one value for each of them on the last axis")
    if not all(np.isfinite(x).all() for x in (times, points, *limits)) or not all((x > 0).all() for x in limits):
        raise ValueError("times and set_points must be finite, max_speed and max_acceleration finite and above 0")
    shape = np.broadcast_shapes(points.shape[:-1], *(x.shape for x in limits))
    points, gaps = np.broadcast_to(points, (*shape, times.size)), np.diff(times).tolist()
    speeds, accelerations = (np.broadcast_to(x, shape) for x in limits)
    positions = np.empty(points.shape)
    for at in np.ndindex(*shape):
        positions[at] = _follow_one(gaps, points[at].tolist(), float(speeds[at]), float(accelerations[at]), feed_forward)
    return positions


def _follow_one(gaps, points, max_speed, max_acceleration, feed_forward):
    position, speed, positions, finest = points[0], 0.0, [points[0]], max_speed / max_acceleration / 10
    for gap, start, end in zip(gaps, points, points[1:]):
        parts = min(math.ceil(gap / finest), 20)
        rise, step = (end - start) / parts, gap / parts
        for part in range(1, parts + 1):
            position, speed = follow_step(position, speed, start + part * rise, rise / step if feed_forward else 0.0, step,
                                          max_speed, max_acceleration)
        positions.append(position)
    return positions
