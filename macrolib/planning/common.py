"""What every plan needs: the drive, the aperture, power and the checks that all shots share."""

import dataclasses
import functools
import math

import numpy as np

from macrolib.files import AUTO
from macrolib.physics import optics, power, ramps, stepper, transmission
from macrolib.planning import stillness
from macrolib.planning.checks import Check
from macrolib.planning.stillness import DERIVED, GIVEN, PRESET

ROOM = 293.15  # K, at which data sheets give the drag
GREASE_DOUBLING = 25.0  # K of cooling that double the drag of grease, from memory; measure yours
MOST_INERTIA = 10.0  # load over rotor inertia; common practice, no source
MOTOR_DAMPING = 0.05  # damping ratio of rotor and load on the magnetic spring, from memory; measure yours
_SLOWER_HOMING = (("rig.rail.homing_speed", "down"),)


@dataclasses.dataclass(frozen=True)
class Setting:
    """One number to set: SI value, the unit to show it in, and whether it was given, derived or a preset."""

    value: float
    unit: str
    origin: str
    meaning: str


@dataclasses.dataclass(frozen=True)
class Made:
    """What a planner hands over; see Plan for the meaning of each."""

    settings: dict
    schedule: dict
    approach: list
    checks: list
    notes: list
    moves: dict  # {what: Move}
    ringing: dict  # {what: (Ringing, seconds since it began, key of the wait)}


@dataclasses.dataclass(frozen=True)
class Drive:
    """The rig's transmission and motor as plans see them; SI."""

    travel_per_turn: float
    travel_per_pulse: float
    efficiency: float
    back_efficiency: float
    turning_inertia: float
    top_speed: float  # at the whole pulse ceiling


@functools.lru_cache(256)
def drive(rig):
    """The Drive of a rig."""
    t, per_turn = rig.transmission, rig.travel_per_turn
    if t.kind == "screw":
        thread = (transmission.trapezoidal_thread(t.diameter, t.pitch).mean_diameter, t.lead, t.friction, t.flank_angle)
        efficiency = transmission.screw_efficiency(*thread)
        back = transmission.back_efficiency(*thread)
    else:
        efficiency = t.efficiency
        back = transmission.usual_back_efficiency(efficiency)
    per_pulse = transmission.travel_per_pulse(per_turn, rig.pulses_per_turn)
    return Drive(per_turn, per_pulse, efficiency, back, rig.motor.rotor_inertia + t.inertia / t.gear_ratio**2,
                 rig.pulse_ceiling * per_pulse)


SHAPES = {"trapezoid": "rectangle", "jerk-limited": "triangle", "half-sine": "half-sine", "versed-sine": "versed-sine"}
WHOLE = {"minimum-jerk": ramps.minimum_jerk, "cycloidal": ramps.cycloidal}


def move_of_kind(kind, distance, speed, acceleration):
    """The quickest Move of a kind named in the shot file within a speed and a peak acceleration; SI."""
    if kind not in WHOLE:
        return ramps.ramps_by_limit(distance, speed, acceleration, SHAPES[kind])
    unit = WHOLE[kind](distance, 1.0)
    return unit.in_time(np.maximum(unit.peak_speed / speed, np.sqrt(unit.peak_acceleration / acceleration)))


def jerk_settings(jerk, per_pulse):
    """Peak jerk in mm and in pulses; nothing where it is infinite."""
    if not math.isfinite(jerk):
        return {}
    return {"jerk": Setting(jerk, "mm/s^3", DERIVED, "peak jerk in the ramps"),
            "jerk_pulses": Setting(jerk / per_pulse, "1/s^3", DERIVED, "jerk in pulses per second cubed")}


def whole(x, how=np.rint):
    """x as a whole number: an int, or an array of whole floats; how: also np.ceil or np.floor."""
    return int(how(x)) if np.ndim(x) == 0 else how(x)


def refuse(refusals):
    """ValueError for the first of pairs (whether no plan is made, why) that says so."""
    for refused, why in refusals:
        if refused:
            raise ValueError(why)


