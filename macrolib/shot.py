"""The shot: what you want. Frozen parts, read from and written to shot.toml.

A stack, a traverse or a hand-led move; each setting is given (it is judged) or "auto" (the plan derives it).
Positions are carriage positions on the rail, in metres from the home switch.
"""

import dataclasses
import math

from macrolib import files
from macrolib.files import AUTO, choice, number, quantity, whole, words_at_top

KINDS = ("stack", "traverse", "hand-led")
DIRECTIONS = ("axial", "sideways")
RAMPS = ("auto", "trapezoid", "jerk-limited", "minimum-jerk", "cycloidal", "half-sine", "versed-sine")
WHOLE_RAMPS = ("minimum-jerk", "cycloidal")  # without a cruise


@dataclasses.dataclass(frozen=True)
class Picture:
    """What the picture needs. Exactly one of the three apertures is given; f_number may be "auto"."""

    magnification: float = number("image size over object size", above=0, most=100)
    f_number: float = number("marked f-number", None, above=0.1, most=200, auto=True)
    effective_f_number: float = number("effective f-number at this magnification", None, above=0.1, most=1000)
    numerical_aperture: float = number("numerical aperture on the object's side", None, above=0, most=0.95)
    exposure_time: float = quantity("exposure time of a frame", "s", 0.01, above=0, most=3600)
    wavelength: float = quantity("wavelength that stands for the light", "nm", 550e-9, above=100e-9, most=2e-6)
    transfer_kept: float = number("share of its in-focus transfer that a frame keeps at the edge of its depth", 0.8, above=0.05, most=0.99)
    frequency: float = quantity("frequency at the sensor at which that is judged", "1/mm", AUTO, above=0, most=1e7, auto=True)

    def faults(self):
        """What does not fit together, in words."""
        given = [n for n in ("f_number", "effective_f_number", "numerical_aperture") if getattr(self, n) is not None]
        return [] if len(given) == 1 else [
            f"give exactly one of f_number, effective_f_number, numerical_aperture; found {', '.join(given) or 'none'}"]


@dataclasses.dataclass(frozen=True)
class Stack:
    """A focus stack: frames at depths through the subject, between a near end and a far end."""

    near_end: float = quantity("carriage position with the near end of the subject in focus", "mm", least=-10, most=10)
    far_end: float = quantity("carriage position with the far end of the subject in focus", "mm", least=-10, most=10)
    spacing: float = quantity("frame spacing", "um", AUTO, above=0, most=1, auto=True)
    overlap: float = number("share of the depth that neighbouring frames have in common", 0.1, least=0, most=0.9)
    speed: float = quantity("largest speed between frames", "mm/s", AUTO, above=0, most=1, auto=True)
    acceleration: float = quantity("acceleration between frames", "mm/s^2", AUTO, above=0, most=100, auto=True)
    ramp: str = choice("kind of ramp between frames", *RAMPS, default="auto")
    pause: float = quantity("least time from the end of an exposure to the next move", "s", 0.0, least=0, most=3600)
    first_frame: int = whole("frame to begin with, to resume or to repeat", 1)
    last_frame: int = whole("frame to end with; leave out for the last", None)
    clearance_in_front: float = quantity("what stands in front of the near end, towards the lens", "mm", 0.0, least=0, most=1)

    def faults(self):
        """What does not fit together, in words."""
        return [] if self.last_frame is None or self.last_frame >= self.first_frame else ["last_frame is before first_frame"]


@dataclasses.dataclass(frozen=True)
class Traverse:
    """A filmed move from a start mark to an end mark, with a ramp at each end."""

    start_mark: float = quantity("carriage position at the start mark", "mm", least=-10, most=10)
    end_mark: float = quantity("carriage position at the end mark", "mm", least=-10, most=10)
    speed: float = quantity("speed between the ramps", "mm/s", AUTO, above=0, most=10, auto=True)
    acceleration: float = quantity("acceleration in the ramps", "mm/s^2", AUTO, above=0, most=100, auto=True)
    duration: float = quantity("time from mark to mark", "s", AUTO, above=0, most=1e6, auto=True)
    ramp: str = choice("kind of ramp", *RAMPS, default="auto")
    ramp_frames: int = whole("video frames in which a ramp shall last; leave out to use the acceleration", None, most=100_000)
    ramps: str = choice("where the ramps lie", "inside", "outside", default="inside")
    run_up: float = quantity("extra travel before the start, to settle", "mm", 0.0, least=0, most=1)
    takes: int = whole("how often it is filmed", 1, most=1000)
    frame_rate: float = quantity("frame rate", "fps", 24.0, above=0, most=1000)
    shutter_angle: float = quantity("shutter angle", "deg", math.pi, above=0, most=2 * math.pi)

    def faults(self):
        """What does not fit together, in words."""
        given = {name for name in ("speed", "duration", "acceleration", "ramp_frames") if getattr(self, name) not in (AUTO, None)}
        found = [f"{one} and {other} are both given, and each follows from the other: delete one of the two"
                 for one, other in (("speed", "duration"), ("acceleration", "ramp_frames")) if {one, other} <= given]
        if self.ramp in WHOLE_RAMPS:
            found += [f"{name} does not go with a {self.ramp} move, whose speed or duration says it all: delete it"
                      for name in ("acceleration", "ramp_frames") if name in given]
            if self.ramps == "outside":
                found.append(f"a {self.ramp} move has no constant speed between marks; use ramps = \"inside\" or another ramp")
        return found


