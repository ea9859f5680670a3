"""Which motor, transmission, driver and supply will do: combinations of parts on a rig, each judged as a plan judges it.

    found = choices(rig, Demand(speed=6e-3, acceleration=0.02, resolution=1e-6), motors=catalogue("motors"))
    found[0].verdict, found[0].limit.name, found[0].room, found[0].changes()

The rig brings the load, the tilt, the room and every part that is not to be chosen.
"""

import dataclasses
import itertools
import math

from macrolib.files import number, quantity
from macrolib.physics import transmission
from macrolib.planning import checks, common
from macrolib.planning.checks import HOLDS, Check
from macrolib.rig import Rig
from macrolib.shot import Limits

__all__ = ["Choice", "Demand", "choices", "smallest"]

WHIRL_SHARE = 0.8  # of the exact whirling speed; common practice of catalogues
BALL_ROOT = 0.8  # root over outer diameter of a ball screw, from memory
_POWERS = {"motor current": 1, "driver current": 1, "motor temperature": 2}  # how these figures go with the current that is set
_SLOWER, _FINER = ("shot.demand.speed", "down"), ("shot.demand.resolution", "up")
_STRONGER = (_SLOWER, ("shot.demand.acceleration", "down"), ("rig.driver.largest_current", "up"), ("rig.supply.voltage", "up"),
             ("rig.motor.thermal_resistance", "down"))


@dataclasses.dataclass(frozen=True)
class Demand:
    """What the drive must do; SI. Of a ramps.Move take its peak_speed and peak_acceleration."""

    speed: float = quantity("speed of the carriage", "mm/s", above=0, most=10)
    acceleration: float = quantity("acceleration in the ramps", "mm/s^2", above=0, most=100)
    resolution: float = quantity("largest travel for one pulse", "um", above=0, most=1e-2)
    moving_share: float = number("share of the time for which the motor runs", 1.0, least=0, most=1)
    time: float = quantity("time for which a battery must last", "h", 3600.0, above=0, most=1e7)
    brake: bool = False  # True: a brake or a counterweight holds the load when the power is off


@dataclasses.dataclass(frozen=True)
class _Asked:
    """Stands where checks and their mends look for a shot."""

    demand: Demand
    limits: Limits


@dataclasses.dataclass(frozen=True)
class Choice:
    """One combination. names: {part: designation}; offered: the rig with these parts as the catalogue has them; rig: the same with
    the current and the microsteps that suit it; checks: a Check each."""

    names: dict
    asked: _Asked
    offered: Rig
    rig: Rig
    checks: tuple

    @property
    def verdict(self):
        """The worst state of all checks."""
        return checks.verdict(self.checks)

    @property
    def limit(self):
        """The Check with the least room: what limits this combination."""
        return min(self.checks, key=_room)

    @property
    def room(self):
        """Margin of the limit over the margin at which it holds; with 1 or more the combination will do."""
        return _room(self.limit)

    def changes(self):
        """A Mend for each single number that would make the whole combination hold, current and microsteps set anew."""
        def judge(asked, rig, *_):
            return [dataclasses.replace(min(_judged(asked, rig)[1], key=_room), name="drive")]

        knobs = dict.fromkeys(knob for check in self.checks if check.state != HOLDS for knob in check.knobs)
        found = [checks.find_mend(dataclasses.replace(self.limit, name="drive", knobs=(knob,)), self.asked, self.offered, judge, {})
                 for knob in knobs]
        return [mend for mend in found if mend]

    def bound(self, key, factor):
        """The value (SI) of a rig's key, changed by `factor` again and again, up to which the combination still holds.

        What a data sheet may say instead. All other parts stay, current and microsteps are set anew. None where it does not hold
        as it is, or where even a thousandfold change does not matter.
        """
        value, described = checks.knob(None, self.offered, key)
        for _ in range(math.ceil(math.log(1000) / abs(math.log(factor)))):
            trial = value * factor
            changed = checks.apply(None, self.offered, key, trial)[1] if described.low <= trial <= described.high else None
            if changed is None or min(map(_room, _judged(self.asked, changed)[1])) < 1 - 1e-9:
                return value if self.verdict == HOLDS else None
            value = trial
        return None


def choices(rig, demand, motors=None, transmissions=None, drivers=None, supplies=None, limits=None):
    """Every combination of the parts as a list of Choice, the one with most room first.

    motors, transmissions, drivers, supplies: {designation: part}, as from parts.catalogue; None takes the rig's own. limits: a
    shot's Limits; by default torque factor 2 and 0.8 of the pulse ceiling. The current is set where torque and heat have the
    same room, and no higher than motor and driver allow; the microsteps, a power of two up to the driver's own number, in the
    middle between too coarse and too many pulses. ValueError for what the formulas refuse.
    """
    tables = {"motor": motors, "transmission": transmissions, "driver": drivers, "supply": supplies}
    tables = {table: found or {"the rig's own": getattr(rig.as_used, table)} for table, found in tables.items()}
    asked, found = _Asked(demand, limits or Limits()), []
    for parts in itertools.product(*(offer.items() for offer in tables.values())):
        offered = dataclasses.replace(rig.as_used, measured=(), **{table: part for table, (_, part) in zip(tables, parts)})
        found.append(Choice({table: name for table, (name, _) in zip(tables, parts)}, asked, offered, *_judged(asked, offered)))
    return sorted(found, key=lambda choice: -choice.room)


