"""The plan of a hand-led move: limits of speed and acceleration, lag, coast, and what a steady hand would give."""

import math

import numpy as np

from macrolib.files import AUTO
from macrolib.physics import following
from macrolib.planning import common, film, ripple, stillness
from macrolib.planning.checks import Check
from macrolib.planning.common import Setting
from macrolib.planning.stillness import DERIVED, GIVEN

_STEADY = 0.8  # share of the top speed at which the steady hand of the schedule turns
_FINE_TURN = math.radians(5) / (2 * math.pi)  # of a turn: the least that a hand turns on purpose, from memory
_MOST_LAG = 0.1  # of the way between the marks that the carriage may lag behind; our own choice


def _limits(shot, rig, per_pulse):
    """(speed, its origin, acceleration, its origin) in SI."""
    h = shot.hand_led
    speed = ripple.quiet_speed(shot, rig, film.speed_limit(shot, rig, per_pulse)) if h.speed == AUTO else h.speed
    if h.acceleration != AUTO:
        return speed, DERIVED if h.speed == AUTO else GIVEN, h.acceleration, GIVEN
    acceleration, origin = common.gentle_acceleration(shot, rig, speed)
    return speed, DERIVED if h.speed == AUTO else GIVEN, common.two_digits(acceleration), origin


def _times(shot, speed, acceleration):
    h = shot.hand_led
    duration = abs(h.end_mark - h.start_mark) / (_STEADY * speed) + speed / acceleration + 1.0
    common.refuse([film.too_many_frames(shot, duration)])
    return np.arange(math.ceil(duration * h.frame_rate) + 1) / h.frame_rate


def _steady_turn(shot, rig, times, speed, acceleration):
    """(set-points, positions) for a hand that turns steadily from mark to mark at 0.8 of the speed; SI."""
    h = shot.hand_led
    distance = abs(h.end_mark - h.start_mark)
    turns = np.minimum(times * _STEADY * speed, distance) / h.travel_per_control_turn
    switches = rig.rail.low_end_stop, rig.rail.high_end_stop
    reversed_control = h.control == "opposite"
    points = following.hand_set_points(-turns if reversed_control else turns, h.travel_per_control_turn, h.start_mark, h.end_mark,
                                       h.overrun, switches, reversed_control)
    return points, following.follow(times, points, speed, acceleration)


def _schedule(shot, rig, times, speed, acceleration, per_pulse):
    points, places = _steady_turn(shot, rig, times, speed, acceleration)
    pulses = np.rint(places / per_pulse).astype(np.int64)
    return {"frame": ("1", np.arange(1, len(times) + 1)), "time": ("s", times), "set_point": ("mm", points),
            "position_pulses": ("pulse", pulses), "position": ("mm", pulses * per_pulse), "time_left": ("s", times[-1] - times)}


def plan_hand_led(shot, rig, rows=True):
    """Made of a hand-led shot on a rig as used."""
    d, h = common.drive(rig), shot.hand_led
    start = film.marks(shot, d.travel_per_pulse)[0]
    speed, speed_origin, acceleration, origin = _limits(shot, rig, d.travel_per_pulse)
    times = _times(shot, speed, acceleration)
    quiet, quiet_origin, footfall = stillness.wait_after_footfall(shot, rig)
    home = common.homing(rig)
    approach = [home, *common.runs(rig, home[2], {"to the start mark": start}, speed, acceleration)]
    way = sum(step[3] for step in approach)
    lag = following.stopping_distance(speed, acceleration, 0.0)
    total = max(way, quiet) + float(times[-1])
    schedule = _schedule(shot, rig, times, speed, acceleration, d.travel_per_pulse) if rows else {}
    settings = _settings(shot, rig, d, (speed, speed_origin), (acceleration, origin), lag, (quiet, quiet_origin), total)
    checks = [*film.picture_checks(shot, rig, speed), *_motion_checks(shot, rig, speed, acceleration, lag, h),
              stillness.still_check("quiet after the last footfall", footfall, max(way, quiet), shot, rig, "shot.waits.wait_before_move"),
              *ripple.ripple_checks(shot, rig, speed, simulate=rows),
              *common.time_checks(shot, total, film.faster(shot)), *common.power_checks(rig, total, 1.0, ())]
    notes = ["The schedule shows a hand that turns steadily; yours will differ.", *_shaking(rig, speed),
             *stillness.notes("", quiet_origin, origin, footfall)]
    ringing = {"floor": (footfall, max(way, quiet), "shot.waits.wait_before_move")}
    return common.Made(settings, schedule, approach, checks, notes, {}, ringing)


