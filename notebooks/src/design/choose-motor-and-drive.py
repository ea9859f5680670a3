# %% [markdown]
# # Choose motor and drive
#
# A worksheet for people who build a rail and have not bought its parts yet. Change the values in the first cell, run all cells, and read from top to bottom. First comes what the load asks for, then which combinations will do it and what limits the others, then one of them in detail. At the end stands a list of what to look for in data sheets.
#
# The parts are those of the catalogue in `data/parts`. Its designations are invented and its values **typical of their kind**. No drive is chosen before the values of your own data sheets stand in the place of these. The environment variable `MACROLIB_RIG` goes before the file name in the cell. Why a motor gives what it gives is the subject of [Torque and inertia](../learn/05-torque-and-inertia.ipynb).
# %%
import dataclasses
import os

from IPython.display import Markdown, Math, display

from macrolib import files, plan, read_rig, read_shot
from macrolib.formula import working
from macrolib.parts import catalogue
from macrolib.physics import ramps, transmission
from macrolib.planning import checks, common, drives
from macrolib.planning.chance import chance
from macrolib.planning.explore import explore
from macrolib.show import figures, figures_choice, figures_drive
from macrolib.show.style import pretty, say
from macrolib.units import parse

LOAD = "2.4 kg"  # all that moves: carriage, camera, lens, cables
TILT = "90 deg"  # 0 is level, 90 upright
BRAKE = False  # True where a brake or a counterweight holds the load when the power is off
SPEED = "6 mm/s"  # the fastest that you need
RAMP = "0.2 s"  # from standstill to that speed
TRAVEL = "24 mm"  # of a usual move, for the picture
FINEST = "1 um"  # the largest travel that one pulse may make
SUPPLY = "mains 24 V 60 W"  # a designation from data/parts/supplies.toml
CONTROLLER = "8-bit, divisions in an interrupt"  # one from data/parts/controllers.toml
PICK = None  # such as ("M17-40", "Tr8x2", "D2.0"); None: the one with most room
RIG = os.environ.get("MACROLIB_RIG") or "../data/rigs/bench-screw.toml"  # the guide, the room, and what else draws power
SHOT = os.environ.get("MACROLIB_SHOT") or "../data/shots/wing-case.toml"  # a traverse or a stack, for the search near the end

rig = dataclasses.replace(read_rig(RIG).as_used, controller=catalogue("controllers")[CONTROLLER], measured=())
for key, value in (("rig.carriage.mass", parse(LOAD, "kg")), ("rig.rail.tilt", parse(TILT, "deg"))):
    rig = checks.apply(None, rig, key, value)[1]
speed, ramp = parse(SPEED, "mm/s"), parse(RAMP, "s")
demand = drives.Demand(speed=speed, acceleration=speed / ramp, resolution=parse(FINEST, "um"), brake=BRAKE)
print(f"{LOAD} at {TILT}, {say(speed, 'mm/s')} after {say(ramp, 's')}: an acceleration of {say(demand.acceleration, 'mm/s^2')}")
# %% [markdown]
# ## What the load asks for
#
# The force along the rail in the ramp, upwards: weight, acceleration, friction of the guide, pull of wipers and cables. All numbers are in SI units.
# %%
pull = {"mass": rig.carriage.mass, "momentary_acceleration": demand.acceleration, "slope": rig.rail.tilt, "direction": 1.0,
        "friction": rig.carriage.guide_friction, "drag_force": rig.carriage.drag_force, "gravity": transmission.STANDARD_GRAVITY}
plain = common.drive(dataclasses.replace(rig, transmission=catalogue("screws")["Tr8x2"]))
display(Math(working(transmission.drive_force, **pull)))
Math(working(transmission.drive_torque, force=transmission.drive_force(**pull), travel_per_turn=plain.travel_per_turn,
             efficiency=plain.efficiency))
# %% [markdown]
# The second line is the torque that this force asks of a motor through a plain screw, Tr8x2, which loses <!--= f"{1 - plain.efficiency:.0%}" --> of the work to friction. Screw, motor and drag have to be turned as well. The next cell does that for every combination.
#
# ## Which combinations will do it
#
# Each motor is tried with each transmission and each driver. The current is set where torque and heat have the same room, the microsteps between too coarse and too many pulses. A drive **holds** when all its checks hold: twice the torque that is needed, at most 0.8 of the pulse ceiling, a motor case below its limit however long it runs, a load that stays when the power is off. **Room** is the margin of the worst check over the margin that this check asks for.
# %%
found = drives.choices(rig, demand, catalogue("motors"), {**catalogue("screws"), **catalogue("belts")}, catalogue("drivers"),
                       {SUPPLY: catalogue("supplies")[SUPPLY]})
