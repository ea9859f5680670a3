"""The ripple of the motor as the picture shows it: at one speed, over a map of speeds and settings, and the checks that rest on it.

Friction is left out: it damps where swings are large, so that what is computed here is on the safe side.
"""

import functools
from collections import namedtuple

import numpy as np

from macrolib.physics import stepper, vibration
from macrolib.planning import common, film, stillness
from macrolib.planning.checks import HOLDS, Check

__all__ = ["motor_ripple", "quiet_speed", "ripple_checks", "ripple_map"]

MotorRipple = namedtuple("MotorRipple", "motor picture rms pixels rms_pixels in_step method")
RippleMap = namedtuple("RippleMap", "speeds microsteps motor picture in_step")
CLOSED_FORM, SIMULATION, NOT_LOOKED_AT = "closed form", "simulation", "the closed form does not hold and nothing was simulated"
DOUBT = 0.07  # estimated error up to which a plan trusts the closed form
_APART = 0.2  # share by which a speed must keep off the motor's resonances; common practice, no source
_SLOWEST = 25  # natural periods from pulse to pulse, from which each step rings out before the next: slower is no different
# Where the closed form's estimated error is from 7 to 100 %, it must hold eight times over: none of 1042 simulated drives at random
# came out above that. Full steps from 1.3 to 2.2 natural frequencies are another matter: detent makes swings grow there.
_SAFE, _HOPELESS, _WILD = 8.0, 1.0, (1.3, 2.2)
_LANES = 256  # of many, computed together: so few that they stay in the processor's own memory
_LONGEST = 500  # natural periods of an electrical cycle, from which detent is so slow that the closed form is 10 % off at most
_NAMES = ("rotor_teeth", "inertia", "damping_ratio", "holding_torque", "detent_torque")


@functools.lru_cache(256)
def motor(rig):
    """The arguments of stepper.ripple and stepper.simulate for a rig: motor at the current that is set, with its load."""
    m = rig.motor
    strength = stepper.peak_torque(m.holding_torque, rig.driver.peak_current, m.rated_current)
    return dict(zip(_NAMES, (m.rotor_teeth, common.total_inertia(rig), common.MOTOR_DAMPING, strength, m.detent_torque)))


def natural_frequency(rig):
    """Natural frequency in Hz of rotor and load on the magnetic spring, at the current that is set."""
    return stepper.natural_frequency(*(motor(rig)[name] for name in ("rotor_teeth", "holding_torque", "inertia")))


def structure(rig):
    """(Hz, damping ratio) of the mode between motor and picture: the camera on its carriage (the stand carries both); or None."""
    frequency = rig.carriage.natural_frequency
    return None if frequency is None else (frequency, np.maximum(rig.carriage.damping_ratio, 1e-3))


def _behind(trace, time_step, mode):
    """(peak to peak, rms) of a whole number of periods of the rotor's motion, behind a mode."""
    spectrum, frequencies = np.fft.rfft(trace - trace.mean()), np.fft.rfftfreq(trace.size, time_step)
    trace = np.fft.irfft(spectrum * vibration.base_response(frequencies / mode[0], mode[1]), trace.size)
    return float(np.ptp(trace)), float(trace.std())


@functools.lru_cache(4096)
def _closed(turns, microsteps, mode, *values):
    """(motor, picture, rms, doubt of the picture's) by the closed form; angles in rad."""
    given = dict(zip(_NAMES, values))
    alone, behind = stepper.ripple(turns, microsteps, **given), stepper.ripple(turns, microsteps, structure=mode, **given)
    return float(alone.position_peak_to_peak), float(behind.position_peak_to_peak), float(behind.position_rms), float(behind.doubt)


@functools.lru_cache(512)
def _simulated(turns, microsteps, mode, *values):
    """(motor, picture, rms, in step) by a simulation of some tenths of a second; out of step at least one cycle is lost."""
    motion = stepper.simulate(turns, microsteps, record=True, **dict(zip(_NAMES, values)))
    if not motion.in_step:
        return *[2 * np.pi / values[0]] * 3, False
    own = float(motion.position_peak_to_peak), float(motion.position_rms)
    return own[0], *(_behind(motion.motor, motion.time_step, mode) if mode else own), True


