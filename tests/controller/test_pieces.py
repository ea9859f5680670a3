"""Pieces keep their errors, and the C computes the same intervals as the model, bit for bit, for many moves."""

import math

import numpy as np
import pytest

from macrolib.controller import header, pieces
from macrolib.physics import pulses, ramps

LIMIT = 2 * pieces.TIME_ERROR + 0.5e-6  # s: of a piece, of what it began with, and of the tick


def moves():
    """{name: Move} with 1 m for one pulse: ramps of every kind, extremes, and a hundred drawn at random."""
    made = {
        "one pulse": ramps.trapezoid(1.0, 100.0, 100.0), "two pulses": ramps.trapezoid(2.0, 100.0, 1000.0),
        "three pulses": ramps.trapezoid(3.0, 1e3, 5e3), "triangle": ramps.trapezoid(999.0, 1e5, 3e4),
        "very slow": ramps.trapezoid(60.0, 2.0, 2.0), "slow and long": ramps.trapezoid(9000.0, 300.0, 5.0),
        "fast": ramps.trapezoid(30000.0, 60000.0, 200000.0), "long cruise": ramps.trapezoid(80000.0, 20000.0, 40000.0),
        "backwards": ramps.trapezoid(-5000.0, 8000.0, 20000.0), "jerk-limited": ramps.s_curve(8000.0, 9000.0, 3e4, 2e5),
        "minimum-jerk": ramps.minimum_jerk(5000.0, 2.0), "cycloidal": ramps.cycloidal(5000.0, 2.0),
        "half-sine": ramps.ramps_by_time(6000.0, 0.5, duration=2.0, shape="half-sine"),
        "versed-sine": ramps.ramps_by_time(6000.0, 0.5, duration=2.0, shape="versed-sine"),
        "two shapes": ramps.ramps_by_time(6000.0, 0.4, 0.7, duration=2.0, shape="triangle", shape_out="half-sine")}
    draw = np.random.default_rng(11)
    for number in range(52):
        speed, acceleration = 10 ** draw.uniform(2.3, 4.5), 10 ** draw.uniform(2.5, 4.8)
        made[f"random {number}"] = ramps.trapezoid(float(draw.integers(10, 12000)), speed, acceleration)
    return made


MOVES = moves()
FITTED = {name: pieces.fit(move, 1.0) for name, move in MOVES.items()}


@pytest.mark.parametrize("name", MOVES)
def test_pulses_come_when_they_are_due(name):
    due = pulses.pulse_times(MOVES[name], 1.0)
    found = pieces.intervals(FITTED[name])
    assert found.size == due.size == FITTED[name].pulses
    assert np.max(np.abs(np.cumsum(found) / pieces.TIMER - due)) < LIMIT
    exact = np.diff(due, prepend=0) * pieces.TIMER
    assert np.all(np.abs(found - exact) < 2 * pieces.INTERVAL_ERROR * exact + 2)


def test_nothing_drifts_at_the_ends_of_pieces():
    segment = FITTED["long cruise"]
    ends = np.cumsum([p.count for p in segment.pieces])
    due = pulses.pulse_times(MOVES["long cruise"], 1.0)[ends - 1]
    # half of 65535 intervals times half a unit, and one tick that is cut off
    assert np.max(np.abs(np.cumsum(pieces.intervals(segment))[ends - 1] / pieces.TIMER - due)) < 1.5 / pieces.TIMER


def test_finer_errors_take_more_pieces():
    rough, fine = (len(pieces.fit(MOVES["triangle"], 1.0, interval_error=e, time_error=t).pieces) for e, t in ((0.01, 1e-4), (2e-3, 1e-6)))
    assert rough < fine < 200


def test_the_c_computes_the_same_intervals(chip):
    """All moves in one program, as the segments of one header; checked on this machine."""
    names = list(MOVES)
    assert len(names) >= 60
    for first in range(0, len(names), 23):
        part = names[first:first + 23]
        program = chip.host_program(header.defines([FITTED[n] for n in part]))
        for number, name in enumerate(part):
            assert np.array_equal(program(number), pieces.intervals(FITTED[name])), name


def test_an_early_stop_takes_no_more_than_a_ramp(chip):
    """At 100 random pulses: the same in C, at most a ramp's pulses after those already computed, at the ramp's own speeds."""
    draw, stopped = np.random.default_rng(7), 0
    names = ["triangle", "jerk-limited", "two shapes", "fast", "minimum-jerk"]
    program = chip.host_program(header.defines([FITTED[n] for n in names]))
    for number, name in enumerate(names):
        segment, whole = FITTED[name], pieces.intervals(FITTED[name])
        ramp_in, ramp_out = (sum(p.count for p in part) for part in (segment.pieces[:segment.cruise], segment.pieces[segment.out:]))
        for after in draw.integers(1, whole.size + 1, 20):
            found = pieces.intervals(segment, after)
            assert np.array_equal(found, program(number, after))
            assert after <= found.size <= whole.size
            assert found.size - after <= (min(after, ramp_in) if after <= ramp_in else ramp_out)
            # it slows down all the way: no interval is shorter than the one before by more than rounding
            assert np.all(np.diff(found[after:]) >= -2 - 4e-3 * found[after:-1])
            if found.size > after:
                # and ends no faster than a ramp begins
                assert found[-1] > 0.8 * min(whole[1], whole[-1])
            stopped += 1
    assert stopped == 100


@pytest.mark.parametrize(("move", "words"), [
    (ramps.trapezoid(0.3, 1.0, 1.0), "shorter than half a pulse"),
    (ramps.trapezoid(50.0, 0.1, 0.1), "does not fit the timer"),
    (ramps.trapezoid(3e5, 3e6, 1e13), "does not fit the timer"),
    (ramps.ramps_by_time(5000.0, 1.5, 0.2, duration=1.8), "ramp in takes"),
])
def test_moves_that_cannot_be_sent_are_refused(move, words):
    with pytest.raises(ValueError, match=words):
        pieces.fit(move, 1.0)


def test_model_is_plain_arithmetic():
    """Three pieces by hand: a fraction that is carried, slices, and an interval that grows by wrapping."""
    half = pieces.Piece(4, 0, 1000 * 65536 + 32768, 0)
    grows = pieces.Piece(3, 1, 0x3000 << 16, -(16 << 16) & 0xFFFFFFFF)
    made = pieces.Segment((half, grows, pieces.Piece(1, 0, 7 << 16, 0)), 1, 2, 1, 8)
    assert pieces.intervals(made).tolist() == [1000, 1001, 1000, 1001, 0x8000 + 0x3000, 0x8000 + 0x3010, 0x8000 + 0x3020, 7]
    assert grows.last == 0x3020 << 16 and math.isclose(sum(pieces.intervals(made)), 4002 + 3 * 0xB000 + 0x30 + 7)
