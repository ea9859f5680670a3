"""Power: what the motor and the rest draw, how long a battery lasts, how warm a part gets. SI throughout."""

import numpy as np
from sympy import exp, pi

from macrolib.formula import Formula, Symbol
from macrolib.physics import symbols as s

__all__ = ["cold_share", "copper_loss", "label_energy", "mean_power", "part_temperature", "run_time", "supply_power", "usable_energy"]

_COLD = ((253.15, 263.15, 273.15, 293.15), (0.6, 0.75, 0.85, 1.0))  # K, share; from memory, the cell's data sheet wins
COPPER_RESISTIVITY, COPPER_COEFFICIENT = 1 / 58e6, 3.93e-3  # ohm m, 1/K, at 20 degC: IEC 60028, annealed copper

copper_loss = Formula(s.loss, s.resistance * s.peak_current**2, (s.peak_current, s.resistance),
                      "Joule's law, sin^2 + cos^2 = 1",
                      "both phases together: at rest in every microstep; in motion up to the corner speed, iron losses "
                      "come on top. Hold current: put it in as peak_current; half of it is a quarter of the loss. "
                      "Both phases on at rated current (full steps): put in sqrt(2) times the rated current")
motor_loss = Formula(s.loss, copper_loss.expression * (s.moving_share + (1 - s.moving_share) * s.hold_share**2),
                     (s.peak_current, s.resistance, s.moving_share, s.hold_share), "mean of copper_loss in motion and at standstill",
                     "both phases together; every move counts as motion, and so does a wait until the driver lowers the current")
mechanical_power = Formula(s.mechanical_power, 2 * pi * s.torque * s.rotation, (s.torque, s.rotation), "work of one turn")
_loads = (s.loss, s.mechanical_power, s.driver_power, s.controller_power, s.camera_power, s.light_power)
load_power = Formula(s.load_power, sum(_loads), _loads, "conservation of energy",
                     "work that comes back from a load going down is turned into heat in the driver, or raises the supply's voltage")
supply_power = Formula(s.supply_power, s.load_power / s.converter_efficiency, (s.load_power, s.converter_efficiency),
                       "definition of the efficiency",
                       "not rated volts times rated amperes: a chopper driver draws what becomes heat and work")
supply_current = Formula(s.current, s.supply_power / s.voltage, (s.supply_power, s.voltage), "definition of power",
                         "the mean; a chopper driver draws it in pulses, so a capacitor stands close to it")
label_energy = Formula(s.label_energy, s.cells * s.cell_voltage * s.charge, (s.cells, s.cell_voltage, s.charge),
                       "definition of energy", "voltage and charge of the label; air travel counts it: above 100 Wh the carrier must agree")
aged_share = Formula(s.age_share, 1 - 0.2 * s.discharges / s.rated_discharges, (s.discharges, s.rated_discharges),
                     "common practice, no source: a straight line to the 80 % of the data sheet", "up to the rated number")
usable_energy = Formula(s.energy, s.label_energy * s.usable_share * s.age_share * s.cold_share,
                        (s.label_energy, s.usable_share, s.age_share, s.cold_share),
                        "common practice, no source", "lithium and nickel cells; lead cells: see peukert_time")
run_time = Formula(Symbol("run_time", "s", "time for which the energy lasts", "t_r", least=0),
                   s.energy / s.supply_power, (s.energy, s.supply_power), "definition of power")
peukert_time = Formula(
    run_time.result, s.duration * (s.charge / (s.current * s.duration)) ** s.peukert_exponent,
    (s.duration, s.charge, s.current, s.peukert_exponent),
    "Peukert, Elektrotechnische Zeitschrift 20 (1897)", "lead cells, steady current, about 20 degC; duration: the one that the label names")
battery_voltage = Formula(s.voltage, s.cells * s.cell_voltage - s.internal_resistance * s.current,
                          (s.cells, s.cell_voltage, s.current, s.internal_resistance), "Ohm's law",
                          "the label's cell voltage is a mean over the discharge; the voltage at the end is lower")
part_temperature = Formula(Symbol("part_temperature", "K", "temperature of a part, steady", r"\vartheta_p", above=0),
                           s.temperature + s.thermal_resistance * s.loss, (s.temperature, s.loss, s.thermal_resistance),
                           "definition of the thermal resistance", "steady; a motor case takes about half an hour")
case_temperature = Formula(
    part_temperature.result, s.temperature + s.thermal_resistance * s.loss * (1 - exp(-s.elapsed_time / s.time_constant)),
    (s.temperature, s.loss, s.thermal_resistance, s.elapsed_time, s.time_constant),
    "one heat capacity and one heat path", "constant loss, from a part as warm as the room")
winding_resistance = Formula(
    s.resistance, s.cold_resistance * (1 + s.temperature_coefficient * (s.temperature - s.reference_temperature)),
    (s.cold_resistance, s.temperature_coefficient, s.temperature, s.reference_temperature), "IEC 60028",
    "the coefficient holds at its own temperature, 20 degC; solved for the temperature it measures a winding")

# --- cautions, not designs: local electrical rules and the makers of wire, fuse and battery come first
least_fuse = Formula(Symbol("least_fuse", "A", "smallest rated current of a fuse that stays whole", "I_f", least=0),
                     1.25 * s.current, (s.current,), "NFPA 70 (NEC), 215.3: continuous loads count 125 %; from memory",
                     "the largest steady draw; the fuse must also lie below what the wire bears, by its maker and the local rules")
wire_drop = Formula(Symbol("wire_drop", "V", "voltage lost on the way to a load and back", r"\Delta U", least=0),
                    2 * s.resistivity * s.length * s.current / s.wire_area, (s.resistivity, s.length, s.current, s.wire_area),
                    "Ohm's law", "length is one way; stranded and warm wires lose up to a quarter more than solid copper at 20 degC")


def mean_power(powers, durations):
    """Mean draw in W of phases of so many watts that each last so many seconds, over the last axis."""
    powers, durations = np.broadcast_arrays(np.asarray(powers, float), np.asarray(durations, float))
    total = durations.sum(axis=-1)
    if not (np.isfinite(powers).all() and (durations >= 0).all() and (total > 0).all() and np.isfinite(total).all()):
        raise ValueError("powers must be finite and durations finite, at least 0, with a sum above 0")
    mean = (powers * durations).sum(axis=-1) / total
    return mean if mean.shape else float(mean)


def cold_share(temperature):
    """Share of a lithium battery's energy that is left at a temperature in K: 1 at 20 degC, 0.75 at -10 degC.

    Straight lines between typical values from memory; arrays broadcast. ValueError below -20 degC: not known.
    """
    temperature = np.asarray(temperature, float)
    if not (temperature >= _COLD[0][0] - 1e-9).all() or not np.isfinite(temperature).all():
        raise ValueError(f"temperature is {np.min(temperature):g} K; allowed: at least {_COLD[0][0]:g} K")
    share = np.interp(temperature, *_COLD)
    return share if np.ndim(share) else float(share)
