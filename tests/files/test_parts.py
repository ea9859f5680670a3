"""The parts catalogue: every row builds, and is physically of one piece. Bounds 'from memory' unless a source is named."""

import dataclasses
import math
import re
from pathlib import Path

import numpy as np
import pytest

from macrolib import files, read_rig
from macrolib.parts import catalogue
from macrolib.physics import power, pulses, stepper, transmission
from macrolib.planning import common
from macrolib.planning.drives import root_diameter
from macrolib.rig import rig_text

PARTS = Path(__file__).resolve().parents[2] / "notebooks" / "data" / "parts"
KINDS = {"motors": "motor", "screws": "transmission", "belts": "transmission", "drivers": "driver", "controllers": "controller",
         "supplies": "supply", "floors": "floor"}
MM, GCM2 = 1e-3, 1e-7
BENCH = read_rig(PARTS.parent / "rigs" / "bench-screw.toml")
MOTORS, SCREWS, BELTS = catalogue("motors"), catalogue("screws"), catalogue("belts")
# Width of the face in mm. NEMA ICS 16-2001 fixes hole spacing, pilot and shaft of a frame; the widths are those of the trade.
FACES = {8: 20, 11: 28, 14: 35, 17: 42, 23: 57}


@pytest.mark.parametrize("kind", KINDS)
def test_rows_take_the_place_of_a_table_of_a_rig(kind, tmp_path):
    for number, (name, part) in enumerate(catalogue(kind).items()):
        assert part.basis == "typical of its kind"
        rig = dataclasses.replace(BENCH, **{KINDS[kind]: part})
        (tmp_path / f"{number}.toml").write_text(rig_text(rig), "utf-8")
        assert read_rig(tmp_path / f"{number}.toml") == rig, name


def test_every_file_is_read_and_says_that_its_values_are_not_yours():
    assert {p.stem for p in PARTS.glob("*.toml")} == set(KINDS)
    for kind in set(KINDS) - {"floors"}:
        head = re.match(r"(?:#.*\n)+", (PARTS / f"{kind}.toml").read_text("utf-8"))[0]
        assert "typical of its kind" in head and "replace it by" in head


def test_faults_of_a_file_of_your_own_are_listed(tmp_path):
    (tmp_path / "drivers.toml").write_text('["A"]\nmicrosteps = 16\n["B"]\nmicrosteps = 0\npeak_curent = "1 A"\n', "utf-8")
    with pytest.raises(files.FileFault) as caught:
        catalogue("drivers", tmp_path)
    assert len(caught.value.faults) == 4 and 'did you mean "peak_current"' in str(caught.value)
    with pytest.raises(ValueError, match="motors, screws"):
        catalogue("gears")
    with pytest.raises(FileNotFoundError):
        catalogue("motors", tmp_path)
    with pytest.raises(TypeError):
        MOTORS["mine"] = MOTORS["M17-40"]


# --- motors: what stays the same when a motor is wound with another wire must fit its size
def size(name):
    """(frame, face in m, length in m) from a designation."""
    frame, length = map(int, re.fullmatch(r"M(\d+)-(\d+)f?", name).groups())
    return frame, FACES[frame] * MM, length * MM


def rotor(name):
    """Diameter and volume of the rotor: steel, 0.55 of the body's length (the rest are end caps and bearings)."""
    length = 0.55 * size(name)[2]
    diameter = transmission.cylinder_inertia.solve_for("diameter")(inertia=MOTORS[name].rotor_inertia, length=length, density=7850)
    return diameter, math.pi / 4 * diameter**2 * length


def by_frame(measure):
    """{frame: mean of measure(designation)}, from the smallest frame on."""
    return {f: np.mean([measure(n) for n in MOTORS if size(n)[0] == f]) for f in FACES}


def rated_loss(motor):
    return power.copper_loss(math.sqrt(2) * motor.rated_current, motor.resistance)


