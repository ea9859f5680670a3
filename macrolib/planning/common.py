"""What every plan needs: the drive, the aperture, the waits, power and the checks that all shots share."""

import dataclasses
import math

from macrolib.files import AUTO
from macrolib.physics import optics, power, stepper, transmission, vibration
from macrolib.planning.checks import Check

GIVEN, DERIVED, PRESET = "given", "auto", "preset"
# Used where the rig file has no data; a plan that uses one names it and calls the check 'not computed'.
PRESET_WAIT = 2.0  # s after a move, from memory: a stiff bench stand is quiet by then
PRESET_FOOTFALL_WAIT = 8.0  # s after a footfall, from memory: a timber floor of 8 Hz and 3 % is quiet by then
PRESET_ACCELERATION = 0.02  # m/s^2, from memory: gentle for a camera of 1 to 3 kg
MOTOR_DAMPING = 0.05  # damping ratio of rotor and load on the magnetic spring, from memory; measure yours
ZERO_VIBRATION = 1e-12  # m; below this nothing can be seen


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


def total_inertia(rig):
    """Inertia in kg m^2 of all that moves, seen from the motor."""
    d = drive(rig)
    return d.turning_inertia + transmission.reflected_inertia(rig.carriage.mass, d.travel_per_turn)


def torque_needed(rig, speed, acceleration):
    """Torque in N m at the motor for a speed and an acceleration, the larger of the two directions."""
    d = drive(rig)
    return max(abs(transmission.required_torque(
        sense * speed, sense * acceleration, mass=rig.carriage.mass, inertia=d.turning_inertia, travel_per_turn=d.travel_per_turn,
        efficiency=d.efficiency, back_efficiency=d.back_efficiency, slope=rig.rail.tilt, friction=rig.carriage.guide_friction,
        drag_force=rig.carriage.drag_force, drag_torque=rig.transmission.drag_torque / rig.transmission.gear_ratio))
        for sense in (1, -1))


def torque_available(rig, speed):
    """Torque in N m that the motor gives at a carriage speed, from supply, driver and motor."""
    m = rig.motor
    return stepper.torque_at_speed(speed / rig.travel_per_turn, rig.supply.voltage, rig.driver.peak_current, m.resistance,
                                   m.inductance, m.holding_torque, m.rated_current, m.rotor_teeth)


def acceleration_for_torque(rig, speed, factor):
    """Largest acceleration in m/s^2 at which available torque is `factor` times what is needed; 0 if none is."""
    still, one = torque_needed(rig, speed, 0.0), torque_needed(rig, speed, 1.0)
    spare = torque_available(rig, speed) / factor - still
    return max(0.0, spare / (one - still)) if one > still else math.inf


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
    if p.f_number == AUTO:
        effective = 0.4 * 4 * rig.camera.pixel_pitch / p.wavelength
        marked = effective / (1 + m / lens.pupil_ratio)
        marked, origin = min(max(marked, lens.lowest_f_number), lens.highest_f_number), DERIVED
        given = {"f_number": float(f"{marked:.2g}")}
    else:
        given, origin = {n: getattr(p, n) for n in ("f_number", "effective_f_number", "numerical_aperture")
                         if getattr(p, n) is not None}, GIVEN
    marked, effective, numerical = optics.aperture(m, lens.pupil_ratio, **given)
    return Aperture(marked, effective, numerical, origin)


def modes(rig):
    """The modes that a move can ring, as (name, frequency, damping ratio); those without data are left out."""
    found = [("rig on its stand", rig.stand.natural_frequency, rig.stand.damping_ratio),
             ("camera on its carriage", rig.carriage.natural_frequency, rig.carriage.damping_ratio)]
    return [mode for mode in found if mode[1] is not None and mode[2] is not None]


def tolerance(shot, rig):
    """Allowed amplitude in the subject, zero to peak, in m: half the peak to peak tolerance at the sensor over m."""
    return shot.waits.tolerance * rig.camera.pixel_pitch / shot.picture.magnification / 2


