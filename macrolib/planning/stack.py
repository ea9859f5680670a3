"""The plan of a focus stack: frames at whole pulses, approached from one side, each after a wait."""

import dataclasses
import math

import numpy as np

from macrolib.files import AUTO
from macrolib.physics import optics, stepper, tilt
from macrolib.planning import common, stillness
from macrolib.planning.checks import Check
from macrolib.planning.common import Setting
from macrolib.planning.stillness import DERIVED, GIVEN

UNCERTAINTY_SHARE = 0.25  # of the frame spacing that position uncertainty may take; common practice, no source
DRIFT_ACROSS = 0.02  # of the picture's height that it may wander sideways over a stack; common practice, no source
_MOST_FRAMES = 1_000_000  # beyond this something is mistyped
BEST_SHARE = 0.8  # of the best aperture's transfer that the chosen aperture must keep


@dataclasses.dataclass(frozen=True)
class _Focus:
    """Optics of a stack: aperture, depth of a frame by three measures, spacing in pulses and m."""

    aperture: common.Aperture
    sharp: float
    geometric: float
    wave: float
    pulses: int
    spacing: float
    origin: str


def _focus(shot, rig, per_pulse):
    p, lens = shot.picture, rig.lens
    given = shot.stack.spacing
    chosen = common.aperture(shot, rig)
    if isinstance(p.f_number, str) and given != AUTO:
        best = optics.stack_f_number(p.magnification, given, p.wavelength, lens.pupil_ratio)
        marked = float(f"{min(max(best, lens.lowest_f_number), lens.highest_f_number):.2g}")
        chosen = common.Aperture(*optics.aperture(p.magnification, lens.pupil_ratio, f_number=marked), DERIVED)
    sharp = common.sharp_depth(shot, rig, chosen)
    geometric = optics.depth_of_field(p.magnification, chosen.f_number, lens.pupil_ratio, 2 * rig.camera.pixel_pitch)
    wave = optics.wave_depth(p.wavelength, chosen.numerical, 1.0)
    wanted = sharp * (1 - shot.stack.overlap) if given == AUTO else given
    depth = common.whole(abs(shot.stack.far_end - shot.stack.near_end) / per_pulse)
    pulses = np.maximum(1, np.floor(wanted / per_pulse * (1 + 1e-12)) if given == AUTO else np.rint(wanted / per_pulse))
    if given == AUTO:  # even out, so that the last frame lies at the far end
        pulses = np.where(depth > 0, np.ceil(depth / np.ceil(np.maximum(depth, 1) / pulses)), pulses)
    pulses = common.whole(pulses)
    return _Focus(chosen, sharp, geometric, wave, pulses, pulses * per_pulse, DERIVED if given == AUTO else GIVEN)


@dataclasses.dataclass(frozen=True)
class _Frames:
    """The focus positions of the whole stack, in pulses from the home switch, and the numbers of those to be taken now."""

    start: int
    step: int
    count: int
    first: int
    last: int

    def at(self, number):
        """Position of a frame in pulses; the first frame is number 1."""
        return self.start + self.step * (number - 1)

    @property
    def taken(self):
        """How many are taken now."""
        return self.last - self.first + 1


def _frames(shot, per_pulse, pulses):
    near, far = (common.whole(x / per_pulse) for x in (shot.stack.near_end, shot.stack.far_end))
    count = optics.frame_count(np.maximum(abs(far - near), 1e-9), pulses, 0.0, ends_in_focus=True)
    sense = 1 if shot.stack.far_end >= shot.stack.near_end else -1
    return _Frames(near, sense * pulses, common.whole(count), shot.stack.first_frame, shot.stack.last_frame or common.whole(count))


def refusals(frames):
    """[(where no plan is made, why)] for the frames of a stack; arrays broadcast."""
    return [((frames.count > _MOST_FRAMES) | (frames.count < 1),
             f"the stack would have more than {_MOST_FRAMES:,} frames; widen the spacing or bring its ends together"),
            ((frames.first > frames.count) | (frames.last > frames.count),
             f"first_frame {frames.first} and last_frame {np.max(frames.last)} must lie within the stack of {np.min(frames.count)} frames")]


@dataclasses.dataclass(frozen=True)
class _Motion:
    """The moves of a stack and their limits; SI."""

    speed: float
    acceleration: float
    acceleration_origin: str
    speed_origin: str
    move: object  # between neighbouring frames
    take_up: int  # pulses beyond the first frame from which it is approached


