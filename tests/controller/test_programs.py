"""The programs on the simulated chip: edges to the cycle, what the pins do, what each program keeps up.

Bounds are wide where another version of the compiler may give other counts. 'Common practice' facts have no source.
"""

import time

import numpy as np
import pytest

from macrolib.controller import header, pieces
from macrolib.parts import catalogue
from macrolib.physics import pulses, ramps

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
    return made, chip.simulate(header.defines(made, {"MV_ENABLE_MS": 1} | (values or {})), **options)


@pytest.mark.parametrize("name", MOVES)
def test_edges_equal_the_model_to_the_cycle(chip, name):
    (segment,), run = _run(chip, [MOVES[name]])
    assert np.array_equal(np.diff(run.edges), pieces.intervals(segment)[1:] * 8)
    assert run.counted == segment.way * segment.pulses
    low = run.edges[1:] - run.edges[:-1] - run.widths[:-1]
    assert min(run.widths.min(), low.min()) >= 2.5 * MICROSECOND  # drivers ask for 1 to 2.5 us, from memory


def _changes(run, bit):
    return [(level, cycle) for pin, level, cycle in run.outputs if pin == bit]


def test_direction_enable_and_the_end(chip):
    made, run = _run(chip, [MOVES["triangle"], MOVES["backwards"]])
    assert run.edges.size == 3500 and run.counted == 500
    (_, away), (_, home) = _changes(run, chip.DIRECTION)[-2:]
    for change, edge in ((away, run.edges[0]), (home, run.edges[2000])):
        assert edge - change >= 20 * MICROSECOND
    assert home - run.edges[1999] > run.widths[1999]  # not while a pulse is out
    enable = _changes(run, chip.ENABLE)
    assert [level for level, _ in enable] == [1, 0, 1] and enable[1][1] < run.edges[0] and enable[2][1] > run.edges[-1]
    _, kept = _run(chip, [MOVES["two pulses"]], {"MV_HOLD": 1})
    assert [level for level, _ in _changes(kept, chip.ENABLE)] == [1, 0]


STACK = {"MV_FRAMES": 4, "MV_SETTLE_MS": 3, "MV_SHUTTER_MS": 5, "MV_AFTER_MS": 2}


def _exposures(chip, run):
    changes = _changes(run, chip.SHUTTER)
    return [(a, b) for (up, a), (down, b) in zip(changes, changes[1:]) if up and not down]


def test_a_stack_exposes_at_rest(chip):
    (way, spacing), run = _run(chip, [MOVES["triangle"], ramps.trapezoid(50.0, 8000.0, 2e4)], STACK)
    shots = _exposures(chip, run)
    assert len(shots) == 4 and run.edges.size == 2000 + 3 * 50 == run.counted
    for number, (opens, closes) in enumerate(shots):
        assert closes - opens == pytest.approx(5e-3 * header.CLOCK, rel=0.02)
        assert opens - run.edges[2000 + 50 * number - 1] >= 3e-3 * header.CLOCK
        assert not np.any((run.edges > opens) & (run.edges < closes))
        if number < 3:
            assert run.edges[2000 + 50 * number] - closes >= 2e-3 * header.CLOCK


def test_a_stack_goes_on_at_frame_3(chip):
    _, run = _run(chip, [MOVES["triangle"], ramps.trapezoid(50.0, 8000.0, 2e4)], {**STACK, "MV_FIRST_FRAME": 3})
    shots = _exposures(chip, run)
    assert len(shots) == 2 and run.counted == 2150 and np.sum(run.edges < shots[0][0]) == 2100


def test_the_wait_before_the_first_frame(chip):
    _, run = _run(chip, [MOVES["two pulses"], ramps.trapezoid(50.0, 8000.0, 2e4)], {**STACK, "MV_FRAMES": 1, "MV_FIRST_WAIT_MS": 40})
    assert (_exposures(chip, run)[0][0] - run.edges[-1]) / header.CLOCK == pytest.approx(43e-3, rel=0.02)


def test_a_pause_holds_before_the_next_frame(chip):
    spacing = [MOVES["two pulses"], ramps.trapezoid(50.0, 8000.0, 2e4)]
    _, run = _run(chip, spacing, STACK, inputs=[(20, chip.GO, 1)], most=0.5)
    assert run.counted == 52 and len(_exposures(chip, run)) == 1  # frame 2 is reached, and waits
    assert run.cycles >= 0.5 * header.CLOCK and _changes(run, chip.ENABLE)[-1][0] == 0
    _, goes_on = _run(chip, spacing, STACK, inputs=[(20, chip.GO, 1), (20, chip.GO, 0, 0.3 * header.CLOCK)])
    shots = np.array(_exposures(chip, goes_on))
    assert goes_on.counted == 152 and shots.shape == (4, 2) and shots[1, 0] - goes_on.edges[19] > 0.3 * header.CLOCK


