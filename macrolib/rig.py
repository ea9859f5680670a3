"""The rig: what you have. Frozen parts, read from and written to rig.toml.

Positions on the rail are measured from the home switch, in metres. They grow towards the subject on an
axial rail and along the picture on a sideways one. A tilt of 90 degrees stands the axis upright.
"""

import dataclasses
import datetime
import functools
import math

from macrolib import files
from macrolib.files import choice, number, quantity, whole, words

BASES = ("typical of its kind", "data sheet", "measured")
SUPPORTS = ("fixed-free", "supported-supported", "fixed-supported", "fixed-fixed")
_RIGHT_ANGLE = math.pi / 2


def _basis():
    return choice("where the values of this table come from", *BASES, default=BASES[0])


@dataclasses.dataclass(frozen=True)
class Transmission:
    """What turns rotation into travel."""

    basis: str = _basis()
    kind: str = choice("what turns rotation into travel", "screw", "ball screw", "belt", "rack")
    diameter: float = quantity("outer diameter of the screw's thread", "mm", None, above=0, most=0.2)
    pitch: float = quantity("thread pitch, or tooth pitch of belt or rack", "mm", also=("mm/turn",), above=0, most=0.1)
    starts: int = whole("number of thread starts", 1, most=12)
    teeth: int = whole("teeth of the driven pulley or pinion", None, least=6, most=400)
    gear_ratio: float = number("motor turns for one turn of screw, pulley or pinion", 1.0, above=0, most=1000)
    flank_angle: float = quantity("half the thread angle", "deg", math.radians(15), least=0, most=math.radians(45))
    friction: float = number("friction coefficient of the nut in the thread", None, least=0, most=1)
    efficiency: float = number("efficiency of ball screw, belt or rack", None, above=0, most=1)
    drag_torque: float = quantity("torque that turns the unloaded screw or pulley", "mN m", 0.0, least=0, most=10)
    inertia: float = quantity("rotary inertia of screw or pulley with coupling", "g cm^2", 0.0, least=0, most=0.1)
    free_length: float = quantity("length of screw between its bearings", "mm", None, above=0, most=5)
    support: str = choice("how the screw's two ends are held", *SUPPORTS, default="supported-supported")
    backlash: float = quantity("lost travel at reversal", "um", 0.0, least=0, most=5e-3)
    stiffness: float = quantity("push per deflection of screw or belt along the rail", "N/um", None, above=0, most=1e10)

    def faults(self):
        """What does not fit together, in words."""
        if "screw" in self.kind:
            found = [] if self.diameter else ["diameter: is missing; a screw needs it"]
            if self.diameter and self.pitch >= self.diameter:
                found.append("pitch: must be smaller than the diameter of the screw")
            if self.kind == "screw" and self.friction is None:
                found.append("friction: is missing; a screw needs it (0.1 to 0.2 is usual for bronze or plastic on steel)")
        else:
            found = [] if self.teeth else [f"teeth: is missing; a {self.kind} needs it"]
        if self.kind != "screw" and self.efficiency is None:
            found.append(f"efficiency: is missing; a {self.kind} needs it")
        return found

    @property
    def lead(self):
        """Travel for one turn of screw, pulley or pinion, in m."""
        return self.pitch * (self.starts if "screw" in self.kind else self.teeth)

    @property
    def travel_per_turn(self):
        """Travel for one turn of the motor, in m."""
        return self.lead / self.gear_ratio