def _shaking(rig, speed):
    """A sentence that names the speeds below `speed` at which full steps meet a mode that is known, or the rotor's own."""
    meets = [*((f, what) for what, f, _ in stillness.modes(rig)), (ripple.natural_frequency(rig), "rotor on its magnetic spring")]
    found = [(f * rig.travel_per_turn / rig.motor.full_steps_per_turn, what) for f, what in sorted(meets)]
    places = [f"{1e3 * v:.2g} mm/s ({what})" for v, what in found if v < speed]
    return ["Full steps shake the picture at " + ", ".join(places) + ": turn past, do not dwell."] if places else []


def _settings(shot, rig, d, speed, acceleration, lag, quiet, total):
    h, per_pulse = shot.hand_led, d.travel_per_pulse
    return {
        "speed": Setting(speed[0], "mm/s", speed[1], "largest speed"),
        "speed_pulses": Setting(speed[0] / per_pulse, "1/s", speed[1], "largest speed in pulses per second"),
        "acceleration": Setting(acceleration[0], "mm/s^2", acceleration[1], "largest acceleration"),
        "acceleration_pulses": Setting(acceleration[0] / per_pulse, "1/s^2", acceleration[1], "acceleration in pulses per second squared"),
        "lag": Setting(lag, "mm", DERIVED, "lag behind the hand, and coast after it stops"),
        "time_to_stop": Setting(speed[0] / acceleration[0], "s", DERIVED, "time to stop from the largest speed"),
        "travel_per_control_turn": Setting(h.travel_per_control_turn, "mm", GIVEN, "travel for one turn of the control"),
        "finest_turn": Setting(film.pixels_moved(shot, rig, h.travel_per_control_turn * _FINE_TURN), "px", DERIVED,
                               "motion of the picture for 5 degrees of the control"),
        "finest_move": Setting(film.pixels_moved(shot, rig, per_pulse), "px", DERIVED, "motion of the picture for one pulse"),
        **film.picture_settings(shot, rig, speed[0]),
        "wait_before_move": Setting(quiet[0], "s", quiet[1], "wait after the last footfall"),
        "total_time": Setting(total, "min", DERIVED, "time from homing to the end, with a steady hand"),
        **common.drive_settings(rig),
    }


def _motion_checks(shot, rig, speed, acceleration, lag, h):
    ends = [h.start_mark, h.end_mark, *(x + s * h.overrun for x in (h.start_mark, h.end_mark) for s in (1, -1))]
    homing, quicker = [("homing", rig.rail.homing_speed)], (("shot.hand_led.acceleration", "up"), ("shot.hand_led.speed", "down"))
    return [
        Check("lag behind the hand", lag, _MOST_LAG * abs(h.end_mark - h.start_mark), "mm",
              why="a tenth of the way between the marks; our own choice", knobs=quicker),
        common.rail_check(rig, ends, (*quicker, ("shot.hand_led.overrun", "down"), ("rig.rail.high_end_stop", "up")),
                          common.room(rig, ends), lag),
        common.pulse_check(shot, rig, speed, quicker[1:], homing),
        common.torque_check(shot, rig, speed, acceleration, (*quicker[1:], ("shot.hand_led.acceleration", "down")), homing),
        *common.holding_checks(rig),
    ]
