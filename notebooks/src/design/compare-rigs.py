# %% [markdown]
# # Compare rigs
#
# A worksheet that puts two or three rigs side by side for one shot, to decide which one to take, or which one to build. Change the names in the first cell, run all cells, and read from top to bottom: how each rig does, what decides, what differs in the settings, then time and energy. At the end stands which rig to take, and why.
#
# File names count from the folder of this notebook. The environment variable `MACROLIB_SHOT` goes before the name in the cell. [Start here](../00-start-here.ipynb) explains both files and the cautions.
# %%
import os
from pathlib import Path
from types import SimpleNamespace

from IPython.display import Markdown

from macrolib import plan, read_rig, read_shot
from macrolib.physics import power
from macrolib.planning import checks, common
from macrolib.planning.output import shown
from macrolib.show import figures, figures_drive
from macrolib.show.style import pretty, say

SHOT = os.environ.get("MACROLIB_SHOT") or "../data/shots/wing-case.toml"
RIGS = "../data/rigs/bench-screw.toml", "../data/rigs/field-belt.toml", "../data/rigs/lab-ball-screw.toml"  # two or three
AGE = 0.9  # what age has left of a battery; 1 is new

shot, plans, refused = read_shot(SHOT), {}, {}
for path in RIGS:
    name, rig = Path(path).stem, read_rig(path).as_used
    try:
        plans[name] = plan(shot, rig)
    except ValueError as fault:
        refused[name] = str(fault)
if not plans:
    raise ValueError(f"none of these rigs can do {SHOT} at all: {refused}")
for name, made in plans.items():
    print(f"{shot.name} on {name}: {made.verdict}, {say(made['total_time'], 'min')}")
for name, fault in refused.items():
    print(f"{shot.name} on {name}: cannot be planned, {fault}")
# %% [markdown]
# ## How each rig does
#
# A check *holds* when its margin is at least what it asks for, it is *tight* when its limit is kept with less, and what is *not computed* never counts as good. The **room** is the margin of a check over the margin that it asks for: with 1 or more it holds. The least room of all decides about a rig. Some checks ask for no margin, because the plan itself goes to their limit: they count here only when they do not hold.
# %%
def table(heads, rows):
    """A Markdown table of texts."""
    return Markdown("\n".join(f"| {' | '.join(map(str, cells))} |" for cells in (heads, ["---"] * len(heads), *rows)))


def room(check):
    """Margin of a check over the margin that it asks for; 0 where nothing was computed."""
    if check.margin is None or check.limit == 0 and check.state == checks.FAILS:
        return 0.0
    exact = check.limit == 0 or check.enough <= 1 and check.state == checks.HOLDS
    return float("inf") if exact else check.margin / check.enough


states = checks.HOLDS, checks.TIGHT, checks.NOT_COMPUTED, checks.FAILS
least = {name: min(made.checks, key=room) for name, made in plans.items()}
table(["rig", *states, "least room", "of the check"],
      [[name, *(sum(c.state == state for c in made.checks) for state in states), f"{room(least[name]):.2f}", least[name].name]
       for name, made in plans.items()])
# %% [markdown]
# ## What decides
#
# The checks that have least room on one of the rigs, and how the others do there. A bar to the left of 1 means that the limit is missed.
# %%
worst = {}
for made in plans.values():
    for check in made.checks:
        worst[check.name] = min(room(check), worst.get(check.name, float("inf")))
decisive = sorted(worst, key=worst.get)[:5]
found = [(check, name) for wanted in decisive for name, made in plans.items() for check in made.checks if check.name == wanted]
figures.margins([SimpleNamespace(name=f"{check.name}: {name}", margin=check.margin, state=check.state) for check, name in found])
# %% [markdown]
# ### All checks
#
# The margin of each check on each rig. **Bold**: it does not hold. A dash: the rig has no such limit.
# %%
def cell(made, name):
    """Margin and state of a check of a plan."""
    check = next((c for c in made.checks if c.name == name), None)
    if check is None:
        return "-"
    margin = "" if check.margin is None or check.limit == 0 else "over 1000" if check.margin > 1000 else f"{check.margin:.3g}"
    return margin or check.state if check.state == checks.HOLDS else f"**{margin} {check.state}**"


table(["check", *plans], [[name, *(cell(made, name) for made in plans.values())] for name in worst])
# %% [markdown]
# ### What would help
#
# A mend is one number that makes its check hold. It has been tried. Some mends belong to the shot and change the picture, others to the rig.
# %%
for name, made in plans.items():
    for check in made.checks:
        if check.state != checks.HOLDS:
            print(f"{name}: {check.name} {check.state}, {pretty(check.in_words())}; "
                  f"{pretty(check.mend.text) if check.mend else 'no single number mends it'}")
# %% [markdown]
# ## Settings side by side
#
# Only those that differ. What was given in the shot is the same everywhere.
# %%
keys = dict.fromkeys(key for made in plans.values() for key in made.settings)
rows = [[next(made.settings[key].meaning for made in plans.values() if key in made.settings),
         *(pretty(shown(made.settings[key])) if key in made.settings else "-" for made in plans.values())] for key in keys]