@dataclasses.dataclass(frozen=True)
class Motor:
    """A two-phase stepping motor. Holding torque: both phases on at rated current."""

    basis: str = _basis()
    full_steps_per_turn: int = whole("full steps in one turn", 200, least=4, most=1000)
    holding_torque: float = quantity("holding torque, both phases on at rated current", "N m", above=0, most=100)
    rated_current: float = quantity("rated current of a phase", "A", above=0, most=50)
    resistance: float = quantity("resistance of a phase", "ohm", above=0, most=1000)
    inductance: float = quantity("inductance of a phase", "mH", above=0, most=1)
    rotor_inertia: float = quantity("inertia of the rotor", "g cm^2", above=0, most=0.1)
    detent_torque: float = quantity("torque that holds the rotor without current", "mN m", 0.0, least=0, most=10)
    thermal_resistance: float = quantity("warming of the motor's case for each watt lost in it", "K/W", 6.0, above=0, most=100)
    case_limit: float = quantity("hottest that the motor's case may become", "degC", 353.15, least=303.15, most=453.15)
    step_accuracy: float = number("largest error of a full step, share of a full step", 0.05, least=0, most=0.5)

    @property
    def rotor_teeth(self):
        """Electrical cycles in one turn: a quarter of the full steps."""
        return self.full_steps_per_turn / 4


@dataclasses.dataclass(frozen=True)
class Driver:
    """The microstepping driver and how it is set."""

    basis: str = _basis()
    microsteps: int = whole("pulses for one full step", most=1024)
    most_microsteps: int = whole("most pulses for one full step that it offers, of all powers of two up to there", None, most=1024)
    peak_current: float = quantity("amplitude of the sine of current that is set", "A", above=0, most=50)
    largest_current: float = quantity("largest amplitude of current that the driver gives", "A", None, above=0, most=50)
    largest_voltage: float = quantity("highest supply voltage that the driver bears", "V", None, above=0, most=1000)
    hold_current_share: float = number("current at standstill, share of the running current", 1.0, least=0, most=1)
    pulse_ceiling: float = quantity("most pulses per second the driver takes", "1/s", 200e3, also=("pulse/s",), above=0, most=1e7)
    idle_power: float = quantity("power the driver takes for itself", "W", 0.5, least=0, most=100)

    def faults(self):
        """What does not fit together, in words."""
        return ["microsteps is above most_microsteps"] if self.microsteps > (self.most_microsteps or self.microsteps) else []


@dataclasses.dataclass(frozen=True)
class Controller:
    """What makes the pulses."""

    basis: str = _basis()
    program: str = words("name of the pulse program, if it has one")
    pulse_ceiling: float = quantity("most pulses per second it keeps up", "1/s", also=("pulse/s",), above=0, most=1e7)
    idle_power: float = quantity("power the controller takes", "W", 0.3, least=0, most=100)


@dataclasses.dataclass(frozen=True)
class Carriage:
    """All that moves."""

    basis: str = _basis()
    mass: float = quantity("all that moves: carriage, camera, lens, cables", "kg", above=0, most=100)
    guide_friction: float = number("friction coefficient of the guide", 0.01, least=0, most=1)
    drag_force: float = quantity("pull of wipers and cables, whatever the load", "N", 0.0, least=0, most=1000)
    natural_frequency: float = quantity("natural frequency of the camera on its carriage", "Hz", None, above=0, most=1e4)
    damping_ratio: float = number("damping ratio of the camera on its carriage", 0.02, least=0, most=0.99)


@dataclasses.dataclass(frozen=True)
class Rail:
    """Where the carriage can go; positions count from the home switch."""

    basis: str = _basis()
    home_switch: float = quantity("position of the home switch, the datum", "mm", 0.0)
    low_end_stop: float = quantity("position of the lower end stop", "mm", least=-10, most=10)
    high_end_stop: float = quantity("position of the upper end stop", "mm", least=-10, most=10)
    homing_speed: float = quantity("speed towards the home switch", "mm/s", 2e-3, above=0, most=1)
    homing_repeatability: float = quantity("scatter of the home switch, standard deviation", "um", 5e-6, least=0, most=1e-3)
    tilt: float = quantity("slope of the axis: 0 level, 90 upright", "deg", 0.0, least=0, most=_RIGHT_ANGLE)
    expansion: float = quantity("lengthening of screw or belt with temperature", "um/m/K", 12e-6, least=0, most=1e-3)
    warming: float = quantity("how much the screw warms in the long run, by motor and friction", "K", 0.0, least=0, most=100)
    warming_time: float = quantity("time in which it does 63 % of that", "min", 2400.0, above=0, most=1e6)
    misalignment: float = quantity("angle between rail and the direction it should have", "deg", 0.0, least=0, most=0.5)

    def faults(self):
        """What does not fit together, in words."""
        fits = self.low_end_stop <= self.home_switch < self.high_end_stop
        return [] if fits else ["the home switch must lie between low_end_stop and high_end_stop"]


