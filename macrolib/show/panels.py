"""The panels of drive and motion, and a door to all others: for each a plain function in SI, its picture, its sentence, its sliders."""

import functools
from collections import namedtuple

import numpy as np
from matplotlib.patches import Rectangle

from macrolib.parts import catalogue
from macrolib.physics import following, ramps, screen, transmission
from macrolib.show import style
from macrolib.show.figures import move_axes
from macrolib.show.panel import Panel, Slider
from macrolib.show.panels_focus import MAGNIFICATION, PITCH, depth_of_field, stack
from macrolib.show.panels_sharpness import aperture_and_spacing
from macrolib.show.panels_ramps import ringing, timer
from macrolib.show.panels_ripple import extents
from macrolib.show.style import COLOURS, axis, bare, ring, round_up, say, tag

__all__ = ["aperture_and_spacing", "depth_of_field", "microsteps", "ringing", "stack", "timer", "trapezoid", "traverse"]

FULL_STEPS = 200  # a turn, the usual motor of 1.8 degrees
_MICROSTEPS = (1, 2, 4, 8, 16, 32, 64, 128, 256)

# --- microsteps, pulse ceiling, top speed
Drive = namedtuple("Drive", "microsteps travels speeds chosen allowed pixels needed ceiling least_ceiling program ripples lags per_pixel")
_SPAN = (0.01, 300.0), (0.05, 5000.0)  # um, mm/s: what the chart shows
_PROGRAMS = ("none: the pulse ceiling below", *catalogue("controllers"))
_DETENT, _DAMPING = 0.05, 0.05  # share of the motor's torque, damping ratio of the rotor
_LED = 2.0  # s for which a hand leads


@functools.cache
def _solved(formula, name):
    return formula.solve_for(name)


def _microsteps(microsteps, travel_per_turn, program, pulse_ceiling, magnification, pixel_pitch, pixels_per_pulse, speed, acceleration):
    choices, name = np.array(_MICROSTEPS), _PROGRAMS[int(program)]
    ceiling = catalogue("controllers")[name].pulse_ceiling if program else pulse_ceiling
    travels = transmission.travel_per_pulse(travel_per_turn, FULL_STEPS * choices)
    tops = _solved(transmission.pulse_rate, "speed")(ceiling, travel_per_turn, FULL_STEPS * choices)
    chosen, per_pixel = _MICROSTEPS.index(microsteps), screen.image_speed(1.0, magnification, pixel_pitch, 1.0)  # px for one metre
    allowed = pixels_per_pulse / per_pixel
    behind = following.stopping_distance(np.minimum(tops, speed), acceleration, 0.0) + _LED * np.maximum(speed - tops, 0)
    return Drive(choices, travels, tops, chosen, allowed, travels[chosen] * per_pixel, speed, ceiling, speed / allowed,
                 f"{name}, {say(ceiling, 'kHz')}" if program else say(ceiling, "kHz"),
                 extents(speed, choices, _DETENT, _DAMPING, travel_per_turn)[0], behind, per_pixel)


def _faults(d):
    """{what is wrong: for which of the microstep settings}."""
    most = d.allowed * (1 + 1e-9)
    return {"too coarse": d.travels > most, "too slow": d.speeds < d.needed * (1 - 1e-9), "shakes": d.ripples > most}


def _fits(d):
    """Which of the microstep settings do what the shot needs."""
    return ~np.any(list(_faults(d).values()), axis=0)


def _verdict(d):
    return " and ".join(fault for fault, where in _faults(d).items() if where[d.chosen]) or "meets the shot"


def _microsteps_sentence(d):
    travel, top, ripple, lag = (x[d.chosen] for x in (d.travels, d.speeds, d.ripples, d.lags))
    good, need = d.microsteps[_fits(d)], say(d.needed, "mm/s")
    if good.size:
        advice = f"Microsteps that do both: {', '.join(map(str, good))}."
    elif _faults(d)["shakes"].all():
        advice = "The motor shakes with every setting: try another speed, or less travel per turn."
    elif d.ceiling < d.least_ceiling:
        advice = f"No setting does it; a pulse ceiling of {say(d.least_ceiling, 'kHz')} would leave room for one."
    else:
        advice = "The shot lies between two settings; a little more pulse ceiling or another travel per turn gets there."
    led = (f"lags by {say(lag, 'mm')}" if top >= d.needed * (1 - 1e-9) else
           f"loses the hand and is {say(lag, 'mm')} behind after {say(_LED, 's')}")
    return (f"Microsteps {d.microsteps[d.chosen]}: {say(travel, 'um')} a pulse, {d.pixels:.3g} px of a sideways picture, and at most "
            f"{say(top, 'mm/s')} ({d.program}). At {need} the motor shakes by {say(ripple, 'um', 2)}, {ripple * d.per_pixel:.2g} px; "
            f"led by hand the carriage {led}. The shot needs at most {say(d.allowed, 'um')} a pulse and at least {need}: {_verdict(d)}. "
            f"{advice}")


