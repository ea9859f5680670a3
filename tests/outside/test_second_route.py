"""Every figure on the settings card of the demo shots, computed a second time without the library.

The demo files are read here, the plan comes from the command line as plan.json; nothing is imported from macrolib. Plain
arithmetic, and scipy for integrals, roots and one equation of motion. A choice of the plan (an automatic speed that keeps off
the motor's resonances) is not searched again: it is taken over and shown to keep the limits from which it was chosen.
"""

import json
import math
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

ROOT = Path(__file__).parents[2]
DATA = ROOT / "notebooks" / "data"
SCALE = {"um": 1e-6, "mm": 1e-3, "m": 1.0, "nm": 1e-9, "s": 1.0, "ms": 1e-3, "min": 60.0, "Hz": 1.0, "kHz": 1e3, "kg": 1.0, "N": 1.0,
         "N m": 1.0, "mN m": 1e-3, "g cm^2": 1e-7, "A": 1.0, "V": 1.0, "W": 1.0, "Wh": 3600.0, "ohm": 1.0, "mH": 1e-3, "mm/s": 1e-3,
         "deg": math.pi / 180, "fps": 1.0, "px": 1.0, "N/um": 1e6, "K/h": 1 / 3600, "px/frame": 1.0,
         "1": 1.0, "pulse": 1.0, "frame": 1.0, "1/s": 1.0, "1/s^2": 1.0, "1/s^3": 1.0, "mm/s^2": 1e-3, "mm/s^3": 1e-3, "GB": 1.0}
# What the key table gives for keys that the demo files leave out (notebooks/data/keys.md).
DRIVER_IDLE, CONTROLLER_IDLE, CONVERTER, SHARE, LIGHT, BITS, FILM_BITS = 0.5, 0.3, 0.9, 0.8, 550e-9, 14.0, 1e8


def read(path):
    """{table: {key: SI number, or what stands there}} of a demo file."""
    def si(value):
        found = re.fullmatch(r"(-?[\d.]+) (.+)", value) if isinstance(value, str) else None
        return float(found[1]) * SCALE[found[2]] if found and found[2] in SCALE else value
    content = tomllib.loads(path.read_text(encoding="utf-8"))
    return {name: {k: si(v) for k, v in table.items()} if isinstance(table, dict) else table for name, table in content.items()}


