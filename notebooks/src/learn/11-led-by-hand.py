# %% [markdown]
# # Led by hand
#
# Estimated time: 35 minutes reading, 25 minutes exercises.
#
# Some shots cannot be planned: an ant decides where to go. Then a hand turns a control, and the carriage follows. It cannot follow at once. This lesson finds out how far it lags, how far it coasts, why it never runs past the place that the hand chose, and why fine microsteps can make it slow.
#
# It is for people who lead a camera by hand. The control and the sliders need a running kernel: open the page in JupyterLab and run the cells from the top. Nothing moves before you move it.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute how far a carriage lags behind a steady hand (exercise 1)
# 2. choose microsteps with which it keeps up (exercise 2)
# 3. compute the acceleration that a wanted coast asks for (exercise 3)
# 4. predict which way the carriage goes, wherever the end mark lies and however the control is mounted (exercise 4)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | microsteps and pulse ceiling | needed | [From turns to travel](01-from-turns-to-travel.ipynb) |
# | speed and acceleration | needed | [Ramps, derived](03-ramps-derived.ipynb) |
# | image speed | helps | [Motion on screen](09-motion-on-screen.ipynb) |
#
# The invented shot is a move along a seed tray, on an invented rig. Its values are typical of their kind; measure yours.
# %%
import numpy as np
from IPython.display import Math

from macrolib import plan, read_rig, read_shot
from macrolib.formula import working
from macrolib.physics.following import follow, hand_set_points, stopping_distance
from macrolib.physics.transmission import travel_per_pulse
from macrolib.planning.jog import jog
from macrolib.show import figures_motion, live
from macrolib.show.panels_hand import hand as panel
from macrolib.show.style import say
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/11-led-by-hand.toml")
shot, rig = read_shot("../data/shots/seed-tray-hand-led.toml"), read_rig("../data/rigs/field-belt.toml")
made = plan(shot, rig, mends=False)
control = shot.hand_led.travel_per_control_turn
print(f"at most {say(made['speed'], 'mm/s')} and {say(made['acceleration'], 'mm/s^2')}; {say(control, 'mm')} for one turn of the control")
# %% [markdown]
# ## A set-point and a carriage (about 8 minutes)
#
# The control does not drive the motor. It moves a **set-point**, a place on the rail. The carriage goes there within its own limits of speed and acceleration. That protects the picture from a shaky hand, and the rig from a quick one.
# %% [markdown]
# ### Predict: the hand turns steadily, then stops
#
# The hand leads at 8 mm/s. The carriage could do 20 mm/s, with 40 mm/s². Where is the carriage while the hand turns, and what does it do when the hand stops?
#
# - A: on the set-point, because it is quick enough
# - B: behind it by a fixed distance; it then runs on and stops at the set-point
# - C: behind it; it then overshoots and comes back
# %%
times = np.arange(0, 4, 0.02)
hand = np.minimum(8e-3 * times, 16e-3)  # steady for 2 s, then at rest
places = follow(times, hand, max_speed=20e-3, max_acceleration=40e-3)
for t in (0.5, 1.0, 1.9, 2.2, 3.0):
    at = round(t / 0.02)
    print(f"{t:.1f} s: set-point {hand[at] * 1e3:5.2f} mm, carriage {places[at] * 1e3:5.2f} mm, behind by {abs(hand - places)[at] * 1e3:.2f} mm")
# %% [markdown]
# <details><summary>Explain: B</summary>
#
# The carriage needs some way to stop. So it stays far enough behind that it can always come to rest on the set-point. Answer A would need brakes without limit. Answer C is what a carriage does that runs with the hand's own speed and looks only at where the hand is now.
#
# </details>
# %% [markdown]
# ### The derivation
#
# A carriage at speed $v$ that brakes with $a$ needs the way $v^2 / (2 a)$ to stop. Turn this around: with $e$ left to the set-point, it may run at
#
# $$v = \sqrt{2\, a\, |e|}$$
#
# and no faster. That is the whole **following law**: this speed, towards the set-point, within the limits. When the hand is steady, the speeds of both agree, and $e$ is the way to stop. It is the **lag**. When the hand stops, the carriage runs on over the same way. That is the **coast**. A hand that is slow to react, or a set-point that is smoothed, adds its delay $t_d$. Worked for the hand above:
# %% tags=["worked"]
Math(working(stopping_distance, speed=8e-3, acceleration=40e-3, delay=0.0))
# %% [markdown]
# The table above says the same: <!--= 1e3 * stopping_distance(8e-3, 40e-3, 0.0):.1f --> mm. The lag grows with the **square** of the speed.
# %%
figures_motion.lag_curves((10e-3, 20e-3, 40e-3, 160e-3), 20e-3, (8e-3, 40e-3))
# %% [markdown]
# One could also add the hand's own speed to the law. Then the lag is gone, but a hand that stops at once is overshot. The library can do it; it is off unless you ask.
# %% [markdown]
# ### Exercise 1: the lag (about 6 minutes)
#
# A hand leads at 12 mm/s. The largest acceleration is 60 mm/s². How far does the carriage lag behind? Fill the blanks.
# %% tags=["exercise", "faded"]
speed, acceleration = blank, blank  # m/s, m/s^2
answer_1 = blank  # such as "2 mm"

