# %% [markdown]
# # From turns to travel
#
# Estimated time: 30 minutes reading, 20 minutes exercises.
#
# A motor turns, a carriage travels, a picture moves on the sensor. This lesson follows one pulse along that way. At its end stands the question that decides most about a drive: is it fine enough **and** fast enough for the shot?
#
# It is for people who choose a screw or a belt, a motor and a driver. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute the travel for one turn of the motor, for a screw, a belt and a gear (exercise 1)
# 2. convert one pulse into µm on the subject and px in the picture (exercise 2)
# 3. choose microsteps that are fine enough and fast enough for a shot (exercise 3)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | multiply and divide numbers with units | needed | any school book |
# | magnification: size on the sensor over size of the subject | needed | you have read it |
# | run a cell | needed | click into it, press Shift and Enter |
# | what the collection is for | helps | [Start here](../00-start-here.ipynb) |
#
# The next cell reads three invented rigs. Their values are typical of their kind; your own data sheet comes first.
# %%
from IPython.display import Math

from macrolib import read_rig
from macrolib.rig import write_rig
from macrolib.formula import working
from macrolib.physics import screen
from macrolib.physics.transmission import pitch_travel, pulse_rate, travel_per_pulse
from macrolib.show import figures
from macrolib.show.panel import keep_in
from macrolib.show.panels import microsteps as panel
from macrolib.show.style import say
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/01-from-turns-to-travel.toml")
bench, field, lab = (read_rig(f"../data/rigs/{name}.toml") for name in ("bench-screw", "field-belt", "lab-ball-screw"))
print(f"{bench.note}\n{field.note}\n{lab.note}")
# %% [markdown]
# ## One turn of the motor (about 8 minutes)
#
# A **transmission** makes travel out of turns. One number describes it here: the **travel per turn**, how far the carriage travels while the motor turns once.
# %% [markdown]
# ### Predict: a screw called Tr10x2
#
# The bench rig has a trapezoidal screw with the name Tr10x2. Write down your answer, then run the cell. In one turn of the screw the nut travels
#
# - A: 10 mm
# - B: 2 mm
# - C: 31 mm
# %%
print("travel per turn of the bench rig:", say(bench.travel_per_turn, "mm"))
# %% [markdown]
# <details><summary>Explain: why B, and what A and C mix up</summary>
#
# The second number of the name is the **pitch**, the distance from one thread to the next. Answer A takes the first number, the diameter. Answer C takes the way around the screw: so far runs a point of the thread, not the nut.
#
# </details>
# %% [markdown]
# ### A screw with several starts
#
# A screw may have two or more threads side by side: its **starts**. A nut that follows one of them passes all the others in a turn. So the travel per turn of a screw, its **lead**, is starts times pitch.
#
# A toothed belt does the same: in one turn of the pulley it moves on by all teeth, each one pitch from the next. One formula serves both. Its $z$ counts starts or teeth, $P$ is the pitch, $i$ the gear ratio.
# %%
Math(pitch_travel.latex)
# %% [markdown]
# ### What a gear does
#
# The ratio of a **gear** says how often the motor turns for one turn of the pulley. With a ratio of 5 the travel of *one* motor turn is a fifth.
#
# ### Worked example: the belt of the field rig
#
# A belt of 2.5 mm pitch, a pulley of <!--= belt.teeth --> teeth, a gear of <!--= belt.gear_ratio:g --> to 1. The line shows the formula, the numbers put in (lengths in metres), the result.
# %% tags=["worked"]
belt = field.transmission
Math(working(pitch_travel, pitch_count=belt.teeth, pitch=belt.pitch, gear_ratio=belt.gear_ratio))
# %% [markdown]
# So the field rig travels <!--= 1e3 * field.travel_per_turn:.3g --> mm for each turn of the motor, the bench rig <!--= 1e3 * bench.travel_per_turn:.3g --> mm. A belt makes a quick rig. What that costs comes next.
# %% [markdown]
# ### Exercise 1: a belt with a gear (about 5 minutes)
#
# A belt has a pitch of 2 mm. Its pulley has 18 teeth. The motor turns 3 times for one turn of the pulley. How far does the carriage travel for one turn of the **motor**?
#
# Fill both blanks. An answer is a text with its unit, such as `"5 mm"`, or a bare number in metres.
# %% tags=["exercise", "faded"]
travel_of_pulley = blank  # teeth times pitch
answer_1 = blank  # the share of it that one motor turn gives