print(f"{sum(choice.verdict == 'holds' for choice in found)} of {len(found)} combinations hold.")
figures_drive.choice_map(found)
# %% [markdown]
# ### The smallest motor for each transmission
#
# Small motors are light, turn quickly and stay cheap. Where no motor holds, the nearest combination stands there with what limits it. Each change in the last column is one number that alone would make it hold.
# %%
least = drives.smallest(found)


def value(choice, name, digits=3):
    """Margin of a check, as text."""
    margin = next((check.margin for check in choice.checks if check.name == name), None)
    return "-" if margin is None else "any" if margin > 999 else f"{margin:.{digits}g}"


rows = ["| transmission | motor | driver | current | microsteps | torque margin | pulse margin | room | what limits it | what to change |",
        "|---|---|---|---|---|---|---|---|---|---|"]
for name, choice in least.items():
    needs = "" if choice.verdict == "holds" else "; ".join(pretty(mend.text) for mend in choice.changes()) or "no single number helps"
    rows.append(f"| {name} | {choice.names['motor']} | {choice.names['driver']} | {say(choice.rig.driver.peak_current, 'A')} | "
                f"{choice.rig.driver.microsteps} | {value(choice, 'torque')} | {value(choice, 'pulse rate under the ceiling')} | "
                f"{choice.room:.3g} | {choice.limit.name}: {pretty(choice.limit.in_words())} | {needs} |")
Markdown("\n".join(rows))
# %% [markdown]
# How to read what limits a combination, and what to do about it besides the numbers in the table:
#
# | limit | what it means | what helps |
# |---|---|---|
# | torque | too little at the top speed, in the ramp | a slower or softer move, a smaller lead or a gear, more current, a larger motor; above the corner speed a higher voltage |
# | pulse rate, travel for one pulse | the controller is too slow for this fineness at this speed | a quicker program or controller; a slower move; coarser pulses |
# | stays when power is off | the load turns the motor backwards | a screw that locks itself, a brake, a counterweight |
# | stays at hold current | the load turns the motor backwards at standstill | a larger share of the current at standstill |
# | inertia ratio | the load is heavy to turn for this rotor | a gear, a smaller lead, a thinner screw, a longer motor |
# | motor temperature, current | the motor, or the driver, gives no more | a metal bracket that takes heat away, a larger driver, a larger motor |
# | voltage, power, battery | supply and driver do not fit | another supply, another driver |
# | whirling | a long thin screw bends as it turns | a larger lead, a thicker screw, a fixed bearing |
#
# ## One combination in detail
# %%
chosen = found[0] if PICK is None else next(
    choice for choice in found if (choice.names["motor"], choice.names["transmission"], choice.names["driver"]) == tuple(PICK))
seen = common.drive(chosen.rig)
push = transmission.drive_torque.solve_for("force")(drive_torque=common.torque_available(chosen.rig, 0.0), efficiency=seen.efficiency,
                                                    travel_per_turn=seen.travel_per_turn)
print(f"{', '.join(chosen.names.values())}: {chosen.verdict}, room {chosen.room:.3g}, limited by {chosen.limit.name}\n"
      f"at {say(chosen.rig.driver.peak_current, 'A')} and {chosen.rig.driver.microsteps} microsteps; against an obstacle it pushes with "
      f"up to {say(push, 'N')}")
off = common.holding_checks(chosen.rig)[0]
if off.state == "holds":
    print("With the power off the load stays where it is.")
else:
    held = transmission.back_torque.solve_for("force")(back_torque=off.limit / off.enough, back_efficiency=seen.back_efficiency,
                                                       travel_per_turn=seen.travel_per_turn)
    weight = transmission.drive_force(**pull | {"momentary_acceleration": 0.0, "direction": 0.0, "friction": 0.0, "drag_force": 0.0})
    counterweight = (weight - held) / transmission.STANDARD_GRAVITY
    print(f"With the power off the load turns the motor back with {say(off.figure, 'mN m')}; the detent resists with {say(off.limit, 'mN m')}.\n"
          f"It needs a brake on the motor shaft that holds {say(off.enough * off.figure, 'mN m')}, {off.enough:g} times the load, or a "
          f"counterweight of {say(counterweight, 'kg')} on a cord: that mass moves as well.")
