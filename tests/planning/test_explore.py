"""The search over all combinations: the same verdicts as plans, counts and front as one by one; sensitivities and chance."""

import dataclasses
import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.parts import catalogue
from macrolib.planning import PLANNERS, drives, explore, lanes
from macrolib.planning.chance import chance, sensitivities
from macrolib.planning.checks import FAILS, HOLDS, NOT_COMPUTED, TIGHT
from macrolib.planning.explore import explore as search
from macrolib.rig import Measured
from macrolib.shot import Traverse

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
RIGS = {name: read_rig(DATA / "rigs" / f"{name}.toml") for name in ("bench-screw", "field-belt", "lab-ball-screw")}
SHOTS = {name: read_shot(DATA / "shots" / f"{name}.toml")
         for name in ("wing-case", "seed-tray-push-in", "moss-capsule", "seed-tray-hand-led")}
BELT, WING, MOSS = RIGS["field-belt"], SHOTS["wing-case"], SHOTS["moss-capsule"]
TRANSMISSIONS = {**catalogue("screws"), **catalogue("belts")}


def changed(holder, **tables):
    return dataclasses.replace(holder, **{t: dataclasses.replace(getattr(holder, t), **keys) for t, keys in tables.items()})


def some(kind, *names):
    return {name: TRANSMISSIONS[name] if kind == "transmissions" else catalogue(kind)[name] for name in names}


def candidates(whole=True):
    """Of every axis a few, among them parts of all kinds."""
    ramps = {"hard": ("trapezoid", 0.08), "soft": ("trapezoid", 0.004), "jerk": ("jerk-limited", 0.01)}
    return {"transmission": some("transmissions", "Tr8x1.5", "Tr8x8 (P2)", "B12x4", "T2.5-20", "T2.5-20 i25"),
            "motor": some("motors", "M8-42", "M14-34", "M17-48"), "driver": some("drivers", "D0.8", "D2.5"), "gear": [1, 3],
            "microsteps": [2, 16, 64], "controller": some("controllers", "8-bit, floats in a loop", "32-bit, timer interrupt"),
            "voltage": [12.0, 24.0], "speed": [4e-4, 1.1e-3, 5e-3], "aperture": [5.6, 11.0, 32.0],
            "ramp": ramps | ({"whole": ("minimum-jerk", None)} if whole else {"sine": ("half-sine", 0.02)})}


def state(score):
    return FAILS if score < lanes.UNKNOWN else NOT_COMPUTED if score == lanes.UNKNOWN else TIGHT if score < lanes.HELD else HOLDS


def test_a_sample_has_the_verdicts_of_plans_check_by_check():
    """120 combinations at random, of three traverses and a stack; the ripple without a simulation, as plans have it in a search."""
    rng, seen, closed = np.random.default_rng(5), [], 0
    for shot, rig in ((WING, BELT), (WING, RIGS["lab-ball-screw"]), (SHOTS["seed-tray-push-in"], BELT), (MOSS, RIGS["bench-screw"])):
        space = explore._Space(shot, rig, candidates(whole=shot.traverse is not None))
        found = explore.Explored(space.shot, space.rig, space.axes, {}, {}, ())
        blocks = list(space.blocks())
        for block in (blocks[i] for i in rng.integers(0, len(blocks), 3)):
            size, (scores, _, shape), judged = tuple(map(len, block.values())), space.judge(block), lanes.judge(*space.lanes(block))
            for _ in range(10):
                at = tuple(rng.integers(0, n) for n in size)
                one_shot, one_rig = found.setting(int(np.ravel_multi_index([b[i] for b, i in zip(block.values(), at)], shape)))
                mine = {c.name: (np.broadcast_to(scores[c.name], size)[at], np.broadcast_to(lanes.margins(c)[0], size)[at])
                        for c in judged.checks}
                checks = PLANNERS[shot.kind](one_shot, one_rig, rows=False).checks
                assert {c.name for c in checks} == set(mine)
                for check in checks:
                    score, margin = mine[check.name]
                    if check.name == "ripple of the motor" and check.state == NOT_COMPUTED:
                        assert state(score) in (HOLDS, NOT_COMPUTED)
                        continue
                    closed += check.name == "ripple of the motor"
                    assert state(score) == check.state, (check, margin, found.names)
                    precision = 1e-3 if check.name == "ripple of the motor" else 1e-9  # plans round the speed of rotation to five digits
                    assert check.margin is None or margin == pytest.approx(check.margin, rel=precision), check
                    seen.append(check.state)
    states = {kind: seen.count(kind) for kind in set(seen)}
    print(states, closed)
    assert len(seen) > 2500 and min(states[kind] for kind in (HOLDS, TIGHT, FAILS)) > 20 and closed > 20