@pytest.mark.parametrize("name", MOTORS)
def test_a_motor_is_of_one_piece(name):
    m, face = MOTORS[name], size(name)[1]
    assert m.full_steps_per_turn == (400 if name.endswith("f") else 200)
    # Motors alone ring at some hundred Hz; 57 Hz with a load is the example of tests/outside/test_stepper.py.
    assert 150 < stepper.natural_frequency(m.rotor_teeth, m.holding_torque, m.rotor_inertia) < 500
    # A rotor is about half as wide as the face: the rest is winding and yoke.
    assert 0.45 < rotor(name)[0] / face < 0.66
    # Torque for a volume of rotor, 5 to 75 kN m/m^3 for machines with magnets and air around them (Hendershot and Miller, Design
    # of Brushless Permanent-Magnet Motors, from memory).
    assert 5e3 < m.holding_torque / rotor(name)[1] < 75e3
    # Flux linkage of the current over that of the magnets: does not change with the wire. Near 1, larger in small motors, whose
    # magnets are weak; twice as large with twice the teeth.
    magnets = m.holding_torque / (math.sqrt(2) * m.rated_current * m.rotor_teeth)
    assert 0.8 < m.inductance * m.rated_current / magnets * 50 / m.rotor_teeth < 2.6
    # 42BYG228 data sheet: detent at most 11 % of the holding torque; usual are 3 % and more.
    assert 0.03 < m.detent_torque / m.holding_torque < 0.11
    # Ratings allow a warming of about 80 K, both phases on (insulation class B, 130 degC, common practice).
    assert 50 < m.thermal_resistance * rated_loss(m) < 80
    assert 2e-4 < m.inductance / m.resistance < 4e-3
    winding = (m.resistance, m.inductance, m.holding_torque, m.rated_current, m.rotor_teeth)
    corner = stepper.corner_speed(24.0, math.sqrt(2) * m.rated_current, *winding)
    assert corner > 2  # turns/s: enough for any close-up screw
    assert stepper.torque_at_speed(0.99 * corner, 24.0, math.sqrt(2) * m.rated_current, *winding) == pytest.approx(m.holding_torque)


def test_larger_frames_make_more_of_their_volume():
    constants = by_frame(lambda n: MOTORS[n].holding_torque / math.sqrt(rated_loss(MOTORS[n])))
    densities = by_frame(lambda n: MOTORS[n].holding_torque / rotor(n)[1])
    times = by_frame(lambda n: MOTORS[n].inductance / MOTORS[n].resistance)
    heat = by_frame(lambda n: MOTORS[n].thermal_resistance)
    for rising in (constants, densities, times):
        assert list(rising.values()) == sorted(rising.values()), rising
    assert list(heat.values()) == sorted(heat.values(), reverse=True)


@pytest.mark.parametrize("frame", FACES)
def test_longer_motors_of_a_frame_have_more_of_everything(frame):
    names = sorted((n for n in MOTORS if size(n)[0] == frame and not n.endswith("f")), key=lambda n: size(n)[2])
    for short, long in zip(names, names[1:]):
        for what in ("holding_torque", "rotor_inertia", "detent_torque"):
            assert getattr(MOTORS[short], what) < getattr(MOTORS[long], what)
        assert MOTORS[short].thermal_resistance > MOTORS[long].thermal_resistance


# --- screws and belts
@pytest.mark.parametrize("name", SCREWS)
def test_a_screw_is_what_its_designation_says(name):
    s = SCREWS[name]
    kind, diameter, lead, pitch = re.fullmatch(r"(Tr|B)(\d+)x([\d.]+)(?: \(P([\d.]+)\))?", name).groups()
    assert s.kind == {"Tr": "screw", "B": "ball screw"}[kind]
    assert (s.diameter, s.lead, s.pitch) == pytest.approx([float(x) * MM for x in (diameter, lead, pitch or lead)])
    root = root_diameter(s)
    bars = [transmission.cylinder_inertia(7850, 0.34, d) for d in (root, s.diameter)]
    assert bars[0] + 2 * GCM2 < s.inertia < bars[1] + 12 * GCM2  # a coupling of 16 to 25 mm has 2 to 12 g cm^2
    assert 0.8 * transmission.whirling_speed(root, s.free_length, s.support) > 100  # turns/s: never a limit at this length
    assert 5 * MM * 1e-3 <= s.backlash <= 100 * MM * 1e-3


RIGS = {p.stem: read_rig(p).transmission for p in sorted((PARTS.parent / "rigs").glob("*.toml"))}


@pytest.mark.parametrize("name", [n for n, part in (SCREWS | RIGS).items() if "screw" in part.kind])
def test_no_screw_turns_more_easily_than_a_solid_bar_of_its_root(name):
    """pi/32 density length d^4 of steel between the bearings, at the least with the smallest coupling, of 2 g cm^2."""
    part = (SCREWS | RIGS)[name]
    root, outer = (math.pi / 32 * 7850 * part.free_length * d**4 for d in (root_diameter(part), part.diameter))
    assert root + 2 * GCM2 < part.inertia < 1.5 * outer + 12 * GCM2


# Mean, nut major, screw minor, nut minor diameter in mm after ISO 2904. The first row from memory (a usual size, not a preferred
# one); the others as in tests/outside/test_transmission.py.
@pytest.mark.parametrize(("name", "row"), [("Tr8x2", (7, 8.5, 5.5, 6)), ("Tr8x1.5", (7.25, 8.3, 6.2, 6.5)),
                                           ("Tr10x2", (9, 10.5, 7.5, 8)), ("Tr12x3", (10.5, 12.5, 8.5, 9))])
def test_threads(name, row):
    s = SCREWS[name]
    assert transmission.trapezoidal_thread(s.diameter, s.pitch) == pytest.approx([x * MM for x in row])


