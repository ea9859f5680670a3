"""Pictures of drives: torque needed under torque available, which combinations will do, where the torque goes. SI in."""

import math

import numpy as np

from macrolib.physics import stepper
from macrolib.planning import common
from macrolib.show import style
from macrolib.show.style import COLOURS, FILLS, LINES, Picture, axis, bare, pretty, say, styled
from macrolib.units import to_unit

__all__ = ["choice_map", "shares", "torque_curves", "torque_over_torque", "two_phases"]

_LETTERS = {"torque": "T", "pulse rate under the ceiling": "P", "travel for one pulse": "R", "stays when power is off": "O",
            "stays at hold current": "H", "motor current": "C", "driver current": "C", "motor temperature": "W", "inertia ratio": "J",
            "driver voltage": "V", "supply power": "S", "battery": "S", "screw below its whirling speed": "B"}
_MEANINGS = {"T": "torque", "P": "pulses", "R": "resolution", "O": "power off", "H": "hold current", "C": "current", "W": "warming",
             "J": "inertia", "V": "voltage", "S": "supply", "B": "screw whirls"}


@styled
def torque_over_torque(rig, move, factor=2.0):
    """Torque needed and available, left against the speed with the move's ramps, right over the move. factor: what is asked for."""
    times, needed, available = common.torque_over(rig, move, 400)
    m, top = rig.motor, move.peak_speed
    corner = stepper.corner_speed(rig.supply.voltage, rig.driver.peak_current, m.resistance, m.inductance, m.holding_torque,
                                  m.rated_current, m.rotor_teeth) * rig.travel_per_turn
    speeds = np.linspace(0, max(2.2 * corner, 1.6 * top), 400)[1:]  # from where it moves: at rest a screw may hold by itself
    ramp, steady = (common.torque_needed(rig, speeds, a) for a in (move.peak_acceleration, 0.0))
    given = common.torque_available(rig, speeds)
    fig, axes = style.figure(3.9, 1, 2, sharey=True, gridspec_kw={"width_ratios": [1.25, 1]})
    fig.subplots_adjust(left=0.085, right=0.965, bottom=0.235, top=0.92, wspace=0.07)
    for ax, x, low, high in ((axes[0], speeds * 1e3, ramp, given), (axes[1], times, needed, available)):
        ax.fill_between(x, low * 1e3, high * 1e3, where=high > low, color=COLOURS["sky"], alpha=0.25, lw=0)
        ax.plot(x, high * 1e3, **bare("rig"), label="available")
        ax.plot(x, high / factor * 1e3, **bare("limit", linewidth=1.4), label=f"available over {factor:g}")
        ax.plot(x, low * 1e3, **bare("shot"), label="needed, with the ramp")
    axes[0].plot(speeds * 1e3, steady * 1e3, **bare("third"), label="needed at steady speed")
    at = common.torque_available(rig, top), common.torque_needed(rig, top, move.peak_acceleration)
    axes[0].plot([top * 1e3] * 2, [x * 1e3 for x in at], color="black", lw=1.2, marker="o", ms=5)
    axes[0].set_title(f"at {say(top, 'mm/s')}: {at[0] / at[1]:.3g} times as much", fontsize=10)
    axes[1].set_title(f"least over the move: {(available / needed).min():.3g} times", fontsize=10)
    fig.legend(*axes[0].get_legend_handles_labels(), loc="lower center", ncols=4, handlelength=2.8, columnspacing=1.1, fontsize=9.5)
    axis(axes[0].xaxis, "speed of the carriage", "mm/s", (0, speeds[-1] * 1e3))
    axis(axes[1].xaxis, "time", "s", (0, move.duration))
    axis(axes[0].yaxis, "torque at the motor", "mN m", (0, 1.1e3 * max(given.max(), at[1])))
    return Picture(fig, f"Torque at the motor against speed and over the move. At {say(top, 'mm/s')} {say(at[0], 'mN m')} are available "
                        f"and {say(at[1], 'mN m')} needed, {at[0] / at[1]:.3g} times as much; {factor:g} times are asked for. The full "
                        f"torque is there up to {say(corner, 'mm/s')}.")


@styled
def choice_map(found):
    """Which motor with which transmission will do: for each pair the Choice with most room; found: as drives.choices gives it."""
    motors = _sorted({c.names["motor"]: c.rig.motor.holding_torque for c in found})
    gears = _sorted({c.names["transmission"]: c.rig.travel_per_turn for c in found})
    best = {(c.names["motor"], c.names["transmission"]): c for c in sorted(found, key=lambda c: c.room)}
    fig, ax = style.figure(1.15 + 0.25 * len(gears))
    fig.subplots_adjust(left=0.125, right=0.985, bottom=0.42 / fig.get_figheight(), top=1 - 0.62 / fig.get_figheight())
    used = {}
    for (motor, gear), choice in best.items():
        x, y, letter = motors.index(motor), gears.index(gear), _LETTERS[choice.limit.name]
        holds = choice.verdict == "holds"
        used[letter] = _MEANINGS[letter]
        ax.fill([x - 0.48, x + 0.48, x + 0.48, x - 0.48], [y - 0.45, y - 0.45, y + 0.45, y + 0.45], lw=0,
                color=COLOURS["sky"] if holds else "#F2F2F2", alpha=0.75 if holds else 1)
        ax.text(x, y, f"{letter} {min(choice.room, 9.99):.2f}", ha="center", va="center", fontsize=7,
                weight="bold" if holds else "normal", color="black" if holds else "#555555")
    ax.set(xlim=(-0.5, len(motors) - 0.5), ylim=(len(gears) - 0.5, -0.5))
    ax.set_xticks(range(len(motors)), motors, rotation=60, ha="left", fontsize=8)
    ax.xaxis.tick_top()
    ax.set_yticks(range(len(gears)), gears, fontsize=8)
    ax.grid(False)
    ax.tick_params(length=0)
    fig.text(0.015, 0.03, "What limits: " + ", ".join(f"{letter} {used[letter]}" for letter in sorted(used))
             + ".  Number: room, 1 or more holds (shaded, bold).", fontsize=8)
    good = sum(c.verdict == "holds" for c in best.values())
    return Picture(fig, f"Table of {len(motors)} motors by {len(gears)} transmissions, each with the driver that leaves most room. {good} "
                        f"of {len(best)} pairs hold. Most room: {found[0].names['motor']} with {found[0].names['transmission']}, "
                        f"{found[0].room:.3g}.")