def test_where_the_closed_form_is_doubted_a_simulation_agrees():
    """Of combinations whose ripple holds eight times over: the plan itself, with its simulation."""
    found = search(WING, BELT, {"motor": some("motors", "M11-32", "M14-34"), "microsteps": [4, 32], "speed": [1e-3, 1.5e-3]})
    doubted = 0
    for number in range(found.count):
        shot, rig = found.setting(number)
        check = plan(shot, rig, mends=False).check("ripple of the motor")
        mine = next(c for c in one(found, number).checks if c.name == check.name)
        doubted += "simulation" in check.why
        assert "simulation" in check.why or mine.figure == pytest.approx(check.figure, rel=1e-3)
        assert state(lanes.score(mine)) in (check.state, NOT_COMPUTED)
        if "simulation" in check.why and np.isfinite(mine.figure):
            assert mine.figure > check.figure
    assert doubted >= 3


@pytest.mark.slow
def test_many_that_hold_eight_times_over_hold_in_a_simulation():
    rng, seen = np.random.default_rng(3), 0
    for rig in RIGS.values():
        found = search(WING, rig, {"transmission": TRANSMISSIONS, "motor": catalogue("motors"), "driver": catalogue("drivers"),
                                   "microsteps": [8, 16, 32, 64], "speed": list(np.geomspace(5e-4, 5e-3, 9))})
        for number in rng.integers(0, found.count, 60):
            mine = next(c for c in one(found, number).checks if c.name == "ripple of the motor")
            if state(lanes.score(mine)) == HOLDS:
                check = plan(*found.setting(number), mends=False).check("ripple of the motor")
                assert check.state == HOLDS, found.names(number)
                seen += "simulation" in check.why
    assert seen > 5


def one(found, number):
    """A combination judged alone."""
    shot, rig = found.setting(number)
    motion = lanes.motion_of(shot, rig)
    return lanes.judge(shot, lanes.Lanes.of(rig), *motion)


SMALL = {"transmission": some("transmissions", "Tr8x1.5", "Tr8x4 (P2)", "B12x4", "T2.5-20 i25"), "motor": some("motors", "M8-42", "M17-40"),
         "driver": some("drivers", "D2.0"), "microsteps": [8, 32], "controller": some("controllers", "8-bit, table in an interrupt"),
         "speed": [9e-4, 1.2e-3, 1.73e-3], "ramp": {"a": ("trapezoid", 0.005), "b": ("jerk-limited", 0.0075)}, "voltage": [20.0],
         "aperture": [11.0, 16.0]}


@pytest.fixture(scope="module")
def small():
    """(Explored, {number: {check: score}}, {number: figures}) of SMALL, the latter two one by one."""
    found = search(WING, BELT, SMALL)
    scores, figures = {}, {}
    for number in range(found.count):
        shot, rig = found.setting(number)
        judged = one(found, number)
        scores[number] = {check.name: float(lanes.score(check)) for check in judged.checks}
        figures[number] = explore._compared(shot, lanes.Lanes.of(rig), judged)
    return found, scores, figures