def drive_settings(rig):
    """The settings of motor and driver that every plan shows."""
    return {
        "microsteps": Setting(rig.driver.microsteps, "1", GIVEN, "microsteps (pulses for one full step)"),
        "travel_per_pulse": Setting(drive(rig).travel_per_pulse, "um", DERIVED, "travel per pulse"),
        "peak_current": Setting(rig.driver.peak_current, "A", GIVEN, "motor current, peak of the sine"),
        "hold_current": Setting(rig.driver.peak_current * rig.driver.hold_current_share, "A", GIVEN, "motor current at standstill"),
    }


def total_inertia(rig):
    """Inertia in kg m^2 of all that moves, seen from the motor."""
    d = drive(rig)
    return d.turning_inertia + transmission.reflected_inertia(rig.carriage.mass, d.travel_per_turn)


def torque_needed(rig, speed, acceleration):
    """Torque in N m at the motor for speeds and accelerations, the larger of the two directions; they broadcast.

    The drag grows in the cold: twice as much for each GREASE_DOUBLING below 20 degrees.
    """
    d, t = drive(rig), rig.transmission
    drag = transmission.cold_drag(t.drag_torque / t.gear_ratio, np.minimum(rig.room.temperature, ROOM), ROOM, GREASE_DOUBLING)
    ways = [np.abs(transmission.required_torque(
        sense * np.asarray(speed, float), sense * np.asarray(acceleration, float), mass=rig.carriage.mass, inertia=d.turning_inertia,
        travel_per_turn=d.travel_per_turn, efficiency=d.efficiency, back_efficiency=d.back_efficiency, slope=rig.rail.tilt,
        friction=rig.carriage.guide_friction, drag_force=rig.carriage.drag_force, drag_torque=drag)) for sense in (1, -1)]
    return np.maximum(*ways)[()]


def torque_over(rig, move, points=200):
    """(times in s, torque needed, torque available, both in N m) over a move."""
    times = np.linspace(0, move.duration, points)
    return times, torque_needed(rig, move.speed(times), move.acceleration(times)), torque_available(rig, np.abs(move.speed(times)))


def torque_available(rig, speed):
    """Torque in N m that the motor gives at carriage speeds, from supply, driver and motor."""
    m = rig.motor
    return stepper.torque_at_speed(speed / rig.travel_per_turn, rig.supply.voltage, rig.driver.peak_current, m.resistance,
                                   m.inductance, m.holding_torque, m.rated_current, m.rotor_teeth)


def acceleration_for_torque(rig, speed, factor):
    """Largest acceleration in m/s^2 at which available torque is `factor` times what is needed; 0 if none is."""
    still, one = torque_needed(rig, speed, 0.0), torque_needed(rig, speed, 1.0)
    spare = torque_available(rig, speed) / factor - still
    return max(0.0, spare / (one - still)) if one > still else math.inf


def gentle_acceleration(shot, rig, speed):
    """(m/s^2, origin): rings each known mode by the tolerance at most, else a preset; has torque at a speed, with margin.

    A motor that is much too weak is left to the check of its torque.
    """
    soft = [stillness.tolerance(shot, rig) * (2 * math.pi * f) ** 2 for _, f, _ in stillness.modes(rig)]
    gentle = min(soft, default=stillness.PRESET_ACCELERATION)
    strong = acceleration_for_torque(rig, speed, 1.5 * shot.limits.torque_factor)
    return min(gentle, strong) if strong > gentle / 100 else gentle, DERIVED if soft else PRESET


def homing(rig):
    """The step of an approach that ends at the home switch: (what, None for anywhere, pulse, s from the farther end of the rail)."""
    rail, home = rig.rail, rig.rail.home_switch
    farther = np.maximum(rail.high_end_stop - home, home - rail.low_end_stop)
    return "homing", None, whole(home / drive(rig).travel_per_pulse), farther / rail.homing_speed


def runs(rig, start, goals, speed, acceleration):
    """Steps of an approach, (what, from pulse, to pulse, s), from rest to rest: from `start` through {what: pulse}."""
    steps = []
    for what, goal in goals.items():
        travel = abs(goal - start) * drive(rig).travel_per_pulse
        steps.append((what, start, goal, ramps.trapezoid(travel, speed, acceleration).duration))
        start = goal
    return steps