def _sorted(values):
    """The names of {name: value} by their values."""
    return sorted(values, key=values.get)


@styled
def torque_curves(curves, speeds, corners):
    """Torque against speed of rotation. curves: {name: torques in N m}, speeds in turns/s, corners: {name: corner speed in turns/s}."""
    fig, ax = style.figure(3.4)
    fig.subplots_adjust(left=0.095, right=0.985, bottom=0.15, top=0.97)
    for (name, torques), kind in zip(curves.items(), LINES):
        ax.plot(speeds, torques, **bare(kind), label=name)
        ax.plot(corners[name], np.interp(corners[name], speeds, torques), **LINES[kind] | {"linestyle": "", "ms": 8})
    ax.legend(loc="upper right", handlelength=4)
    axis(ax.xaxis, "speed of the motor", "turn/s", (0, speeds[-1]))
    axis(ax.yaxis, "torque available", "N m", (0, None))
    words = "; ".join(f"{name}: full torque up to {corners[name]:.3g} turns/s, then falling to {say(torques[-1], 'mN m')} at "
                      f"{speeds[-1]:.3g} turns/s" for name, torques in curves.items())
    return Picture(fig, f"Torque available against the speed of the motor, the corner of each curve marked. {words}.")


@styled
def two_phases(holding_torque, rotor_teeth):
    """Torque against the angle of the rotor with either phase on and with both, each phase at rated current."""
    fig, ax = style.figure(3.2)
    fig.subplots_adjust(left=0.095, right=0.985, bottom=0.155, top=0.97)
    angle, alone = np.linspace(-0.5, 0.5, 401) * 2 * math.pi / rotor_teeth, stepper.peak_torque(holding_torque, 1.0, 1.0)
    first, second = (alone * np.sin(rotor_teeth * angle + shift) for shift in (math.pi / 4, -math.pi / 4))
    for name, kind, torque in (("phase a alone", "third", first), ("phase b alone", "shot", second), ("both", "rig", first + second)):
        ax.plot(np.degrees(angle), torque, **bare(kind), label=f"{name}: at most {say(torque.max(), 'N m')}")
    ax.legend(loc="upper left", handlelength=4)
    axis(ax.xaxis, "angle of the rotor", "deg", tuple(np.degrees(angle[[0, -1]])))
    axis(ax.yaxis, "torque against the turn", "N m", (-1.15 * holding_torque, 1.15 * holding_torque))
    return Picture(fig, f"Torque against the angle of the rotor: two sines of {say(alone, 'N m')}, a quarter of a cycle apart, and their "
                        f"sum, a sine of {say(holding_torque, 'N m')}: the square root of 2 times as high.")


@styled
def shares(rows, what, unit):
    """What something is made of, as stacked bars. rows: {name: {part: SI value}}, at most five parts; what: name of the sum."""
    fig, ax = style.figure(1.25 + 0.42 * len(rows))
    height = fig.get_figheight()
    fig.subplots_adjust(left=0.03 + 0.0105 * max(map(len, rows)), right=0.9, bottom=0.5 / height, top=1 - 0.42 / height)
    causes = list(dict.fromkeys(cause for row in rows.values() for cause in row))
    start = np.zeros(len(rows))
    for cause, (colour, hatch) in zip(causes, FILLS):
        values = np.array([to_unit(row[cause], unit) for row in rows.values()])
        ax.barh(range(len(rows)), values, left=start, color=COLOURS[colour], hatch=hatch, edgecolor="black", lw=0.6, label=cause)
        start += values
    for row, total in enumerate(start):
        ax.text(total, row, f" {total:.3g}", va="center", weight="bold")
    ax.set_yticks(range(len(rows)), list(rows))
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.yaxis.grid(False)
    axis(ax.xaxis, what, unit, (0, 1.02 * start.max()))
    fig.legend(*ax.get_legend_handles_labels(), loc="upper center", ncols=len(causes), handlelength=1.6, columnspacing=1.2)
    words = "; ".join(f"{name}: {total:.3g} {pretty(unit)}, of it " + ", ".join(f"{part} {to_unit(x, unit):.3g}" for part, x in row.items())
                      for (name, row), total in zip(rows.items(), start))
    return Picture(fig, f"Stacked bars of {what}, by its parts. {words}.")
