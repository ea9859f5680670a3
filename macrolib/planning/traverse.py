"""The plan of a filmed move: speed, ramps, marks, takes, and a row for every video frame."""

import dataclasses
import math

import numpy as np

from macrolib.files import AUTO
from macrolib.physics import laws, ramps, screen
from macrolib.planning import common, film, ripple, stillness
from macrolib.planning.checks import Check
from macrolib.planning.common import Setting
from macrolib.planning.stillness import DERIVED, GIVEN, PRESET

_LEAST_RAMP = 0.5  # s that an automatic ramp lasts at least, so that it is seen as one; our own choice
_LONGEST_RAMP = 600.0  # s; beyond this something is mistyped
_RAMP_SHARE = 0.4  # of a given duration that one automatic ramp takes at most
_GENTLE = 1.0  # px/frame^2: change of image speed that an automatic ramp does not exceed; our own choice


@dataclasses.dataclass(frozen=True)
class _Path:
    """The move in the rail's coordinates; SI, whole pulses."""

    move: object
    sense: int
    start: int  # pulses at which the ramp in begins
    pulses: int  # length of the move
    ramp: str
    speed: float
    acceleration: float
    origins: dict


def _peak(shape):
    """Peak over mean acceleration of a ramp of this shape."""
    return float(laws.ramp(shape).peak)


def _ramp_time(shot, rig, speed, shape):
    """(seconds, origin) of a ramp to a speed; automatic ones last whole periods of the slowest mode that is known."""
    time, origin = _wanted_ramp_time(shot, rig, speed, shape)
    common.refuse([_too_long(shot, speed, time)])
    return time, origin


def _too_long(shot, speed, time):
    """(where a ramp to a speed lasts too long, why); SI, arrays broadcast."""
    t = shot.traverse
    change = ("lower traverse.ramp_frames" if t.ramp_frames is not None else
              "give a traverse.acceleration" if isinstance(t.acceleration, str) else "raise traverse.acceleration")
    how_long = "too long" if np.ndim(time * speed) else f"{time:.3g} s to {1e3 * speed:.3g} mm/s"
    return time > _LONGEST_RAMP, f"a ramp would last {how_long}: {change}, or {film.change_speed(shot, False)}"


def _wanted_ramp_time(shot, rig, speed, shape):
    t, peak = shot.traverse, _peak(shape)
    if t.ramp_frames is not None:
        return t.ramp_frames / t.frame_rate, GIVEN
    if t.acceleration != AUTO:
        return speed * peak / t.acceleration, GIVEN
    unseen = _GENTLE * rig.camera.pixel_pitch * t.frame_rate**2 / film.image_rate(shot, rig)
    gentle, origin = common.gentle_acceleration(shot, rig, speed)
    least = max(_LEAST_RAMP, speed * peak / min(unseen, gentle))
    if origin == PRESET:
        return least if t.duration == AUTO else min(least, _RAMP_SHARE * t.duration), PRESET
    frequency, zeta = min((f, zeta) for _, f, zeta in stillness.modes(rig))
    period = 1 / (frequency * math.sqrt(1 - zeta**2))
    wanted = math.ceil(least / period) * period
    if t.duration == AUTO:
        return wanted, DERIVED
    return min(wanted, max(1, math.floor(_RAMP_SHARE * t.duration / period)) * period, _RAMP_SHARE * t.duration), DERIVED


def _choose_shape(shot, rig, speed):
    """The shape whose ramp leaves the least ringing in the known modes; the plainest of nearly equal ones."""
    if shot.traverse.ramp != "auto":
        return shot.traverse.ramp
    left = {}
    for name, shape in common.SHAPES.items():
        time = _ramp_time(shot, rig, speed, shape)[0]
        move = ramps.ramps_by_time(3 * speed * time, time, speed=speed, shape=shape)
        left[name] = sum(stillness.left_ringing(move, f, z) for _, f, z in stillness.modes(rig))
    enough = max(1.05 * min(left.values()), 0.05 * stillness.tolerance(shot, rig))
    return next(name for name in left if left[name] <= enough)