class Route:
    """The numbers of one demo shot on its rig."""

    def __init__(self, shot, rig, folder):
        command = [sys.executable, "-m", "macrolib.planning", DATA / f"shots/{shot}.toml", DATA / f"rigs/{rig}.toml", folder]
        subprocess.run(command, check=True, capture_output=True, cwd=ROOT)
        self.card = {k: v["value"] * SCALE[v["unit"]] for k, v in json.loads((folder / "plan.json").read_text())["settings"].items()}
        self.shot, self.rig = read(DATA / f"shots/{shot}.toml"), read(DATA / f"rigs/{rig}.toml")
        self.seen = {}
        t, motor, driver, camera = (self.rig[k] for k in ("transmission", "motor", "driver", "camera"))
        turn = t["pitch"] * t.get("starts", t.get("teeth")) / t.get("gear_ratio", 1)
        self.pulse = turn / motor["full_steps_per_turn"] / driver["microsteps"]
        self.pitch, self.m = camera["pixel_pitch"], self.shot["picture"]["magnification"]
        self.ratio = self.rig["lens"]["pupil_ratio"]
        self.ceiling = min(self.rig["controller"]["pulse_ceiling"], driver["pulse_ceiling"]) * SHARE * self.pulse
        self.tolerance = float(self.shot.get("waits", {}).get("tolerance", 1.0)) * self.pitch / self.m / 2
        lens = self.rig["lens"]
        self.modes = [(self.rig[k]["natural_frequency"], self.rig[k]["damping_ratio"]) for k in ("stand", "carriage")]
        if "support_stiffness" in lens:
            stiffness = lens["support_stiffness"] * lens["supports"]
            self.modes.append((math.sqrt(stiffness / lens["mass"]) / (2 * math.pi), lens.get("support_damping", 0.02)))
        self.same(microsteps=driver["microsteps"], travel_per_pulse=self.pulse, peak_current=driver["peak_current"],
                  hold_current=driver["peak_current"] * driver["hold_current_share"])

    def same(self, rel=1e-9, **figures):
        """Compare figures with the card's, in SI; each is noted as seen."""
        for name, value in figures.items():
            assert self.card[name] == pytest.approx(value, rel=rel, abs=1e-15), name
            self.seen[name] = value

    def all_seen(self, *taken):
        """Every figure of the card was computed, but for those taken over on purpose."""
        assert set(self.card) - set(self.seen) == set(taken)

    def picture(self, f_number):
        """Aperture and the depth that keeps 80 % of the transfer, by integrating the pupil's overlap."""
        effective = f_number * (1 + self.m / self.ratio)
        cutoff = 1 / (LIGHT * effective)
        q = min(1 / (4 * self.pitch), 0.4 * cutoff) / cutoff

        def transfer(waves):
            def strip(x):
                return math.sqrt(1 - (x + q)**2) * math.cos(8 * math.pi * waves * q * x)
            return 4 / math.pi * quad(strip, 0, 1 - q, epsabs=1e-12, limit=200)[0]
        waves = brentq(lambda w: transfer(w) / transfer(0) - 0.8, 0, 0.6, xtol=1e-12)
        sharp = 2 * waves * LIGHT * 8 * effective**2 / self.m**2
        self.same(f_number=f_number, effective_f_number=effective)
        self.same(rel=1e-6, sharp_depth=sharp)
        return effective, sharp

    def footfall(self):
        """Seconds after a footfall until floor and stand together stay below 1/1.25 of the tolerance."""
        floor, stand = self.rig["floor"], self.rig["stand"]
        p, q = (2 * math.pi * x["natural_frequency"] * complex(-x["damping_ratio"], math.sqrt(1 - x["damping_ratio"]**2))
                for x in (floor, stand))
        slow, two = min(-p.real, -q.real), stand["base"] == "two"

        def ring(t):
            late, both = max(t, 1 / slow), math.exp(p.real * t) + math.exp(q.real * t)
            own = sum(min(both / abs(x - q), late * math.exp(-slow * late)) for x in (p, p.conjugate()))
            return floor["footfall_amplitude"] * (own * abs(p)**2 / (2 * q.imag) + 2 * two * math.exp(p.real * t))
        return brentq(lambda t: ring(t) - self.tolerance / 1.25, 0, 60, xtol=1e-12)

    def draw(self, moving):
        """Mean draw from the supply in W, the motor moving for a share of the time."""
        driver, light = self.rig["driver"], self.rig["light"]
        copper = driver["peak_current"]**2 * self.rig["motor"]["resistance"]
        loads = copper * (moving + (1 - moving) * driver["hold_current_share"]**2) + DRIVER_IDLE + CONTROLLER_IDLE
        return (loads + self.rig["camera"]["power"] + light.get("power", 0.0)) / self.rig["supply"].get("converter_efficiency", CONVERTER)

    def homing(self):
        rail = self.rig["rail"]
        return rail["high_end_stop"] / rail["homing_speed"]


def two_digits(x):
    """Rounded down to two digits."""
    step = 10.0**(math.floor(math.log10(x)) - 1)
    return round(math.floor(x / step * (1 + 1e-12)) * step, 12)


def run(distance, speed, acceleration):
    """Seconds of a move with constant acceleration."""
    if distance * acceleration < speed**2:
        return 2 * math.sqrt(distance / acceleration)
    return distance / speed + speed / acceleration


def left_by(distance, acceleration, frequency, zeta):
    """Envelope that a start and stop without cruise leaves, by solving the equation of motion."""
    half, w = math.sqrt(distance / acceleration), 2 * math.pi * frequency
    state = [0.0, 0.0]
    for push in (acceleration, -acceleration):
        state = solve_ivp(lambda _, z, a=push: [z[1], -a - 2 * zeta * w * z[1] - w**2 * z[0]], (0, half), state, rtol=1e-10,
                          atol=1e-16, method="DOP853").y[:, -1]
    return math.hypot(state[0], (state[1] + zeta * w * state[0]) / (w * math.sqrt(1 - zeta**2)))