@pytest.mark.parametrize("start", [(), ((0, 2, 1),), ((0, 2, 1), (0, 2, 0, 160_000))], ids=["never open", "never closed", "open for 10 ms"])
def test_nothing_starts_by_itself(chip, start):
    """Power that returns starts nothing: the go switch (input 2) must be open for a while, then closed."""
    _, run = _run(chip, [MOVES["two pulses"]], most=0.3, start=start)
    assert run.edges.size == 0 and [level for level, _ in _changes(run, chip.ENABLE)] == [1]


# --- stops

def _levels(chip, run):
    """Levels of step, direction, enable and shutter at the end."""
    last = dict.fromkeys((chip.DIRECTION, chip.ENABLE, chip.SHUTTER), 0)
    last |= {pin: level for pin, level, _ in run.outputs}
    return int(run.edges.size != run.widths.size), *last.values()


OFF = (0, 0, 1, 0)


def test_a_hundred_stops_on_the_chip(chip):
    """The switch opens at a random cycle: the carriage stops on a ramp, within its pulses, and what is counted is what was sent."""
    draw, took = np.random.default_rng(3), []
    longest = header.RECORDED["programs"]["pieces"]["longest"]
    for name in ("triangle", "jerk-limited", "backwards", "versed-sine", "cruise"):
        segment = pieces.fit(MOVES[name], 1.0)
        text, whole = header.defines([segment], {"MV_ENABLE_MS": 1}), pieces.intervals(segment)
        inwards, out = (sum(p.count for p in ramp) for ramp in (segment.pieces[:segment.cruise], segment.pieces[segment.out:]))
        for pulse in (0, 1, whole.size - 1, *draw.integers(1, whole.size, 17)):
            switch = chip.STOP if pulse % 2 else chip.END if segment.way > 0 else chip.HOME
            delay = int(draw.integers(1, 8 * whole[pulse])) if pulse else int(chip.simulate(text).edges[0]) - 50
            run = chip.simulate(text, inputs=[(int(pulse), switch, 1, delay)])
            sent = run.edges.size
            # seen after an edge, when two more are computed already; as from the model of a stop at that pulse
            models = [pieces.intervals(segment, pulse + ahead) for ahead in (2, 3)]
            assert any(np.array_equal(np.diff(run.edges), m[1:] * 8) for m in models), (name, pulse, delay)
            assert segment.way * run.counted == sent <= min(pulse + 3 + max(inwards if pulse < inwards else 0, out), whole.size)
            assert sent <= 2 * pulse + 6 or pulse >= inwards  # in the ramp in: back the way that was ramped
            assert _levels(chip, run) == OFF and np.diff(run.routines).max() <= 1.02 * longest
            took.append(sent)
    assert len(took) == 100


def test_a_stop_at_the_highest_rate_that_is_allowed(chip):
    """At 80 % of the ceiling no edge is late, stop or not; at the whole ceiling by less than an interval, and no turn is missed."""
    for share, late in ((0.8, 0), (1.0, 100)):
        speed = share * header.RECORDED["programs"]["pieces"]["pulses_per_second"]
        segment = pieces.fit(ramps.trapezoid(speed**2 / 1e6 + 4000, speed, 1e6), 1.0)
        header.checked([segment], share)
        cruise = sum(p.count for p in segment.pieces[:segment.cruise])
        for delay in (1, 60, 120, 180, 240):
            run = chip.simulate(header.defines([segment]), inputs=[(cruise + 500, chip.STOP, 1, delay)])
            models = [pieces.intervals(segment, cruise + 500 + ahead)[1:] for ahead in (2, 3)]
            model, = (m for m in models if m.size + 1 == run.edges.size)
            assert np.max(np.abs(run.edges[1:] - run.edges[0] - 8 * np.cumsum(model))) <= late


@pytest.mark.parametrize(("event", "edges", "exposures"), [
    ((0, "STOP", 1), 0, 0), ((60, "STOP", 1), 60, 0), ((122, "STOP", 1, 16000), 122, 0), ((122, "STOP", 1, 96000), 122, 1),
    ((122, "STOP", 1, 150000), 122, 1), ((172, "STOP", 1, 16000), 172, 1)],
    ids=["before go", "homing", "settling", "exposing", "after a frame", "second frame"])
