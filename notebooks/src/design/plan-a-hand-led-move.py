# %% [markdown]
# # Plan a hand-led move
#
# A worksheet for a filmed move that a hand leads: somebody turns a control, and the carriage follows within its limits of speed and acceleration. Change the two file names in the first cell, run all cells, and read from top to bottom. First come the limits and what they cost, then what a turn of the control does to the picture. At the end stand the settings, the checks and the files.
#
# File names count from the folder of this notebook. The environment variables `MACROLIB_SHOT`, `MACROLIB_RIG` and `MACROLIB_OUT` go before the names in the cell. [Start here](../00-start-here.ipynb) explains both files and the cautions.
# %%
import os
from pathlib import Path

import numpy as np
from IPython.display import display

from macrolib import plan, read_rig, read_shot
from macrolib.physics import following, screen, transmission
from macrolib.planning import budget
from macrolib.show import figures, figures_film, figures_sharpness, live, panels_hand
from macrolib.show.style import say
from macrolib.show.worksheet import Sheet

SHOT = os.environ.get("MACROLIB_SHOT") or "../data/shots/seed-tray-hand-led.toml"
RIG = os.environ.get("MACROLIB_RIG") or "../data/rigs/field-belt.toml"
OUT = os.environ.get("MACROLIB_OUT") or None  # a folder for the files, such as "../../out/my-move"; None: no files

shot, rig = read_shot(SHOT), read_rig(RIG).as_used
if shot.kind != "hand-led":
    raise ValueError(f"{SHOT} is a {shot.kind}; this worksheet plans a hand-led move")
made, wanted = plan(shot, rig), shot.hand_led
sheet, marks = Sheet(made), (wanted.start_mark, wanted.end_mark)
text, sideways, way = sheet.text, shot.direction == "sideways", abs(marks[1] - marks[0])
print(f"{shot.name or Path(SHOT).stem} on {rig.name or Path(RIG).stem}: {made.verdict}\n"
      f"{shot.direction}, {say(way, 'mm')} between the marks; at most {text['speed']}, {text['acceleration']}; lag {text['lag']}")
# %% [markdown]
# ## The limits, and what they cost
#
# Each line shows a formula, the numbers put in, and the result, all in SI units. The carriage keeps so far behind a moving hand that it can always stop where the hand stops. This distance is the **lag**. When the hand rests, the carriage still goes on by as much: that is the **coast**.
# %%
limits = {"speed": made["speed"], "acceleration": made["acceleration"]}
travel = {"travel_per_turn": rig.travel_per_turn, "pulses_per_turn": rig.pulses_per_turn}
sheet.working(
    (f"**Largest speed**: {text['speed']} ({sheet.origin('speed')}), {text['speed_pulses']}. The lower ceiling of controller and driver is "
     f"{say(rig.pulse_ceiling, 'kHz')}.", transmission.pulse_rate, {"speed": made["speed"], **travel}),
    (f"**Largest acceleration**: {text['acceleration']} ({sheet.origin('acceleration')}). From the largest speed the carriage stops in "
     f"{text['time_to_stop']}.",),
    (f"**Lag and coast** at the largest speed, for a hand without delay: {text['lag']}.", following.stopping_distance, {**limits, "delay": 0.0}),
    (f"A hand that turns half as fast is followed {say(following.stopping_distance(made['speed'] / 2, made['acceleration'], 0.0), 'mm')} "
     f"behind: a quarter. Between the marks lie {say(way, 'mm')}; they may be overrun by {say(wanted.overrun, 'mm')}, the end stops never.",),
    ("The control turns the same way as the carriage goes." if wanted.control == "same" else
     "The control is mounted the other way round: turned backwards, it leads from the start mark to the end mark.",))
# %% [markdown]
# ## One turn of the control
#
# A control is fine enough when the least turn that a hand makes on purpose moves the picture by little. The plan takes 5 degrees for that, from memory; try yours.
# %%
turn = wanted.travel_per_control_turn
sheet.working(
    (f"**Travel for one turn of the control**: {text['travel_per_control_turn']}. From mark to mark {way / turn:.3g} turns.",),
    (f"**Finest turn**: 5 degrees of the control move the picture by {text['finest_turn']}.",),
    (f"**Finest move** of the carriage, one pulse: {text['travel_per_pulse']}, {text['finest_move']} in the picture.",
     transmission.travel_per_pulse, travel),
    (f"**Fastest turn that is followed**: {made['speed'] / turn:.3g} turns per second. Who turns faster leaves the carriage behind.",))
# %% [markdown]
# ## What the film shows
#
# At the largest speed. In an axial move the image speed is that at the edge of the picture, where it moves most.
# %%
limit = made.check("motion of the picture")
steps = [(f"**Exposure of a video frame** at {say(wanted.frame_rate, 'fps')}: {text['exposure_time']}.", screen.exposure_time,
          {"shutter_angle": wanted.shutter_angle, "frame_rate": wanted.frame_rate})]