def _path(shot, rig, per_pulse):
    t = shot.traverse
    start, end = film.marks(shot, per_pulse)
    distance = abs(end - start) * per_pulse
    asked = t.speed if t.speed != AUTO else distance / t.duration if t.duration != AUTO else film.speed_limit(shot, rig, per_pulse)
    kind = _choose_shape(shot, rig, asked)
    shape = common.SHAPES.get(kind, "rectangle")
    speed = asked if t.speed != AUTO else _speed(shot, rig, asked, distance, shape)
    common.refuse([film.too_many_frames(shot, distance / speed)])
    time, origin = (0.0, DERIVED) if kind in common.WHOLE else _ramp_time(shot, rig, speed, shape)
    return lay(shot, per_pulse, kind, speed, time, t.acceleration, {"speed": DERIVED if t.speed == AUTO else GIVEN, "acceleration": origin})


def lay(shot, per_pulse, kind, speed, time, acceleration, origins):
    """The _Path with ramps of a kind and a time in s to a speed; the acceleration may be "auto". SI, arrays broadcast."""
    t, shape = shot.traverse, common.SHAPES.get(kind, "rectangle")
    start, end = film.marks(shot, per_pulse)
    sense = 1 if t.end_mark >= t.start_mark else -1
    outside = common.whole(speed * time / 2 / per_pulse, np.ceil) if t.ramps == "outside" else 0
    run_up = common.whole(t.run_up / per_pulse)
    pulses = abs(end - start) + 2 * outside + run_up
    if kind in common.WHOLE:
        move = common.WHOLE[kind](pulses * per_pulse, 1.0)
        move = move.in_time(t.duration if t.duration != AUTO else move.peak_speed / speed)
        speed, acceleration, origins = move.peak_speed, move.peak_acceleration, {**origins, "acceleration": DERIVED}
    else:
        acceleration = speed * _peak(shape) / time if isinstance(acceleration, str) else acceleration
        move = ramps.ramps_by_limit(pulses * per_pulse, speed, acceleration, shape)
    return _Path(move, sense, start - sense * (outside + run_up), pulses, kind, speed, acceleration, origins)


def ramp_time(speed, kind, acceleration):
    """Seconds of a ramp of a kind to a speed with a peak acceleration; SI, arrays broadcast."""
    return speed * _peak(common.SHAPES[kind]) / acceleration


def refusals(shot, per_pulse, speed, time):
    """[(where no plan is made, why)] for speeds and ramp times of a traverse; SI, arrays broadcast."""
    t = shot.traverse
    start, end = (common.whole(mark / per_pulse) for mark in (t.start_mark, t.end_mark))
    return [(start == end, "the marks must differ, by a pulse at least"),
            film.too_many_frames(shot, abs(end - start) * per_pulse / speed), _too_long(shot, speed, time)]


def _speed(shot, rig, speed, distance, shape):
    """m/s with room for the ramps: the speed from the duration becomes higher, the one that picture and ceiling allow lower."""
    t = shot.traverse
    if t.duration == AUTO:
        for _ in range(40 if t.ramps == "inside" and t.acceleration == AUTO else 0):  # a short move must not be ramps alone
            if speed * _ramp_time(shot, rig, speed, shape)[0] <= 0.8 * distance:
                break
            speed = common.two_digits(speed * 0.85)
        return ripple.quiet_speed(shot, rig, speed)
    for _ in range(30 if t.ramps == "inside" else 0):  # ramps inside the marks cost half their time each
        ramp = min(_ramp_time(shot, rig, speed, shape)[0], t.duration / 2)
        before, speed = speed, distance / (t.duration - ramp)
        if speed == before:  # further rounds change nothing
            break
    return speed


def _runs(shot, rig, path, limits):
    """(what, from pulse, to pulse, s) before the first take, and the return between takes in the same form."""
    take_up = common.whole(1.5 * rig.transmission.backlash / common.drive(rig).travel_per_pulse, np.ceil)
    before, end, home = path.start - path.sense * take_up, path.start + path.sense * path.pulses, common.homing(rig)
    up = {"backlash take-up": path.start}
    return ([home, *common.runs(rig, home[2], {"to before the start": before, **up}, *limits)],
            common.runs(rig, end, {"return run": before, **up}, *limits))


def _schedule(shot, rig, path, per_pulse):
    """Columns of the schedule, a row a video frame of one take."""
    rate, duration = shot.traverse.frame_rate, float(path.move.duration)
    count = math.floor(duration * rate * (1 + 1e-12)) + 1
    times = np.arange(count) / rate
    pulses = path.start + path.sense * np.floor(path.move.position(times) / per_pulse + 0.5).astype(np.int64)
    speed = path.move.speed(times)
    return {
        "frame": ("1", np.arange(1, count + 1)), "time": ("s", times), "position_pulses": ("pulse", pulses),
        "position": ("mm", pulses * per_pulse), "speed": ("mm/s", path.sense * speed),
        "image_speed": ("px/frame", film.pixels_moved(shot, rig, speed) / rate), "time_left": ("s", duration - times),
    }