display(figures.margins(chosen.checks))
Markdown("\n".join(["| check | figure and limit | state | what it rests on |", "|---|---|---|---|",
                    *(f"| {check.name} | {pretty(check.in_words())} | {check.state} | {check.why} |" for check in chosen.checks)]))
# %% [markdown]
# ### Torque needed under torque available
#
# On the left against the speed: the gap over your speed is the margin. Where the dotted line meets the dashed one, the margin is down at the factor of 2, which is common practice: no formula here knows the losses in the iron of the motor, nor the speeds at which it shakes. On the right the same over the whole move.
# %%
move = ramps.trapezoid(parse(TRAVEL, "mm"), demand.speed, demand.acceleration)
figures_drive.torque_over_torque(chosen.rig, move, chosen.asked.limits.torque_factor)
# %% [markdown]
# ### The same with other supplies
#
# More voltage does not make a motor stronger. It keeps the torque up to a higher speed. The driver must bear it, with some volts to spare: a motor that brakes a load feeds power back.
# %%
parts = {table: {chosen.names[table]: getattr(chosen.offered, table)} for table in ("motor", "transmission", "driver")}
other = drives.choices(rig, demand, parts["motor"], parts["transmission"], parts["driver"], catalogue("supplies"))
Markdown("\n".join(["| supply | state | torque margin | battery margin for 1 h | room | what limits it |", "|---|---|---|---|---|---|",
                    *(f"| {choice.names['supply']} | {choice.verdict} | {value(choice, 'torque')} | {value(choice, 'battery')} | "
                      f"{choice.room:.3g} | {choice.limit.name} |" for choice in other)]))
# %% [markdown]
# ## The same parts for a whole shot
#
# So far the drive was asked alone. A shot asks for more: the picture must neither smear nor shake, and the speed must keep off what rings. The next cell takes every motor, transmission and driver with some microsteps, programs, speeds up to yours and two ramps. It judges each combination by all checks of a plan. A plan knows of no brake: on a slope, a load that runs down is turned away. The ripple of the motor comes from the closed form. Where that is doubted, it must hold eight times over.
#
# Of the combinations that hold, the left pictures show those that no other one beats in everything: travel for one pulse, top speed, ripple, time and power. If none holds, those that are tight stand in. The bars show what turns the others away.
# %%
shot, brisk = read_shot(SHOT), demand.acceleration
programs = {name: part for name, part in catalogue("controllers").items() if "table" in name or "additions" in name or "32-bit" in name}
searched = explore(shot, rig, {
    "motor": catalogue("motors"), "transmission": {**catalogue("screws"), **catalogue("belts")}, "driver": catalogue("drivers"),
    "controller": programs, "microsteps": [8, 16, 32], "speed": [speed * (0.1 + 0.1 * step) for step in range(10)],
    "ramp": {"brisk": ("trapezoid", brisk), "gentle": ("jerk-limited", brisk / 4)}})
display(figures_choice.front(searched))
rows = ["| | best in | combination | travel for one pulse | time | power | its plan | chance that no check fails |", "|---|---|---|---|---|---|---|---|"]
for letter, (what, row) in figures_choice.ends(searched).items():
    made = plan(*searched.setting(row.number), mends=False)
    sure = chance(made, samples=1000)
    rows.append(f"| {letter} | {what} | {', '.join(row.names.values())} | {say(row.figures['resolution'], 'um')} | "
                f"{say(row.figures['time'], 's')} | {say(row.figures['power'], 'W')} | {made.verdict} | {sure.kept:.0%} ± {sure.kept_error:.0%} |")