def _motion(shot, rig, focus, per_pulse):
    """Gentle enough that a move rings no more than the tolerance, within torque and pulse ceiling, where free to choose."""
    s = shot.stack
    if s.acceleration == AUTO:
        acceleration, origin = common.gentle_acceleration(shot, rig, 0.0)
        acceleration = common.two_digits(acceleration)
    else:
        acceleration, origin = s.acceleration, GIVEN
    if s.speed == AUTO:
        speed = common.two_digits(common.idle_speed(shot, rig, acceleration))
    else:
        speed = s.speed
    return lay(rig, focus.spacing, "trapezoid" if s.ramp == "auto" else s.ramp, speed, acceleration,
               (origin, DERIVED if s.speed == AUTO else GIVEN))


def lay(rig, spacing, kind, speed, acceleration, origins):
    """The _Motion of a stack with a frame spacing, a kind of ramp and its limits; SI, arrays of all but the kind broadcast."""
    move = common.move_of_kind(kind, spacing, speed, acceleration)
    take_up = common.whole(1.5 * rig.transmission.backlash / common.drive(rig).travel_per_pulse, np.ceil)
    return _Motion(speed, acceleration, *origins, move, take_up)


def _approach(shot, rig, first, motion):
    """[(what, start in pulses, end in pulses, seconds)] from anywhere on the rail to the first frame, from one side."""
    sense, home = 1 if shot.stack.far_end >= shot.stack.near_end else -1, common.homing(rig)
    goals = {"to before the first frame": first - sense * motion.take_up, "backlash take-up": first}
    return [home, *common.runs(rig, home[2], goals, motion.speed, motion.acceleration)]


def _cycle(shot, rig, wait):
    """Seconds of one frame at standstill: wait, trigger latency, exposure, then the longest of write, recycle, pause."""
    recycle = rig.light.flash_recycle_time if rig.light.kind == "flash" else 0.0
    return wait + rig.camera.trigger_latency + shot.picture.exposure_time + max(rig.camera.write_time, recycle, shot.stack.pause)


def _farther_end(shot, rig):
    """The end of the stack that is farther from the home switch, in m."""
    return max(shot.stack.near_end, shot.stack.far_end, key=lambda x: abs(x - rig.rail.home_switch))


def _exposure(shot, rig):
    """Seconds in which light reaches the sensor: the flash's if there is one."""
    return rig.light.flash_duration if rig.light.kind == "flash" else shot.picture.exposure_time


def _schedule(shot, rig, frames, numbers, wait, lead_in, longer, move_time, per_pulse):
    """Columns of the schedule, a row a frame; the wait of the first is longer by so many seconds."""
    cycle = _cycle(shot, rig, wait)
    ready = lead_in + longer + cycle + np.arange(len(numbers)) * (cycle + move_time)
    trigger = ready - cycle + wait
    arrive = np.append(lead_in, ready[1:] - cycle)
    return {
        "frame": ("1", numbers), "position_pulses": ("pulse", frames), "position": ("mm", frames * per_pulse),
        "arrive": ("s", arrive), "trigger": ("s", trigger),
        "expose": ("s", trigger + rig.camera.trigger_latency), "ready": ("s", ready), "time_left": ("s", ready[-1] - ready),
    }


def focus_and_frames(shot, rig):
    """(_Focus, _Frames) of a stack on a rig as used; an array of marked f-numbers and arrays of the rig broadcast."""
    per_pulse = common.drive(rig).travel_per_pulse
    focus = _focus(shot, rig, per_pulse)
    return focus, _frames(shot, per_pulse, focus.pulses)


@dataclasses.dataclass(frozen=True)
class _Timing:
    """When what happens; SI. Waits with their origins and what rings, as stillness.wait_after_move gives them."""

    approach: list
    settle: tuple
    quiet: tuple
    lead_in: float
    longer: float  # than the other frames the first one waits
    taken_up: stillness.Ringing  # after the move to the first frame
    moving: float
    total: float