def test_counts_are_those_of_all_combinations_one_by_one(small):
    found, scores, _ = small
    least = {n: min(found_scores.values()) for n, found_scores in scores.items()}
    assert found.count == len(scores) == 192 == sum(found.states.values())
    for kind in (HOLDS, TIGHT, FAILS, NOT_COMPUTED):
        assert found.states[kind] == sum(state(x) == kind for x in least.values()), kind
    assert found.states[HOLDS] > 5 and found.states[FAILS] > 50 and found.states["refused"] == 0
    names = list(scores[0])
    for name in names:
        column = np.array([scores[n][name] for n in scores])
        faults = np.array([sum(x < lanes.HELD for x in scores[n].values()) for n in scores])
        reason = found.reasons[name]
        assert reason[:3] == tuple(sum(state(x) == kind for x in column) for kind in (FAILS, NOT_COMPUTED, TIGHT))
        assert reason.alone == sum((column < lanes.HELD) & (faults == 1))
    assert sum(reason.first for reason in found.reasons.values()) == 192 - found.states[HOLDS]
    first = [min(row, key=row.get) for n, row in scores.items() if least[n] < lanes.HELD]
    for name, reason in found.reasons.items():
        assert abs(reason.first - first.count(name)) <= sum(least[n] == x for n, row in scores.items() for k, x in row.items() if k != name)
        assert reason.first == pytest.approx(first.count(name), abs=2)


def test_the_front_holds_and_nothing_beats_it(small):
    found, scores, figures = small
    signs = {"resolution": 1, "top speed": -1, "ripple": 1, "time": 1, "power": 1}

    def steps(row):
        return np.array([np.rint(sign * math.log(max(row[what], 1e-12)) / math.log(1.05)) for what, sign in signs.items()])

    holding = {n: steps(figures[n]) for n, row in scores.items() if min(row.values()) >= lanes.HELD}
    front = {member.number: steps(member.figures) for member in found.front}
    assert 2 <= len(front) < len(holding) and set(front) <= set(holding)
    for n, mine in front.items():
        assert not any((other <= mine).all() and (other < mine).any() for other in holding.values())
        assert found.names(n) == next(member.names for member in found.front if member.number == n)
        assert mine == pytest.approx(holding[n])
    for mine in holding.values():
        assert any((other <= mine).all() for other in front.values())
    assert [member.figures["time"] for member in found.front] == sorted(member.figures["time"] for member in found.front)
    for member in found.front:
        assert member.room == pytest.approx(min(scores[member.number].values()) - lanes.HELD, rel=1e-5)


def test_where_nothing_holds_the_front_is_of_those_that_are_tight(small, monkeypatch):
    """A limit that all of them keep without any reserve; then one more combination that holds, in a later block."""
    never = changed(WING, limits={"time": 1.1 * max(figures["time"] for figures in small[2].values())})
    found = search(never, BELT, SMALL)
    assert found.states[HOLDS] < small[0].states[HOLDS]
    tight = search(changed(WING, limits={"subject_still": 66.0}), BELT, SMALL | {"speed": [1.73e-3]})
    assert tight.states[HOLDS] == 0 < tight.states[TIGHT] and tight.front
    assert {round(member.room, 3) < 1 for member in tight.front} == {True}
    monkeypatch.setattr(explore, "_BLOCK", 8)
    again = search(changed(WING, limits={"subject_still": 78.0}), BELT, SMALL)
    assert again.states[HOLDS] and again.states[TIGHT] and min(member.room for member in again.front) >= 1 - 1e-6


def test_it_does_not_matter_how_the_grid_is_cut(small, monkeypatch):
    monkeypatch.setattr(explore, "_BLOCK", 20)
    again = search(WING, BELT, SMALL)
    assert again.states == small[0].states and again.reasons == small[0].reasons
    assert {member.number for member in again.front} == {member.number for member in small[0].front}


def test_without_candidates_it_is_the_plan():
    found = search(WING, BELT, {})
    made = plan(WING, BELT, mends=False)
    assert found.count == 1 and found.states[made.verdict] == 1
    assert plan(*found.setting(0), mends=False)["speed"] == pytest.approx(made["speed"])