@dataclasses.dataclass(frozen=True)
class HandLed:
    """The carriage follows a hand-turned set-point within its speed and acceleration limits."""

    start_mark: float = quantity("carriage position at the start mark", "mm", least=-10, most=10)
    end_mark: float = quantity("carriage position at the end mark", "mm", least=-10, most=10)
    speed: float = quantity("largest speed", "mm/s", AUTO, above=0, most=10, auto=True)
    acceleration: float = quantity("largest acceleration", "mm/s^2", AUTO, above=0, most=100, auto=True)
    travel_per_control_turn: float = quantity("travel for one turn of the control", "mm", 1e-3, above=0, most=1)
    control: str = choice("which way the control turns the carriage", "same", "opposite", default="same")
    overrun: float = quantity("how far the marks may be overrun", "mm", 0.0, least=0, most=1)
    frame_rate: float = quantity("frame rate", "fps", 24.0, above=0, most=1000)
    shutter_angle: float = quantity("shutter angle", "deg", math.pi, above=0, most=2 * math.pi)


@dataclasses.dataclass(frozen=True)
class Waits:
    """How still the picture must be, and how long to wait for that."""

    tolerance: float = quantity("motion of the picture that is allowed, peak to peak", "px", 1.0, above=0, most=1000)
    settling_wait: float = quantity("wait after each move of a stack", "s", AUTO, least=0, most=3600, auto=True)
    wait_before_move: float = quantity("wait after the last footfall until the first frame", "s", AUTO, least=0, most=3600, auto=True)
    operator_distance: float = quantity("distance of the last footfall from the rig", "m", 1.0, above=0, most=100)
    operator_steps: int = whole("footfalls when stepping away that ring together", 1, most=100)


@dataclasses.dataclass(frozen=True)
class Limits:
    """Limits from outside; they are always judged."""

    time: float = quantity("most time for the shot", "min", None, above=0, most=1e7)
    frames: int = whole("most frames", None)
    subject_still: float = quantity("how long the subject stays still", "min", None, above=0, most=1e7)
    image_speed: float = quantity("most motion of the picture between film frames", "px/frame", None, above=0, most=1e5)
    blur: float = quantity("most motion within an exposure", "px", None, above=0, most=1e5)
    torque_factor: float = number("torque available over torque needed that is asked for", 2.0, least=1, most=20)
    ceiling_share: float = number("share of the pulse ceiling that may be used", 0.8, above=0, most=1)


@dataclasses.dataclass(frozen=True)
class Subject:
    """The subject's own ways."""

    depth: float = quantity("depth of what must be sharp, for film", "mm", None, above=0, most=1)
    slope: float = quantity("slope of the subject along a sideways move", "deg", 0.0, least=-1.2, most=1.2)
    natural_frequency: float = quantity("natural frequency of stalk or leaf", "Hz", None, above=0, most=1e3)
    damping_ratio: float = number("its damping ratio", None, least=0, most=0.99)
    sway: float = quantity("how far it sways in the draught that there is, zero to peak", "um", None, least=0, most=0.1)


TABLES = {
    "picture": Picture, "stack": Stack, "traverse": Traverse, "hand_led": HandLed, "waits": Waits, "limits": Limits, "subject": Subject,
}
_KIND_TABLE = {"stack": "stack", "traverse": "traverse", "hand-led": "hand_led"}


@dataclasses.dataclass(frozen=True)
class Shot:
    """One shot; the table of its own kind is there, those of the other kinds are None."""

    name: str
    kind: str
    direction: str
    picture: Picture
    stack: Stack | None = None
    traverse: Traverse | None = None
    hand_led: HandLed | None = None
    waits: Waits = Waits()
    limits: Limits = Limits()
    subject: Subject = Subject()
    note: str = ""


def read_shot(path):
    """Read shot.toml. Raises FileFault (a ValueError) that lists all faults, FileNotFoundError without the file."""
    content, faults = files.load(path), []
    kind = _word(content, "kind", KINDS, faults)
    direction = _word({"direction": "axial", **content} if kind == "stack" else content, "direction", DIRECTIONS, faults)
    wanted = {"picture", _KIND_TABLE.get(kind), *(set(content) & {"waits", "limits", "subject"})} - {None}
    for name in content:
        if name not in (*TABLES, "name", "note", "kind", "direction"):
            faults.append(f"[{name}]: is not a known table" + files.nearest(name, TABLES))
        elif kind and name in _KIND_TABLE.values() and name not in wanted:
            faults.append(f"[{name}]: does not belong to a shot of kind \"{kind}\"")
    parts = {name: files.build(TABLES[name], content.get(name, {}), name, faults) for name in TABLES if name in wanted}
    for name in ("name", "note"):
        parts[name] = words_at_top(content, name, faults)
    if kind == "stack" and direction == "sideways":
        faults.append("direction: a stack moves along the optical axis; allowed: \"axial\"")
    if faults:
        raise files.FileFault(path, faults)
    return Shot(kind=kind, direction=direction, **parts)


def _word(content, name, choices, faults):
    try:
        return files.Key(name, "choice", choices=choices).read(content.get(name))
    except ValueError as problem:
        faults.append(f"{name}: {problem}")
        return None


def shot_text(shot):
    """The text of shot.toml for a shot; reading it gives an equal Shot."""
    top = [f"{name} = {files.quoted(getattr(shot, name))}" for name in ("name", "note", "kind", "direction") if getattr(shot, name)]
    blocks = [files.table_text(getattr(shot, name), name) for name in TABLES if getattr(shot, name) is not None]
    return "\n\n".join(["\n".join(top), *blocks]) + "\n"


def write_shot(shot, path, replace=False):
    """Write shot.toml whole or not at all; an existing file is replaced only when asked (FileExistsError)."""
    return files.write_whole(path, shot_text(shot), replace)