@dataclasses.dataclass(frozen=True)
class Camera:
    """Sensor, shutter and data."""

    basis: str = _basis()
    sensor_width: float = quantity("width of the sensor", "mm", above=0, most=1)
    sensor_height: float = quantity("height of the sensor", "mm", above=0, most=1)
    pixel_pitch: float = quantity("distance between neighbouring pixels", "um", above=0, most=1e-3)
    frame_rates: tuple = quantity("frame rates for film", "fps", (24.0,), above=0, most=1000, many=True)
    shutter: str = choice("what ends the exposure", "mechanical", "electronic first curtain", "electronic", default="mechanical")
    shutter_shock: float = quantity("jump of the picture at the sensor when the shutter moves", "um", 0.0, least=0, most=1e-3)
    readout_time: float = quantity("time from first to last row of a picture", "ms", 0.0, least=0, most=1)
    trigger_latency: float = quantity("time from trigger to exposure", "ms", 0.05, least=0, most=10)
    write_time: float = quantity("time to store a frame before the next can be taken", "s", 0.5, least=0, most=600)
    bits_per_pixel: float = number("stored bits of a pixel", 14.0, above=0, most=200)
    video_bit_rate: float = number("stored bits of a second of film", 100e6, above=0, most=1e12)
    power: float = quantity("power the camera takes", "W", 3.0, least=0, most=1000)

    @property
    def pixels(self):
        """Number of pixels of a frame."""
        return round(self.sensor_width / self.pixel_pitch) * round(self.sensor_height / self.pixel_pitch)


@dataclasses.dataclass(frozen=True)
class Lens:
    """The lens and what holds it."""

    basis: str = _basis()
    focal_length: float = quantity("focal length", "mm", above=0, most=2)
    pupil_ratio: float = number("exit over entrance pupil diameter, seen from the front as used", 1.0, above=0.05, most=20)
    lowest_f_number: float = number("widest marked aperture", 2.8, above=0.1, most=100)
    highest_f_number: float = number("smallest marked aperture", 22.0, above=0.1, most=100)
    lowest_magnification: float = number("smallest magnification it is used at", 0.1, above=0, most=100)
    highest_magnification: float = number("largest magnification it is used at", 5.0, above=0, most=100)
    magnification: float = number("magnification at which working_distance was read", above=0, most=100)
    working_distance: float = quantity("front of the lens to the plane in focus, at that magnification", "mm", above=0, most=10)
    least_clearance: float = quantity("room the front of the lens must keep", "mm", 5e-3, least=0, most=1)
    mass: float = quantity("mass of the lens with what is fixed to it", "kg", 0.5, above=0, most=50)
    supports: int = whole("places at which camera and lens are held", 1, most=4)
    support_stiffness: float = quantity("force per deflection at each place where the lens is held", "N/um", None, above=0, most=1e10)
    support_damping: float = number("damping ratio of the lens on its support", 0.02, least=0, most=0.99)

    def faults(self):
        """What does not fit together, in words."""
        return [f"lowest_{what} is above highest_{what}" for what in ("f_number", "magnification")
                if getattr(self, f"lowest_{what}") > getattr(self, f"highest_{what}")]


@dataclasses.dataclass(frozen=True)
class Light:
    """Flash or lamp."""

    basis: str = _basis()
    kind: str = choice("what lights the frames", "flash", "lamp", default="lamp")
    flash_duration: float = quantity("duration of the flash", "ms", 1e-3, above=0, most=1)
    flash_recycle_time: float = quantity("time until the flash can fire again", "s", 0.0, least=0, most=600)
    flicker_frequency: float = quantity("flicker of the lamp, if it has one", "Hz", None, above=0, most=1e6)
    power: float = quantity("power the light takes from the rig's supply", "W", 0.0, least=0, most=5000)


