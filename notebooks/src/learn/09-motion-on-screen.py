# %% [markdown]
# # Motion on screen
#
# Estimated time: 40 minutes reading, 25 minutes exercises.
#
# A film is a row of stills. When a subject moves past the camera, each still shows it somewhere else, with a streak of its own. This lesson finds out when a viewer sees a motion, and when he sees a row of jumps. Then it looks at shutters, lamps, lines that lean, and at the other kind of move: the push-in, towards the subject.
#
# It is for people who film with a rail. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top. Nothing here plays by itself, and nothing flashes more than three times a second.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute the fastest sideways speed that a viewer can follow (exercise 1)
# 2. choose an exposure time that does not flicker under a lamp (exercise 2)
# 3. compute how fast a push-in may be (exercise 3)
# 4. read shutter and speed of a take in its preview (exercise 4)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | magnification, px and pixel pitch | needed | [From turns to travel](01-from-turns-to-travel.ipynb) |
# | depth of field | needed | [How deep is sharp](06-how-deep-is-sharp.ipynb) |
# | ramp, speed, acceleration | helps | [Ramps, derived](03-ramps-derived.ipynb) |
#
# The next cell plans two invented shots: a traverse along a beetle's wing case, and a push-in over a seed tray. Their values are typical of their kind; your own data sheet comes first.
# %%
import math

from IPython.display import Math

from macrolib import plan, read_rig, read_shot
from macrolib.formula import working
from macrolib.physics import optics, screen
from macrolib.planning.preview import Preview
from macrolib.show import figures_motion, playback
from macrolib.show.panels_motion import push_in as panel
from macrolib.show.style import say
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/09-motion-on-screen.toml")
rig = read_rig("../data/rigs/field-belt.toml")
wing, push = (plan(read_shot(f"../data/shots/{name}.toml"), rig, mends=False) for name in ("wing-case", "seed-tray-push-in"))
pitch, width = rig.camera.pixel_pitch, rig.camera.sensor_width
print(f"wing case: {say(wing['speed'], 'mm/s')}; push-in: {say(push['speed'], 'mm/s')}; pixel pitch {say(pitch, 'um')}")
# %% [markdown]
# ## Frames and shutter (about 8 minutes)
#
# The **frame rate** says how many frames there are in a second: 24 in the cinema, 25 or 50 where mains has 50 Hz, 30 or 60 where it has 60 Hz. The rates of 23.976 and 29.97 are 24 and 30 times 1000 / 1001, a leftover from television.
#
# Each frame collects light for the **exposure time**. Film people give it as a **shutter angle**: the part of a turn for which a turning disc lets light through. An angle of 180 degrees is half a frame.
# %%
Math(working(screen.exposure_time, shutter_angle=math.pi, frame_rate=24.0))
# %% [markdown]
# ### Two numbers of a sideways move
#
# The **image speed** is how far the picture moves from frame to frame, in px. The **streak** is how far it moves while the shutter is open. At 180 degrees it is half of the image speed.
# %%
image = {"speed": wing["speed"], "magnification": 1.2, "pixel_pitch": pitch, "frame_rate": 24.0}
Math(working(screen.image_speed, **image))
# %% [markdown]
# The streak of this shot is <!--= wing["blur"]:.3g --> px. It is wanted: streaks that nearly touch look like a motion, and short ones far apart like jumps. The trade calls the jumps **strobing** or judder.
#
# ### Predict: which frame rate stutters first
#
# One carriage, one speed, six frame rates, each with a shutter of 180 degrees. Where are the gaps between two streaks largest?
#
# - A: at 24 fps and below
# - B: at 60 fps, because there are more gaps
# - C: the gaps are the same, the shutter is
# %%
figures_motion.frame_rates(2e-3, 1.2, pitch, math.pi, (24000 / 1001, 24.0, 25.0, 30.0, 50.0, 60.0))
# %% [markdown]
# <details><summary>Explain: A</summary>
#
# At a given speed, fewer frames a second lie farther apart. That 24 frames a second stutter first is common practice, with no source. B counts gaps; a viewer sees how *wide* they are. C forgets that the streak is half of a step that differs.
#
# </details>
# %% [markdown]
# ## How fast is too fast? (about 6 minutes)
#
# Makers of cameras advise: let a detail take at least 7 s to cross the picture, at 24 frames a second. That is <!--= screen.CROSSING_FRAMES --> frames for one picture width. Take it as a **starting value**, not as a limit. A larger or brighter screen asks for more time, a soft background for less.
#
# Keeping the number of frames, and not the seconds, keeps the px per frame. It is a choice. At 60 frames a second the crossing time becomes <!--= screen.crossing_time(screen.CROSSING_FRAMES, 60.0):.2g --> s. Worked for the wing case:
# %% tags=["worked"]
seven = screen.crossing_time(screen.CROSSING_FRAMES, 24.0)
Math(working(screen.crossing_speed, sensor_width=width, magnification=1.2, crossing_time=seven))
# %% [markdown]
# The wing case moves at <!--= wing['speed'] / screen.crossing_speed(width, 1.2, seven):.0% --> of that. Its speed is also kept away from what shakes the rig.
#
# ### Exercise 1: as fast as the rule allows (about 6 minutes)
#
# A sensor is 24 mm wide, the magnification is 1.5, the frame rate 30 fps. How fast may the carriage travel if a detail takes <!--= screen.CROSSING_FRAMES --> frames to cross the picture? Fill the blanks.
# %% tags=["exercise", "faded"]
crossing_time = blank  # s, from frames and frame rate
answer_1 = blank  # such as "5 mm/s"