if sideways:
    steps.append((f"**Image speed**: {text['image_speed']}.", screen.image_speed,
                  {"speed": made["speed"], "magnification": shot.picture.magnification, "pixel_pitch": rig.camera.pixel_pitch,
                   "frame_rate": wanted.frame_rate}))
else:
    steps.append((f"**Shift of focus in a frame**, against a sharp depth of {text['sharp_depth']}; the image speed at the edge is "
                  f"{text['image_speed']}.", screen.axial_shift, {"speed": made["speed"], "frame_rate": wanted.frame_rate}))
sheet.working(*steps, (f"**Smear within a frame**: {text['blur']}.", screen.frame_blur,
                       {"image_speed": made["image_speed"], "shutter_angle": wanted.shutter_angle}),
              (f"**Limit** for the image speed: {say(limit.limit, 'px/frame')}, {limit.why}.",))
# %% [markdown]
# ## The hand and the carriage
#
# The dashed line is the set-point, where the hand asks the carriage to be. Left, enlarged, lag and coast of a hand at 0.8 of the largest speed. Right, the whole way with an unsteady hand: it turns too fast, rests, turns back a little, and goes on beyond the end. The carriage smooths the hand, comes late, and never goes past a hand that rests. What is turned beyond the limit is forgotten.
# %%
times = made.schedule["time"][1]
hand = np.array([(0, 0), (0.02, 0), (0.2, 0.5), (0.45, 0.5), (0.5, 0.42), (0.55, 0.42), (0.8, 1.1), (1, 1.1)])  # shares of time and way
turns = np.interp(times / times[-1], *hand.T) * way / turn * (-1 if wanted.control == "opposite" else 1)
points = following.hand_set_points(turns, turn, *marks, wanted.overrun, (rig.rail.low_end_stop, rig.rail.high_end_stop),
                                   wanted.control == "opposite")
places = following.follow(times, points, made["speed"], made["acceleration"])
figures_film.led_by_hand(times, points, places, marks, made["speed"], made["acceleration"])
# %% [markdown]
# ### Lead it yourself
#
# A carriage with the limits of this plan, its marks, its overrun and its end stops. Turn the control slowly, then quickly, then let go. Nothing moves before you move it, and only with a running kernel. The stored page shows a recorded turn, slowed down until the carriage keeps up with it.
# %%
seconds, turned = panels_hand.TURN
slow = max(1.0, 1.1 * turn * np.abs(np.diff(turned) / np.diff(seconds)).max() / made["speed"])
live.LiveHand(live.Hand.of_plan(made), recorded=(slow * seconds, -turned if wanted.control == "opposite" else turned))
# %% [markdown]
# ## Where the time goes
#
# From homing to the end, with the steady hand; yours will differ.
# %%
footfall, waited, _ = made.ringing["floor"]
actions = [(what, seconds) for what, *_, seconds in made.approach]
before = sum(seconds for _, seconds in actions)
actions += [("wait", waited - before), ("led by hand", times[-1])]
ends = np.cumsum([seconds for _, seconds in actions])
display(figures.timeline([(what, end - seconds, end) for (what, seconds), end in zip(actions, ends) if seconds > 1e-9 * ends[-1]]))
display(sheet.schedule())
sheet.working((f"**Wait after the last footfall**: {text['wait_before_move']} ({sheet.origin('wait_before_move')}). Homing and the way to "
               f"the start mark take {say(before, 's')} and count. Whoever leads by hand stands beside the rig: keep your feet still.",))
# %% [markdown]
# ## What takes sharpness
#
# Each bar is the share of the contrast of fine detail that one cause leaves, at the largest speed. Some smear of the motion is wanted in film: without it a quick move stutters. Slower turning smears less.
# %%
figures_sharpness.blur_budget(budget.blur_budget(made))
# %% [markdown]
# ## Settings
#
# "given" was fixed in a file and is judged below, "auto" was derived, "preset" stands in for data that the rig file does not have.
# %%
sheet.settings()
# %% [markdown]
# ## Checks
#
# The margin is above 1 where a limit is kept. A mend is one number that makes its check hold; it has been tried. Plan again after a mend, because it may press on another check. Below the table stands what each mend does to the whole plan, and what no mend reaches.
# %%
display(figures.margins(made.checks), sheet.checks())
print(sheet.mends())
# %% [markdown]
# ## Files
#
# `plan.json` holds settings and checks, `schedule.csv` a row for each video frame with the steady hand, `settings.html` is one page to print and take to the rig, with the cautions. Existing files are never replaced from here.
# %%
print(sheet.write(OUT))