check(answer_1, "lag")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# speed, acceleration = 12e-3, 60e-3  # m/s, m/s^2
# answer_1 = speed**2 / (2 * acceleration)  # m
# ```
#
# That is <!--= 1e3 * stopping_distance(12e-3, 60e-3, 0.0):.2g --> mm.
#
# </details>
# %% [markdown]
# ## Try it (about 6 minutes)
#
# The control below leads a carriage. It may do 20 mm/s and 40 mm/s², and overrun its marks by 3 mm. Turn it slowly, then quickly, then let go. Watch the triangle and the box, and the words below them. Arrow keys turn it by 5 degrees.
# %%
live.LiveHand(live.Hand(max_speed=20e-3, max_acceleration=40e-3, travel_per_control_turn=8e-3, start=40e-3, end=100e-3, overrun=3e-3))
# %% [markdown]
# - Turn slowly: the box stays close. Turn quickly: it falls behind by many times the lag, because it has reached its largest speed.
# - Let go: the carriage runs on, brakes, and stops on the triangle.
# - Turn beyond the end mark: the triangle stops 3 mm behind it. What you turn on from there is forgotten. Turn back, and it moves at once.
# - Whatever you do, the carriage never reaches a switch.
# %% [markdown]
# ## Which way is forward? (about 5 minutes)
#
# Forward means **from the start mark to the end mark**. A rail has its own direction, and the end mark may lie on either side of the start mark. The library looks where it lies.
# %% [markdown]
# ### Predict: the end lies behind the start
#
# The start mark is at 100 mm, the end mark at 40 mm. The hand turns half a turn forward. Does the set-point go to 104 mm or to 96 mm? And where does it go when the control is mounted the other way, so that its readings fall when the hand turns forward?
# %%
for name, turned, known in (("as built", 0.5, False), ("mounted the other way, not known", -0.5, False), ("mounted the other way, known", -0.5, True)):
    point = hand_set_points([0, turned], control, start=100e-3, end=40e-3, overrun=5e-3, mounted_reversed=known)[-1]
    print(f"{name}: from {say(100e-3, 'mm')} to {say(point, 'mm')}")
# %% [markdown]
# <details><summary>Explain: 96 mm, unless nobody said so</summary>
#
# Forward leads towards the end mark, so downwards here. A control mounted the other way must be named in the shot file, `control = "opposite"`. Otherwise the carriage goes away from the end mark, and stops where it may overrun the start mark.
#
# </details>
#
# Try each arrangement on the first turn with the subject far from the lens.
# %% [markdown]
# ## Fine microsteps, slow carriage (about 7 minutes)
#
# The largest speed is not free. The controller can send only so many pulses per second, its **pulse ceiling**, and each pulse is one microstep. Take 0.8 of a ceiling of 40 kHz, and a travel of 10 mm for a motor turn:
# %%
for microsteps in (8, 32, 128, 256):
    pulse = travel_per_pulse(travel_per_turn=10e-3, pulses_per_turn=200 * microsteps)
    print(f"{microsteps:4d} microsteps: {say(pulse, 'um'):>8} for one pulse, at most {say(0.8 * 40e3 * pulse, 'mm/s')}")
# %% [markdown]
# A hand asks for a speed in mm/s and does not know about microsteps. If it asks for more than the carriage can do, the lag is no longer $v^2 / (2 a)$. It grows as long as the hand turns, and the carriage arrives late.
# %% [markdown]
# ### Predict: three moves of a slider
#
# The panel plays one recorded turn of a hand. Write down what you expect, then try, from the start values:
#
# 1. **microsteps** to **256**: how far behind is the carriage at most?
# 2. Back. **largest acceleration** to **10 mm/s^2**: does the top speed change, does the carriage arrive later?
# 3. Back. **overrun of the marks allowed** to **20 mm**: how far does the set-point go, and where are the switches?
# %%
start, slow = (panel.result(panel.start(microsteps=n)) for n in (32.0, 256.0))
panel.show()
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. By <!--= 1e3 * np.abs(slow.points - slow.places).max():.0f --> mm, <!--= np.abs(slow.points - slow.places).max() / np.abs(start.points - start.places).max():.0f --> times as much as before. The hand asks for twice what the carriage can do.
# 2. The top speed stays. The carriage starts and stops more gently, so it is farther behind.
# 3. Only a little farther: the hand never turned more. The switches at 30 mm and 110 mm would stop the set-point in any case.
#
# </details>
# %% [markdown]
# ### Exercise 2: microsteps for a quick hand (about 7 minutes)
#
# A belt travels 10 mm for a motor turn of 200 full steps. Of a ceiling of 40 kHz 0.8 may be used. The hand shall be followed up to 24 mm/s. At a magnification of 0.8 and the pixel pitch of this rig, <!--= 1e6 * rig.camera.pixel_pitch:.2g --> µm, one pulse may move the picture by 0.5 px. Choose the microsteps. More than one answer is right.
# %% tags=["exercise", "free"]
answer_2 = blank  # one of 1, 2, 4, 8, 16, 32, 64, 128, 256