@dataclasses.dataclass(frozen=True)
class Stand:
    """What holds rig and subject."""

    basis: str = _basis()
    natural_frequency: float = quantity("natural frequency of the rig on its stand", "Hz", None, above=0, most=1e4)
    damping_ratio: float = number("damping ratio of the rig on its stand", None, least=0, most=0.99)
    base: str = choice("whether camera and subject stand on one base", "one", "two", default="one")


@dataclasses.dataclass(frozen=True)
class Floor:
    """What the stand is on."""

    basis: str = _basis()
    kind: str = words("what kind of floor; a name from parts/floors.toml stands in for values that are missing", "")
    natural_frequency: float = quantity("natural frequency of the floor", "Hz", None, above=0, most=1e3)
    damping_ratio: float = number("damping ratio of the floor", None, least=0, most=0.99)
    footfall_amplitude: float = quantity("amplitude of the floor after a footfall, zero to peak", "um", None, least=0, most=1e-2)
    footfall_distance: float = quantity("distance from the footfall at which that holds", "m", 1.0, above=0, most=100)
    distance_exponent: float = number("how the amplitude falls with distance: 0 not at all, 0.5 or more on soil", 0.0, least=0, most=3)


@dataclasses.dataclass(frozen=True)
class Supply:
    """Battery or mains adapter; without `energy` it never runs empty."""

    basis: str = _basis()
    voltage: float = quantity("voltage for the motor driver", "V", above=0, most=100)
    energy: float = quantity("energy on the battery's label; leave out for mains", "Wh", None, above=0, most=1e8)
    usable_share: float = number("share of the label's energy that can be used", 0.8, above=0, most=1)
    converter_efficiency: float = number("efficiency between supply and loads", 0.9, above=0, most=1)
    power_limit: float = quantity("most power the supply gives", "W", None, above=0, most=5000)


@dataclasses.dataclass(frozen=True)
class Room:
    """Temperature around the rig."""

    basis: str = _basis()
    temperature: float = quantity("temperature of the room", "degC", 293.15, least=223.15, most=343.15)
    drift: float = quantity("change of temperature in an hour", "K/h", 0.0, least=0, most=1)


@dataclasses.dataclass(frozen=True)
class Measured:
    """A value measured on the rig that stands beside the one in its table and is used instead."""

    value: float
    standard_uncertainty: float
    date: str


PARTS = {
    "transmission": Transmission, "motor": Motor, "driver": Driver, "controller": Controller, "carriage": Carriage,
    "rail": Rail, "camera": Camera, "lens": Lens, "light": Light, "stand": Stand, "floor": Floor, "supply": Supply, "room": Room,
}
_OPTIONAL = ("light", "stand", "floor", "room")
_MEASURED_ALSO = {"transmission.travel_per_turn": files.Key("travel for a turn of the motor", "quantity", "mm", ("mm/turn",), 0, 0.5, True)}


@dataclasses.dataclass(frozen=True)
class Rig:
    """A whole machine; every number in SI. `measured` maps 'table.key' to Measured."""

    name: str
    transmission: Transmission
    motor: Motor
    driver: Driver
    controller: Controller
    carriage: Carriage
    rail: Rail
    camera: Camera
    lens: Lens
    supply: Supply
    light: Light = Light()
    stand: Stand = Stand()
    floor: Floor = Floor()
    room: Room = Room()
    note: str = ""
    measured: tuple = ()  # pairs of ('table.key', Measured)

    def value(self, name):
        """The value of 'table.key' that plans use: the measured one if there is one."""
        table, key = name.split(".")
        return dict(self.measured)[name].value if name in dict(self.measured) else getattr(getattr(self, table), key)

    @functools.cached_property
    def as_used(self):
        """The same rig with every measured value in its place."""
        rig = self
        for name, found in self.measured:
            table, key = name.split(".")
            if name not in _MEASURED_ALSO:
                rig = dataclasses.replace(rig, **{table: dataclasses.replace(getattr(rig, table), **{key: found.value})})
        return rig

    @property
    def travel_per_turn(self):
        """Travel for one turn of the motor in m, measured if it was measured."""
        return self.value("transmission.travel_per_turn")

    @property
    def pulses_per_turn(self):
        """Driver pulses for one turn of the motor."""
        return self.motor.full_steps_per_turn * self.driver.microsteps

    @property
    def pulse_ceiling(self):
        """Most pulses per second that both controller and driver keep up."""
        return min(self.controller.pulse_ceiling, self.driver.pulse_ceiling)