table(["setting", *plans], [row for row in rows if len(set(row[1:])) > 1])
# %% [markdown]
# ## Time
#
# From homing to the end. Homing is counted from the far end of the rail: a long rail takes long.
# %%
def spent(made):
    """{what: seconds} of a plan."""
    if shot.kind == "stack":
        moves = (made["frames"] - 1) * made["move_time"]
    elif shot.kind == "traverse":
        moves = made["takes"] * made["duration"] + (made["takes"] - 1) * made["return_time"]
    else:
        moves = float(made.schedule["time"][1][-1])
    way = sum(seconds for *_, seconds in made.approach)
    return {"to the start": way, "moves": moves, "waits and exposures": max(0.0, round(made["total_time"] - way - moves, 6))}


figures_drive.shares({name: spent(made) for name, made in plans.items()}, "time from homing to the end", "s")
# %% [markdown]
# ## Energy
#
# What the supply gives for the whole shot, by parts. The share of the motor counts moves at full current and the rest at the current for standstill. Work done on the load is a few thousandths of a watt and left out.
# %%
def energy(made):
    """Energy of the whole shot in W s; a hand-led move keeps the motor at full current."""
    return made["energy"] if "energy" in made.settings else common.mean_power(made.rig.as_used, 1.0) * made["total_time"]


def parts(made):
    """{part: W s} of the whole shot."""
    rig, total = made.rig.as_used, made["total_time"]
    known = {"driver and controller": rig.driver.idle_power + rig.controller.idle_power, "camera": rig.camera.power, "lamp": rig.light.power}
    passed = energy(made) * rig.supply.converter_efficiency
    return {"motor": passed - sum(known.values()) * total, **{part: watts * total for part, watts in known.items()},
            "lost in the converter": energy(made) - passed}


figures_drive.shares({name: parts(made) for name, made in plans.items()}, "energy from the supply", "Wh")
# %% [markdown]
# ### Draw, battery and fuse
#
# The run time of a battery counts its usable share, its age and the cold of the room. The fuse is a caution, not a design: it must lie above the largest draw and below what the wire bears, by its maker and by the electrical rules of your place.
# %%
rows = []
for name, made in plans.items():
    rig, mean = made.rig.as_used, energy(made) / made["total_time"]
    largest = power.supply_current(common.mean_power(rig, 1.0), rig.supply.voltage)
    if rig.supply.energy is None:
        lasts = ["mains", "-"]
    else:
        usable = power.usable_energy(rig.supply.energy, rig.supply.usable_share, AGE, power.cold_share(max(rig.room.temperature, 253.15)))
        lasts = [f"{say(power.run_time(usable, mean), 'h')} at {say(rig.room.temperature, 'degC')}", f"{usable / energy(made):.0f}"]
    takes = made["takes"] if "takes" in made.settings else 1
    rows.append([name, say(mean, "W"), say(energy(made) / takes, "Wh"), *lasts, f"above {say(power.least_fuse(largest), 'A', 2)}"])
table(["rig", "mean draw", "energy for a take or stack", "battery lasts", "such shots from a full one", "fuse"], rows)
# %% [markdown]
# ## What to take, and why
#
# Ranked by the worst state of all checks, then by the least room. Time and energy come after that: a quick rig that misses the picture is no bargain.
# %%
order = sorted(plans, key=lambda name: (states.index(plans[name].verdict), -room(least[name])))
best, verdict = order[0], plans[order[0]].verdict
why = "all its checks hold" if verdict == checks.HOLDS else f"none holds as it stands, and this one is nearest ({verdict})"
print(f"Take {best}: {why}.\nIts least room is {room(least[best]):.2f}: {least[best].name}, {pretty(least[best].in_words())}.")
for name in order[1:]:
    faults = [c for c in plans[name].checks if c.state != checks.HOLDS]
    faults = ", ".join(f"{c.name} {c.state}" for c in faults) or f"it holds as well, with less room ({room(least[name]):.2f}, {least[name].name})"
    print(f"Not {name}: {faults}.")
for what, key, unit in (("Quickest", lambda made: made["total_time"], "s"), ("Least energy", energy, "Wh")):
    first = min(plans, key=lambda name: key(plans[name]))
    print(f"{what}: {first}, {say(key(plans[first]), unit)}" + ("" if first == best else f", against {say(key(plans[best]), unit)} of {best}") + ".")
# %% [markdown]
# Values that are typical of their kind stand in all three demo rigs. Before you buy, put your data sheets into the files, and plan once more with the lens and the light that you would use. A rig that fails by its lens alone may do with another lens.
#
# - **Falling load.** An upright or sloping axis may run down when power, driver or cable fails: fit a brake or a counterweight, tether the camera, let nobody stand or reach below.
# - **Pinch points.** Keep fingers, hair and cords away; have a stop within reach that takes the power from the motor.
# - **Batteries.** A fuse close to the plus pole, the charger made for the battery, attended, on a surface that does not burn.
# - **This page is a calculation, not a permit.** The makers' instructions, the law, and the electrical and building codes of your place come first. Have mains wiring, loads over people, and public or paid use checked by a qualified and, where required, licensed person.
#
# [Power and heat](../learn/12-power-and-heat.ipynb) derives the numbers of battery and motor. The worksheets [Plan a stack](plan-a-stack.ipynb), [Plan a traverse](plan-a-traverse.ipynb) and [Plan a hand-led move](plan-a-hand-led-move.ipynb) show one rig in full.
