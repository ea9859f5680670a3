# %% [markdown]
# # Start here: from a shot to settings in five minutes
#
# You build a motorised rail for close-up pictures, or you stand beside one and want to begin. Either way the same questions come up. Which numbers do I set? Will it be sharp? How long will it take? How long do I wait? This collection answers them from two files that describe your **rig** (what you have) and your **shot** (what you want).
#
# The demo is invented: a small museum photographs a moss capsule, 3.6 mm deep, at three times life size. The camera stands on a bench rig with a screw. Click into a cell and press Shift and Enter to run it.
# %% [markdown]
# ## One cell makes the plan
#
# The plan of a shot on a rig has three parts: **settings**, a **schedule** and **checks**. Here are the settings that matter most. "auto" means that the plan derived the number, "given" that a file fixed it.
# %%
from macrolib import plan, read_rig, read_shot
from macrolib.planning.checks import apply
from macrolib.planning.output import shown
from macrolib.show import figures
from macrolib.show.style import pretty

shot = read_shot("data/shots/moss-capsule.toml")
rig = read_rig("data/rigs/bench-screw.toml")
made = plan(shot, rig)

print(f"{shot.name} on {rig.name}: {made.verdict}\n")
for name in ("f_number", "spacing", "spacing_pulses", "frames", "speed", "settling_wait", "wait_before_move", "total_time"):
    setting = made.settings[name]
    print(f"{setting.meaning:<36} {pretty(shown(setting)):>10}  {setting.origin}")
# %% [markdown]
# Read it as a list of what to do. Set the lens to f/<!--= made["f_number"]:g -->. After the last footfall beside the rig wait <!--= made["wait_before_move"]:.2g --> s. Take <!--= made["frames"]:.0f --> frames, one each <!--= 1e6 * made["spacing"]:.4g --> µm: that is <!--= made["spacing_pulses"]:.0f --> pulses to the motor. After each move let the rig calm down for <!--= made["settling_wait"]:.2g --> s. The whole stack takes <!--= made["total_time"] / 60:.2g --> minutes.
#
# ## Does it cover the subject?
#
# Each bar is one frame and the depth over which it is sharp. The subject is shaded. On the right you see that neighbours overlap, so no gap stays soft.
# %%
figures.stack_frames(made.schedule["position"][1], made["sharp_depth"], shot.stack.near_end, shot.stack.far_end)
# %% [markdown]
# ## Will it work?
#
# Each **check** compares a figure with its limit. The **margin** says how far away the limit is: above 1 is good. A check *holds* when its margin is at least what that check asks for. It is *tight* when the limit is kept, but with less margin than asked. It *fails*, or it is *not computed* because a value is missing. What was not computed never counts as good.
# %%
figures.margins(made.checks)
# %% [markdown]
# ## When a check fails
#
# <!--= f"{made['frames']:.0f}" --> frames are many. Somebody stops the lens down to f/11, to need fewer. Let us plan that.
# %%
def what_happens(made):
    """The verdict of a plan, and each check that does not hold, with its mend."""
    print(f"f/{made['f_number']:.3g}: {made['frames']:.0f} frames, {made['total_time'] / 60:.2g} min, {made.verdict}")
    for check in made.checks:
        if check.state != "holds":
            print(f"  {check.state}: {check.name}, {pretty(check.in_words())}\n  mend: {check.mend.text if check.mend else 'none found'}")


closed = plan(*apply(shot, rig, "shot.picture.f_number", 11.0))
what_happens(closed)
# %% [markdown]
# Far fewer frames, and none of them sharp: past its best aperture the lens blurs fine detail by diffraction, wherever the focus is. The check says so. It also names a **mend**, a number that makes this check hold. Apply it:
# %%
failed = next(check for check in closed.checks if check.mend)
mended = plan(*apply(shot, rig, failed.mend.key, failed.mend.value))
what_happens(mended)
# %% [markdown]
# At f/<!--= mended["f_number"]:.3g --> the stack has <!--= mended["frames"]:.0f --> frames, and the plan *<!--= mended.verdict -->*. A mend looks after its own check alone. Plan again after each one: it may press on another check.
#
# A lens has clicks. Between two of them take the wider one, write it into the shot file as `f_number`, and plan again.
#
# ## Your own rig and shot
#
# 1. Copy `data/rigs/bench-screw.toml` and `data/shots/moss-capsule.toml`, and give the copies your own names.
# 2. Replace the numbers by those of your data sheets, one table of the file after the other. Every quantity is a text with its unit, such as `"2 mm"`. Set `basis` in a table to `"data sheet"` or `"measured"` once its numbers are yours: the plan lists the tables that are still typical values.
# 3. Name your files in the first cell of [Plan a stack](design/plan-a-stack.ipynb) and run all cells. Or type `make plan SHOT=my-shot.toml RIG=my-rig.toml` in a terminal: it writes the plan, the schedule, a settings card and a report under `out/`.
#
# When a file has faults, all of them are listed at once, each with what was found and what is allowed. The next cell prints the keys that every rig file must have. What a screw or a belt needs besides depends on its kind, and a file that lacks it says so.
# %%
import dataclasses

