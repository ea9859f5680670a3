"""The programs on the simulated chip: edges to the cycle, what the pins do, what each program keeps up.

Bounds are wide where another version of the compiler may give other counts. 'Common practice' facts have no source.
"""

import time

import numpy as np
import pytest

from macrolib.controller import header, pieces
from macrolib.parts import catalogue
from macrolib.physics import ramps

MICROSECOND = header.CLOCK * 1e-6
MOVES = {
    "triangle": ramps.trapezoid(2000.0, 1e5, 3e4), "slices": ramps.trapezoid(40.0, 20.0, 40.0),
    "quick": ramps.trapezoid(5000.0, 40000.0, 4e5),
    "backwards": ramps.trapezoid(-1500.0, 8000.0, 2e4), "jerk-limited": ramps.s_curve(3000.0, 9000.0, 3e4, 2e5),
    "minimum-jerk": ramps.minimum_jerk(2500.0, 1.0), "cycloidal": ramps.cycloidal(2500.0, 1.0),
    "half-sine": ramps.ramps_by_time(3000.0, 0.3, duration=1.0, shape="half-sine"), "two pulses": ramps.trapezoid(2.0, 100.0, 1e3),
    "versed-sine": ramps.ramps_by_time(3000.0, 0.3, duration=1.0, shape="versed-sine"), "cruise": ramps.trapezoid(3000.0, 7000.0, 4e4)}


def _run(chip, moves, values=None, **options):
    made = [pieces.fit(m, 1.0) for m in moves]
    return made, chip.simulate(header.defines(made, values), **options)


@pytest.mark.parametrize("name", MOVES)
def test_edges_equal_the_model_to_the_cycle(chip, name):
    (segment,), run = _run(chip, [MOVES[name]])
    assert np.array_equal(np.diff(run.edges), pieces.intervals(segment)[1:] * 8)
    assert run.value == segment.way * segment.pulses
    assert run.widths.min() >= 2 * MICROSECOND  # drivers ask for 1 to 2.5 us, from memory


def _changes(run, bit):
    return [(level, cycle) for port, b, level, cycle in run.outputs if (port, b) == ("D", bit)]


def test_direction_enable_and_the_end(chip):
    made, run = _run(chip, [MOVES["triangle"], MOVES["backwards"]])
    assert run.edges.size == 3500 and run.value == 500
    (_, away), (_, home) = _changes(run, chip.DIRECTION)[-2:]
    for change, edge in ((away, run.edges[0]), (home, run.edges[2000])):
        assert edge - change >= 20 * MICROSECOND
    assert home - run.edges[1999] > run.widths[1999]  # not while a pulse is out
    enable = _changes(run, chip.ENABLE)
    assert [level for level, _ in enable] == [1, 0, 1] and enable[1][1] < run.edges[0] and enable[2][1] > run.edges[-1]
    _, kept = _run(chip, [MOVES["two pulses"]], {"MV_HOLD": 1})
    assert [level for level, _ in _changes(kept, chip.ENABLE)] == [1, 0]


STACK = {"MV_FRAMES": 4, "MV_SETTLE_MS": 3, "MV_SHUTTER_MS": 5, "MV_AFTER_MS": 2, "MV_ENABLE_MS": 1}


def _exposures(chip, run):
    changes = _changes(run, chip.SHUTTER)
    return [(a, b) for (up, a), (down, b) in zip(changes, changes[1:]) if up and not down]


def test_a_stack_exposes_at_rest(chip):
    (way, spacing), run = _run(chip, [MOVES["triangle"], ramps.trapezoid(50.0, 8000.0, 2e4)], STACK)
    shots = _exposures(chip, run)
    assert len(shots) == 4 and run.edges.size == 2000 + 3 * 50 == run.value
    for number, (opens, closes) in enumerate(shots):
        assert closes - opens == pytest.approx(5e-3 * header.CLOCK, rel=0.02)
        assert opens - run.edges[2000 + 50 * number - 1] >= 3e-3 * header.CLOCK
        assert not np.any((run.edges > opens) & (run.edges < closes))
        if number < 3:
            assert run.edges[2000 + 50 * number] - closes >= 2e-3 * header.CLOCK


