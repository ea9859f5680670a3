"""The panel of torque: what a typical motor gives and what a screw needs, against the speed of the carriage."""

import math
from collections import namedtuple

import numpy as np

from macrolib.parts import catalogue
from macrolib.physics import stepper, transmission
from macrolib.show import style
from macrolib.show.panel import Panel, Slider
from macrolib.show.style import COLOURS, axis, bare, ring, say, tag

__all__ = ["torque"]

MOTOR, FACTOR = "M17-40", 2.0  # of the catalogue; available over needed that is asked for, common practice
MEAN_DIAMETER, FRICTION, FLANK, INERTIA, DRAG, RAMP_TIME = 7e-3, 0.15, math.radians(15), 9e-7, 8e-3, 0.1  # an 8 mm screw; SI
Torque = namedtuple("Torque", "speed turns given needed ratio corner current_bound speeds available wanted efficiency down "
                              "detent voltage")
_SPEEDS, _SPAN = np.geomspace(0.5e-3, 0.5, 241), (2e-3, 1.0)  # m/s, N m: what the chart shows


def _winding(voltage, peak_current):
    m = catalogue("motors")[MOTOR]
    return voltage, peak_current, m.resistance, m.inductance, m.holding_torque, m.rated_current, m.rotor_teeth


def _needed(speed, lead, mass, tilt, acceleration, **thread):
    return transmission.required_torque(speed, acceleration, mass=mass, inertia=INERTIA + catalogue("motors")[MOTOR].rotor_inertia,
                                        travel_per_turn=lead, slope=tilt, friction=0.01, drag_torque=DRAG, **thread)


def _torque(voltage, peak_current, lead, mass, tilt, speed):
    m, thread = catalogue("motors")[MOTOR], (MEAN_DIAMETER, lead, FRICTION, FLANK)
    ways = {"efficiency": transmission.screw_efficiency(*thread), "back_efficiency": transmission.back_efficiency(*thread)}
    winding = _winding(voltage, peak_current)
    given, needed = stepper.torque_at_speed(speed / lead, *winding), _needed(speed, lead, mass, tilt, speed / RAMP_TIME, **ways)
    corner = stepper.corner_speed(*winding) * lead
    weight = mass * transmission.STANDARD_GRAVITY * math.sin(tilt)
    down = transmission.back_torque(weight, lead, max(ways["back_efficiency"], 0.0))
    return Torque(speed, speed / lead, given, needed, given / needed, corner, corner >= speed,
                  _SPEEDS, np.maximum(stepper.torque_at_speed(_SPEEDS / lead, *winding), 1e-6),
                  _needed(_SPEEDS, lead, mass, tilt, _SPEEDS / RAMP_TIME, **ways), ways["efficiency"], down, m.detent_torque, voltage)


def _verdict(r):
    return "enough" if r.ratio >= FACTOR else "too little to be safe" if r.ratio >= 1 else "too little: it loses steps"


def _torque_sentence(r):
    where = "the current is the limit" if r.current_bound else f"the {r.voltage:g} V are the limit"
    falls = "it stays" if FACTOR * r.down <= r.detent else f"it {'may run' if r.down <= r.detent else 'runs'} down: fit a brake"
    return (f"At {say(r.speed, 'mm/s')} the motor turns {r.turns:.3g} times a second. It gives {say(r.given, 'mN m')}, where {where}; the "
            f"drive needs {say(r.needed, 'mN m')}: {r.ratio:.3g} times as much, {_verdict(r)}. Full torque up to {say(r.corner, 'mm/s')}. "
            f"The screw loses {1 - r.efficiency:.0%} of the work to friction. With the power off {falls}.")


def _torque_picture():
    fig, ax = style.figure(4.5)
    fig.subplots_adjust(left=0.095, right=0.985, bottom=0.115, top=0.925)
    axis(ax.xaxis, "speed of the carriage", "mm/s", (_SPEEDS[0] * 1e3, _SPEEDS[-1] * 1e3), log=True)
    axis(ax.yaxis, "torque at the motor", "mN m", (_SPAN[0] * 1e3, _SPAN[1] * 1e3), log=True)
    available, = ax.plot([], [], **bare("rig"), label="available")
    half, = ax.plot([], [], **bare("limit", linewidth=1.4), label=f"available over {FACTOR:g}")
    wanted, = ax.plot([], [], **bare("shot"), label="needed in the ramp")
    knee, = ax.plot([], [], "D", color=COLOURS["blue"], ms=8, label="corner")
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=4, handlelength=3, borderaxespad=0.1)
    gap, = ax.plot([], [], color="black", lw=1.4)
    rings, words = [ring(ax), ring(ax)], tag(ax)

    def update(r):
        for line, values in ((available, r.available), (half, r.available / FACTOR), (wanted, r.wanted)):
            line.set_data(r.speeds * 1e3, np.clip(values, _SPAN[0] / 2, 2 * _SPAN[1]) * 1e3)
        top = float(np.interp(r.corner, r.speeds, r.available))
        knee.set_data([r.corner * 1e3], [top * 1e3])
        ends = np.clip([r.given, r.needed], _SPAN[0] * 1.06, _SPAN[1] / 1.06) * 1e3
        gap.set_data([r.speed * 1e3] * 2, ends)
        for one, end in zip(rings, ends):
            one.set_data([r.speed * 1e3], [end])
        right, low = r.speed < 12e-3, max(ends) > 500
        words.set(text=f"{r.ratio:.3g} times what is needed:\n{_verdict(r)}", x=r.speed * 1e3 * (1.15 if right else 0.87),
                  y=1.2e3 * _SPAN[0] if low else 0.9e3 * _SPAN[1], ha="left" if right else "right", va="bottom" if low else "top")
        return False

    return fig, [available, half, wanted, knee, gap, *rings, words], update


torque = Panel(
    _torque, "Torque available and torque needed", [
        Slider("voltage", "supply voltage", "V", 6, 48, 24),
        Slider("peak_current", "current, peak of the sine", "A", 0.2, 2.4, 1.5),
        Slider("lead", "lead of the screw", "mm", 1, 20, 2, log=True),
        Slider("mass", "moved mass", "kg", 0.2, 20, 2.5, log=True),
        Slider("tilt", "tilt of the rail", "deg", 0, 90, 90),
        Slider("speed", "speed", "mm/s", 1, 200, 10, log=True)],
    _torque_picture, _torque_sentence,
    f"Both against the speed of the carriage, on logarithmic scales; motor {MOTOR}, an 8 mm trapezoidal screw, ramps of {RAMP_TIME:g} s.")