def test_what_no_plan_is_made_for_is_counted_as_refused():
    steep = dataclasses.replace(catalogue("screws")["Tr8x8 (P2)"], friction=0.95, flank_angle=math.radians(40))
    odd = dataclasses.replace(catalogue("screws")["Tr8x2"], pitch=2.2e-3)
    found = search(WING, BELT, {"transmission": {"good": catalogue("screws")["Tr8x2"], "steep": steep, "odd": odd},
                                "ramp": {"quick": ("trapezoid", 0.01), "endless": ("trapezoid", 1e-6)}, "driver": some("drivers", "D2.5"),
                                "microsteps": [16, 128], "speed": [1e-3, 1e-5]})
    refused = 0
    for number in range(found.count):
        shot, rig = found.setting(number)
        try:
            PLANNERS["traverse"](shot, rig, rows=False)
            refused += rig.driver.microsteps > catalogue("drivers")["D2.5"].microsteps
        except ValueError:
            refused += 1
    assert found.states["refused"] == refused and 8 < refused < found.count == 24
    assert any("2.2 mm" in why for why in found.reasons) and any("ramp would last" in why for why in found.reasons)
    assert found.reasons["the driver makes fewer microsteps"].fails > 0


def test_what_does_not_go_together_is_refused_as_a_plan_refuses_it():
    shot = changed(WING, traverse={"ramps": "outside"})
    found = search(shot, BELT, {"ramp": {"whole": ("cycloidal", None), "plain": ("trapezoid", 0.01)}, "speed": [1e-3]})
    assert found.states["refused"] == 1 and any("no constant speed" in why for why in found.reasons)
    with pytest.raises(ValueError, match="no constant speed"):
        plan(*found.setting(0))


def test_the_current_is_what_motor_driver_and_heat_allow_or_as_asked():
    parts = {"motor": some("motors", "M11-32", "M17-48"), "driver": some("drivers", "D0.8", "D2.5")}
    found = search(WING, BELT, parts)
    for number, (motor, driver) in enumerate(itertools.product(*(list(x.values()) for x in parts.values()))):
        rig = found.setting(number)[1]
        assert rig == drives.by_heat(dataclasses.replace(BELT, motor=motor, driver=driver))
        assert rig.driver.peak_current <= min(driver.largest_current, math.sqrt(2) * motor.rated_current)
    asked = search(WING, BELT, parts | {"current": [0.3, 0.6]})
    assert {asked.setting(n)[1].driver.peak_current for n in range(asked.count)} == {0.3, 0.6}
    assert search(WING, BELT, {"voltage": [12.0]}).setting(0)[1].driver == BELT.driver


def test_measured_travel_counts_until_the_transmission_is_chosen_anew():
    entry = ("transmission.travel_per_turn", Measured(0.0101, 1e-5, "2030-01-31"))
    rig = dataclasses.replace(BELT, measured=(entry, ("carriage.mass", Measured(2.5, 0.05, "2030-01-31"))))
    assert search(WING, rig, {"voltage": [12.0]}).setting(0)[1].travel_per_turn == 0.0101
    chosen = search(WING, rig, {"transmission": some("transmissions", "Tr8x2")}).setting(0)[1]
    assert chosen.travel_per_turn == 2e-3 and chosen.carriage.mass == 2.5


def test_progress_is_told_once_it_takes_long(monkeypatch):
    told = []
    search(WING, BELT, SMALL, progress=told.append)
    assert not told
    monkeypatch.setattr(explore, "_PATIENCE", 0.0)
    monkeypatch.setattr(explore, "_BLOCK", 50)
    search(WING, BELT, SMALL, progress=told.append)
    assert len(told) > 3 and told == sorted(told) and told[-1] == 1


@pytest.mark.parametrize(("shot", "wrong", "words"), [
    (WING, {"lens": [1.0]}, "there are no candidates of 'lens'"), (WING, {"motor": [1, 2]}, "need names"),
    (WING, {"speed": []}, "no candidates of speed"), (SHOTS["seed-tray-hand-led"], {}, "hand-led")])