def test_a_stack_goes_on_at_frame_3(chip):
    _, run = _run(chip, [MOVES["triangle"], ramps.trapezoid(50.0, 8000.0, 2e4)], {**STACK, "MV_FIRST_FRAME": 3})
    shots = _exposures(chip, run)
    assert len(shots) == 2 and run.value == 2150 and np.sum(run.edges < shots[0][0]) == 2100


def test_a_pause_holds_before_the_next_frame(chip):
    spacing = [MOVES["two pulses"], ramps.trapezoid(50.0, 8000.0, 2e4)]
    pause = [(20, chip.GO, 1)]
    _, run = _run(chip, spacing, STACK, inputs=pause, most=0.5)
    assert run.value == 52 and len(_exposures(chip, run)) == 1  # frame 2 is reached, and waits
    assert run.cycles >= 0.5 * header.CLOCK and _changes(run, chip.ENABLE)[-1][0] == 0
    _, first = _run(chip, spacing, STACK, inputs=[(0, chip.GO, 1)], most=0.2)
    assert first.edges.size == 0 and len(_changes(first, chip.ENABLE)) == 1  # nothing moves before the switch is closed


def test_stop_switches_ramp_down_and_keep_the_count(chip):
    """What was sent is what was counted, within the ramp; test_pieces.py tries 100 pulses with the same C."""
    draw = np.random.default_rng(3)
    names = ["triangle", "jerk-limited", "backwards", "cruise"]
    for name in names:
        segment = pieces.fit(MOVES[name], 1.0)
        text, whole = header.defines([segment]), pieces.intervals(segment)
        out = sum(p.count for p in segment.pieces[segment.out:])
        for pulse in draw.integers(1, whole.size, 2):
            switch = chip.STOP if pulse % 2 else chip.END if segment.way > 0 else chip.HOME
            run = chip.simulate(text, inputs=[(int(pulse), switch, 1)])
            assert abs(run.value) == run.edges.size <= min(pulse + 2 + max(min(pulse + 2, out), 0), whole.size)
            model = pieces.intervals(segment, pulse + 2)  # two were computed already
            assert np.array_equal(np.diff(run.edges), model[1:] * 8)
            assert _changes(run, chip.ENABLE)[-1][0] == 1


def test_homing_counts_from_the_switch(chip):
    values = {"MV_HOME_PULSES": 500, "MV_CREEP_US": 200, "MV_ENABLE_MS": 1}
    _, run = _run(chip, [MOVES["two pulses"]], values, inputs=[(120, chip.HOME, 1)])
    assert run.edges.size == 122 and run.value == 2  # away from an open home switch is allowed
    assert np.diff(run.edges)[:119].min() >= 200 * MICROSECOND
    _, lost = _run(chip, [MOVES["two pulses"]], values)
    assert lost.edges.size == 500 and _changes(lost, chip.ENABLE)[-1][0] == 1


# --- the simulator's faults, each with and without its correction

def test_interrupt_entry_takes_four_cycles(chip):
    """ATmega328P data sheet 8271H, section 7.7.1: 4 cycles to enter, 3 for the jump, 4 to return."""
    made = header.defines([pieces.fit(MOVES["two pulses"], 1.0)])
    lengths = [np.diff(chip.simulate(made, fixes=fixes).routines, axis=1)[:, 0] for fixes in (2, 3)]
    assert np.all(lengths[1] - lengths[0] == 4)
    assert lengths[1].min() >= 4 + 3 + 4