@dataclasses.dataclass(frozen=True)
class _Timing:
    """When what happens; SI. Waits and the ringing after a move with their origins as stillness.wait_after_move gives them."""

    approach: list
    back: float
    idle: float  # the largest speed without film
    settle: tuple
    quiet: tuple
    first_wait: float
    waiting: float
    moving: float
    total: float


def _timing(shot, rig, path):
    takes, limits = shot.traverse.takes, (np.maximum(path.speed, common.idle_speed(shot, rig, path.acceleration)), path.acceleration)
    approach, between = _runs(shot, rig, path, limits)
    idle = common.top_speed(rig, approach + between, *limits)
    quiet, settle = stillness.wait_after_footfall(shot, rig), stillness.wait_after_move(shot, rig, common.arrival(rig, approach, *limits))
    way, back = (sum(step[3] for step in steps) for steps in (approach, between))
    first_wait = np.maximum(quiet[0] - way, settle[0])
    moving = way + takes * path.move.duration + (takes - 1) * back
    total = moving + first_wait + (takes - 1) * settle[0]
    return _Timing(approach, back, idle, settle, quiet, first_wait, way + first_wait, moving, total)


def judge(shot, rig, path, simulate=True):
    """(_Timing, [Check]) of a path on a rig as used. Arrays broadcast with simulate=None: checks then have arrays of figures."""
    d, t, timing = common.drive(rig), shot.traverse, _timing(shot, rig, path)
    shortest = timing.settle[0] if t.takes > 1 else timing.first_wait  # later takes wait no longer than this
    quicker = film.faster(shot)
    return timing, [
        *film.picture_checks(shot, rig, path.move.peak_speed), *_motion_checks(shot, rig, d, path, timing),
        stillness.still_check("quiet at the start", timing.settle[2], shortest, shot, rig, "shot.waits.settling_wait"),
        stillness.still_check("quiet after the last footfall", timing.quiet[2], timing.waiting, shot, rig, "shot.waits.wait_before_move"),
        *stillness.other_checks(shot, rig, screen.exposure_time(t.shutter_angle, t.frame_rate), timing.waiting),
        dataclasses.replace(stillness.resonance_check(rig, path.speed, film.excited(rig, path.speed)),
                            knobs=(*film.slower(shot), *quicker)),
        *ripple.ripple_checks(shot, rig, path.speed, simulate),
        *common.time_checks(shot, timing.total, quicker),
        *common.power_checks(rig, timing.total, timing.moving / timing.total, quicker)]


def plan_traverse(shot, rig, rows=True):
    """Made of a traverse on a rig as used."""
    d, t = common.drive(rig), shot.traverse
    if t.faults():
        raise ValueError("[traverse] " + "; ".join(t.faults()))
    path = _path(shot, rig, d.travel_per_pulse)
    timing, checks = judge(shot, rig, path, simulate=rows)  # rows are left out while mends are looked for
    schedule = _schedule(shot, rig, path, d.travel_per_pulse) if rows else {}
    settings = _settings(shot, rig, d, path, timing)
    ringing = {"ringing after a move": (timing.settle[2], timing.first_wait, "shot.waits.settling_wait"),
               "floor": (timing.quiet[2], timing.waiting, "shot.waits.wait_before_move")}
    notes = [f"Ramps are of the kind {path.ramp} and lie {t.ramps} the marks.",
             *stillness.notes(timing.settle[1], timing.quiet[1], path.origins["acceleration"], timing.quiet[2])]
    return common.Made(settings, schedule, timing.approach, checks, notes, {"take": path.move}, ringing)