check(answer_1, "belt")
# %% [markdown]
# <details><summary>Solution</summary>
#
# One turn of the pulley moves the belt by all its teeth. One motor turn is a third of that turn.
#
# ```python
# travel_of_pulley = 18 * 2e-3  # m
# answer_1 = travel_of_pulley / 3
# ```
#
# That is <!--= 1e3 * pitch_travel(pitch_count=18, pitch=2e-3, gear_ratio=3):.3g --> mm.
#
# </details>
# %% [markdown]
# ## From a turn to a pulse (about 8 minutes)
#
# A stepping motor stops at **full steps**, mostly 200 in a turn. What does the bench rig do to a picture when it moves by full steps only? The magnification is 3, the pixel pitch <!--= 1e6 * bench.camera.pixel_pitch:.2g --> µm.
#
# A sideways travel moves the picture magnification times as far. Divided by the pixel pitch, that is a number of px. The library has this formula for film, in px per frame; at one frame a second, the travel of a second is the travel of a frame.
# %%
def pixels(travel, magnification=3.0, pixel_pitch=bench.camera.pixel_pitch):
    """px by which a sideways travel in m moves the picture."""
    return screen.image_speed(speed=travel, magnification=magnification, pixel_pitch=pixel_pitch, frame_rate=1.0)


full_step = bench.travel_per_turn / bench.motor.full_steps_per_turn
print(f"one full step: {say(full_step, 'um')}, {pixels(full_step):.2g} px in the picture")
# %% [markdown]
# A film of this move would not glide. It would jump by almost <!--= round(pixels(full_step)) --> px, again and again. That is the failure to mend.
#
# ### Microsteps
#
# With currents between full and none the **driver** holds the motor between two full steps. It cuts each full step into **microsteps**, and goes on by one for each **pulse** that the controller sends.
#
# ### Predict: the stairs
#
# The position of the carriage is a flight of stairs beside the straight line that we want. Set 4 microsteps, then 16: does a stair become lower, shorter, or both? Decide, then run the cell.
# %%
settings = (1, 4, 16)
travels = [travel_per_pulse(bench.travel_per_turn, bench.motor.full_steps_per_turn * n) for n in settings]
figures.stairs(travels, [pixels(x) for x in travels], ["full steps", "4 microsteps", "16 microsteps"])
# %% [markdown]
# <details><summary>Explain: both</summary>
#
# More pulses share the same turn. Each moves the carriage less (lower), and the next is due sooner (shorter). The carriage is never farther from the line than half a stair.
#
# </details>
#
# ### The derivation
#
# One turn has full steps times microsteps pulses, $n_1$. They share the travel per turn, $s_1$, in equal parts. So the travel for one pulse is
# %%
Math(working(travel_per_pulse, travel_per_turn=bench.travel_per_turn, pulses_per_turn=bench.pulses_per_turn))
# %% [markdown]
# For the bench rig that is <!--= 1e6 * travels[2]:.3g --> µm. Compare the three rigs: two of them share a last column.
# %%
print("rig             travel per turn  pulses per turn  travel per pulse")
for rig in (bench, field, lab):
    travel = travel_per_pulse(rig.travel_per_turn, rig.pulses_per_turn)
    print(f"{rig.name:<15} {say(rig.travel_per_turn, 'mm'):>15} {rig.pulses_per_turn:>16} {say(travel, 'um'):>17}")
# %% [markdown]
# The laboratory rig has twice the lead, and a motor with twice the full steps. What counts is the quotient alone.
#
# ### Towards the subject
#
# When the carriage moves towards the subject, the plane of focus moves. There a pulse is compared with the **frame spacing**, the distance between two frames of a focus stack: many pulses in a spacing are good, one is too few.
# %%
spacing = 30e-6  # m, usual for a stack at three times life size
print(f"one frame spacing of {say(spacing, 'um')} is {spacing / travels[2]:.0f} pulses of the bench rig")
# %% [markdown]
# ### Exercise 2: a pulse, twice (about 8 minutes)
#
# A screw has **two starts** and a pitch of 1.5 mm. The motor makes steps of 0.9 degrees, 400 in a turn. The driver is set to 8 microsteps.
#
# 1. How far does the carriage travel for one pulse?
# 2. The move is sideways, at a magnification of 2.5 and a pixel pitch of 4 µm. By how many px does one pulse move the picture?
# %% tags=["exercise", "free"]
answer_2a = blank  # such as "5 um"
answer_2b = blank  # such as "5 px"

