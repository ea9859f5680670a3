"""The panel of power and heat: what draws how much, how long a battery lasts, how warm the motor gets. The field rig, in SI."""

import functools
from collections import namedtuple
from pathlib import Path

import numpy as np

from macrolib.physics import power
from macrolib.rig import read_rig
from macrolib.show import style
from macrolib.show.panel import Panel, Slider
from macrolib.show.style import COLOURS, FILLS, axis, bare, ring, round_up, say, tag

__all__ = ["power_and_heat"]

_RIG = Path(__file__).resolve().parents[2] / "notebooks" / "data" / "rigs" / "field-belt.toml"
TIME_CONSTANT = 1200.0  # s, of a motor's case, from memory
_HOT, _BURNS = 323.15, 333.15  # K from which nobody holds it long, or burns within seconds; from memory, see ISO 13732-1
_TIMES = np.linspace(0, 7200, 121)
_PARTS = ("motor", "driver and controller", "camera", "lamp", "loss of the converter")
Power = namedtuple("Power", "parts draw label usable lasts promised loss case warming limit")


@functools.cache
def _rig():
    return read_rig(_RIG).as_used


def _power_and_heat(peak_current, hold_share, moving_share, light_power, label_energy, temperature, age_share):
    rig = _rig()
    loss = power.motor_loss(peak_current, rig.motor.resistance, moving_share, hold_share)
    loads = loss, 0.0, rig.driver.idle_power, rig.controller.idle_power, rig.camera.power, light_power
    draw = power.supply_power(power.load_power(*loads), rig.supply.converter_efficiency)
    usable = power.usable_energy(label_energy, rig.supply.usable_share, age_share, power.cold_share(temperature))
    heat = temperature, loss, rig.motor.thermal_resistance
    return Power(np.array([loss, sum(loads[2:4]), *loads[4:], draw - sum(loads)]), draw, label_energy, usable, power.run_time(usable, draw),
                 power.run_time(label_energy, draw), loss, power.part_temperature(*heat),
                 power.case_temperature(*heat, _TIMES, TIME_CONSTANT), rig.motor.case_limit)


def _feel(p):
    return ("hotter than it may be" if p.case > p.limit else "it burns skin within seconds" if p.case >= _BURNS else
            "too hot to hold" if p.case >= _HOT else "not hot to touch")


def _sentence(p):
    most = int(np.argmax(p.parts))
    return (f"The rig draws {say(p.draw, 'W')} from the battery; the largest part is the {_PARTS[most]} with {say(p.parts[most], 'W')}. Of "
            f"{say(p.label, 'Wh')} on the label {say(p.usable, 'Wh')} can be used: {say(p.lasts, 'h')}, not {say(p.promised, 'h')}. "
            f"The motor turns {say(p.loss, 'W')} into heat and comes to {say(p.case, 'degC')} in the long run: {_feel(p)}.")


def _axes():
    fig, whole = style.figure(4.9)
    fig.subplots_adjust(left=0.095, right=0.975, bottom=0.76, top=0.9)
    left, right = (fig.add_axes((x, 0.105, 0.385, 0.49)) for x in (0.095, 0.59))
    axis(whole.xaxis, "power from the battery, mean", "W")
    whole.set(yticks=[], ylim=(-0.6, 0.6))
    for ax, name, unit in ((left, "energy left", "Wh"), (right, "case of the motor", "degC")):
        axis(ax.yaxis, name, unit)
        axis(ax.xaxis, "time", "h")
    right.set(xlim=(0, 2), ylim=(-25, 145))
    for kelvin, words in ((_BURNS, "burns skin in seconds"), (_rig().motor.case_limit, "limit of the motor")):
        right.axhline(kelvin - 273.15, **bare("limit", linewidth=1.3))
        right.text(0.02, kelvin - 272, words, va="bottom")
    return fig, whole, left, right


def _picture():
    fig, whole, left, right = _axes()
    bars = [whole.barh([0], [1], color=COLOURS[colour], hatch=hatch, edgecolor="black", lw=0.6)[0] for colour, hatch in FILLS]
    fig.legend(bars, _PARTS, loc="upper center", ncols=5, handlelength=1.5, columnspacing=1.0, borderaxespad=0.2)
    promise, real = (left.plot([], [], **bare(kind), label=words)[0] for kind, words in (("shot", "label"), ("rig", "usable")))
    left.legend(loc="upper right")
    warming, rings, last = right.plot([], [], **bare("rig"))[0], [ring(left), ring(right)], []
    words = [tag(whole, va="center"), tag(left, va="bottom", ha="center"), tag(right, va="bottom", ha="right")]
    for end in rings:  # at the edge of the axes, and whole
        end.set_clip_on(False)

    def update(p):
        for bar, start, width in zip(bars, np.cumsum(p.parts) - p.parts, p.parts):
            bar.set(x=start, width=width)
        promise.set_data([0, p.promised / 3600], [p.label / 3600, 0])
        real.set_data([0, p.lasts / 3600], [p.usable / 3600, 0])
        warming.set_data(_TIMES / 3600, p.warming - 273.15)
        scales = [round_up(x, (1, 2, 5, 10)) for x in (1.15 * p.draw, 1.02 * p.promised / 3600, 1.02 * p.label / 3600)]
        rings[0].set_data([p.lasts / 3600], [0])
        rings[1].set_data([2], [p.warming[-1] - 273.15])
        words[0].set(text=say(p.draw, "W"), x=p.draw + 0.01 * scales[0])
        words[1].set(text=say(p.lasts, "h"), x=max(p.lasts / 3600, 0.09 * scales[1]), y=0.09 * scales[2])
        words[2].set(text=f"{say(p.warming[-1], 'degC')}:\n{_feel(p)}", x=1.95, y=p.warming[-1] - (263 if p.warming[-1] < 373 else 310))
        changed, last[:] = scales != last, scales
        if changed:
            whole.set_xlim(0, scales[0])
            left.set(xlim=(0, scales[1]), ylim=(0, scales[2]))
        return changed

    return fig, [*bars, promise, real, warming, *rings, *words], update


power_and_heat = Panel(
    _power_and_heat, "Power, battery and heat", [
        Slider("peak_current", "current, peak of the sine", "A", 0.2, 2.4, 1.2),
        Slider("hold_share", "current at standstill, share of it", "1", 0, 1, 0.6),
        Slider("moving_share", "share of the time in motion", "1", 0, 1, 0.3),
        Slider("light_power", "power of the lamp", "W", 0, 40, 8),
        Slider("label_energy", "energy on the label", "Wh", 10, 160, 98),
        Slider("temperature", "temperature outdoors", "degC", -20, 40, 9),
        Slider("age_share", "what age has left of the battery", "1", 0.6, 1, 0.9)],
    _picture, _sentence,
    "Above, the power of each part as a stacked bar; below, the energy left in the battery, by the label and really, and the temperature "
    "of the motor's case, both against time.")
