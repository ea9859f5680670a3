"""What filmed and hand-led moves share: how the picture moves, what stays sharp, what the motor shakes."""

import numpy as np

from macrolib.files import AUTO
from macrolib.physics import optics, screen, tilt, vibration
from macrolib.planning import common
from macrolib.planning.checks import Check
from macrolib.planning.common import Setting
from macrolib.planning.stillness import DERIVED

_MOST_FRAMES = 200_000  # video frames: beyond this something is mistyped
_STEEPEST = 1.5  # rad: beyond this nothing stays in focus along a move


def table(shot):
    """The shot's own table, and its name: traverse or hand_led."""
    return (shot.traverse, "traverse") if shot.traverse else (shot.hand_led, "hand_led")


def marks(shot, per_pulse):
    """(start mark, end mark) in whole pulses; ValueError where both are the same, of arrays where all are."""
    own, name = table(shot)
    start, end = (common.whole(mark / per_pulse) for mark in (own.start_mark, own.end_mark))
    if np.all(start == end):
        raise ValueError(f"{name}.start_mark and {name}.end_mark must differ, by a pulse of {1e6 * np.max(per_pulse):.3g} um at least")
    return start, end


def image_rate(shot, rig):
    """Metres at the sensor for a metre of carriage travel: m sideways; at the picture's edge of an axial move r'/d_E."""
    m = shot.picture.magnification
    if shot.direction == "sideways":
        return m
    return rig.camera.sensor_width / 2 / optics.entrance_pupil_distance(rig.lens.focal_length, m, rig.lens.pupil_ratio)


def pixels_moved(shot, rig, travel):
    """Pixels that the picture moves (at its edge in an axial move) for a carriage travel in m."""
    return travel * image_rate(shot, rig) / rig.camera.pixel_pitch


def default_image_speed(shot, rig):
    """px/frame of the crossing rule of physics.screen: one picture width in 168 frames."""
    return rig.camera.sensor_width / rig.camera.pixel_pitch / screen.CROSSING_FRAMES


def speed_limit(shot, rig, per_pulse):
    """Speed in m/s that ceiling and crossing rule (or the shot's own image speed limit) leave, with margin."""
    pixels = shot.limits.image_speed or default_image_speed(shot, rig)
    smooth = pixels / 1.25 * rig.camera.pixel_pitch * table(shot)[0].frame_rate / image_rate(shot, rig)
    return common.two_digits(min(smooth, 0.95 * shot.limits.ceiling_share * rig.pulse_ceiling * per_pulse))


def excited(rig, speed):
    """{cause: Hz} that a steady speed shakes the rig with; single pulses only where they are whole steps."""
    tooth = rig.transmission.pitch if rig.transmission.kind == "belt" else None
    found = vibration.excited_frequencies(speed, rig.travel_per_turn, rig.motor.full_steps_per_turn, rig.driver.microsteps, tooth)
    coarse = np.asarray(rig.driver.microsteps) <= 2
    return {cause: f if cause != "pulse" else np.where(coarse, f, np.inf)[()]
            for cause, f in found.items() if cause != "pulse" or coarse.any()}


def slower(shot):
    """Knobs that slow the move down: the duration where that is given, else the speed."""
    own, name = table(shot)
    return ((f"shot.{name}.speed", "down"),) if getattr(own, "duration", AUTO) == AUTO else (("shot.traverse.duration", "up"),)


def faster(shot):
    """Knobs that make the move faster."""
    return tuple((key, "up" if way == "down" else "down") for key, way in slower(shot))


def change_speed(shot, up):
    """What makes the move faster, or slower, in words: the key that asks for the speed, and which way to change it."""
    own, name = table(shot)
    if getattr(own, "duration", AUTO) != AUTO:
        return f"{'shorten' if up else 'lengthen'} traverse.duration"
    by_picture = isinstance(own.speed, str) and shot.limits.image_speed is not None
    return f"{'raise' if up else 'lower'} {'limits.image_speed' if by_picture else f'{name}.speed'}"