check(answer_2, "microsteps")
# %% [markdown]
# <details><summary>Solution</summary>
#
# 24 mm/s are 480 full steps per second. 32 000 pulses per second leave room for 66 microsteps. A full step moves the picture by <!--= 10e-3 / 200 * 0.8 / rig.camera.pixel_pitch:.3g --> px, so at least 22 are needed.
#
# ```python
# answer_2 = 64  # 32 does it as well
# ```
#
# </details>
# %% [markdown]
# ### Exercise 3: a short coast (about 6 minutes)
#
# After the hand stops from 8 mm/s, the carriage shall run on by 0.5 mm. Which acceleration does it need?
# %% tags=["exercise", "free"]
answer_3 = blank  # such as "20 mm/s^2"

check(answer_3, "acceleration")
# %% [markdown]
# <details><summary>Solution</summary>
#
# Solve $D_c = v^2 / (2 a)$ for the acceleration.
#
# ```python
# answer_3 = 8e-3**2 / (2 * 0.5e-3)  # m/s^2
# ```
#
# That is <!--= 1e3 * 8e-3**2 / (2 * 0.5e-3):.3g --> mm/s². It shakes the camera more than a gentle one: weigh both.
#
# </details>
# %% [markdown]
# ### Exercise 4: which way? (about 6 minutes)
#
# The start mark is at 90 mm, the end mark at 20 mm. One turn of the control moves the set-point by 8 mm. The control is mounted the other way, and the shot file says so. Its reading falls by a quarter of a turn. Where is the set-point?
# %% tags=["exercise", "free"]
answer_4 = blank  # such as "30 mm"

check(answer_4, "set_point")
# %% [markdown]
# <details><summary>Solution</summary>
#
# A falling reading is forward here, and forward leads to the end mark: downwards, by 2 mm.
#
# ```python
# answer_4 = 90e-3 - 0.25 * 8e-3  # m
# ```
#
# </details>
# %% [markdown]
# ## To a mark by two keys (about 4 minutes)
#
# Before a take the carriage must stand on its mark. Jogging has two speeds, **coarse** and **fine**. The coarse key is let go early enough that a late hand does not pass the mark. The fine one is slow enough to meet it.
# %%
found = jog(shot, rig, distance=80e-3, tolerance=10.0)
print(f"coarse {say(found.coarse_speed, 'mm/s')}, let go {say(found.release, 'mm')} before the mark; fine {say(found.fine_speed, 'mm/s')}\n"
      f"{say(found.time, 's')} in all; one pulse moves the picture by {found.finest_pixels:.2g} px")
# %% [markdown]
# ## Mistakes people make
#
# - **A quick hand, a slow carriage.** Lag of many turns is a sign that the pulse ceiling is reached.
# - **More microsteps for a smoother move.** Beyond what the picture shows they only cost speed.
# - **Overshoot mended by a lower speed.** With this law there is none; a lower speed makes the lag longer in time.
# - **Forward taken for upwards on the rail.** Forward leads to the end mark, and that may lie below the start mark.
# - **The control's direction corrected by crossing motor wires.** Then the home switch is on the wrong side. Say it in the shot file.
# - **The switches used as marks.** They are the last resort. Leave room to stop before them.
# %% [markdown]
# ## What to remember
#
# 1. Lag behind a steady hand: $v^2 / (2 a)$, below the largest speed.
# 2. The largest speed is the pulse ceiling times the travel for one pulse. Finer microsteps make it lower.
# 3. The coast is as long as the lag. A short one asks for much acceleration.
# 4. The carriage goes forward to the end mark, wherever it lies. Name a control that is mounted the other way.
# 5. Marks may be overrun by a stated amount, the switches never.
#
# Keep the other hand, hair and cords away from the carriage: it starts when you turn the control, also by accident. A stop within reach must take the power from the motor.
# %% [markdown]
# ## Next
#
# A hand-led move goes on as long as the battery does: [Power and heat](12-power-and-heat.ipynb). The worksheet [Plan a hand-led move](../design/plan-a-hand-led-move.ipynb) gives the limits for a rig and a shot. The overview is in [Start here](../00-start-here.ipynb).