def smallest(found):
    """{transmission: Choice}: for each transmission the combination with the smallest motor and driver that holds.

    Where none holds, the one with the fewest faults and then most room. Those that hold come first, by the size of the motor.
    """
    def size(choice):
        faults = sum(check.state != HOLDS for check in choice.checks)
        return faults, -round(choice.room, 2) if faults else 0, choice.rig.motor.holding_torque, choice.rig.driver.largest_current or 0

    least = {choice.names["transmission"]: choice for choice in sorted(found, key=size, reverse=True)}
    return dict(sorted(least.items(), key=lambda item: size(item[1])))


def _room(check):
    return check.margin / check.enough if check.limit else math.inf if check.margin >= 0 else check.margin


def _with(rig, **values):
    return dataclasses.replace(rig, driver=dataclasses.replace(rig.driver, **values))


def _at(rig, current):
    return _with(rig, peak_current=max(0.01, math.floor(100 * current * (1 + 1e-9)) / 100))  # no driver is set finer


def _heat(rig, moving_share):
    """(power of the current, room) of each bound of the current."""
    return [(_POWERS[c.name], max(_room(c), 1e-6)) for c in common.motor_checks(rig, moving_share) if c.name in _POWERS]


def _most(heat):
    return min(room ** (1 / power) for power, room in heat)


def by_heat(rig, moving_share=1.0):
    """The rig with the largest current that motor, driver and the warming of the motor allow, in whole hundredths of an ampere."""
    return _at(rig, _most(_heat(rig, moving_share)) * rig.driver.peak_current)


def _judged(asked, rig):
    """(the rig with the current and the microsteps that `choices` describes, all its checks). What a plan judges as well is judged
    by the plan's own functions."""
    demand = asked.demand
    heat = _heat(rig, demand.moving_share)
    most = _most(heat)
    rig = _at(rig, most * rig.driver.peak_current)
    torque = common.torque_check(asked, rig, demand.speed, demand.acceleration, _STRONGER)
    rising = max(1e-6, min(_room(torque), _room(common.holding_checks(rig)[1])))
    rig = _at(rig, rig.driver.peak_current * min(1, *((room / most**power / rising) ** (1 / (1 + power)) for power, room in heat)))
    bound = min((c for c in common.motor_checks(rig, demand.moving_share) if c.name in _POWERS), key=_room).name
    torque = dataclasses.replace(torque, figure=common.torque_available(rig, demand.speed),
                                 why=f"{torque.why}; with {rig.driver.peak_current:g} A, whose nearest bound is the {bound}")
    finest = int(math.log2(rig.driver.most_microsteps or rig.driver.microsteps))
    rate, travel = map(_room, _pulse_checks(asked, rig))  # the one falls with the microsteps, the other grows with them
    rig = _with(rig, microsteps=2 ** max(0, min(finest, round(math.log2(rig.driver.microsteps * (rate / travel) ** 0.5)))))
    power = common.power_checks(rig, demand.time, demand.moving_share, (("shot.demand.time", "down"),))
    return rig, (torque, *_pulse_checks(asked, rig), *common.holding_checks(rig)[demand.brake:], *power, *_whirling_checks(asked, rig))


def _pulse_checks(asked, rig):
    return (common.pulse_check(asked, rig, asked.demand.speed, (_SLOWER, _FINER)),
            Check("travel for one pulse", common.drive(rig).travel_per_pulse, asked.demand.resolution, "um", enough=1.0,
                  why="against the largest that is allowed",
                  knobs=(_FINER, ("rig.controller.pulse_ceiling", "up"), ("rig.driver.microsteps", "up"))))


def _whirling_checks(asked, rig):
    part = rig.transmission
    if "screw" not in part.kind or part.free_length is None:
        return ()
    limit = WHIRL_SHARE * transmission.whirling_speed(root_diameter(part), part.free_length, part.support)
    return (Check("screw below its whirling speed", asked.demand.speed / part.lead, limit, "turn/s", why=f"{WHIRL_SHARE:.0%} of the "
                  "exact speed at which the root whirls", knobs=(_SLOWER, ("rig.transmission.free_length", "down"))),)


def root_diameter(part):
    """Root diameter in m of a screw: after ISO 2904, of a ball screw about 0.8 of the outer one."""
    if part.kind == "ball screw":
        return BALL_ROOT * part.diameter
    return transmission.trapezoidal_thread(part.diameter, part.pitch).screw_minor_diameter