def _timing(shot, rig, frames, motion):
    settle, quiet = stillness.wait_after_move(shot, rig, motion.move), stillness.wait_after_footfall(shot, rig)
    approach = _approach(shot, rig, frames.at(frames.first), motion)
    calm, _, taken_up = stillness.wait_after_move(shot, rig, common.arrival(rig, approach, motion.speed, motion.acceleration))
    way, moves = sum(step[3] for step in approach), frames.taken - 1
    lead_in, cycle = np.maximum(way, quiet[0]), _cycle(shot, rig, settle[0])  # the operator steps away when the homing begins
    longer = np.maximum(0.0, way + calm - lead_in - settle[0])
    total = lead_in + longer + moves * (cycle + motion.move.duration) + cycle
    return _Timing(approach, settle, quiet, lead_in, longer, taken_up, way + moves * motion.move.duration, total)


def _settled_check(shot, rig, timing):
    """The worse of what rings after the moves between frames and after the one to the first frame."""
    way, (wait, _, ringing) = sum(step[3] for step in timing.approach), timing.settle
    waits = (ringing, wait), (timing.taken_up, timing.lead_in + timing.longer + wait - way)
    each, first = (stillness.still_check("settling after a move", *after, shot, rig, "shot.waits.settling_wait",
                                          ("shot.stack.acceleration", "down")) for after in waits)
    if each.figure is None:
        return each
    return dataclasses.replace(each if np.all(each.figure >= first.figure) else first, figure=np.maximum(each.figure, first.figure))


def judge(shot, rig, focus, frames, motion):
    """(_Timing, [Check]) of a stack on a rig as used; arrays broadcast: checks then have arrays of figures."""
    d, timing = common.drive(rig), _timing(shot, rig, frames, motion)
    return timing, [
        *_picture_checks(shot, rig, d, focus), *_motion_checks(shot, rig, d, motion, frames, timing.approach),
        _settled_check(shot, rig, timing),
        stillness.still_check("quiet after the last footfall", timing.quiet[2], timing.lead_in, shot, rig, "shot.waits.wait_before_move"),
        *stillness.other_checks(shot, rig, _exposure(shot, rig), timing.lead_in),
        stillness.drift_check(rig, _farther_end(shot, rig), timing.total, focus.spacing, (("shot.stack.spacing", "up"),)),
        *stillness.droop_check(shot, rig, focus.sharp),
        *_limit_checks(shot, rig, frames, timing)]


def plan_stack(shot, rig, rows=True):
    """Made of a stack shot on a rig as used."""
    d = common.drive(rig)
    focus, frames = focus_and_frames(shot, rig)
    common.refuse(refusals(frames))
    motion = _motion(shot, rig, focus, d.travel_per_pulse)
    timing, checks = judge(shot, rig, focus, frames, motion)
    numbers = np.arange(frames.first, frames.last + 1)
    schedule = _schedule(shot, rig, frames.at(numbers), numbers, timing.settle[0], timing.lead_in, timing.longer,
                         float(motion.move.duration), d.travel_per_pulse) if rows else {}
    settings = _settings(shot, rig, d, focus, motion, frames, timing)
    ringing = {"ringing after a move": (timing.settle[2], timing.settle[0], "shot.waits.settling_wait"),
               "floor": (timing.quiet[2], timing.lead_in, "shot.waits.wait_before_move")}
    notes = _notes(focus, frames, (timing.settle[1], timing.quiet[1], motion.acceleration_origin, timing.quiet[2]))
    return common.Made(settings, schedule, timing.approach, checks, notes, {"between frames": motion.move}, ringing)