# Efficiency and back efficiency at friction 0.15, computed apart from the library: tan(slope) / tan(slope + grip), slope from the
# lead over the mean circumference, grip = atan(friction / cos 15 deg). Below 0: the screw locks itself.
@pytest.mark.parametrize("name", [n for n in SCREWS if n.startswith("Tr")])
def test_which_screws_lock_themselves(name):
    s, rig = SCREWS[name], dataclasses.replace(BENCH, transmission=SCREWS[name])
    slope, grip = math.atan(s.lead / (math.pi * (s.diameter - s.pitch / 2))), math.atan(0.15 / math.cos(math.radians(15)))
    drive = common.drive(rig)
    assert drive.efficiency == pytest.approx(math.tan(slope) / math.tan(slope + grip))
    assert drive.back_efficiency == pytest.approx(math.tan(slope - grip) / math.tan(slope))
    assert (drive.back_efficiency <= 0) == (name in ("Tr8x1.5", "Tr8x2", "Tr10x2", "Tr10x4 (P2)", "Tr12x3"))


@pytest.mark.parametrize("name", BELTS)
def test_a_belt_is_what_its_designation_says(name):
    b = BELTS[name]
    profile, teeth, ratio = re.fullmatch(r"([A-Z][A-Z\d.]+)-(\d+)(?: i(\d+))?", name).groups()
    pitch, width = {"T2.5": (2.5, 6), "T5": (5, 10), "MXL": (0.08 * 25.4, 6.4)}[profile]  # DIN 7721 (from memory), ISO 5296
    assert (b.pitch, b.teeth, b.gear_ratio) == pytest.approx((pitch * MM, int(teeth), float(ratio or 1)))
    assert b.teeth >= 10 and 0.75 <= b.efficiency <= 0.97
    # both spans of 200 mm; cord belts have 1 to 10 kN for each mm of width
    for strain_stiffness, sign in ((1e3, 1), (10e3, -1)):
        assert sign * (b.stiffness - 2 * transmission.belt_stiffness(strain_stiffness * width, 0.2)) > 0
    assert common.drive(dataclasses.replace(BENCH, transmission=b)).back_efficiency > 0.5  # it never holds a load


def test_gears_cost_efficiency():
    named = [BELTS[n] for n in ("T2.5-20", "T2.5-20 i5", "T2.5-20 i10", "T2.5-20 i25")]
    assert [b.efficiency for b in named] == sorted((b.efficiency for b in named), reverse=True)


# --- electronics
def test_drivers():
    for name, d in catalogue("drivers").items():
        assert d.largest_current == pytest.approx(float(name[1:])) and d.peak_current <= d.largest_current
        assert d.microsteps in {2**n for n in range(9)} and 12 <= d.largest_voltage <= 80
        assert 1e5 <= d.pulse_ceiling <= 1e6  # a pulse and its pause of 1 to 5 us each


def test_every_motor_has_a_driver_for_most_of_its_current():
    largest = max(d.largest_current for d in catalogue("drivers").values())
    assert all(largest >= math.sqrt(2) * m.rated_current for m in MOTORS.values())


def test_controllers_keep_up_what_their_programs_cost():
    """Cycles for a pulse that 16 MHz leave; a program of divisions costs 600 to 1000 (a division alone about 600, measured once)."""
    cycles = {n: 16e6 / c.pulse_ceiling for n, c in catalogue("controllers").items() if n.startswith("8-bit")}
    assert 600 < cycles["8-bit, divisions in an interrupt"] < 1000 < cycles["8-bit, floats in an interrupt"]
    assert list(cycles.values()) == sorted(cycles.values(), reverse=True)
    # entering and leaving an interrupt takes 11 cycles at least (ATmega328P data sheet, 7.7.1)
    assert all(c.pulse_ceiling < pulses.pulse_ceiling(16e6, 11) for c in catalogue("controllers").values())
    assert all(c.program for c in catalogue("controllers").values())


# Nominal cell voltages: Larminie 2003, as in tests/outside/test_power.py (lithium 3.5 V there; labels say 3.6 V).
def test_batteries_are_whole_cells():
    for name, supply in catalogue("supplies").items():
        if supply.energy is None:
            volts, watts = map(float, re.fullmatch(r"mains (\d+) V (\d+) W", name).groups())
            assert (supply.voltage, supply.power_limit) == (volts, watts)
        else:
            kind, cells, watt_hours = re.fullmatch(r"(\w+) (\d+) cells (\d+) Wh", name).groups()
            nominal = {"lithium": 3.6, "nickel": 1.2, "lead": 2.0}[kind]
            assert supply.voltage == pytest.approx(power.battery_voltage(int(cells), nominal, 0.0, 0.1))
            assert supply.energy == pytest.approx(3600 * float(watt_hours))
            assert 1.5 < supply.energy / 3600 / supply.voltage < 8  # Ah: one that is carried
