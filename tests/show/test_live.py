"""The live panels without a page: a recorded turn played question by question, a rehearsal with a clock of its own."""

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from macrolib import plan, read_rig, read_shot
from macrolib.physics import following
from macrolib.planning.rehearsal import Rehearsal
from macrolib.show import live, panels_hand

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
FIELD = read_rig(DATA / "rigs" / "field-belt.toml")
LED = plan(read_shot(DATA / "shots" / "seed-tray-hand-led.toml"), FIELD, mends=False)
FILM = plan(read_shot(DATA / "shots" / "wing-case.toml"), FIELD, mends=False)
GIVEN = {"max_speed": 0.02, "max_acceleration": 0.04, "travel_per_control_turn": 8e-3, "start": 0.04, "end": 0.1}
TIMES, TURNS = panels_hand.TURN


def play(hand, times, turns):
    """States of a recorded turn; it starts at turn 0."""
    return [hand.step(*at) for at in zip(times, turns)]


@pytest.mark.parametrize("more", [{}, {"start": 0.1, "end": 0.04}, {"mounted_reversed": True}, {"overrun": 2e-3}, {"max_speed": 5e-3}])
def test_a_recorded_turn_is_followed_as_the_arrays_say(more):
    hand = live.Hand(**GIVEN | more)
    states = play(hand, TIMES, TURNS)
    points = following.hand_set_points(TURNS, 8e-3, *hand.marks, *hand.arrangement[2:])
    assert [s.set_point for s in states] == pytest.approx(points, abs=1e-15)
    # follow refines the samples of its set-points, the page cannot: half a step of the set-point apart at most
    places = following.follow(TIMES, points, hand.max_speed, hand.max_acceleration)
    assert [s.position for s in states] == pytest.approx(places, abs=0.6 * np.abs(np.diff(points)).max())
    assert max(abs(s.speed) for s in states) <= hand.max_speed * (1 + 1e-12)


def test_lag_and_coast_of_a_steady_hand_are_the_stopping_distance():
    hand, times = live.Hand(**GIVEN), np.arange(0, 3, 0.02)
    last = play(hand, times, 1.5 * times)[-1]  # 12 mm/s
    assert last.speed == pytest.approx(12e-3, rel=1e-6)
    assert last.behind == pytest.approx(following.stopping_distance(12e-3, 0.04, 0.0), rel=1e-6)
    assert last.coast == pytest.approx(last.behind)
    rest = play(hand, 3 + np.arange(0, 2, 0.02), np.full(100, 1.5 * times[-1]))[-1]
    assert not rest.moving and rest.position == pytest.approx(rest.set_point, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(0.005, 0.3), st.floats(-2, 2)), min_size=1, max_size=30), st.booleans(), st.floats(0, 0.05))
def test_marks_are_overrun_by_so_much_and_switches_never(steps, reversed_, overrun):
    hand = live.Hand(**GIVEN, overrun=overrun, switches=(0.035, 0.12), mounted_reversed=reversed_)
    times, turns = np.cumsum(np.array([(0, 0), *steps]), axis=0).T
    for state in play(hand, times, turns):
        assert max(0.04 - overrun, 0.035) - 1e-12 <= state.set_point <= min(0.1 + overrun, 0.12) + 1e-12
        assert max(0.04 - overrun, 0.035) - 1e-12 <= state.position <= min(0.1 + overrun, 0.12) + 1e-12


def test_a_page_that_was_asleep_does_not_make_the_carriage_leap():
    hand = live.Hand(**GIVEN)
    hand.step(0, 0)
    woken = hand.step(3600, 5)
    assert woken.set_point == pytest.approx(0.08) and woken.position - 0.04 <= 0.02 * 0.1
    assert hand.step(3599, 5).position == woken.position  # and a clock that goes back moves nothing


def test_the_hand_of_a_plan():
    hand = live.Hand.of_plan(LED, max_speed=1e-3)
    assert (hand.max_speed, hand.max_acceleration, hand.marks) == (1e-3, LED["acceleration"], (0.04, 0.12))
    assert hand.switches == (FIELD.rail.low_end_stop, FIELD.rail.high_end_stop)