Markdown("\n".join(rows))
# %% [markdown]
# The last column takes the inputs as uncertain as they usually are: a natural frequency is known to a tenth, friction and damping to a third. It is the share of samples in which no check fails, with its standard error. A low chance is a reason to measure, not to buy a larger motor.
#
# ## What to look for in data sheets
#
# For each value: what the catalogue has, and how far a part of yours may be off before this drive no longer holds. Each bound counts alone, with all else as it is; leave some distance to it.
# %%
KEYS = [("motor.holding_torque", "at least"), ("motor.resistance", "at most"), ("motor.inductance", "at most"),
        ("motor.rotor_inertia", "at least"), ("motor.detent_torque", "at least"), ("motor.thermal_resistance", "at most"),
        ("transmission.friction", "at most"), ("transmission.efficiency", "at least"), ("transmission.drag_torque", "at most"),
        ("transmission.inertia", "at most"), ("driver.largest_current", "at least"), ("driver.largest_voltage", "at least"),
        ("driver.pulse_ceiling", "at least"), ("controller.pulse_ceiling", "at least"), ("supply.voltage", "at least"),
        ("supply.power_limit", "at least"), ("carriage.mass", "at most")]
rows = ["| part | value | here | still holds with |", "|---|---|---|---|"]
for key, sense in KEYS:
    here, described = checks.knob(None, chosen.offered, f"rig.{key}")
    if here:
        bound = chosen.bound(f"rig.{key}", 1.02 if sense == "at most" else 1 / 1.02)
        rows.append(f"| {key.split('.')[0]} | {described.meaning} | {say(here, described.unit)} | "
                    f"{'-' if bound is None else f'{sense} {say(bound, described.unit)}'} |")
Markdown("\n".join(rows))
# %% [markdown]
# A dash stands where the value does not matter, or where the drive does not hold as it is. Ask also:
#
# - **Motor.** Is the holding torque that of both phases on, at which current? If it is that of one phase, multiply it by 1.4. Is there a curve of torque against speed, and at which voltage was it taken? Frame, length, shaft: see the table below.
# - **Screw.** Lead, not only pitch. Straightness, length, the bearings of both ends. Backlash, and whether the nut can be preloaded. What the nut is made of.
# - **Belt and gear.** Pitch, width, cord. Backlash of the gear, in angle. How the belt is tensioned.
# - **Driver.** Amplitude of the current or its root mean square: they differ by 1.4. The highest voltage. How long a pulse must last. Current at standstill.
# - **Supply.** Volts and watts, a fuse, an approval mark of your country.
#
# | frame | face (mm) | hole spacing (mm) | pilot (mm) | usual shaft (mm) |
# |---|---|---|---|---|
# | 8 | 20 | 16 | 15 | 4 |
# | 11 | 28 | 23 | 22 | 5 |
# | 14 | 35 | 26 | 22 | 5 |
# | 17 | 42 | 31 | 22 | 5 |
# | 23 | 57 | 47.1 | 38.1 | 6.35 |
#
# (NEMA ICS 16, as collected on a public page; the standard fixes how a motor is mounted, not what it can do.)
#
# ### For your rig file
#
# These tables take the place of those of the same name. Set `basis` to `"data sheet"` once the values are yours.
# %%
print("\n\n".join(files.table_text(getattr(chosen.rig, table), table)
                  for table in ("transmission", "motor", "driver", "controller", "supply")))
# %% [markdown]
# ## Cautions
#
# - **Falling load.** On a slope or an upright axis the carriage may run down when power, driver or cable fails. Belts, ball screws and steep threads do. Vibration can make a screw creep that locks itself at rest. Fit a brake or a counterweight, catch and tether the camera, let nobody stand or reach below, and test it by cutting the power before the camera is on it.
# - **Hot motor and driver.** A case at 60 to 80 °C burns skin within seconds. Lower the current at standstill, give the heat a way into metal, keep tape, plastic and specimens away. A margin of 4 in torque is a reason to set less current.
# - **Never unplug a motor from a driver that is switched on.** The voltage of the winding destroys the driver, and the load drops. Use plugs with a latch.
# - **Pinch points.** Between carriage and end stop, screw and coupling, belt and pulley. This drive pushes with up to <!--= say(push, "N", 2) -->, as heavy as <!--= f"{push / 9.81:.2g}" --> kg: end stops and current limit protect no one. Have a stop within reach that takes the power from the motor, and let nothing start by itself when the power comes back.
# - **Supply and fuse.** Use closed, approved supplies. Fuse a battery close to its plus pole, for less than its wire bears; charge it attended, on a surface that does not burn. Connect metal rigs to protective earth where mains is near.
# - **This page is a calculation, not a permit.** The makers' instructions, the law, and the electrical and building codes of your place come first. Have mains wiring, loads over people, and public or paid use checked by a qualified and, where required, licensed person.