def wait_after_move(shot, rig, move):
    """(seconds, origin, residual amplitude function of a wait) after a move; see `Ringing`."""
    ringing = Ringing.after_move(shot, rig, move)
    if shot.waits.settling_wait != AUTO:
        return shot.waits.settling_wait, GIVEN, ringing
    wait = ringing.wait(tolerance(shot, rig))
    return (PRESET_WAIT, PRESET, ringing) if wait is None else (wait, DERIVED, ringing)


def wait_after_footfall(shot, rig):
    """(seconds, origin, Ringing) from the last footfall until the picture is still."""
    ringing = Ringing.after_footfall(shot, rig)
    if shot.waits.wait_before_move != AUTO:
        return shot.waits.wait_before_move, GIVEN, ringing
    wait = ringing.wait(tolerance(shot, rig))
    return (PRESET_FOOTFALL_WAIT, PRESET, ringing) if wait is None else (wait, DERIVED, ringing)


@dataclasses.dataclass(frozen=True)
class Ringing:
    """Decaying vibrations, each (amplitude in the subject in m, frequency in Hz, damping ratio); () where data lack.

    The worst case is taken: all act along the picture, and their envelopes add.
    """

    parts: tuple
    missing: str = ""

    @classmethod
    def after_move(cls, shot, rig, move):
        """What a move leaves ringing between camera and subject."""
        if rig.stand.natural_frequency is None or rig.stand.damping_ratio is None:
            return cls((), "rig.stand needs natural_frequency and damping_ratio")
        return cls(tuple((float(vibration.residual_vibration(move, f, zeta)), f, zeta) for _, f, zeta in modes(rig)))

    @classmethod
    def after_footfall(cls, shot, rig):
        """What a footfall leaves: on one base the relative motion, on two bases the camera's and the subject's added."""
        floor, stand = rig.floor, rig.stand
        needed = {"rig.floor": (floor.natural_frequency, floor.damping_ratio, floor.footfall_amplitude),
                  "rig.stand": (stand.natural_frequency, stand.damping_ratio)}
        missing = [name for name, values in needed.items() if None in values]
        if missing:
            return cls((), f"{' and '.join(missing)} need frequency, damping and (floor) footfall_amplitude")
        ratio = floor.natural_frequency / stand.natural_frequency
        if stand.base == "one":
            share = vibration.relative_transmissibility(ratio, stand.damping_ratio)
        else:
            share = 1 + vibration.transmissibility(ratio, stand.damping_ratio)
        amplitude = floor.footfall_amplitude * shot.waits.operator_steps * share
        return cls(((amplitude, floor.natural_frequency, floor.damping_ratio),))

    def amplitude(self, wait):
        """Sum of the envelopes in m after a wait in s; None without data."""
        if not self.parts:
            return None
        return sum(a * math.exp(-2 * math.pi * f * zeta * wait) for a, f, zeta in self.parts)

    def wait(self, allowed):
        """Seconds until it is below the allowed amplitude with the margin at which a check holds; None without data."""
        if not self.parts:
            return None
        share = allowed / 1.25 / len(self.parts)
        return max(float(vibration.settling_time(max(a, ZERO_VIBRATION), share, f, zeta)) for a, f, zeta in self.parts)


def still_check(name, ringing, wait, shot, rig, origin, key):
    """Check that the picture moves less than the tolerance, peak to peak, when the exposure begins."""
    amplitude = ringing.amplitude(wait)
    pixels = None if amplitude is None else 2 * amplitude * shot.picture.magnification / rig.camera.pixel_pitch
    why = f"{ringing.missing}; a preset of {wait:g} s stands in for it" if origin == PRESET else f"after a wait of {wait:.3g} s"
    if pixels is None and origin == GIVEN:
        why = ringing.missing
    return Check(name, pixels, shot.waits.tolerance, "px", why=why, knobs=((key, "up"), ("shot.waits.tolerance", "up")))


def room(rig, positions):
    """Distance in m from the outermost of the positions to the nearer end stop; below zero outside."""
    return min(rig.rail.high_end_stop - max(positions), min(positions) - rig.rail.low_end_stop)