def too_many_frames(shot, seconds):
    """(whether a move of so many seconds has more video frames than anybody films, why it is refused); arrays broadcast."""
    return seconds * table(shot)[0].frame_rate > _MOST_FRAMES, (
        f"the move would have more than {_MOST_FRAMES:,} video frames: {change_speed(shot, True)} or bring the marks together")


def focus_check(shot, rig, speed, depth):
    """Sideways: the focus that a misaligned axis loses over the move. Axial: the shift of focus in one frame."""
    own = table(shot)[0]
    if shot.direction == "axial":
        return Check("shift of focus in a frame", screen.axial_shift(speed, own.frame_rate), depth, "um",
                     why="travel towards the subject in one video frame", knobs=slower(shot))
    angle = np.minimum(rig.rail.misalignment + abs(shot.subject.slope), _STEEPEST)  # which way the rail is off is not known: the worst case
    return Check("focus along the move", tilt.misalignment(abs(own.end_mark - own.start_mark), angle), depth, "um",
                 why="what the angle between rail and subject takes from the depth that is sharp",
                 knobs=(("rig.rail.misalignment", "down"), ("shot.subject.slope", "down"), ("shot.picture.f_number", "up")))


def picture_settings(shot, rig, speed):
    """Settings of what the film shows at the top speed in m/s, and of the aperture."""
    own, chosen = table(shot)[0], common.aperture(shot, rig)
    image = pixels_moved(shot, rig, speed) / own.frame_rate
    return {
        "image_speed": Setting(image, "px/frame", DERIVED, "motion of the picture, at its edge in an axial move"),
        "exposure_time": Setting(screen.exposure_time(own.shutter_angle, own.frame_rate), "ms", DERIVED, "exposure of a video frame"),
        "blur": Setting(screen.frame_blur(image, own.shutter_angle), "px", DERIVED, "motion within an exposure"),
        "f_number": Setting(chosen.f_number, "1", chosen.origin, "marked f-number"),
        "effective_f_number": Setting(chosen.effective, "1", DERIVED, "effective f-number"),
        "sharp_depth": Setting(common.sharp_depth(shot, rig, chosen), "mm", DERIVED, "depth that is sharp"),
    }


def picture_checks(shot, rig, speed):
    """Checks of what the film shows at the top speed in m/s: motion, blur, frame rate, focus, depth, lens."""
    own, name = table(shot)
    image = pixels_moved(shot, rig, speed) / own.frame_rate
    rule = shot.limits.image_speed is None
    chosen = common.aperture(shot, rig)
    depth = common.sharp_depth(shot, rig, chosen)
    nearest = min(rig.camera.frame_rates, key=lambda rate: abs(rate - own.frame_rate))
    found = [
        Check("motion of the picture", image, default_image_speed(shot, rig) if rule else shot.limits.image_speed, "px/frame",
              why=f"one picture width in {screen.CROSSING_FRAMES} frames, a starting value" if rule else "the shot's own limit",
              knobs=slower(shot)),
        Check("frame rate of the camera", abs(nearest - own.frame_rate), 0.0, "fps", why="nearest rate the camera has",
              knobs=((f"shot.{name}.frame_rate", nearest),)),
        focus_check(shot, rig, speed, depth),
        *common.lens_checks(shot, rig, chosen),
    ]
    if shot.limits.blur is not None:
        found.append(Check("blur within an exposure", screen.frame_blur(image, own.shutter_angle), shot.limits.blur, "px",
                           knobs=(*slower(shot), (f"shot.{name}.shutter_angle", "down"))))
    if shot.subject.depth is not None:
        found.append(Check("depth of the subject", depth, shot.subject.depth, "mm", "at least", 1.0,
                           why="depth that is sharp against the depth that must be",
                           knobs=(("shot.picture.f_number", "up"), ("shot.subject.depth", "down"))))
    return found