def idle_speed(shot, rig, acceleration):
    """Speed in m/s of runs without film or frames: what pulse ceiling and torque leave, one to five times the homing speed."""
    speed = np.minimum(0.9 * shot.limits.ceiling_share * rig.pulse_ceiling * drive(rig).travel_per_pulse, 5 * rig.rail.homing_speed)
    for _ in range(15):  # down to a fifth
        if not np.any(weak := torque_available(rig, speed) < shot.limits.torque_factor * torque_needed(rig, speed, acceleration)):
            break
        speed = np.where(weak, 0.9 * speed, speed)[()]
    return speed


def top_speed(rig, steps, speed, acceleration):
    """Speed in m/s that the longest run of an approach reaches within its limits."""
    travel = functools.reduce(np.maximum, (abs(goal - start) for _, start, goal, _ in steps if start is not None))
    return ramps.trapezoid(travel * drive(rig).travel_per_pulse, speed, acceleration).peak_speed


def arrival(rig, approach, speed, acceleration):
    """The Move that ends an approach; of one pulse at least."""
    _, start, goal, _ = approach[-1]
    return ramps.trapezoid(np.maximum(abs(goal - start), 1) * drive(rig).travel_per_pulse, speed, acceleration)


@dataclasses.dataclass(frozen=True)
class Aperture:
    """One aperture, three names."""

    f_number: float
    effective: float
    numerical: float
    origin: str


def aperture(shot, rig):
    """The Aperture of a shot; "auto" is the smallest one that still passes what the pixels can record.

    The criterion's frequency, a quarter of the sampling frequency, is then 0.4 of the cutoff: stopping down further
    would lose detail that the sensor could record (optics.sharp_depth has the same corner). Kept within the lens's range.
    """
    p, lens, m = shot.picture, rig.lens, shot.picture.magnification
    if isinstance(p.f_number, str):
        effective = 0.4 * 4 * rig.camera.pixel_pitch / p.wavelength
        marked = effective / (1 + m / lens.pupil_ratio)
        marked, origin = min(max(marked, lens.lowest_f_number), lens.highest_f_number), DERIVED
        given = {"f_number": float(f"{marked:.2g}")}
    else:
        given, origin = {n: getattr(p, n) for n in ("f_number", "effective_f_number", "numerical_aperture")
                         if getattr(p, n) is not None}, GIVEN
    marked, effective, numerical = optics.aperture(m, lens.pupil_ratio, **given)
    return Aperture(marked, effective, numerical, origin)


def sharpness_frequency(shot, rig, effective=None):
    """Frequency in 1/m at the sensor at which sharpness is judged: the shot's, or the criterion's at an effective f-number.

    Where apertures are compared, without one, a quarter of the sampling frequency.
    """
    p, pitch = shot.picture, rig.camera.pixel_pitch
    if p.frequency != AUTO:
        return p.frequency
    return 1 / (4 * pitch) if effective is None else optics.criterion_frequency(pitch, p.wavelength, effective)


def sharp_depth(shot, rig, chosen):
    """Depth in m that is sharp with an Aperture, by the criterion of the shot."""
    p = shot.picture
    return optics.sharp_depth(p.magnification, chosen.f_number, rig.lens.pupil_ratio, rig.camera.pixel_pitch, p.wavelength,
                              p.transfer_kept, sharpness_frequency(shot, rig, chosen.effective))


def room(rig, positions):
    """Distance in m from the outermost of the positions to the nearer end stop; below zero outside."""
    highest, lowest = (functools.reduce(pick, positions) for pick in (np.maximum, np.minimum))
    return np.minimum(rig.rail.high_end_stop - highest, lowest - rig.rail.low_end_stop)


def two_digits(x):
    """Rounded down to two digits, so that it can be set by hand and stays within its limit."""
    step = 10.0 ** (math.floor(math.log10(x)) - 1) if x > 0 else 1.0
    return float(f"{math.floor(x / step * (1 + 1e-12)) * step:.2g}")