check(answer_1, "speed")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# crossing_time = 168 / 30  # s
# answer_1 = 24e-3 / 1.5 / crossing_time  # m/s
# ```
#
# That is <!--= 1e3 * 24e-3 / 1.5 / (168 / 30):.3g --> mm/s.
#
# </details>
# %% [markdown]
# ## A ramp, counted in frames (about 5 minutes)
#
# A move that begins at full speed jerks. Over a **ramp** of $n_r$ frames with constant acceleration, the image speed grows by the same amount from each frame to the next. The acceleration is
# %%
Math(screen.ramp_acceleration.latex)
# %% [markdown]
# The ramp takes half of the way that the same frames take at full speed.
#
# Here is the beginning of the take, computed from the very pulses that the plan sends. The texture is invented, and every frame adds up its light over the exposure. It is enlarged: four px of the sensor make one px here.
# %%
preview = Preview(wing, seconds=3.0, shrink=4.0)
playback.strip(preview)
# %% [markdown]
# The picture reaches its speed after about <!--= wing["ramp_frames"]:.0f --> frames. In the next cell it plays once when you press its button, and before that it has been searched for flashes.
# %%
playback.Player(preview)
# %% [markdown]
# ## Lines that lean (about 4 minutes)
#
# Many sensors read one line after the other. This **rolling shutter** takes <!--= 1e3 * rig.camera.readout_time:.2g --> ms here from the first line to the last. The subject moves on meanwhile, and upright edges lean. The **skew** between first and last line is
# %%
Math(working(screen.skew, image_speed=wing["image_speed"], frame_rate=24.0, readout_time=rig.camera.readout_time))
# %% [markdown]
# Over <!--= rig.camera.sensor_height / pitch:.0f --> lines that is hard to see. It grows with the speed, and no shutter angle changes it.
# %% [markdown]
# ## Lamps that flicker (about 6 minutes)
#
# Many lamps pulse twice in each period of the mains: 100 or 120 times a second. A frame that collects two and a half pulses is brighter or darker than the next one.
#
# ### Predict: 25 frames a second, 180 degrees
#
# The exposure is <!--= 1e3 * screen.exposure_time(math.pi, 25.0):.3g --> ms. Under which lamp do the frames differ: 100 pulses a second, 120, or both?
# %%
lamps = {"100 pulses a second": (100.0, 0.3), "120 pulses a second": (120.0, 0.3)}
figures_motion.flickering(lamps, 25.0, math.pi)
# %% [markdown]
# <details><summary>Explain: 120</summary>
#
# In 20 ms a lamp of 100 Hz pulses twice: whole pulses, so every frame gets the same. One of 120 Hz pulses 2.4 times. The brightness comes and goes <!--= screen.flicker_beat(120.0, 25.0):.0f --> times a second in the film, and that is more than the three flashes a second that viewers sensitive to light can bear. A small swing does not count as a flash, but it spoils a take.
#
# </details>
#
# The rule: **expose for a whole number of light pulses.**
# %% [markdown]
# ### Exercise 2: an exposure without flicker (about 7 minutes)
#
# The lamp pulses 120 times a second. The exposure time must lie between 10 ms and 20 ms. Choose it.
# %% tags=["exercise", "free"]
answer_2 = blank  # such as "12 ms"

