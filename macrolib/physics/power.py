"""Power: what the motor and the rest draw, how long a battery lasts, how warm a part gets. SI throughout."""

import numpy as np
from sympy import pi

from macrolib.formula import Formula, Symbol
from macrolib.physics import symbols as s

__all__ = ["cold_share", "copper_loss", "mean_power", "part_temperature", "supply_power"]

_COLD = ((253.15, 263.15, 273.15, 293.15), (0.6, 0.75, 0.85, 1.0))  # K, share; from memory, the cell's data sheet wins

copper_loss = Formula(s.loss, s.resistance * s.peak_current**2, (s.peak_current, s.resistance),
                      "Joule's law, sin^2 + cos^2 = 1",
                      "both phases together: at rest in every microstep; in motion up to the corner speed, iron losses "
                      "come on top. Hold current: put it in as peak_current; half of it is a quarter of the loss. "
                      "Both phases on at rated current (full steps): put in sqrt(2) times the rated current")
mechanical_power = Formula(Symbol("mechanical_power", "W", "power at a turning shaft", "P_m"),
                           2 * pi * s.torque * s.rotation, (s.torque, s.rotation), "work of one turn")
supply_power = Formula(s.supply_power, s.load_power / s.converter_efficiency, (s.load_power, s.converter_efficiency),
                       "definition of the efficiency",
                       "not rated volts times rated amperes: a chopper driver draws what becomes heat and work")
_label = Symbol("label_energy", "W s", "energy on the battery's label", "W_0", least=0)
usable_energy = Formula(s.energy, _label * s.usable_share * s.age_share * s.cold_share,
                        (_label, s.usable_share, s.age_share, s.cold_share),
                        "common practice, no source", "lithium and nickel cells; lead cells lose more at high current")
run_time = Formula(Symbol("run_time", "s", "time for which the energy lasts", "t_r", least=0),
                   s.energy / s.supply_power, (s.energy, s.supply_power), "definition of power")
battery_voltage = Formula(s.voltage, s.cells * s.cell_voltage - s.internal_resistance * s.current,
                          (s.cells, s.cell_voltage, s.current, s.internal_resistance), "Ohm's law",
                          "the label's cell voltage is a mean over the discharge; the voltage at the end is lower")
part_temperature = Formula(Symbol("part_temperature", "K", "temperature of a part, steady", r"\vartheta_p", above=0),
                           s.temperature + s.thermal_resistance * s.loss, (s.temperature, s.loss, s.thermal_resistance),
                           "definition of the thermal resistance", "steady; a motor case takes about half an hour")


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
    if not (temperature >= _COLD[0][0]).all() or not np.isfinite(temperature).all():
        raise ValueError(f"temperature is {np.min(temperature):g} K; allowed: at least {_COLD[0][0]:g} K")
    share = np.interp(temperature, *_COLD)
    return share if np.ndim(share) else float(share)