from macrolib.rig import PARTS

for table, part in PARTS.items():
    needed = [field.name for field in dataclasses.fields(part) if field.default is dataclasses.MISSING]
    if needed:
        print(f"[{table}]  {', '.join(needed)}")
# %% [markdown]
# All keys of both files, with their meaning, unit, allowed range and default, stand in the [table of keys](data/keys.md).
#
# ## Map of the notebooks
#
# | notebook | for | what it gives |
# |---|---|---|
# | [From turns to travel](learn/01-from-turns-to-travel.ipynb) | learning | screw, belt and gear; microsteps, pulse ceiling and top speed |
# | [Stepping smoothly](learn/02-stepping-smoothly.ipynb) | learning | why microsteps make it smooth, and where that ends |
# | [Ramps, derived](learn/03-ramps-derived.ipynb) | learning | trapezoid to minimum jerk, and what each leaves ringing |
# | [Pulses and timers](learn/04-pulses-and-timers.ipynb) | learning | when each pulse is due, and what whole timer ticks do to it |
# | [The pulse ceiling](learn/04b-the-pulse-ceiling.ipynb) | learning | what limits a small controller, measured |
# | [Torque and inertia](learn/05-torque-and-inertia.ipynb) | learning | what a motor gives at speed, and what a move asks for |
# | [How deep is sharp](learn/06-how-deep-is-sharp.ipynb) | learning | four measures of depth, and which one a stack needs |
# | [Diffraction and the best aperture](learn/07-diffraction-and-the-best-aperture.ipynb) | learning | why stopping down ends, and the light that it asks for |
# | [See the soft bands](learn/07b-see-the-soft-bands.ipynb) | learning | a stack before it is shot, with spacing too wide |
# | [Vibration and waiting](learn/08-vibration-and-waiting.ipynb) | learning | floors, stands, footfall, and how long to wait |
# | [Motion on screen](learn/09-motion-on-screen.ipynb) | learning | frames, shutter, push-ins: what the film shows of a move |
# | [Tilt and distance](learn/10-tilt-and-distance.ipynb) | learning | rails that are not parallel, slopes, and what falls over |
# | [Led by hand](learn/11-led-by-hand.ipynb) | learning | a carriage that follows a hand: lag, coast, marks |
# | [Power and heat](learn/12-power-and-heat.ipynb) | learning | what draws how much, how long a battery lasts, how warm a motor gets |
# | [Choose motor and drive](design/choose-motor-and-drive.ipynb) | a worksheet | which combinations will do it, and what limits each |
# | [Plan a stack](design/plan-a-stack.ipynb) | a worksheet | settings, working, schedule, checks and files of a focus stack |
# | [Plan a traverse](design/plan-a-traverse.ipynb) | a worksheet | the same for a filmed move |
# | [Plan a hand-led move](design/plan-a-hand-led-move.ipynb) | a worksheet | lag, coast and limits of a move led by hand |
# | [Compare rigs](design/compare-rigs.ipynb) | a worksheet | two or three rigs side by side for one shot, and which to take |
# | [Send it to a controller](design/send-it-to-a-controller.ipynb) | a worksheet | the plan as pulses of a small controller, and the wiring |
#
# Which lesson answers your question? Look into [Questions](questions.md). What does a word mean? See the [Glossary](glossary.md). Does something not run? The [first run](teach/first-run-check.ipynb) says what is missing. Signs and units stand in the [formula sheet](teach/formula-sheet.ipynb).
#
# Notebooks under `learn/` are lessons with exercises. Those under `design/` are worksheets: change the first cell, run all. Work on copies of the files in `data/`: lessons and tests use the originals.
#
# ## Cautions
#
# - Keep fingers, hair and cords away from carriage, screw and belt. A slow screw pushes with great force.
# - Have a stop within reach that takes the power from the motor. End stops and current limits protect no one.
# - On a sloping or upright axis the load can fall when power, driver or cable fails. Fit a brake or a counterweight, tether the camera, and let nobody stand below.
# - Motor and driver may be too hot to touch. Never unplug a motor from a driver that is switched on.
# - Near the subject a lens has little room. Set the end limit before glass can touch anything, and approach slowly.
# - Fuse a battery close to its plus pole. Use closed, approved mains supplies. Do not look into strong lamps. Warn people before flashes in quick series: flicker can harm people with photosensitive epilepsy.
# - A plan is a computation, not a permit. The makers' instructions, the law and the electrical and building codes of your place come first. Have mains wiring, loads above people, and public or paid use checked by a qualified and, where required, licensed person. Try it without people and without precious subjects first.