check(answer_2, "exposure")
# %% [markdown]
# <details><summary>Solution</summary>
#
# A pulse lasts <!--= 1e3 / 120:.3g --> ms. One is too short, two fit.
#
# ```python
# answer_2 = 2 / 120  # s
# ```
#
# That is <!--= 2e3 / 120:.3g --> ms. At 25 fps it is a shutter of 150 degrees.
#
# </details>
# %% [markdown]
# ## Towards the subject (about 9 minutes)
#
# In a **push-in** the picture does not shift. Two other things happen. The focused plane moves into the subject, by the **axial shift** in each frame. And what is seen grows away from the centre, because the distance $d_E$ to the entrance pupil of the lens becomes shorter.
# %%
pupil = optics.entrance_pupil_distance(rig.lens.focal_length, 0.8, rig.lens.pupil_ratio)
Math(working(screen.axial_shift, speed=push["speed"], frame_rate=25.0))
# %% [markdown]
# A plane stays sharp for as many frames as shifts fit into the **sharp depth**: <!--= push["sharp_depth"] / screen.axial_shift(push["speed"], 25.0):.2g --> of them here. A viewer sees a thin slice of sharpness wander through the tray. With less than one frame there are depths that no frame shows sharp.
#
# How long are the streaks?
# %%
half = (width / 2 / pitch, rig.camera.sensor_height / 2 / pitch)
figures_motion.radial_streaks(*half, push["speed"], push["exposure_time"], pupil)
# %% [markdown]
# The centre has none. That is why a push-in may look calm and yet be too fast for its focus: judge it by its **depth**, not by its streaks.
#
# Focusing with the lens, instead of moving the camera, also changes the scale of the picture. This is called **breathing**. A rail that moves the whole camera keeps the magnification of the focused plane.
# %% [markdown]
# ### Predict: three moves of a slider
#
# Write down what you expect, then try, one after the other, from the start values:
#
# 1. **speed towards the subject** to **25 mm/s**: for how many frames does a plane stay sharp?
# 2. **shutter angle** to **90 deg**: does the depth change, does the streak?
# 3. **focal length** to **40 mm**: does the motion at the edge become larger or smaller?
# %%
panel.show()
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. For less than one: the bars no longer touch.
# 2. The depth stays. The streak halves, the motion from frame to frame stays.
# 3. Larger. A shorter lens stands nearer to the subject, so the same travel is a larger share of the distance.
#
# </details>
# %% [markdown]
# ### Exercise 3: a calm push-in (about 6 minutes)
#
# A lens gives a sharp depth of 0.6 mm. At 25 fps each plane shall stay sharp for six frames. How fast may the carriage travel?
# %% tags=["exercise", "free"]
answer_3 = blank  # such as "1 mm/s"

check(answer_3, "push")
# %% [markdown]
# <details><summary>Solution</summary>
#
# Six shifts make up the sharp depth, and there are 25 of them in a second.
#
# ```python
# answer_3 = 0.6e-3 / 6 * 25  # m/s
# ```
#
# That is <!--= 0.6 / 6 * 25:.2g --> mm/s.
#
# </details>
# %% [markdown]
# ### Exercise 4: read a preview (about 6 minutes)
#
# The preview of a take shows a detail that moves by 12 px from one frame to the next. Its streak is 4 px long. Which shutter angle was set?
# %% tags=["exercise", "free"]
answer_4 = blank  # such as "90 deg"

check(answer_4, "shutter")
# %% [markdown]
# <details><summary>Solution</summary>
#
# The shutter is open for a third of the frame, and so for a third of a turn.
#
# ```python
# answer_4 = "120 deg"
# ```
#
# </details>
# %% [markdown]
# ## Mistakes people make
#
# - **A speed taken over from another magnification.** The picture moves magnification times as fast.
# - **A shorter exposure against stutter.** It makes frames crisper and gaps wider.
# - **A shutter of 180 degrees taken for a whole frame.** It is half of one: the streak is half of the way.
# - **Seconds kept when the frame rate changes.** The rule of 7 s belongs to 24 frames a second.
# - **The lamp tested by eye.** An eye does not see 100 pulses a second; a shutter does.
# - **A push-in judged by its streaks.** The centre has none, and the focus may be gone.
# - **A preview sent to others without a word.** A moving picture can trouble people: say what it shows, and let them press the button.
# %% [markdown]
# ## What to remember
#
# 1. Image speed is speed times magnification over pixel pitch and frame rate. For the fastest speed, <!--= screen.CROSSING_FRAMES --> frames for one picture width are a starting value. At the same speed, 24 frames a second stutter first.
# 2. Choose an exposure time of whole light pulses.
# 3. A push-in shifts the focus by speed over frame rate in each frame; compare that with the sharp depth.
# 4. In a preview, streak over image speed is the share of a turn for which the shutter is open.
#
# Warn people before you show flicker, strobe light or quick playback. At more than three flashes a second some people fall ill.
# %% [markdown]
# ## Next
#
# [Tilt and distance](10-tilt-and-distance.ipynb) keeps the focus over a long move. The overview is in [Start here](../00-start-here.ipynb).