def motor_ripple(rig, speed, shot=None, simulate=True):
    """MotorRipple of a rig at a steady speed in m/s: motor, picture (both peak to peak) and rms of the picture, in m of travel.

    Behind the mode of the camera on its carriage where the rig has it. pixels and rms_pixels: the same at the sensor, None
    without a shot. method: the closed form where its error is about 10 % at most, else a simulation of up to a second, kept
    for the next time; with simulate=False there is none, and what is not known is None. in_step is False where the rotor
    slips; the numbers are then four full steps, the least that it loses. Sources: stepper.ripple, stepper.simulate.
    """
    microsteps, cycle = rig.driver.microsteps, natural_frequency(rig) / rig.motor.rotor_teeth
    turns = max(float(f"{speed / rig.travel_per_turn:.5g}"), cycle / (4 * microsteps * _SLOWEST))
    key = turns, microsteps, structure(rig), *motor(rig).values()
    (*angles, doubt), in_step, method = _closed(*key), True, CLOSED_FORM
    if doubt >= DOUBT and cycle < _LONGEST * turns:
        if not simulate:
            return MotorRipple(*[None] * 6, NOT_LOOKED_AT)
        (*angles, in_step), method = _simulated(*key), SIMULATION
    travels = [stepper.shaft_travel(angle, rig.travel_per_turn) for angle in angles]
    pixels = [None if shot is None else film.pixels_moved(shot, rig, travel) for travel in travels[1:]]
    return MotorRipple(*travels, *pixels, in_step, method)


def closed_pixels(rig, speed, shot):
    """Ripple in the picture in px, peak to peak, by the closed form alone. Arrays broadcast.

    Where a plan would not trust it, eight times it, if even that holds; else NaN: not known.
    """
    values, mode = motor(rig), structure(rig)
    cycle = natural_frequency(rig) / rig.motor.rotor_teeth
    turns = np.maximum(speed / rig.travel_per_turn, cycle / (4 * rig.driver.microsteps * _SLOWEST))
    lanes = np.broadcast_arrays(turns, rig.driver.microsteps, *values.values(), *(mode or ()), cycle)
    angles, doubts, flat = np.empty(lanes[0].size), np.empty(lanes[0].size), [np.ravel(x) for x in lanes]
    order = np.argsort(flat[-1] / (flat[0] * flat[1]))  # those alike together: slow pulses need longer series
    for first in range(0, order.size, _LANES):
        some = order[first:first + _LANES]
        turns, microsteps, *given, cycle = (x[some] for x in flat)
        given, behind = dict(zip(_NAMES, given)), given[len(_NAMES):] or None
        _, angles[some], _, doubt, _ = stepper.ripple(turns, microsteps, structure=behind, **given)
        wild = (_WILD[0] < 4 * turns / cycle) & (4 * turns / cycle < _WILD[1])
        doubts[some] = np.where(cycle >= _LONGEST * turns, 0.0, np.where(wild & (doubt >= DOUBT), _HOPELESS, doubt))
    angles, doubts = (x.reshape(lanes[0].shape) for x in (angles, doubts))
    pixels = film.pixels_moved(shot, rig, stepper.shaft_travel(angles, rig.travel_per_turn))
    sure = (doubts < _HOPELESS) & (_SAFE * pixels <= shot.waits.tolerance / Check.enough)
    return np.where(doubts < DOUBT, pixels, np.where(sure, _SAFE * pixels, np.nan))


def ripple_map(rig, speeds, microsteps, progress=None):
    """RippleMap, all of it simulated: peak to peak in m of travel of motor and picture, of shape (speeds, microsteps).

    speeds in m/s; NaN where the rotor slips; progress(share) is called now and then. 24 speeds and 8 settings take some seconds.
    """
    speeds, microsteps = np.asarray(speeds, float), np.asarray(microsteps)
    motion = stepper.simulate(speeds[:, None] / rig.travel_per_turn, microsteps, record=True, progress=progress, **motor(rig))
    picture = motion.position_peak_to_peak.copy()
    for at in zip(*np.nonzero(motion.in_step)) if structure(rig) else ():
        trace = motion.motor[:, *at]
        picture[at] = _behind(trace[np.isfinite(trace)], motion.time_step[at], structure(rig))[0]
    motor_and_picture = (x * rig.travel_per_turn / (2 * np.pi) for x in (motion.position_peak_to_peak, picture))
    return RippleMap(speeds, microsteps, *motor_and_picture, motion.in_step)