def read_rig(path):
    """Read rig.toml. Raises FileFault (a ValueError) that lists all faults, FileNotFoundError without the file."""
    content, faults, parts = files.load(path), [], {}
    for name in content:
        if name not in (*PARTS, "name", "note", "measured"):
            faults.append(f"[{name}]: is not a known table" + files.nearest(name, PARTS))
    for name, part in PARTS.items():
        if name in content or name not in _OPTIONAL:
            parts[name] = files.build(part, content.get(name, {}), name, faults)
    for name in ("name", "note"):
        parts[name] = files.words_at_top(content, name, faults)
    parts["measured"] = _read_measured(content.get("measured", {}), faults)
    rig = None if faults else Rig(**parts)
    for table in PARTS if rig else ():  # what was measured must fit as well
        faults += [f"[{table}] with its measured values: {fault}" for fault in getattr(getattr(rig.as_used, table), "faults", list)()]
    if faults:
        raise files.FileFault(path, faults)
    return rig


def measured_key(name):
    """The Key of 'table.key' if a rig can have it as a measured value, else None."""
    table, _, key = name.partition(".")
    known = files.keys(PARTS[table]) if table in PARTS else {}
    found = _MEASURED_ALSO.get(name) or known.get(key)
    return found if found and found.kind in ("quantity", "number") and not found.many else None


def _read_measured(content, faults):
    found = []
    for table, entries in (content.items() if isinstance(content, dict) else [("", content)]):
        for key, entry in (entries.items() if isinstance(entries, dict) else [("", entries)]):
            name = f"{table}.{key}"
            try:
                found.append((name, _measured_entry(name, entry)))
            except ValueError as problem:
                faults.append(f"[measured.{name}] {problem}")
    return tuple(found)


def _measured_entry(name, entry):
    key = measured_key(name)
    if key is None:
        raise ValueError("is no value of a rig that can be measured; write for example [measured.stand.natural_frequency]")
    if not isinstance(entry, dict) or set(entry) != {"value", "standard_uncertainty", "date"}:
        raise ValueError("needs the keys value, standard_uncertainty, date and no others")
    try:
        day = str(datetime.date.fromisoformat(str(entry["date"])))
    except ValueError:
        day = ""
    if day != str(entry["date"]):
        raise ValueError(f"date: found {str(entry['date'])!r}; allowed: a date of the calendar such as \"2030-01-31\"")
    spread = files.Key("standard uncertainty", key.kind, key.unit.replace("degC", "K"), key.also, low=0)
    return Measured(key.read(entry["value"]), spread.read(entry["standard_uncertainty"]), str(entry["date"]))


def rig_text(rig):
    """The text of rig.toml for a rig; reading it gives an equal Rig."""
    blocks = [f"name = {files.quoted(rig.name)}" + (f"\nnote = {files.quoted(rig.note)}" if rig.note else "")]
    blocks += [files.table_text(getattr(rig, name), name) for name in PARTS]
    for name, found in rig.measured:
        key = measured_key(name)
        spread = dataclasses.replace(key, unit=key.unit.replace("degC", "K"))
        blocks.append(f"[measured.{name}]\nvalue = {key.write(found.value)}\n"
                      f"standard_uncertainty = {spread.write(found.standard_uncertainty)}\ndate = {files.quoted(found.date)}")
    return "\n\n".join(blocks) + "\n"


def write_rig(rig, path, replace=False):
    """Write rig.toml whole or not at all; an existing file is replaced only when asked (FileExistsError)."""
    return files.write_whole(path, rig_text(rig), replace)