_ROWS = (("top speed", "mm/s", *_SPAN[1], "finer is slower; a higher ceiling\nlifts the line; upright band:\nfine enough and fast enough"),
         ("ripple", "px", 0.01, 300.0, "coarse pulses shake, detent stays; dashed: allowed"),
         ("lag by hand", "mm", 0.003, 1000.0, "too fine: the carriage loses the hand"))


def _microsteps_axes():
    fig, axes = style.figure(5.5, 3, sharex=True, height_ratios=[2.4, 1, 1])
    fig.subplots_adjust(left=0.115, right=0.985, bottom=0.09, top=0.985, hspace=0.09)
    for ax, (name, unit, low, high, words) in zip(axes, _ROWS):
        axis(ax.yaxis, name, unit, (low, high), log=True)
        ax.text(0.985, 0.03 if ax is axes[0] else 0.06, words, transform=ax.transAxes, ha="right", color=COLOURS["blue"])
    axis(axes[2].xaxis, "travel for one pulse: finer to the left", "um", _SPAN[0], log=True)
    fig.align_ylabels(axes)
    return fig, axes


def _microsteps_picture():
    (fig, axes), (x0, x1), (y0, y1) = _microsteps_axes(), *_SPAN
    ax = axes[0]
    box = ax.add_patch(Rectangle((x0, y0), 1, 1, facecolor="#FBF6C3", edgecolor=COLOURS["vermillion"], linestyle="--", linewidth=2))
    bands = [place.axvspan(1, 2, facecolor=COLOURS["sky"], alpha=0.3, lw=0) for place in axes]
    lines = [place.plot([], [], **bare("rig"))[0] for place in axes]
    out, inside = ([place.plot([], [], "o", mfc=fill, mec=COLOURS["blue"], ms=6)[0] for place in axes]
                   for fill in ("white", COLOURS["blue"]))
    rings, most = [ring(place) for place in axes], axes[1].plot([], [], **bare("shot"))[0]
    # numbers as markers: drawn in a third of the time of texts
    numbers = [ax.plot([], [], marker=f"${m}$", ms=(6.6, 11, 16.7)[len(str(m)) - 1], color="black", mew=0)[0] for m in _MICROSTEPS]
    corner = ax.text(0.012, 0.97, "the shot needs this corner", transform=ax.transAxes, va="top", color="#8A3B00")
    label = tag(ax)

    def update(d):
        x, fits = d.travels * 1e6, _fits(d)
        for n, (values, (_, _, low, high, _)) in enumerate(zip((d.speeds * 1e3, d.ripples * d.per_pixel, d.lags * 1e3), _ROWS)):
            y = values if n == 0 else np.clip(values, low * 1.8, high / 1.8)
            lines[n].set_data(*((x, y) if n else ([x0, x1], [x0 * 1e-3 * d.ceiling, x1 * 1e-3 * d.ceiling])))
            inside[n].set_data(x[fits], y[fits])
            out[n].set_data(x[~fits], y[~fits])
            here = np.clip(x[d.chosen], x0 * 1.15, x1 / 1.15), np.clip(y[d.chosen], low * 1.3, high / 1.3)
            rings[n].set_data([here[0]], [here[1]])
            bands[n].set(x=d.needed / d.ceiling * 1e6, width=max(d.allowed - d.needed / d.ceiling, 0) * 1e6)
        for number, *place in zip(numbers, x * 0.78, d.speeds * 1.6e3):
            number.set_data(*([z] for z in place))
        box.set_bounds(x0, d.needed * 1e3, d.allowed * 1e6 - x0, y1 - d.needed * 1e3)
        most.set_data([x0, x1], [d.allowed * d.per_pixel] * 2)
        at, right = [r[0] for r in rings[0].get_data()], rings[0].get_xdata()[0] < 3
        label.set(text=f"microsteps {d.microsteps[d.chosen]}: {_verdict(d)}\n{say(d.travels[d.chosen], 'um')} = {d.pixels:.3g} px, "
                       f"{say(d.speeds[d.chosen], 'mm/s')}", x=at[0] * (1.3 if right else 0.75), y=at[1] * (0.72 if right else 1.3),
                  ha="left" if right else "right", va="top" if right else "bottom")

    return fig, [box, *bands, *lines, *out, *inside, most, *rings, *numbers, corner, label], update