def rail_check(rig, stops, knobs, ahead=math.inf, braking=0.0):
    """Check that the rail is long enough: places of rest (m) need room, one that is passed at speed the way to brake.

    ahead: room in m in front of such a place; braking: the way in m to come to rest there.
    """
    left = room(rig, stops)
    rests = (left < 0) | (np.asarray(braking) == 0)
    why = "room to the nearer end stop; every move ends at rest" if rests.all() else "room to the end stop against the way to brake"
    figure, limit = (np.where(rests, *pair)[()] for pair in ((left, ahead), (0.0, braking)))
    return Check("travel within the rail", figure, limit, "mm", "at least", why=why, knobs=knobs)


def _binding(cases):
    """(what, *values) of the case with the least score, lane by lane; cases: (what, score, *values)."""
    what, *found = cases[0]
    for name, *values in cases[1:]:
        worse = values[0] < found[0]
        what = name if np.all(worse) else "one or another move" if np.any(worse) else what
        found = [np.where(worse, *pair)[()] for pair in zip(values, found)]
    return what, *found[1:]


def pulse_check(shot, rig, speed, knobs, idle=()):
    """Check the fastest move's pulse rate against the share of the ceiling that may be used.

    idle: (what, speed in m/s) of moves that count for nothing else, such as homing.
    """
    what, speed = _binding([(what, -v, v) for what, v in (("the move", speed), *idle)])
    rate = transmission.pulse_rate(speed, rig.travel_per_turn, rig.pulses_per_turn)
    return Check("pulse rate under the ceiling", rate, rig.pulse_ceiling * shot.limits.ceiling_share, "1/s", enough=1.0,
                 why=f"{shot.limits.ceiling_share:.0%} of the lower ceiling of controller and driver"
                 + f"; the fastest is {what}" * bool(idle),
                 knobs=(*(_SLOWER_HOMING if what == "homing" else knobs), ("rig.controller.pulse_ceiling", "up")))


def torque_check(shot, rig, speed, acceleration, knobs, idle=()):
    """Check the torque the motor has at the top speed against what the move needs there; idle: as for pulse_check."""
    moves = [(what, torque_available(rig, v), torque_needed(rig, v, acceleration)) for what, v in (("the move", speed), *idle)]
    what, available, needed = _binding([(what, has / needs, has, needs) for what, has, needs in moves])
    return Check("torque", available, needed, "mN m", "at least", enough=shot.limits.torque_factor,
                 why="available against needed, at top speed and full acceleration" + f"; least in {what}" * bool(idle),
                 knobs=(*(_SLOWER_HOMING if what == "homing" else knobs), ("rig.motor.holding_torque", "up"), ("rig.supply.voltage", "up")))


def motor_checks(rig, moving_share):
    """Checks of the motor's current, its heat in the long run, and the inertia it turns."""
    m, driver = rig.motor, rig.driver
    loss = motor_loss(rig, moving_share)
    found = [
        Check("motor current", driver.peak_current, math.sqrt(2) * m.rated_current, "A", enough=1.0,
              why="peak of the sine against the rating, both phases on", knobs=(("rig.driver.peak_current", "down"),)),
        Check("motor temperature", power.part_temperature(rig.room.temperature, loss, m.thermal_resistance) - rig.room.temperature,
              m.case_limit - rig.room.temperature, "K", why="warming in the long run against what the room leaves of the limit",
              knobs=(("rig.driver.hold_current_share", "down"), ("rig.driver.peak_current", "down"), ("rig.motor.case_limit", "up"))),
        Check("inertia ratio", stepper.inertia_ratio(total_inertia(rig) - m.rotor_inertia, m.rotor_inertia), MOST_INERTIA, "1",
              why="load over rotor; common practice, no source",
              knobs=(("rig.transmission.gear_ratio", "up"), ("rig.motor.rotor_inertia", "up"))),
    ]
    if driver.largest_current is not None:
        found.append(Check("driver current", driver.peak_current, driver.largest_current, "A", enough=1.0,
                           knobs=(("rig.driver.peak_current", "down"),)))
    if driver.largest_voltage is not None:
        found.append(Check("driver voltage", rig.supply.voltage, driver.largest_voltage, "V", enough=1.0,
                           why="of the supply; a motor that brakes raises it further", knobs=(("rig.supply.voltage", "down"),)))
    return found


