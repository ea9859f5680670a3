"""Rehearsal: played with a clock of its own, against the plan's schedule; stopped and resumed without a jump."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from macrolib import plan, read_rig, read_shot
from macrolib.planning.rehearsal import Rehearsal

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
FIELD, BENCH = (read_rig(DATA / "rigs" / f"{name}.toml") for name in ("field-belt", "bench-screw"))
WING = read_shot(DATA / "shots" / "wing-case.toml")
FILM = plan(dataclasses.replace(WING, traverse=dataclasses.replace(WING.traverse, takes=3)), FIELD, mends=False)
PUSH = plan(read_shot(DATA / "shots" / "seed-tray-push-in.toml"), FIELD, mends=False)
STACK = plan(read_shot(DATA / "shots" / "moss-capsule.toml"), BENCH, mends=False)
PLANS = {"film": FILM, "push": PUSH, "stack": STACK}


class Clock:
    """A clock that a test sets."""

    def __init__(self):
        self.seconds = 100.0

    def __call__(self):
        return self.seconds


@pytest.fixture
def clock():
    return Clock()


def at(made, seconds, faster=1.0):
    clock = Clock()
    rehearsal = Rehearsal(made, faster, clock)
    rehearsal.start()
    clock.seconds += seconds
    return rehearsal.now()


@pytest.mark.parametrize("made", PLANS.values(), ids=PLANS)
def test_it_takes_as_long_as_the_plan_says(made):
    assert Rehearsal(made).total == pytest.approx(made["total_time"])
    last = at(made, 1e6)
    assert (last.left, last.share, last.running, last.frame) == (0, 1, False, last.frames)
    assert last.position == pytest.approx(made["end_position" if made.shot.traverse else "last_position"])


def test_a_stack_is_where_its_schedule_says():
    for k in (0, 3, len(STACK.schedule["frame"][1]) - 1):
        for column, what in (("arrive", "settle"), ("trigger", "expose and write")):
            found = at(STACK, STACK.schedule[column][1][k] + 1e-6)
            assert (found.what, found.frame) == (what, k + 1)
            assert found.position == pytest.approx(STACK.schedule["position"][1][k])
            assert found.left >= STACK.schedule["time_left"][1][k]
    between = at(STACK, STACK.schedule["ready"][1][3] + STACK["move_time"] / 2)
    assert between.what == "move" and between.position == pytest.approx(STACK.schedule["position"][1][3:5].mean())


@pytest.mark.parametrize("made", [FILM, PUSH], ids=["film", "push"])
def test_a_take_is_where_its_schedule_says(made):
    first = made["total_time"] - made.shot.traverse.takes * made["duration"] - (made.shot.traverse.takes - 1) * (
        made["return_time"] + made["settling_wait"])
    for k in (0, 5, 40, len(made.schedule["frame"][1]) - 2):
        found = at(made, first + made.schedule["time"][1][k] + 1e-7)
        assert (found.what, found.frame) == ("take 1", k + 1)
        assert found.position == pytest.approx(made.schedule["position"][1][k], abs=made["travel_per_pulse"])


def test_takes_follow_each_other():
    seen = []
    for t in np.arange(0, FILM["total_time"], 0.25):
        what = at(FILM, t).what
        if what not in seen[-1:]:
            seen.append(what)
    assert [w for w in seen if w != "wait"] == ["homing", "to before the start", "backlash take-up", "take 1", "return run", "take 2",
                                                "return run", "take 3"]


@pytest.mark.parametrize("made", PLANS.values(), ids=PLANS)
def test_the_carriage_never_jumps(made):
    moments = [at(made, t) for t in np.linspace(0, made["total_time"], 4000)]
    places = np.array([np.nan if m.position is None else m.position for m in moments])
    homing = np.isnan(places)
    assert homing.any() and (np.diff(homing.astype(int)) <= 0).all(), "the place is unknown at first, and known from then on"
    quickest = 0.9 * 0.8 * made.rig.pulse_ceiling * made["travel_per_pulse"]
    assert np.abs(np.diff(places[~homing])).max() <= quickest * made["total_time"] / 4000 * 1.5
    assert (np.diff([m.share for m in moments]) >= 0).all() and moments[0].share == 0


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["start", "stop", "again", "start", "now"]), st.floats(0, 200)), max_size=20),
       st.floats(0.1, 100))
def test_stopping_and_resuming_count_the_running_time_alone(steps, faster):
    clock, run, running = Clock(), 0.0, False
    rehearsal = Rehearsal(FILM, faster, clock)
    for what, seconds in steps:
        getattr(rehearsal, what)()
        run, running = (0.0, False) if what == "again" else (run, {"start": True, "stop": False}.get(what, running))
        clock.seconds += seconds
        run = min(run + (seconds * faster if running else 0), rehearsal.total)
        found = rehearsal.now()
        assert found.elapsed == pytest.approx(run, abs=1e-6) and found.left == pytest.approx(rehearsal.total - run, abs=1e-6)
        assert found.running == (running and found.elapsed < rehearsal.total)


def test_it_stands_still_until_it_is_started(clock):
    rehearsal = Rehearsal(FILM, clock=clock)
    clock.seconds += 50
    assert rehearsal.now().elapsed == 0 and not rehearsal.now().running
    rehearsal.start()
    clock.seconds += 2
    rehearsal.start()  # once more changes nothing
    assert rehearsal.now().elapsed == pytest.approx(2)


@pytest.mark.parametrize("faster", [0, -1, float("inf"), float("nan")])
def test_refused(faster):
    with pytest.raises(ValueError, match="above 0"):
        Rehearsal(FILM, faster)


def test_a_hand_led_move_is_led_by_hand():
    made = plan(read_shot(DATA / "shots" / "seed-tray-hand-led.toml"), FIELD, mends=False)
    with pytest.raises(ValueError, match="hand-led"):
        Rehearsal(made)