def test_what_cannot_be_searched_is_refused(shot, wrong, words):
    with pytest.raises(ValueError, match=words):
        search(shot, BELT, wrong)


# --- how sure a plan is
@pytest.fixture(scope="module", params=["wing-case", "moss-capsule"])
def made(request):
    rig = BELT if request.param == "wing-case" else RIGS["bench-screw"]
    return plan(SHOTS[request.param], rig, mends=False)


def exact_but(made, **uncertainties):
    """Uncertainties of a plan: these (dots as double underscores), all others exact."""
    keys = sensitivities(made).inputs
    return dict.fromkeys(keys, 0.0) | {key.replace("__", "."): value for key, value in uncertainties.items()}


def test_without_errors_the_margins_are_those_of_the_plan(made):
    found = sensitivities(made)
    assert len(found.inputs) > 20 and not found.left_out
    for check in made.checks:
        assert found.margins[check.name] == pytest.approx(check.margin, rel=1e-6), check.name


def test_changes_are_those_of_plans_with_the_input_changed(made):
    found = sensitivities(made)
    shot, moved = explore_as_set(made), 0
    for key in [key for key in found.inputs if key.startswith("rig.")][:8]:
        where, table, name = key.split(".")
        entry, margins = found.inputs[key], []
        for sign in (1, -1):
            rig = changed(made.rig, **{table: {name: entry.value + sign * entry.uncertainty}})
            checks = PLANNERS[shot.kind](shot, rig, rows=False).checks
            margins.append({c.name: c.margin for c in checks if c.margin is not None and math.isfinite(c.margin)})
        for name in set(margins[0]) & set(margins[1]):
            wanted = (margins[0][name] - margins[1][name]) / 2
            assert found.changes[key][name] == pytest.approx(wanted, rel=1e-3, abs=2e-3 * abs(found.margins[name])), (key, name)
            moved += abs(wanted) > 0.01
    assert moved > 5


def explore_as_set(made):
    from macrolib.planning import chance as module
    shot = module._as_set(made)
    return lanes.with_motion(shot, *lanes.motion_of(made.shot, made.rig))


def test_those_that_move_the_verdict_most_come_first(made):
    found = sensitivities(made)
    moves = [max(abs(x - found.room) for x in found.rooms[key]) for key in found.inputs]
    assert moves == sorted(moves, reverse=True) and moves[0] > 0.1 and list(found.changes) == list(found.inputs)


def test_the_chance_of_one_uncertain_input_is_that_of_its_distribution():
    """Only the pulse ceiling is uncertain, and the rate is 3 % below what may be used of it: by the lognormal distribution."""
    shot = changed(MOSS, stack={"speed": 3e-3})
    used = RIGS["bench-screw"].pulses_per_turn * 3e-3 / 2e-3 / 0.8
    rig = changed(RIGS["bench-screw"], controller={"pulse_ceiling": 1.03 * used})
    made = plan(shot, rig, mends=False)
    found = chance(made, exact_but(made, rig__controller__pulse_ceiling=0.05 * 1.03 * used), samples=20_000)
    spread = math.sqrt(math.log1p(0.05**2))
    wanted = 0.5 * (1 + math.erf((math.log(1.03) - spread**2 / 2) / spread / math.sqrt(2)))
    assert found.checks["pulse rate under the ceiling"][0] == pytest.approx(wanted, abs=4 * found.kept_error)
    assert found.kept == pytest.approx(wanted, abs=4 * found.kept_error) and 0.5 < wanted < 0.9
    assert found.kept_error == pytest.approx(math.sqrt(wanted * (1 - wanted) / 20_000), rel=0.02)


def test_doubling_an_uncertainty_changes_the_chance(made):
    inputs = sensitivities(made).inputs
    key = next(iter(inputs))
    once = chance(made, exact_but(made, **{key.replace(".", "__"): inputs[key].uncertainty}))
    twice = chance(made, exact_but(made, **{key.replace(".", "__"): 2 * inputs[key].uncertainty}))
    assert abs(twice.kept - once.kept) > 4 * math.hypot(once.kept_error, twice.kept_error)