def _resonances(shot, rig, speed):
    """[(distance as a share, what)] of all that can shake the rotor at a speed."""
    values, natural = motor(rig), natural_frequency(rig)
    steps, share = speed / rig.travel_per_turn * rig.motor.full_steps_per_turn, values["detent_torque"] / values["holding_torque"]
    found = [(abs(steps / natural - 1), "full steps"),
             (np.where(share > values["damping_ratio"], abs(steps / natural / 2 - 1), np.inf),
              "half the full steps, at which strong detent makes swings grow")]
    for k in (1, 2, 3):
        swing = 1 / (2 * rig.driver.microsteps * k * values["rotor_teeth"]) / values["damping_ratio"]  # peak to peak, at resonance
        seen = film.pixels_moved(shot, rig, stepper.shaft_travel(swing, rig.travel_per_turn)) > shot.waits.tolerance
        found.append((np.where(seen, abs(k * rig.driver.microsteps * steps / natural - 1), np.inf),
                      "pulses" if k == 1 else f"{k} times the pulses"))
    return found


def ripple_checks(shot, rig, speed, simulate=True):
    """Checks of the ripple in px, peak to peak at the sensor, and of the speed in m/s against what shakes the rotor.

    simulate=None: the closed form for arrays of rig and speed, which broadcast.
    """
    found = motor_ripple(rig, speed, shot, simulate) if simulate is not None else MotorRipple(
        *[None] * 3, closed_pixels(rig, speed, shot), None, True, f"{CLOSED_FORM}, eight times over where that is doubted")
    slower, mode = film.slower(shot), structure(rig)
    why = f"peak to peak, by the {found.method}" + (f", behind the camera's mode of {np.max(mode[0]):.3g} Hz" if mode else "")
    why = "the rotor falls out of step: the least that it loses" if found.in_step is False else why
    return [
        Check("ripple of the motor", found.pixels, shot.waits.tolerance, "px", why=NOT_LOOKED_AT if found.in_step is None else why,
              knobs=(("rig.driver.microsteps", "up"), *slower, ("rig.motor.detent_torque", "down"), ("shot.waits.tolerance", "up"))),
        _resonance_check(shot, rig, speed),
    ]


def _resonance_check(shot, rig, speed):
    distance, what = stillness.nearest(_resonances(shot, rig, speed))
    return Check("speed off the motor's resonances", distance, _APART, "1", "at least", 1.0,
                 why=f"nearest: {what} against the natural frequency of {np.max(natural_frequency(rig)):.3g} Hz",
                 knobs=(*film.slower(shot), *film.faster(shot), ("rig.driver.microsteps", "up")))


def quiet_speed(shot, rig, speed):
    """The speed in m/s, or the next lower one of two digits that shakes neither rig nor motor, with a ripple that is allowed.

    A hand-led move passes the rig's modes anyway: they do not count. Where the ripple is too large at all speeds, one that
    is off the resonances; the speed itself if there is none.
    """
    trials = [speed]
    while (slower := common.two_digits(trials[-1] * 0.97)) > speed / 5:
        trials.append(slower)
    every = np.array(trials)
    apart = [stillness.resonance_check(rig, every, film.excited(rig, every))] if shot.traverse else []
    apart = [check.figure >= _APART * (1 - 1e-9) for check in (*apart, _resonance_check(shot, rig, every)) if check.figure is not None]
    off = [trial for trial, quiet in zip(trials, np.all(apart, axis=0)) if quiet]
    return next((trial for trial in off if ripple_checks(shot, rig, trial, simulate=False)[0].state == HOLDS), off[0] if off else speed)