def _settings(shot, rig, d, focus, motion, frames, timing):
    lens_n, move, settle, quiet = focus.aperture, motion.move, timing.settle, timing.quiet
    power = common.mean_power(rig, timing.moving / timing.total)
    bits = frames.taken * rig.camera.pixels * rig.camera.bits_per_pixel
    return {
        "f_number": Setting(lens_n.f_number, "1", lens_n.origin, "marked f-number"),
        "effective_f_number": Setting(lens_n.effective, "1", DERIVED, "effective f-number"),
        "spacing": Setting(focus.spacing, "um", focus.origin, "frame spacing"),
        "spacing_pulses": Setting(focus.pulses, "pulse", focus.origin, "frame spacing in pulses"),
        "frames": Setting(frames.count, "1", DERIVED, "frames of the whole stack"),
        "first_position": Setting(float(frames.at(frames.first) * d.travel_per_pulse), "mm", GIVEN, "first focus position"),
        "last_position": Setting(float(frames.at(frames.last) * d.travel_per_pulse), "mm", DERIVED, "last focus position"),
        "speed": Setting(motion.speed, "mm/s", motion.speed_origin, "largest speed (on the way to the first frame)"),
        "speed_pulses": Setting(motion.speed / d.travel_per_pulse, "1/s", motion.speed_origin, "largest speed in pulses per second"),
        "acceleration": Setting(motion.acceleration, "mm/s^2", motion.acceleration_origin, "acceleration"),
        "acceleration_pulses": Setting(motion.acceleration / d.travel_per_pulse, "1/s^2", motion.acceleration_origin,
                                       "acceleration in pulses per second squared"),
        **common.jerk_settings(float(move.peak_jerk), d.travel_per_pulse),
        "take_up_pulses": Setting(motion.take_up, "pulse", DERIVED, "backlash take-up before the first frame"),
        "frame_speed": Setting(float(move.peak_speed), "mm/s", DERIVED, "speed reached between frames"),
        "move_time": Setting(float(move.duration), "s", DERIVED, "time of a move between frames"),
        "settling_wait": Setting(settle[0], "s", settle[1], "wait after each move"),
        "wait_before_move": Setting(quiet[0], "s", quiet[1], "wait after the last footfall"),
        "frame_cycle": Setting(_cycle(shot, rig, settle[0]), "s", DERIVED, "time of a frame at standstill"),
        "total_time": Setting(timing.total, "min", DERIVED, "time from homing to the last frame"),
        **common.drive_settings(rig),
        "sharp_depth": Setting(focus.sharp, "um", DERIVED, f"sharp depth ({shot.picture.transfer_kept:.0%} of the transfer kept)"),
        "geometric_depth": Setting(focus.geometric, "um", DERIVED, "geometric depth (blur of two pixels)"),
        "wave_depth": Setting(focus.wave, "um", DERIVED, "wave depth (a quarter wave)"),
        "summed_depth": Setting(focus.geometric + focus.wave, "um", DERIVED, "geometric and wave depth added"),
        "data": Setting(bits / 8, "GB", DERIVED, "data"),
        "energy": Setting(power * timing.total, "Wh", DERIVED, "energy from the supply"),
        "mean_power": Setting(power, "W", DERIVED, "mean draw from the supply"),
    }


def depth_alternatives(settings, depth):
    """{measure: frames} that each measure of depth would ask for, for a subject depth in m, without overlap."""
    measures = ("sharp_depth", "geometric_depth", "wave_depth", "summed_depth")
    return {name: optics.frame_count(depth, settings[name].value, 0.0, ends_in_focus=True) for name in measures}


def position_uncertainty(rig, d):
    """Standard-like uncertainty in m of a position: half a pulse, detent and step accuracy, added as squares."""
    m = rig.motor
    strength = stepper.peak_torque(m.holding_torque, rig.driver.peak_current, m.rated_current)
    angle = stepper.position_error(detent_torque=m.detent_torque, gain_mismatch=0.0, phase_offset=0.0, friction_torque=0.0,
                                   holding_torque=strength, rotor_teeth=m.rotor_teeth)
    full_step = d.travel_per_turn / m.full_steps_per_turn
    parts = (d.travel_per_pulse / 2, angle / (2 * math.pi) * d.travel_per_turn, m.step_accuracy * full_step)
    return np.sqrt(sum(x * x for x in parts))