def two_digits(x):
    """Rounded down to two digits, so that it can be set by hand and stays within its limit."""
    step = 10.0 ** (math.floor(math.log10(x)) - 1) if x > 0 else 1.0
    return float(f"{math.floor(x / step * (1 + 1e-12)) * step:.2g}")


def rail_check(rig, positions, stopping_distance, knobs):
    """Check that the carriage can stop before the end stops from every position that the plan reaches."""
    return Check("travel within the rail", room(rig, positions), stopping_distance, "mm", "at least",
                 why="room to the nearer end stop against the distance to stop", knobs=knobs)


def pulse_check(shot, rig, speed, knobs):
    """Check the fastest move's pulse rate against the share of the ceiling that may be used."""
    rate = transmission.pulse_rate(speed, rig.travel_per_turn, rig.pulses_per_turn)
    return Check("pulse rate under the ceiling", rate, rig.pulse_ceiling * shot.limits.ceiling_share, "1/s", enough=1.0,
                 why=f"{shot.limits.ceiling_share:.0%} of the lower ceiling of controller and driver",
                 knobs=(*knobs, ("rig.controller.pulse_ceiling", "up")))


def torque_check(shot, rig, speed, acceleration, knobs):
    """Check the torque the motor has at the top speed against what the move needs there."""
    return Check("torque", torque_available(rig, speed), torque_needed(rig, speed, acceleration), "N m", "at least",
                 enough=shot.limits.torque_factor, why="available against needed, at top speed and full acceleration",
                 knobs=(*knobs, ("rig.motor.holding_torque", "up")))


def holding_checks(rig):
    """Checks that the load stays where it is, with the power off and with the hold current."""
    d, m = drive(rig), rig.motor
    weight = transmission.drive_force(rig.carriage.mass, 0.0, rig.rail.tilt, 0.0, 0.0, 0.0, transmission.STANDARD_GRAVITY)
    back = transmission.back_torque(weight, d.travel_per_turn, max(d.back_efficiency, 0.0))
    held = stepper.peak_torque(m.holding_torque, rig.driver.peak_current, m.rated_current) * rig.driver.hold_current_share
    return (
        Check("stays when power is off", back, m.detent_torque, "mN m", enough=2.0,
              why="torque of the load at the motor against its detent; if it fails fit a brake or a counterweight",
              knobs=(("rig.motor.detent_torque", "up"),)),
        Check("stays at hold current", held, back, "mN m", "at least", enough=2.0,
              why="holding torque at the hold current against the torque of the load",
              knobs=(("rig.driver.hold_current_share", "up"), ("rig.motor.holding_torque", "up"))),
    )


def mean_power(rig, moving_share):
    """Mean draw in W from the supply, with the motor moving for this share of the time (hold current otherwise)."""
    copper = power.copper_loss(rig.driver.peak_current, rig.motor.resistance)
    motor = copper * (moving_share + (1 - moving_share) * rig.driver.hold_current_share**2)
    loads = motor + rig.driver.idle_power + rig.controller.idle_power + rig.camera.power + rig.light.power
    return power.supply_power(loads, rig.supply.converter_efficiency)


def power_checks(rig, total_time, moving_share, knobs):
    """Checks of battery and adapter; those without a limit in the rig are left out."""
    draw, found = mean_power(rig, moving_share), []
    if rig.supply.energy is not None:
        found.append(Check("battery", draw * total_time, rig.supply.energy * rig.supply.usable_share, "Wh",
                           why="energy of the shot against the usable energy", knobs=(*knobs, ("rig.supply.energy", "up"))))
    if rig.supply.power_limit is not None:
        found.append(Check("supply power", mean_power(rig, 1.0), rig.supply.power_limit, "W",
                           why="draw with the motor running", knobs=(("rig.supply.power_limit", "up"),)))
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
    if figure / low < high / figure:
        return Check(name, figure, low, "1", "at least", 1.0, knobs=((key, "up"),))
    return Check(name, figure, high, "1", enough=1.0, knobs=((key, "down"),))