def _settings(shot, rig, d, path, timing):
    t, move, per_pulse = shot.traverse, path.move, d.travel_per_pulse
    speed, ramp_in = float(move.peak_speed), float(move.ramp_in)
    return {
        "speed": Setting(speed, "mm/s", path.origins["speed"], "speed between the ramps"),
        "speed_pulses": Setting(speed / per_pulse, "1/s", path.origins["speed"], "speed in pulses per second"),
        "acceleration": Setting(path.acceleration, "mm/s^2", path.origins["acceleration"], "peak acceleration in the ramps"),
        "acceleration_pulses": Setting(path.acceleration / per_pulse, "1/s^2", path.origins["acceleration"],
                                       "acceleration in pulses per second squared"),
        "ramp_time": Setting(ramp_in, "s", path.origins["acceleration"], "time of a ramp"),
        "ramp_frames": Setting(ramp_in * t.frame_rate, "frame", DERIVED, "video frames of a ramp"),
        "start_position": Setting(path.start * per_pulse, "mm", DERIVED, "where the ramp in begins"),
        "end_position": Setting((path.start + path.sense * path.pulses) * per_pulse, "mm", DERIVED, "where the ramp out ends"),
        "duration": Setting(float(move.duration), "s", DERIVED, "time of a take"),
        **film.picture_settings(shot, rig, speed),
        "settling_wait": Setting(timing.settle[0], "s", timing.settle[1], "wait at the start of each take"),
        "wait_before_move": Setting(timing.quiet[0], "s", timing.quiet[1], "wait after the last footfall"),
        "takes": Setting(t.takes, "1", GIVEN, "takes"),
        "return_speed": Setting(timing.idle, "mm/s", DERIVED, "largest speed to the start and back"),
        "return_time": Setting(timing.back, "s", DERIVED, "time of the return run"),
        "total_time": Setting(timing.total, "min", DERIVED, "time from homing to the last take"),
        **common.drive_settings(rig),
        "data": Setting(t.takes * float(move.duration) * rig.camera.video_bit_rate / 8, "GB", DERIVED, "data"),
        "energy": Setting(common.mean_power(rig, timing.moving / timing.total) * timing.total, "Wh", DERIVED, "energy from the supply"),
        **common.jerk_settings(float(move.peak_jerk), per_pulse),
    }


def _motion_checks(shot, rig, d, path, timing):
    per_pulse, speed = d.travel_per_pulse, path.move.peak_speed
    slower, idle = film.slower(shot), [("the way to the start or back", timing.idle), ("homing", rig.rail.homing_speed)]
    allowed = stillness.tolerance(shot, rig)
    left = sum(stillness.left_ringing(path.move, f, z) for _, f, z in stillness.modes(rig)) if stillness.stand_known(rig) else None
    scale = 2 * shot.picture.magnification / rig.camera.pixel_pitch
    return [
        Check("ringing after the ramp", None if left is None else left * scale, allowed * scale, "px",
              why="peak to peak, in the known modes" if left is not None else "rig.stand needs natural_frequency and damping_ratio",
              knobs=(("shot.traverse.acceleration", "down"), ("shot.traverse.ramp_frames", "up"), *slower, ("shot.waits.tolerance", "up"))),
        *([] if path.ramp in common.WHOLE else [
            Check("reaches its speed", speed, path.speed, "mm/s", "at least", 1.0, why="the ramps must fit between the marks",
                  knobs=(("shot.traverse.acceleration", "up"), ("shot.traverse.ramp_frames", "down"), *slower))]),
        _rail_check(shot, rig, path, timing.approach, per_pulse, slower),
        common.pulse_check(shot, rig, speed, slower, idle),
        common.torque_check(shot, rig, speed, path.acceleration, (*slower, ("shot.traverse.acceleration", "down")), idle),
        *common.holding_checks(rig),
    ]


def _rail_check(shot, rig, path, approach, per_pulse, slower):
    """Ramps outside the marks pass the end mark at speed: the ramp out must fit behind it, with a margin."""
    t, rail = shot.traverse, rig.rail
    stops = [x * per_pulse for x in (path.start, path.start + path.sense * path.pulses, *(step[2] for step in approach))]
    shorter = (("shot.traverse.run_up", "down"), ("shot.traverse.start_mark", "up"), ("shot.traverse.end_mark", "down"),
               ("rig.rail.high_end_stop", "up"))
    if t.ramps == "inside":
        return common.rail_check(rig, stops, shorter)
    ahead = rail.high_end_stop - t.end_mark if path.sense > 0 else t.end_mark - rail.low_end_stop
    knobs = (*shorter[:1], ("shot.traverse.acceleration", "up"), ("shot.traverse.ramp_frames", "down"), *slower, *shorter[1:])
    return common.rail_check(rig, stops, knobs, ahead, abs(stops[1] - t.end_mark))
