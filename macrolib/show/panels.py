"""The panels of drive and motion, and a door to all others: for each a plain function in SI, its picture, its sentence, its sliders."""

import functools
from collections import namedtuple

import numpy as np
from matplotlib.patches import Rectangle

from macrolib.physics import ramps, screen, transmission
from macrolib.show import style
from macrolib.show.figures import move_axes
from macrolib.show.panel import Panel, Slider
from macrolib.show.panels_focus import MAGNIFICATION, PITCH, depth_of_field, stack
from macrolib.show.panels_sharpness import aperture_and_spacing
from macrolib.show.panels_ramps import ringing, timer
from macrolib.show.style import COLOURS, axis, bare, ring, round_up, say, tag

__all__ = ["aperture_and_spacing", "depth_of_field", "microsteps", "ringing", "stack", "timer", "trapezoid", "traverse"]

FULL_STEPS = 200  # a turn, the usual motor of 1.8 degrees
_MICROSTEPS = (1, 2, 4, 8, 16, 32, 64, 128, 256)

# --- microsteps, pulse ceiling, top speed
Drive = namedtuple("Drive", "microsteps travels speeds chosen allowed pixels needed ceiling least_ceiling")
_SPAN = (0.01, 300.0), (0.05, 5000.0)  # um, mm/s: what the chart shows


@functools.cache
def _solved(formula, name):
    return formula.solve_for(name)


def _microsteps(microsteps, travel_per_turn, pulse_ceiling, magnification, pixel_pitch, pixels_per_pulse, speed):
    choices = np.array(_MICROSTEPS)
    pulses = FULL_STEPS * choices
    travels = transmission.travel_per_pulse(travel_per_turn, pulses)
    chosen = _MICROSTEPS.index(microsteps)
    per_pixel = screen.image_speed(1.0, magnification, pixel_pitch, 1.0)  # px for one metre
    allowed = pixels_per_pulse / per_pixel
    return Drive(choices, travels, _solved(transmission.pulse_rate, "speed")(pulse_ceiling, travel_per_turn, pulses), chosen, allowed,
                 travels[chosen] * per_pixel, speed, pulse_ceiling, speed / allowed)


def _fits(d):
    """Which of the microstep settings do what the shot needs."""
    return (d.travels <= d.allowed * (1 + 1e-9)) & (d.speeds >= d.needed * (1 - 1e-9))


def _drive_words(d):
    travel, speed, fits = d.travels[d.chosen], d.speeds[d.chosen], _fits(d)
    faults = [word for word, bad in (("too coarse", travel > d.allowed * (1 + 1e-9)),
                                     ("too slow", speed < d.needed * (1 - 1e-9))) if bad]
    return travel, speed, fits, " and ".join(faults) or "meets the shot"


def _microsteps_sentence(d):
    travel, speed, fits, verdict = _drive_words(d)
    good = d.microsteps[fits]
    if good.size:
        advice = f"Microsteps that do both: {', '.join(map(str, good))}."
    elif d.ceiling < d.least_ceiling:
        advice = f"No setting does both; a pulse ceiling of {say(d.least_ceiling, 'kHz')} would leave room for one."
    else:
        advice = "The shot lies between two settings; a little more pulse ceiling or another travel per turn gets there."
    return (f"Microsteps {d.microsteps[d.chosen]}: {say(travel, 'um')} a pulse, {d.pixels:.3g} px of a sideways picture, and at most "
            f"{say(speed, 'mm/s')} at {say(d.ceiling, 'kHz')}. The shot needs at most {say(d.allowed, 'um')} a pulse and at least "
            f"{say(d.needed, 'mm/s')}: {verdict}. {advice}")


def _microsteps_picture():
    fig, ax = style.figure(4.4)
    fig.subplots_adjust(left=0.105, right=0.985, bottom=0.115, top=0.975)
    (x0, x1), (y0, y1) = _SPAN
    axis(ax.xaxis, "travel for one pulse: finer to the left", "um", (x0, x1), log=True)
    axis(ax.yaxis, "top speed", "mm/s", (y0, y1), log=True)
    box = ax.add_patch(Rectangle((x0, y0), 1, 1, facecolor="#FBF6C3", edgecolor=COLOURS["vermillion"], linestyle="--", linewidth=2))
    line, = ax.plot([], [], **bare("rig"))
    out, = ax.plot([], [], "o", mfc="white", mec=COLOURS["blue"], ms=6)
    inside, = ax.plot([], [], "o", color=COLOURS["blue"], ms=7)
    here = ring(ax)
    numbers = [ax.text(0, 0, str(m), fontsize=9, ha="right", va="bottom", clip_on=True) for m in _MICROSTEPS]
    title = ax.text(0.012, 0.975, "the shot needs this corner:", transform=ax.transAxes, va="top", color="#8A3B00", weight="bold")
    need = ax.text(0.012, 0.925, "", transform=ax.transAxes, va="top", color="#8A3B00")
    ax.text(0.985, 0.03, "all microsteps lie on one line, set by the pulse ceiling:\nfiner is slower; a higher ceiling lifts the line",
            transform=ax.transAxes, ha="right", color=COLOURS["blue"])
    label = tag(ax)

    def update(d):
        x, y, fits = d.travels * 1e6, d.speeds * 1e3, _fits(d)
        line.set_data([x0, x1], [x0 * 1e-3 * d.ceiling, x1 * 1e-3 * d.ceiling])
        inside.set_data(x[fits], y[fits])
        out.set_data(x[~fits], y[~fits])
        box.set_bounds(x0, d.needed * 1e3, d.allowed * 1e6 - x0, y1 - d.needed * 1e3)
        for text, place in zip(numbers, zip(x * 0.87, y * 1.17)):
            text.set_position(place)
        at = np.clip([x[d.chosen], y[d.chosen]], [x0 * 1.15, y0 * 1.3], [x1 / 1.15, y1 / 1.3])
        here.set_data(at[:1], at[1:])
        travel, speed, _, verdict = _drive_words(d)
        right = at[0] < 3
        label.set(text=f"microsteps {d.microsteps[d.chosen]}: {verdict}\n{say(travel, 'um')} = {d.pixels:.3g} px, {say(speed, 'mm/s')}",
                  x=at[0] * (1.3 if right else 0.75), y=at[1] * (0.72 if right else 1.3), ha="left" if right else "right",
                  va="top" if right else "bottom")
        need.set_text(f"at most {say(d.allowed, 'um')} a pulse\nat least {say(d.needed, 'mm/s')}")

    return fig, [box, line, out, inside, here, *numbers, title, need, label], update


microsteps = Panel(
    _microsteps, "Microsteps, pulse ceiling and top speed", [
        Slider("microsteps", "microsteps", "1", 1, 256, 16, choices=_MICROSTEPS),
        Slider("travel_per_turn", "travel per turn", "mm", 0.5, 60, 2, log=True),
        Slider("pulse_ceiling", "pulse ceiling", "kHz", 2, 500, 20, log=True),
        Slider("magnification", "magnification", "1", 0.2, 10, 3, log=True), PITCH,
        Slider("pixels_per_pulse", "largest pulse allowed", "px", 0.1, 5, 0.5, log=True),
        Slider("speed", "speed needed", "mm/s", 0.5, 100, 5, log=True)],
    _microsteps_picture, _microsteps_sentence,
    "Chart of top speed against travel for one pulse, both logarithmic: the microstep settings lie on one rising line, "
    "the shot needs the corner at the upper left.")


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