def test_a_stop_at_any_other_time_leaves_everything_off(chip, event, edges, exposures):
    values = {**STACK, "MV_HOME_PULSES": 500, "MV_CREEP_US": 200}
    home, stop = (120, chip.HOME, 1), (event[0], getattr(chip, event[1]), *event[2:])
    made = [MOVES["two pulses"], ramps.trapezoid(50.0, 8000.0, 2e4)]
    for hold, enable in ((0, 1), (1, 0)):
        _, run = _run(chip, made, {**values, "MV_HOLD": hold}, inputs=[home, stop])
        assert run.edges.size == edges and len(_exposures(chip, run)) == exposures
        assert _levels(chip, run) == (0, 0, enable, 0)


def test_homing_counts_from_the_switch(chip):
    values = {"MV_HOME_PULSES": 500, "MV_CREEP_US": 200}
    _, run = _run(chip, [MOVES["two pulses"]], values, inputs=[(120, chip.HOME, 1)])
    assert run.edges.size == 122 and run.counted == 2  # away from an open home switch is allowed
    assert np.diff(run.edges)[:119].min() >= 200 * MICROSECOND
    _, lost = _run(chip, [MOVES["two pulses"]], values)
    assert lost.edges.size == 500 and _levels(chip, lost) == OFF


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


@pytest.mark.parametrize("name", ["even", "pieces", "phase", "division", "float"])
def test_on_time_up_to_the_recorded_ceiling(chip, name):
    """A little below the rate that bisection found each pulse is on time, a little above some are not."""
    found = header.RECORDED["programs"][name]["found"]
    assert chip.on_time(name, 0.96 * found) and not chip.on_time(name, 1.05 * found)


@pytest.mark.slow
def test_bisection_finds_the_recorded_ceilings(chip):
    """The longest routine gives a ceiling that is safe: bisection finds it, or somewhat more, as the longest way comes rarely."""
    for name, recorded in header.RECORDED["programs"].items():
        found = chip.found_ceiling(name)
        assert found == pytest.approx(recorded["found"], rel=0.03), name
        if name != "polled, display":  # its mean rate is no rate at which no pulse is late
            assert 0.99 < found / recorded["pulses_per_second"] < 1.3, name


def test_the_division_program_is_the_recurrence_of_the_lessons(chip):
    wanted = pulses.integer_intervals(400, chip.ACCELERATION, pieces.TIMER, carry=True)
    edges = chip.run_program("division", count=402).edges
    assert np.array_equal(np.diff(edges)[:399], wanted[1:] * 8)


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
    ceiling = header.RECORDED["programs"]["pieces"]["pulses_per_second"]
    quick = pieces.fit(ramps.trapezoid(30000.0, 0.9 * ceiling, 1e6), 1.0)
    assert header.checked([quick]).pieces == len(quick.pieces)
    with pytest.raises(ValueError, match="needs 54,... pulses/s, allowed: 48,..., 80% of the 60,... that the pulse program keeps up"):
        header.checked([quick], 0.8)
    small = pieces.fit(MOVES["cruise"], 1.0)
    sizes = header.checked([small])
    assert sizes.flash < header.FLASH and sizes.ram < header.RAM
    many = small._replace(pieces=small.pieces * 100)
    with pytest.raises(ValueError, match=r"pieces takes \d\d,\d\d\d bytes of flash and 1\d\d of RAM, the controller has 32,768 and 2,048"):
        header.checked([many])
    for controller in ({"flash": sizes.flash - 1}, {"ram": sizes.ram - 1}):
        with pytest.raises(ValueError, match="a larger controller"):
            header.checked([small], **controller)
    assert header.checked([small], flash=sizes.flash, ram=sizes.ram) == sizes


def test_the_stack_of_the_program_fits_its_reserve(chip):
    """Bytes of RAM that differ from zero after a run with a stop, from the top down: what calls and the interrupt used."""
    _, run = _run(chip, [MOVES["two pulses"], ramps.trapezoid(500.0, 8000.0, 2e4)], {**STACK, "MV_HOME_PULSES": 100, "MV_CREEP_US": 200},
                  inputs=[(50, chip.HOME, 1), (300, chip.STOP, 1)])
    assert 20 < run.stack < header.STACK and run.ram + header.STACK <= header.RAM


def test_the_catalogue_has_what_was_measured():
    rows = {"polled, display": "floats and a display in a loop", "polled, position": "floats in a loop", "float": "floats in an interrupt",
            "division": "divisions in an interrupt", "pieces": "additions in an interrupt",
            "phase": "phase accumulation in an interrupt", "even": "even speed in an interrupt"}
    for name, row in rows.items():
        measured = header.RECORDED["programs"][name]["pulses_per_second"]
        assert 0.99 * measured < catalogue("controllers")[f"8-bit, {row}"].pulse_ceiling <= measured