def test_the_stack(tmp_path):
    r = Route("moss-capsule", "bench-screw", tmp_path)
    shot, rail, camera = r.shot["stack"], r.rig["rail"], r.rig["camera"]
    effective, sharp = r.picture(float(f"{0.4 * 4 * r.pitch / LIGHT / (1 + r.m / r.ratio):.2g}"))
    numerical = r.m / (2 * effective)
    geometric, wave = 2 * (2 * r.pitch) * effective / r.m**2, LIGHT / numerical**2
    r.same(rel=2e-3, geometric_depth=geometric, wave_depth=wave, summed_depth=geometric + wave)  # thin-lens forms of the near field

    depth = round((shot["far_end"] - shot["near_end"]) / r.pulse)
    pulses = math.floor(sharp * (1 - shot["overlap"]) / r.pulse)
    pulses = math.ceil(depth / math.ceil(depth / pulses))
    frames = math.ceil(depth / pulses) + 1
    spacing = pulses * r.pulse
    r.same(spacing=spacing, spacing_pulses=pulses, frames=frames, first_position=shot["near_end"],
           last_position=shot["near_end"] + (frames - 1) * spacing)

    speed = two_digits(min(0.9 * r.ceiling, 5 * rail["homing_speed"]))
    acceleration = two_digits(min(r.tolerance * (2 * math.pi * f)**2 for f, _ in r.modes))
    take_up = math.ceil(1.5 * r.rig["transmission"]["backlash"] / r.pulse)
    move_time = 2 * math.sqrt(spacing / acceleration)
    r.same(speed=speed, speed_pulses=speed / r.pulse, acceleration=acceleration, acceleration_pulses=acceleration / r.pulse,
           take_up_pulses=take_up, frame_speed=acceleration * move_time / 2, move_time=move_time)

    left = [(left_by(spacing, acceleration, f, z), f, z) for f, z in r.modes]

    def ringing(t):
        return sum(a * math.exp(-2 * math.pi * f * z * t) for a, f, z in left)
    settling = brentq(lambda t: ringing(t) - r.tolerance / 1.25, 0, 20, xtol=1e-12)
    r.same(rel=1e-6, settling_wait=settling, wait_before_move=r.footfall())
    cycle = settling + camera["trigger_latency"] + r.shot["picture"]["exposure_time"] + max(
        camera["write_time"], r.rig["light"]["flash_recycle_time"])
    way = [r.homing(), run(shot["near_end"] - take_up * r.pulse, speed, acceleration), run(take_up * r.pulse, speed, acceleration)]
    assert sum(way) > r.card["wait_before_move"], "the way to the first frame takes longer than the floor rings"
    total = sum(way) + frames * cycle + (frames - 1) * move_time
    moving = (sum(way) + (frames - 1) * move_time) / total
    pixels = round(camera["sensor_width"] / r.pitch) * round(camera["sensor_height"] / r.pitch)
    r.same(rel=1e-6, frame_cycle=cycle, total_time=total, mean_power=r.draw(moving), energy=r.draw(moving) * total)
    r.same(rel=1e-4, data=frames * pixels * BITS / 8e9)
    r.all_seen()


def _film(r, shot, edge_rate):
    """What both filmed moves share; the speed is the card's."""
    speed, rate = r.card["speed"], shot["frame_rate"]
    image = speed * edge_rate / r.pitch / rate
    shutter = shot.get("shutter_angle", math.pi) / (2 * math.pi)
    r.picture(r.shot["picture"]["f_number"])
    r.same(speed_pulses=speed / r.pulse, image_speed=image, blur=image * shutter, exposure_time=shutter / rate)
    widest = r.rig["camera"]["sensor_width"] / 168  # of the picture, in a frame: the crossing rule
    assert speed * edge_rate / rate <= widest and speed <= r.ceiling
    return speed, rate


def _ramp(r, speed, rate, edge_rate):
    """A jerk-limited ramp: peak acceleration twice the mean; whole damped periods of the slowest mode."""
    softest = min(r.tolerance * (2 * math.pi * f)**2 for f, _ in r.modes)
    gentle = r.pitch * rate**2 / edge_rate  # one px per frame squared
    least = max(0.5, 2 * speed / min(softest, gentle))
    frequency, zeta = min(r.modes)
    period = 1 / (frequency * math.sqrt(1 - zeta**2))
    return math.ceil(least / period) * period