print(check(answer_2a, "pulse"))
print(check(answer_2b, "pixels"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# Two starts make a lead of two pitches.
#
# ```python
# answer_2a = 2 * 1.5e-3 / (400 * 8)  # m
# answer_2b = pixels(answer_2a, magnification=2.5, pixel_pitch=4e-6)
# ```
#
# That is <!--= 1e6 * travel_per_pulse(3e-3, 3200):.3g --> µm and <!--= pixels(travel_per_pulse(3e-3, 3200), 2.5, 4e-6):.2g --> px.
#
# </details>
# %% [markdown]
# ## The pulse ceiling (about 10 minutes)
#
# Finer pulses have a price: the controller has to time each of them. The most pulses per second that controller **and** driver keep up is the **pulse ceiling**. Above it pulses get lost, and with them the position.
#
# How many pulses per second does the bench rig need for 5 mm/s?
# %%
Math(working(pulse_rate, speed=5e-3, travel_per_turn=bench.travel_per_turn, pulses_per_turn=bench.pulses_per_turn))
# %%
needed = pulse_rate(5e-3, bench.travel_per_turn, bench.pulses_per_turn)
print(f"needed: {needed:.0f} pulses per second, ceiling: {bench.pulse_ceiling:.0f} pulses per second")
# %% [markdown]
# ### The top speed
#
# At the ceiling, how fast is the carriage? The same formula, solved for the speed, answers:
# %%
top_speed = pulse_rate.solve_for("speed")
Math(top_speed.latex)
# %%
fastest = top_speed(bench.pulse_ceiling, bench.travel_per_turn, bench.pulses_per_turn)
print(f"top speed of the bench rig at its pulse ceiling: {say(fastest, 'mm/s')}")
# %% [markdown]
# ### The bargain, derived
#
# Divide the top speed by the travel for one pulse, both as formulas, and let the computer cancel what it can:
# %%
ratio = top_speed.expression / travel_per_pulse.expression
print("top speed / travel for one pulse =", ratio)
# %% [markdown]
# Only the pulse rate is left. **At a given ceiling, top speed over travel for one pulse is a fixed number.** Halve the one and you halve the other. No screw, belt or microstep gets round this. A higher ceiling does.
#
# ### Predict: four moves of a slider
#
# The panel starts with the bench rig. The line holds all microstep settings. The shaded corner is what the shot needs: at most 0.5 px for a pulse, at least 5 mm/s. The upright band, through all charts, holds what is fine enough **and** fast enough. Below stand two more reasons: by how much the motor itself shakes the picture, its **ripple**, and how far the carriage lags behind a hand that leads it. [Stepping smoothly](02-stepping-smoothly.ipynb) and [Led by hand](11-led-by-hand.ipynb) derive both. Write down what you expect, then move one slider at a time, from the start values. *Keep these values* writes the bench rig with your microsteps, pulse ceiling (that of its slider) and pixel pitch into `my-rig.toml` beside this page.
#
# 1. *<!--= label["microsteps"] -->* from 16 to 32: where does the ring go, and does it stay in the corner?
# 2. *<!--= label["travel_per_turn"] -->* from 2 mm to 10 mm: does the line move, and what does the ripple do?
# 3. *<!--= label["pulse_ceiling"] -->* from 12 kHz to 60 kHz: does the line move, and how many settings then fit?
# 4. *<!--= label["program"] -->* to *<!--= program -->*: which end of the band moves?
# %%
label, program = {slider.name: slider.label for slider in panel.sliders}, "8-bit, additions in an interrupt"
start = {"microsteps": 16, "travel_per_turn": bench.travel_per_turn, "pulse_ceiling": bench.pulse_ceiling, "magnification": 3,
         "pixel_pitch": bench.camera.pixel_pitch}
steep, quick = (panel.result(panel.start(**start | more)) for more in ({"travel_per_turn": 10e-3}, {"program": program}))
panel.show(**start,
           keep=keep_in("my-rig.toml", bench, write_rig, {"microsteps": "driver.microsteps", "pulse_ceiling": "controller.pulse_ceiling",
                                                          "pixel_pitch": "camera.pixel_pitch"}))
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. The ring slides down the line to <!--= 0.5e6 * travels[2]:.3g --> µm and <!--= 0.5e3 * fastest:.3g --> mm/s. It leaves the corner at its lower edge: fine enough, too slow.
# 2. The line stays. Every setting slides up along it, coarser and quicker. And the motor, which now turns a fifth as fast, shakes the picture by <!--= (steep.ripples * steep.per_pixel).min():.2g --> px or more: no microsteps mend that.
# 3. The line rises: each setting becomes five times as quick. At 60 kHz the settings 16, 32 and 64 fit: <!--= ', '.join(say(top_speed(60e3, bench.travel_per_turn, 200 * n), 'mm/s') for n in (16, 32, 64)) -->.
# 4. The left end: a quicker program lets finer settings keep up, to <!--= max(quick.microsteps[quick.speeds >= quick.needed]) --> microsteps. The right end is the picture's. A hand is lost left of the band: there the carriage cannot keep up.
#
# </details>
#
# Then find the largest *<!--= label["speed"] -->* at which one setting still fits.
# %% [markdown]
# ### Exercise 3: choose the microsteps (about 7 minutes)
#
# A belt rig travels 10 mm for one motor turn of 200 full steps. Its pulse ceiling is 40 kHz, of which 0.8 may be used. A filmed move at a magnification of 1.2 runs at 12 mm/s. The pixel pitch is 4.4 µm. One pulse may move the picture by at most 0.5 px.
#
# Choose the microsteps. More than one answer is right.
# %% tags=["exercise", "free"]
answer_3 = blank  # one of 1, 2, 4, 8, 16, 32, 64, 128, 256

check(answer_3, "microsteps")
# %% [markdown]
# <details><summary>Solution</summary>
#
# The picture: a full step moves it by <!--= pixels(10e-3 / 200, 1.2, 4.4e-6):.3g --> px, so at least <!--= pixels(10e-3 / 200, 1.2, 4.4e-6) / 0.5:.3g --> microsteps are needed. The speed: 12 mm/s are <!--= pulse_rate(12e-3, 10e-3, 200):.0f --> full steps per second. 0.8 of the ceiling is room for <!--= 0.8 * 40e3 / pulse_rate(12e-3, 10e-3, 200):.0f --> microsteps at most.
#
# ```python
# answer_3 = 64  # 32 and 128 do it as well
# ```
#
# The middle one keeps away from both edges.
#
# </details>
# %% [markdown]
# ## Mistakes people make
#
# - **Pitch taken for lead.** They agree for a screw with one start only.
# - **The gear on the wrong side.** It makes the motor turn more, and the travel of a motor turn smaller.
# - **Microsteps taken for accuracy.** A motor under load lags behind, and its own steps are off by some percent of a full step. 256 microsteps do not make a rig 16 times as exact as 16.
# - **One of the two ceilings forgotten.** The driver has one, the controller has one. The lower one counts.
# - **Magnification forgotten.** A pulse that is fine at 1:1 is five times as coarse at 5:1.
# %% [markdown]
# ## What to remember
#
# 1. Travel per turn is starts (or teeth) times pitch, divided by the gear ratio.
# 2. Travel for one pulse is travel per turn over full steps times microsteps. In px: times magnification, over pixel pitch.
# 3. Top speed is pulse ceiling times travel for one pulse. Choose microsteps in the gap between *too coarse* and *too slow*. Without a gap, raise the ceiling.
#
# Keep fingers, hair and cords away from a moving carriage, also from a slow one: a screw makes a great force of a small motor.
# %% [markdown]
# ## Next
#
# How smooth is such a flight of stairs? [Stepping smoothly](02-stepping-smoothly.ipynb) finds out. The worksheet [Plan a stack](../design/plan-a-stack.ipynb) uses these numbers on a rig and a shot.