def holding_checks(rig):
    """Checks that the load stays where it is, with the power off and with the hold current."""
    d, m = drive(rig), rig.motor
    weight = transmission.drive_force(rig.carriage.mass, 0.0, rig.rail.tilt, 0.0, 0.0, 0.0, transmission.STANDARD_GRAVITY)
    back = transmission.back_torque(weight, d.travel_per_turn, np.maximum(d.back_efficiency, 0.0))
    held = stepper.peak_torque(m.holding_torque, rig.driver.peak_current, m.rated_current) * rig.driver.hold_current_share
    return (
        Check("stays when power is off", back, m.detent_torque, "mN m", enough=2.0,
              why="torque of the load at the motor against its detent; if it fails fit a brake or a counterweight",
              knobs=(("rig.motor.detent_torque", "up"),)),
        Check("stays at hold current", held, back, "mN m", "at least", enough=2.0,
              why="holding torque at the hold current against the torque of the load",
              knobs=(("rig.driver.hold_current_share", "up"), ("rig.motor.holding_torque", "up"))),
    )


def motor_loss(rig, moving_share):
    """Mean copper loss in W, with the motor moving for this share of the time and the hold current otherwise."""
    return power.motor_loss(rig.driver.peak_current, rig.motor.resistance, moving_share, rig.driver.hold_current_share)


def mean_power(rig, moving_share):
    """Mean draw in W from the supply, with the motor moving for this share of the time (hold current otherwise)."""
    loads = power.load_power(motor_loss(rig, moving_share), 0.0, rig.driver.idle_power, rig.controller.idle_power, rig.camera.power,
                             rig.light.power)  # the work of so slow moves is a few mW
    return power.supply_power(loads, rig.supply.converter_efficiency)


def power_checks(rig, total_time, moving_share, knobs):
    """Checks of motor, battery and adapter; those without a limit in the rig are left out."""
    draw, found = mean_power(rig, moving_share), motor_checks(rig, moving_share)
    if rig.supply.energy is not None:
        found.append(Check("battery", draw * total_time, rig.supply.energy * rig.supply.usable_share, "Wh",
                           why="energy of the shot against the usable energy", knobs=(*knobs, ("rig.supply.energy", "up"))))
    if rig.supply.power_limit is not None:
        found.append(Check("supply power", mean_power(rig, 1.0), rig.supply.power_limit, "W",
                           why="draw with the motor running",
                           knobs=(("rig.driver.peak_current", "down"), ("rig.supply.power_limit", "up"))))
    return found


def time_checks(shot, total_time, knobs):
    """Checks against the limits from outside that the shot states."""
    limits = (("time", shot.limits.time, "time allowed"), ("subject_still", shot.limits.subject_still, "subject stays still"))
    return [Check(name, total_time, limit, "min", knobs=(*knobs, (f"shot.limits.{key}", "up"))) for key, limit, name in limits
            if limit is not None]


def lens_checks(shot, rig, chosen):
    """Checks that magnification and aperture are within the lens's ranges."""
    lens, m = rig.lens, shot.picture.magnification
    return [
        _range_check("magnification of the lens", m, lens.lowest_magnification, lens.highest_magnification, "shot.picture.magnification"),
        _range_check("aperture of the lens", chosen.f_number, lens.lowest_f_number, lens.highest_f_number, "shot.picture.f_number"),
    ]


def _range_check(name, figure, low, high, key):
    """A check against the nearer end of a range."""
    below = figure / low < high / figure
    if np.ndim(below):  # many at once: what counts is the margin, whichever end it is of
        return Check(name, np.where(below, figure, high), np.where(below, low, figure), "1", "at least", 1.0)
    if below:
        return Check(name, figure, low, "1", "at least", 1.0, knobs=((key, "up"),))
    return Check(name, figure, high, "1", enough=1.0, knobs=((key, "down"),))