@pytest.mark.parametrize("name", ["wing-case", "seed-tray-push-in"])
def test_a_filmed_move(name, tmp_path):
    r = Route(name, "field-belt", tmp_path)
    shot, axial = r.shot["traverse"], r.shot["direction"] == "axial"
    lens = r.rig["lens"]
    pupil = lens["focal_length"] * (1 / r.m + 1 / r.ratio)  # to the plane in focus: where the picture's edge is seen from
    edge_rate = r.rig["camera"]["sensor_width"] / 2 / pupil if axial else r.m
    speed, rate = _film(r, shot, edge_rate)
    distance, ramp = shot["end_mark"] - shot["start_mark"], _ramp(r, speed, rate, edge_rate)
    acceleration = 2 * speed / ramp
    r.same(ramp_time=ramp, ramp_frames=ramp * rate, acceleration=acceleration, acceleration_pulses=acceleration / r.pulse,
           jerk=4 * speed / ramp**2, jerk_pulses=4 * speed / ramp**2 / r.pulse)
    if "duration" in shot:
        r.same(speed=distance / (shot["duration"] - ramp))
    else:  # chosen by the plan to keep off resonances: two digits, not above the limits
        assert speed == pytest.approx(float(f"{speed:.2g}"), rel=1e-12)
        r.seen["speed"] = speed
    duration = distance / speed + ramp
    r.same(start_position=shot["start_mark"], end_position=shot["end_mark"], duration=duration, takes=1,
           data=duration * FILM_BITS / 8e9)
    take_up = math.ceil(1.5 * r.rig["transmission"]["backlash"] / r.pulse) * r.pulse
    quick = max(speed, min(0.9 * r.ceiling, 5 * r.rig["rail"]["homing_speed"]))
    up = run(take_up, quick, acceleration)
    way = r.homing() + run(shot["start_mark"] - take_up, quick, acceleration) + up
    quiet = r.footfall()
    settling = r.card["settling_wait"]
    assert settling == 0 and left_by(take_up, acceleration, *min(r.modes)) < r.tolerance
    assert way > quiet, "the way to the start takes longer than the floor rings"
    total = way + duration
    r.same(rel=1e-6, wait_before_move=quiet, settling_wait=0.0)
    r.same(return_speed=min(quick, math.sqrt(acceleration * max(shot["start_mark"] - take_up, distance + take_up))),
           return_time=run(distance + take_up, quick, acceleration) + up, total_time=total, energy=r.draw(1.0) * total)
    r.all_seen()


def test_the_hand_led_move(tmp_path):
    r = Route("seed-tray-hand-led", "field-belt", tmp_path)
    shot = r.shot["hand_led"]
    shot = {"frame_rate": 24.0, **shot}
    speed, rate = _film(r, shot, r.m)
    acceleration = two_digits(min(r.tolerance * (2 * math.pi * f)**2 for f, _ in r.modes))
    distance, turn = shot["end_mark"] - shot["start_mark"], shot["travel_per_control_turn"]
    lag = speed**2 / (2 * acceleration)
    r.seen["speed"] = speed
    r.same(acceleration=acceleration, acceleration_pulses=acceleration / r.pulse, lag=lag, time_to_stop=speed / acceleration,
           travel_per_control_turn=turn, finest_turn=turn * 5 / 360 * r.m / r.pitch, finest_move=r.pulse * r.m / r.pitch)
    quiet = r.footfall()
    hand = math.ceil((distance / (0.8 * speed) + speed / acceleration + 1.0) * rate) / rate
    total = max(r.homing() + run(shot["start_mark"], speed, acceleration), quiet) + hand
    r.same(rel=1e-6, wait_before_move=quiet, total_time=total)
    r.all_seen()


def test_a_wrong_figure_is_found(tmp_path):
    r = Route("seed-tray-hand-led", "field-belt", tmp_path)
    with pytest.raises(AssertionError, match="travel_per_pulse"):
        r.same(travel_per_pulse=r.pulse * (1 + 1e-6))
    with pytest.raises(AssertionError):
        r.all_seen()
    assert np.isfinite([v for v in r.card.values() if isinstance(v, float)]).all()