def test_a_sample_of_draws_is_judged_as_plans_are(made):
    from macrolib.planning import chance as module
    inputs, rng = module.uncertain(made), np.random.default_rng(2)
    values = {key: module._drawn(key, entry, rng.standard_normal(12)) for key, entry in inputs.items()}
    judged, _ = module._judged(made, values)
    shot = explore_as_set(made)
    for lane in range(12):
        one_shot, one_rig = shot, made.rig
        for key, found in values.items():
            where, table, name = key.split(".")
            holder = changed(one_shot if where == "shot" else one_rig, **{table: {name: float(found[lane])}})
            one_shot, one_rig = (holder, one_rig) if where == "shot" else (one_shot, holder)
        checks = {c.name: c for c in PLANNERS[shot.kind](one_shot, one_rig, rows=False).checks}
        for check in judged:
            margin = np.broadcast_to(lanes.margins(check)[0], 12)[lane]
            wanted = checks[check.name].margin
            assert wanted is None or margin == pytest.approx(wanted, rel=1e-3), check.name


def test_chance_is_repeatable_and_never_certain(made):
    first, again, other = chance(made, samples=300), chance(made, samples=300), chance(made, samples=300, seed=2)
    assert (first.holds, first.kept, first.checks) == (again.holds, again.kept, again.checks) and first.checks != other.checks
    assert first.holds <= first.kept <= min(share[1] for share in first.checks.values())
    sure = chance(made, exact_but(made), samples=50)
    assert sure.kept == 1 and 0 < sure.kept_error < 0.03 and not sure.inputs


def test_measured_uncertainties_go_before_typical_ones(made):
    rig = dataclasses.replace(made.rig, measured=(("carriage.mass", Measured(2.0, 0.004, "2030-01-31")),
                                                  ("transmission.travel_per_turn", Measured(made.rig.travel_per_turn, 1e-7, "2030-01-31"))))
    found = sensitivities(plan(made.shot, rig, mends=False), {"rig.stand.damping_ratio": 0.001})
    assert found.inputs["rig.carriage.mass"] == (entry := found.inputs["rig.carriage.mass"]) and entry.origin == "measured"
    assert (entry.value, entry.uncertainty) == (2.0, 0.004)
    assert found.inputs["rig.transmission.travel_per_turn"].uncertainty == 1e-7
    assert found.inputs["rig.stand.damping_ratio"].origin == "given" and found.inputs["rig.motor.detent_torque"].origin == "typical"


def test_what_is_not_computed_is_left_out_by_name():
    unknown = changed(BELT, stand={"natural_frequency": None})
    found = chance(plan(WING, unknown, mends=False), samples=200)
    assert "ringing after the ramp" in found.left_out and "ringing after the ramp" not in found.checks


@pytest.mark.parametrize(("wrong", "words"), [({"rig.camera.power": 1.0}, "no such uncertain input"),
                                              ({"rig.carriage.mass": -1.0}, "at least 0"), ({"rig.carriage.mass": math.nan}, "at least 0")])
def test_uncertainties_that_make_no_sense_are_refused(made, wrong, words):
    with pytest.raises(ValueError, match=words):
        chance(made, wrong)


def test_hand_led_moves_and_no_samples_are_refused(made):
    with pytest.raises(ValueError, match="hand-led"):
        chance(plan(SHOTS["seed-tray-hand-led"], BELT, mends=False))
    with pytest.raises(ValueError, match="samples"):
        chance(made, samples=0)


def test_the_traverse_of_a_search_keeps_what_the_shot_says_otherwise():
    shot = changed(WING, traverse={"takes": 3, "run_up": 2e-3})
    found = search(shot, BELT, {"speed": [1e-3]})
    t = found.setting(0)[0].traverse
    assert isinstance(t, Traverse) and (t.takes, t.run_up, t.speed) == (3, 2e-3, 1e-3)