class _Page:
    """The page's end of a widget: what it asks, and what comes back."""

    def __init__(self, widget, monkeypatch):
        self.widget, self.answers = widget, []
        monkeypatch.setattr(widget, "send", self.answers.append)

    def ask(self, **content):
        self.widget._on_message(self.widget, content, [])
        return self.answers[-1]


def test_the_page_asks_and_the_kernel_answers(monkeypatch):
    page = _Page(live.LiveHand(live.Hand(**GIVEN)), monkeypatch)
    answers = [page.ask(what="hand", time=float(t), turns=float(n)) for t, n in zip(TIMES, TURNS)]
    assert [a["position"] for a in answers] == [s.position for s in play(live.Hand(**GIVEN), TIMES, TURNS)]
    assert "behind" in answers[40]["words"] and answers[40]["moving"] and answers[40]["status"] == ""
    assert page.ask(what="back", time=99.0, turns=0.0)["position"] == 0.04
    assert "ValueError" in page.ask(what="hand", time="soon", turns=0)["status"]


def test_what_a_stored_page_shows():
    first, second = (live.LiveHand(live.Hand(**GIVEN)) for _ in range(2))
    bundle = first._repr_mimebundle_()[0]
    assert bundle["text/plain"] == second._repr_mimebundle_()[0]["text/plain"]
    assert "A recorded turn: The hand asks for up to" in bundle["text/plain"] and "<img alt=" in bundle["text/html"]
    assert "running kernel" in bundle["text/html"] and first.hand.position == 0.04
    asked = float(re.search(r"up to ([\d.]+) mm/s, the", bundle["text/plain"])[1])
    assert asked == pytest.approx(8 * np.abs(np.diff(TURNS) / np.diff(TIMES)).max(), rel=0.01)


def test_a_rehearsal_is_started_stopped_and_resumed(monkeypatch):
    seconds = [0.0]
    view = live.RehearsalView(Rehearsal(FILM, faster=10, clock=lambda: seconds[0]))
    page = _Page(view, monkeypatch)
    assert view.fixed["what"] == "homing" and "home switch" in view.fixed["words"]
    assert page.ask(what="look")["running"] is False
    assert page.ask(what="start")["running"] is True
    seconds[0] = FILM["total_time"] / 20
    half = page.ask(what="look")
    assert half["share"] == pytest.approx(0.5) and re.search(r"at [\d.]+ mm|home switch", half["words"])
    assert page.ask(what="stop")["running"] is False
    seconds[0] += 1000
    assert page.ask(what="look")["share"] == pytest.approx(0.5)
    page.ask(what="start")
    seconds[0] += FILM["total_time"] / 10
    last = page.ask(what="look")
    assert last["share"] == 1 and last["what"] == "take 1" and "0 s left" in last["words"] and last["running"] is False
    assert page.ask(what="again")["share"] == 0
    bundle = view._repr_mimebundle_()[0]
    assert bundle["text/plain"].startswith("Rehearsal of wing-case, 10 times as fast. Timeline") and "<img" in bundle["text/html"]


# --- the panel of the recorded turn
def test_the_panel_against_numbers_worked_by_hand():
    panel = panels_hand.hand
    start = panel.result(panel.start())
    assert start.top == pytest.approx(0.8 * 40e3 * 10e-3 / 6400) and start.asked == pytest.approx(12e-3, rel=0.01)
    assert start.lag == pytest.approx(start.asked**2 / (2 * 0.04)) and start.points.max() == pytest.approx(0.103)
    fine = panel.result(panel.start(microsteps=256.0))
    assert fine.top == pytest.approx(start.top / 8) and fine.top < fine.asked
    assert np.abs(fine.points - fine.places).max() > 5 * np.abs(start.points - start.places).max()
    behind, unknown, known = (panel.result(panel.start(arrangement=float(n))) for n in (2, 3, 4))
    assert behind.places == pytest.approx(0.14 - start.places) and known.places == pytest.approx(start.places)
    assert unknown.places.min() == pytest.approx(0.037) and unknown.places.max() < 0.06  # away from the end, stopped by the overrun
    wide = panel.result(panel.start(overrun="20 mm"))
    assert wide.points.max() <= 0.11 and "away from the end" in panel.sentence(unknown)