microsteps = Panel(
    _microsteps, "Microsteps, pulse ceiling and top speed", [
        Slider("microsteps", "microsteps", "1", 1, 256, 16, choices=_MICROSTEPS),
        Slider("travel_per_turn", "travel per turn", "mm", 0.5, 60, 2, log=True),
        Slider("program", "controller program", "1", 0, len(_PROGRAMS) - 1, 0, choices=tuple(range(len(_PROGRAMS))), names=_PROGRAMS),
        Slider("pulse_ceiling", "pulse ceiling", "kHz", 2, 500, 20, log=True),
        Slider("magnification", "magnification", "1", 0.2, 10, 3, log=True), PITCH,
        Slider("pixels_per_pulse", "largest pulse and ripple allowed", "px", 0.1, 5, 0.5, log=True),
        Slider("speed", "speed needed", "mm/s", 0.5, 100, 5, log=True),
        Slider("acceleration", "acceleration when led by hand", "mm/s^2", 5, 500, 40, log=True)],
    _microsteps_picture, _microsteps_sentence,
    "Three charts above each other against the travel for one pulse, logarithmic: the microstep settings lie on one rising line of top "
    "speed, the shot needs the corner at the upper left; below, the ripple of a typical motor (rotor at 240 Hz, detent 5 %; by the closed "
    "form or the stored map), and how far the carriage is behind a hand that leads at the speed needed.")


# --- the trapezoid
Profile = namedtuple("Profile", "distance speed acceleration duration peak_speed ramp cruise times position speeds accelerations")


def _trapezoid(distance, speed, acceleration):
    move = ramps.trapezoid(distance, speed, acceleration)
    t = np.linspace(0, move.duration, 401)
    knots = np.ravel(move.knots)
    edges = np.repeat(knots, 2)[1:-1]  # constant acceleration between the knots, drawn with its jumps
    middles = (knots[:-1] + knots[1:]) / 2
    return Profile(distance, speed, acceleration, move.duration, move.peak_speed, move.ramp_in, move.cruise, t, move.position(t),
                   move.speed(t), (edges, np.repeat(move.acceleration(middles), 2)))


def _trapezoid_sentence(p):
    whole = f"{say(p.distance, 'mm')} take {say(p.duration, 's')}."
    if p.cruise > 1e-9 * p.duration:
        return (f"{whole} Each ramp lasts {say(p.ramp, 's')} and covers {say(p.peak_speed * p.ramp / 2, 'mm')}; the cruise at "
                f"{say(p.peak_speed, 'mm/s')} lasts {say(p.cruise, 's')}.")
    return (f"{whole} The move is too short for {say(p.speed, 'mm/s')}: it turns into a triangle that reaches "
            f"{say(p.peak_speed, 'mm/s')} in the middle.")


def _trapezoid_picture():
    fig, axes = move_axes()
    lines = [ax.plot([], [], **bare("rig"))[0] for ax in axes]
    limit, = axes[1].plot([], [], **bare("limit"))
    said = axes[1].text(0.99, 0, "", transform=axes[1].get_yaxis_transform(), ha="right", va="bottom")
    marks = [ax.plot([], [], color="#666666", lw=1, ls=":")[0] for ax in axes]
    parts = [axes[0].text(0, 1.02, name, ha="center", va="bottom", transform=axes[0].get_xaxis_transform())
             for name in ("ramp in", "cruise", "ramp out")]
    last = []

    def update(p):
        tops = [round_up(x) for x in (p.duration, p.distance * 1e3, p.speed * 1.25e3, p.acceleration * 1.1e3)]
        for line, data in zip(lines, ((p.times, p.position), (p.times, p.speeds), p.accelerations)):
            line.set_data(data[0], data[1] * 1e3)
        limit.set_data([0, tops[0]], [p.speed * 1e3] * 2)
        said.set(text=f"speed asked for: {say(p.speed, 'mm/s')} ", y=p.speed * 1.03e3)
        turns = [0, p.ramp, p.ramp + p.cruise, p.duration]
        for mark, low, top in zip(marks, (0, 0, -tops[3]), tops[1:]):
            mark.set_data(np.repeat(turns[1:], 3), [low, top, np.nan] * 3)
        for text, begin, end in zip(parts, turns, turns[1:]):
            text.set(x=(begin + end) / 2, visible=end - begin > 0.11 * tops[0])
        changed, last[:] = tops != last, tops
        if changed:
            axes[0].set_xlim(0, tops[0])
            for ax, low, top in zip(axes, (0, 0, -tops[3]), tops[1:]):
                ax.set_ylim(low, top * 1.03)
        return changed

    return fig, [*marks, *lines, limit, said, *parts], update