def _picture_checks(shot, rig, d, focus):
    p, n = shot.picture, focus.aperture
    view = (p.magnification, n.f_number, rig.lens.pupil_ratio, rig.camera.pixel_pitch, p.wavelength)
    kept = optics.edge_transfer(focus.spacing, *view, common.sharpness_frequency(shot, rig, n.effective))
    narrower = (("shot.stack.spacing", "down"), ("shot.stack.overlap", "up"))
    return [
        Check("sharpness at the frame edges", kept, p.transfer_kept, "1", "at least", 1.0,
              why="share of the in-focus transfer halfway between two frames", knobs=(*narrower, ("shot.picture.f_number", "up"))),
        Check("aperture against the best", _best_share(shot, rig, focus), BEST_SHARE, "1", "at least", 1.0,
              why="transfer halfway between frames against that of the best aperture of the lens for this spacing",
              knobs=(("shot.picture.f_number", "down"), ("shot.picture.f_number", "up"))),
        Check("position uncertainty against spacing", position_uncertainty(rig, d), UNCERTAINTY_SHARE * focus.spacing, "um",
              why="half a pulse, detent and step accuracy together against a quarter of the spacing",
              knobs=(("rig.driver.microsteps", "up"), ("shot.stack.spacing", "up"), ("rig.motor.step_accuracy", "down"))),
        Check("room in front of the lens", working_distance(shot, rig) - abs(shot.stack.far_end - shot.stack.near_end)
              - shot.stack.clearance_in_front, rig.lens.least_clearance, "mm", "at least",
              why="at the far end, to the nearest part of the subject",
              knobs=(("shot.stack.clearance_in_front", "down"), ("rig.lens.least_clearance", "down"),
                     ("shot.stack.far_end", "down" if shot.stack.far_end >= shot.stack.near_end else "up"),
                     ("rig.lens.working_distance", "up"))),
        *common.lens_checks(shot, rig, n),
    ]


def working_distance(shot, rig):
    """Front of the lens to the plane in focus, in m, at the shot's magnification."""
    lens = rig.lens
    return optics.working_distance(known_distance=lens.working_distance, focal_length=lens.focal_length,
                                   magnification=shot.picture.magnification, known_magnification=lens.magnification)


def _best_share(shot, rig, focus):
    """Transfer halfway between frames, over the largest that any aperture of the lens would give there."""
    p, lens = shot.picture, rig.lens
    frequency = common.sharpness_frequency(shot, rig)

    def transfer(number):
        effective = optics.effective_f_number(number, p.magnification, lens.pupil_ratio)
        focused = optics.diffraction_mtf(np.minimum(1, frequency / optics.cutoff_frequency(p.wavelength, effective)))
        return focused * optics.edge_transfer(focus.spacing, p.magnification, number, lens.pupil_ratio, rig.camera.pixel_pitch,
                                              p.wavelength, frequency)

    own = transfer(focus.aperture.f_number)
    numbers = np.geomspace(lens.lowest_f_number, lens.highest_f_number, 60).reshape(-1, *[1] * np.ndim(own))
    best = np.maximum(own, transfer(numbers).max(axis=0))
    return np.where(best > 0, own / np.where(best > 0, best, 1.0), 0.0)[()]


def _motion_checks(shot, rig, d, motion, frames, approach):
    ends = [x * d.travel_per_pulse for x in (frames.start, frames.at(frames.count), *(step[2] for step in approach))]
    slower, homing = (("shot.stack.speed", "down"),), [("homing", rig.rail.homing_speed)]
    wander = tilt.misalignment(np.maximum(abs(shot.stack.far_end - shot.stack.near_end), d.travel_per_pulse), rig.rail.misalignment)
    return [
        common.rail_check(rig, ends, (("shot.stack.near_end", "up"), ("shot.stack.far_end", "down"), ("rig.rail.high_end_stop", "up"))),
        common.pulse_check(shot, rig, motion.speed, slower, homing),
        common.torque_check(shot, rig, motion.speed, motion.acceleration, (*slower, ("shot.stack.acceleration", "down")), homing),
        *common.holding_checks(rig),
        Check("rail along the optical axis", wander * shot.picture.magnification, DRIFT_ACROSS * rig.camera.sensor_height, "mm",
              why=f"wander of the picture over the stack against {DRIFT_ACROSS:.0%} of its height",
              knobs=(("rig.rail.misalignment", "down"),)),
    ]


def _limit_checks(shot, rig, frames, timing):
    wider = (("shot.stack.overlap", "down"), ("shot.stack.spacing", "up"), ("shot.waits.settling_wait", "down"))
    found = common.time_checks(shot, timing.total, wider)
    if shot.limits.frames is not None:
        found.append(Check("frames allowed", frames.taken, shot.limits.frames, "1", knobs=(*wider[:2], ("shot.limits.frames", "up"))))
    return [*found, *common.power_checks(rig, timing.total, timing.moving / timing.total, wider)]


def _notes(focus, frames, presets):
    ends = "the first is focused on the near end, the last on the far end or a little behind it"
    notes = [f"The stack has {frames.count} frames: {ends}.", *stillness.notes(*presets)]
    return notes + ["The spacing is one pulse, the least this rig can do."] * (focus.pulses == 1)