def test_sleep_takes_no_real_time_and_no_cycle(chip):
    short, long = (pieces.fit(ramps.trapezoid(count, 800.0, 8e3), 1.0) for count in (400.0, 24000.0))
    start = time.perf_counter()
    late = np.diff(chip.simulate(header.defines([short]), fixes=1).edges) - pieces.intervals(short)[1:] * 8
    assert time.perf_counter() - start > 0.59  # the move lasts 0.6 s
    assert np.max(np.abs(late)) <= 1
    start = time.perf_counter()
    edges = chip.simulate(header.defines([long])).edges
    assert time.perf_counter() - start < 20  # the move lasts 30 s
    assert np.array_equal(np.diff(edges), pieces.intervals(long)[1:] * 8)


# --- what programs keep up

def test_ceilings_are_ordered_and_the_record_is_of_this_program(chip):
    found = {name: chip.ceiling(name) for name in ("even", "pieces", "division", "float", "polled", "polled, display")}
    rates = [found[name]["pulses_per_second"] for name in ("even", "pieces", "division", "float")]
    assert rates == sorted(rates, reverse=True)
    assert 120 < found["pieces"]["longest"] < 300 and found["division"]["longest"] > 3 * found["pieces"]["longest"]
    # Common practice, no source: a small controller that is busy with a display reliably makes about 8000 pulses a second.
    assert found["polled, display"]["pulses_per_second"] < 8000 < found["polled"]["pulses_per_second"]
    if chip.made_with()["compiler"] == chip.RECORDED["made_with"]["compiler"]:
        for name, values in found.items():
            assert values["pulses_per_second"] == pytest.approx(chip.RECORDED["programs"][name]["pulses_per_second"], rel=0.02), name
            assert values["flash"] == pytest.approx(chip.RECORDED["programs"][name]["flash"], rel=0.02), name


def test_above_the_ceiling_a_turn_of_the_counter_is_missed(chip):
    gaps = np.diff(chip.run_program("division", 20000, 4500).edges) / header.CLOCK
    assert gaps[:2000].max() < 0.01 and gaps.max() == pytest.approx(65536 / pieces.TIMER, rel=0.01)


def test_a_display_delays_polled_pulses_only(chip):
    jitter = np.ptp(np.diff(chip.run_program("even", 4000, 1000, ["DISPLAY"]).edges))
    polled = np.diff(chip.run_program("polled, display", 4000, 2000).edges)[500:]
    assert jitter <= 2 * MICROSECOND and polled.max() > 2 * polled.mean()


def test_single_operations(chip):
    cycles = chip.operations()
    assert cycles["add 32 bit"] < cycles["multiply 32 bit"] < cycles["divide 32 bit"]
    assert cycles["divide 32 bit"] > 15 * cycles["add 32 bit"]


# --- plans

def test_too_fast_and_too_large_are_refused():
    quick = pieces.fit(ramps.trapezoid(30000.0, 100000.0, 1e6), 1.0)
    with pytest.raises(ValueError, match="keeps up"):
        header.checked([quick])
    sizes = header.checked([pieces.fit(MOVES["cruise"], 1.0)])
    assert sizes.flash < header.FLASH and sizes.ram < header.RAM
    many = pieces.fit(MOVES["cruise"], 1.0)
    many = many._replace(pieces=many.pieces * 100)
    with pytest.raises(ValueError, match="bytes of flash"):
        header.checked([many])


def test_the_catalogue_has_what_was_measured():
    rows = {"polled, display": "floats and a display in a loop", "polled, position": "floats in a loop", "float": "floats in an interrupt",
            "division": "divisions in an interrupt", "pieces": "additions in an interrupt",
            "phase": "phase accumulation in an interrupt", "even": "even speed in an interrupt"}
    for name, row in rows.items():
        measured = header.RECORDED["programs"][name]["pulses_per_second"]
        assert 0.99 * measured < catalogue("controllers")[f"8-bit, {row}"].pulse_ceiling <= measured