trapezoid = Panel(
    _trapezoid, "A move with constant acceleration", [
        Slider("distance", "distance", "mm", 0.1, 300, 20, log=True),
        Slider("speed", "speed", "mm/s", 0.1, 100, 10, log=True),
        Slider("acceleration", "acceleration", "mm/s^2", 1, 1000, 20, log=True)],
    _trapezoid_picture, _trapezoid_sentence,
    "Position, speed and acceleration against time, one below the other: ramp in, cruise, ramp out.")


# --- the traverse
Crossing = namedtuple("Crossing", "speed image_speed blur slope crossing limit exposure")


def _traverse(speed, magnification, pixel_pitch, frame_rate, shutter_angle, sensor_width):
    image_speed = screen.image_speed(speed, magnification, pixel_pitch, frame_rate)
    slow = screen.crossing_speed(sensor_width, magnification, screen.crossing_time(screen.CROSSING_FRAMES, frame_rate))
    return Crossing(speed, image_speed, screen.frame_blur(image_speed, shutter_angle), image_speed / speed,
                    _solved(screen.crossing_speed, "crossing_time")(speed, sensor_width, magnification), slow,
                    screen.exposure_time(shutter_angle, frame_rate))


def _traverse_sentence(c):
    against = "slower" if c.speed <= c.limit * (1 + 1e-9) else "faster"
    return (f"At {say(c.speed, 'mm/s')} the picture moves {c.image_speed:.3g} px from frame to frame and each frame smears by "
            f"{c.blur:.3g} px in {say(c.exposure, 'ms')}. A detail crosses the picture in {say(c.crossing, 's')}; the move is "
            f"{against} than the starting value of {say(c.limit, 'mm/s')} ({screen.CROSSING_FRAMES} frames for one picture width).")


def _traverse_picture():
    fig, (left, right) = style.figure(4.0, 1, 2, gridspec_kw={"width_ratios": [1.15, 1]})
    fig.subplots_adjust(left=0.12, right=0.975, bottom=0.125, top=0.93, wspace=0.24)
    axis(left.xaxis, "speed of the carriage", "mm/s", (0.05, 50), log=True)
    axis(left.yaxis, "image speed", "px/frame", (0.01, 1e4), log=True)
    axis(right.xaxis, "place in the picture", "px")
    axis(right.yaxis, "video frame", "1", (6.6, 0.4))
    right.set_title("one point, frame after frame", fontsize=10)
    line, = left.plot([], [], **bare("rig"))
    quick = left.axvspan(1, 50, facecolor=COLOURS["orange"], alpha=0.25)
    edge = left.axvline(1, **bare("limit"))
    here, text = ring(left), tag(left)
    left.set_title(f"shaded: less than {screen.CROSSING_FRAMES} frames for one width", fontsize=10)
    smears = right.barh(range(1, 7), 1, height=0.5, color=COLOURS["sky"], edgecolor=COLOURS["blue"])
    dots, = right.plot([], [], "o", color="black", ms=4)
    path, = right.plot([], [], color="#666666", lw=1, ls=":")
    last = []

    def update(c):
        line.set_data([0.05, 50], [0.05e-3 * c.slope, 50e-3 * c.slope])
        quick.set(x=min(c.limit * 1e3, 50), width=max(50 - c.limit * 1e3, 0))
        edge.set_xdata([c.limit * 1e3] * 2)
        y = min(max(c.image_speed, 0.015), 7e3)
        here.set_data([c.speed * 1e3], [y])
        low = c.speed < 1.6e-3
        text.set(text=f"{c.image_speed:.3g} px a frame,\n{c.blur:.3g} px smear", x=c.speed * (1.35e3 if low else 0.75e3),
                 y=y * (0.7 if low else 1.4), ha="left" if low else "right", va="top" if low else "bottom")
        for k, bar in enumerate(smears):
            bar.set(x=k * c.image_speed, width=c.blur)
        dots.set_data(np.arange(6) * c.image_speed, np.arange(1, 7))
        path.set_data([0, 5 * c.image_speed], [1, 6])
        top = round_up(6.1 * c.image_speed)
        changed, last[:] = last != [top], [top]
        if changed:
            right.set_xlim(0, top)
        return changed

    return fig, [quick, edge, line, here, text, *smears, path, dots], update


traverse = Panel(
    _traverse, "Image speed and smear of a traverse", [
        Slider("speed", "speed of the carriage", "mm/s", 0.05, 50, 0.5, log=True), MAGNIFICATION, PITCH,
        Slider("frame_rate", "frame rate", "fps", 24, 60, 25, choices=(24, 25, 30, 50, 60)),
        Slider("shutter_angle", "shutter angle", "deg", 45, 360, 180),
        Slider("sensor_width", "width of the sensor", "mm", 5, 40, 23.5, log=True)],
    _traverse_picture, _traverse_sentence,
    "Left, image speed against carriage speed with a ring at the chosen one; right, how a point smears in six video frames.")
