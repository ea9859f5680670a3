# %% [markdown]
# # See the soft bands
#
# Estimated time: 35 minutes reading, 20 minutes exercises.
#
# Whether the frames of a focus stack were too far apart shows only afterwards, in the merged picture. This lesson shoots stacks that exist in the computer alone. Their sharp original is known, so every loss can be seen and measured.
#
# It is for people who set a frame spacing and want to know what a wrong one costs. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. predict at which depths a stack stays soft, and how soft (exercise 1)
# 2. compute what a missed frame costs (exercise 2)
# 3. choose a spacing in whole full steps of the motor (exercise 3)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | frame, frame spacing, f-number, magnification | needed | [Start here](../00-start-here.ipynb) |
# | full step and pulse of a motor | needed for exercise 3 | [From turns to travel](01-from-turns-to-travel.ipynb) |
# | transfer: how much contrast of a fine pattern is left | helps | explained below |
#
# The next cell plans a stack of a moss capsule on the bench rig and takes its first eight frames.
# %%
from dataclasses import replace

from IPython.display import Math

from macrolib import plan, read_rig, read_shot
from macrolib.formula import working
from macrolib.physics import optics
from macrolib.planning.synthetic import SyntheticStack
from macrolib.show.figures_synthetic import compare_bands, see_stack
from macrolib.show.panels_stack import soft_bands as panel
from macrolib.teach import blank, exercises
from macrolib.units import show

check = exercises("../data/exercises/07b-see-the-soft-bands.toml")
moss = plan(read_shot("../data/shots/moss-capsule.toml"), read_rig("../data/rigs/bench-screw.toml"))
stack = SyntheticStack.of_plan(moss, frames=8, microstep_error=0.0)
print(f"{len(stack.positions)} frames, {show(stack.spacing, 'um')} apart, at f/{stack.f_number:g}, magnification {stack.magnification:g}")
# %% [markdown]
# ## A stack that nobody shot (about 8 minutes)
#
# The subject is an invented **relief**: a slope with low hills and a fine grain. Its near end lies at the top of the picture, its far end at the bottom.
#
# The computer photographs it frame by frame. At every depth it blurs the grain by defocus and diffraction together, exactly. Then come pixels, noise, and the change of scale from frame to frame. At last it merges: each place is taken from the frame that is sharpest there.
#
# Four things are left out. A near part hides nothing behind it. Nothing is finer than two pixels. The lens has no faults. And the merge is a plain one, made for this lesson.
# %% [markdown]
# ### Predict: where is the merged picture softest?
#
# Write down your answer, then run the cell. The merged picture is softest
#
# - A: at the depths where a frame was in focus
# - B: halfway between the depths of two frames
# - C: at the far end
# %%
good = stack.see()
see_stack(good)
# %% [markdown]
# <details><summary>Explain: why B, and why it does no harm here</summary>
#
# Every depth is taken from its nearest frame. Halfway between two frames even the nearest one is as far away as it can be. The curve dips there, seven times. But it stays above the dotted line, so nothing is hatched: this spacing is good.
#
# </details>
#
# ### How to read the picture
#
# The **transfer** says how much contrast of a fine pattern is left. The computer compares the merged picture with the original in which every depth is in focus. So a share of 1 means: as sharp as this lens can be. The pattern that counts has a period of about four pixels.
#
# The shot asks for a share of <!--= f"{stack.kept:.0%}" -->. The map shows what is lost, from dark (nothing) to light (all).
# %%
print(f"share of the area that keeps {stack.kept:.0%}: {good.area:.0%}; least share at any depth: {good.worst:.2f}")
# %% [markdown]
# That is the one figure for the whole stack: the **share of the area that keeps the wanted transfer**.
# %% [markdown]
# ## How soft, derived (about 8 minutes)
#
# Light from a point beside the focused plane reaches the lens in a wave that is bent wrongly. At the edge of the pupil it is off by $W$ wavelengths:
# %%
Math(optics.defocus_waves.latex)
# %% [markdown]
# Here $\Delta$ is the distance from the focused plane, $m$ the magnification, $N_e$ the effective f-number, $\lambda$ the wavelength. The worst place lies half a spacing away. Put that in (lengths in metres):
# %%
effective = optics.effective_f_number(stack.f_number, stack.magnification, stack.pupil_ratio)
half = {"offset": stack.spacing / 2, "magnification": stack.magnification, "effective_f_number": effective, "wavelength": stack.wavelength}
Math(working(optics.defocus_waves, **half))
# %% [markdown]
# One more number is needed: how fine the pattern is for this lens. $q$ is its frequency over the cutoff, beyond which the lens transfers nothing. From $q$ and $W$ follows the exact transfer. Divide it by the transfer in focus. Worked for this stack:
# %% tags=["worked"]
frequency = optics.criterion_frequency(stack.pixel_pitch, stack.wavelength, effective)
q = frequency / optics.cutoff_frequency(stack.wavelength, effective)
share = optics.defocused_otf(q, optics.defocus_waves(**half)) / optics.defocused_otf(q, 0.0)
print(f"q = {q:.3f}; share left halfway: {share:.3f}; edge_transfer in one step: {stack.predicted(stack.spacing):.3f}")
# %% [markdown]
# The library does both steps in one: `optics.edge_transfer`. The prediction is <!--= f"{share:.2f}" -->, the picture above gave <!--= f"{good.worst:.2f}" -->.
#
# Ask the other way round, *which spacing leaves <!--= f"{stack.kept:.0%}" -->?*, and you get the **sharp depth** of a frame:
# %%
view = (stack.magnification, stack.f_number, stack.pupil_ratio, stack.pixel_pitch, stack.wavelength)
sharp = optics.sharp_depth(*view, stack.kept)
print(f"sharp depth: {show(sharp, 'um')}; the plan's spacing is {stack.spacing / sharp:.0%} of it")
# %% [markdown]
# ### Predict: twice the sharp depth
#
# Now five frames stand twice as far apart as they may. Write down, then run the cell: how many soft bands are there, at which depths, and how much transfer is left in them: about 80 %, 60 %, 40 % or nothing?
# %%
wide = replace(stack, spacing=2 * sharp, depth=8 * sharp).see()
see_stack(wide)
# %% [markdown]
# <details><summary>Explain: four bands, with about 40 %</summary>
#
# Five frames have four gaps, and each has a band, half a spacing from both frames. In the picture the bands run like the contour lines of a map. That is how you recognise them in a real one: softness that **follows the depth**.
#
# For this gap the formula says <!--= f"{stack.predicted(2 * sharp):.0%}" -->. About half the area is still sharp.
#
# </details>
# %% [markdown]
# ### Does the prediction hold?
#
# Five spacings, from close to far too wide. *Predicted* is the formula, *seen* is the softest depth of the merged picture.
# %%
areas = {}
print("spacing over sharp depth   predicted   seen   area that keeps it")
for factor in (0.9, 1.25, 1.5, 2.0, 2.5):
    seen = replace(stack, spacing=factor * sharp, depth=5 * factor * sharp).see()
    areas[factor] = seen.area
    print(f"{factor:24.2f}   {stack.predicted(factor * sharp):9.2f}   {seen.worst:4.2f}   {seen.area:18.0%}")
# %% [markdown]
# *Seen* may lie a little above *predicted*: a comparison takes in some pixels around each place, and beside a band they are sharper.
#
# The last column falls quickly. A spacing a quarter too wide costs <!--= f"{1 - areas[1.25]:.0%}" --> of the area.
# %% [markdown]
# ### Exercise 1: how soft halfway? (about 5 minutes)
#
# Another lens: magnification 2, f/4, pupil ratio 1, on a camera with pixels of 4 µm. The light has 550 nm. The frames stand 100 µm apart. Which share of the transfer is left halfway between two frames?
#
# `optics.edge_transfer` takes the spacing first, then magnification, f-number, pupil ratio, pixel pitch and wavelength, lengths in metres. The last five are ready:
# %%
lens = (2, 4, 1, 4e-6, 550e-9)
print(f"sharp depth of this lens: {show(optics.sharp_depth(*lens, 0.8), 'um')}")
# %% [markdown]
# Fill the blanks.
# %% tags=["exercise", "faded"]
gap = blank  # m, from one frame to the next
answer_1 = blank  # optics.edge_transfer(gap, *lens)

check(answer_1, "halfway")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# gap = 100e-6  # m
# answer_1 = optics.edge_transfer(gap, *lens)
# ```
#
# That is <!--= f"{optics.edge_transfer(100e-6, *lens):.2f}" -->: soft, because the spacing is wider than the sharp depth.
#
# </details>
# %% [markdown]
# ## When a frame is missing (about 4 minutes)
#
# The flash did not fire: one frame is not there. The others stand where they should.
#
# ### Predict: one frame of eight
#
# How many bands stay soft when frame 4 is missed? And is the band as wide as one spacing, narrower, or wider?
# %%
missed = replace(stack, missed=(4,)).see()
compare_bands([good, missed], ["all frames", "frame 4 missed"])
# %% [markdown]
# <details><summary>Explain: one band, where the frame would have been</summary>
#
# Frames 3 and 5 have to serve the whole gap, which is now two spacings wide. Its middle is the place of frame 4. Close to frames 3 and 5 all is well. So the band is narrower than the gap.
#
# </details>
# %% [markdown]
# ### Exercise 2: what a missed frame costs (about 5 minutes)
#
# The lens of exercise 1, now with frames 60 µm apart. That is within its sharp depth. One frame is missed. Which share of the transfer is left in the middle of its band?
# %% tags=["exercise", "free"]
answer_2 = blank

check(answer_2, "missed")
# %% [markdown]
# <details><summary>Solution</summary>
#
# The gap is twice the spacing.
#
# ```python
# answer_2 = optics.edge_transfer(2 * 60e-6, *lens)
# ```
#
# That is <!--= f"{optics.edge_transfer(120e-6, *lens):.2f}" -->, where <!--= f"{optics.edge_transfer(60e-6, *lens):.2f}" --> was planned.
#
# </details>
# %% [markdown]
# ## When frames stand in the wrong place (about 7 minutes)
#
# A carriage does not stop exactly where it should. Errors have two kinds.
#
# **Scatter** differs from frame to frame. It makes some gaps wider and some narrower. The merged picture is as bad as its widest gap.
# %%
scattered = replace(stack, position_error=6e-6).see()
print(f"widest gap: {show(scattered.stack.widest, 'um')} in place of {show(stack.spacing, 'um')}; least share "
      f"{scattered.worst:.2f}, predicted {stack.predicted(scattered.stack.widest):.2f}")
compare_bands([good, scattered], ["no error", "scatter of 6 µm"])
# %% [markdown]
# ### An error that comes back
#
# Between its full steps a motor is less exact than on them. This **microstep error** comes back with every full step. The bench rig travels <!--= 1e6 * stack.full_step:.3g --> µm for a full step.
#
# ### Predict: 30, 35 or 40 µm
#
# Let the microstep error have an amplitude of 3.5 µm, far more than a good motor has. Which spacing suffers from it: 30 µm (three full steps), 35 µm (three and a half), or 40 µm (four)?
# %%
trials = [replace(stack, spacing=n * stack.full_step, depth=280e-6, microstep_error=3.5e-6) for n in (3, 3.5, 4)]
compare_bands([trial.see() for trial in trials], ["3 full steps", "3.5 full steps", "4 full steps"])
# %% [markdown]
# <details><summary>Explain: only the one in the middle</summary>
#
# With whole full steps every frame has the *same* error, so the gaps stay equal. With three and a half, the error of one frame is up and that of the next is down. Gaps of <!--= 1e6 * (trials[1].spacing - 7e-6):.3g --> µm and <!--= 1e6 * (trials[1].spacing + 7e-6):.3g --> µm follow one another, and every second gap is soft.
#
# Four full steps have equal gaps as well. But all of them are too wide.
#
# </details>
# %% [markdown]
# ### Exercise 3: whole full steps (about 10 minutes)
#
# The lens of exercise 1 on a rig that travels 16 µm for a full step. A subject 4 mm deep may take at most 70 frames, and halfway between frames 0.8 of the transfer must be left. How many full steps make the spacing?
# %% tags=["exercise", "free"]
answer_3 = blank  # a whole number

check(answer_3, "full_steps")
# %% [markdown]
# <details><summary>Solution</summary>
#
# The sharp depth is <!--= 1e6 * optics.sharp_depth(*lens, 0.8):.3g --> µm, room for <!--= optics.sharp_depth(*lens, 0.8) / 16e-6:.2g --> full steps. Four of them are 64 µm and take <!--= optics.frame_count(4e-3, 64e-6, 0.0, ends_in_focus=True) --> frames. Three would take <!--= optics.frame_count(4e-3, 48e-6, 0.0, ends_in_focus=True) -->.
#
# ```python
# answer_3 = 4
# ```
#
# </details>
# %% [markdown]
# ## Try it yourself (about 3 minutes)
#
# ### Predict: three moves of a slider
#
# The panel starts with a good stack. Write down what you expect, then move one slider at a time:
#
# 1. *Frame spacing* from 30 µm to 60 µm: how much of the area keeps its transfer?
# 2. Leave 60 µm, *f-number* up to 5.6: do the bands go away?
# 3. Back to the start values, *missed frame* 5: where is the band?
# %%
panel.show()
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. <!--= f"{panel.result(panel.start(spacing=60e-6)).seen.area:.0%}" -->, and every gap has its band.
# 2. Yes: <!--= f"{panel.result(panel.start(spacing=60e-6, f_number=5.6)).seen.area:.0%}" --> of the area. Stopping down makes each frame deeper. But the map compares with the original **at the same f-number**. What diffraction takes from the whole picture, it does not show.
# 3. At <!--= f"{4e6 * 30e-6:.0f}" --> µm: frame 1 stands at 0, so frame 5 stands at four spacings.
#
# </details>
# %% [markdown]
# ### Softness that is no band
#
# Not all softness comes from the spacing. A vibration acts at every depth. A merge that does not undo the change of scale fails more and more towards one end.
# %%
shaken, crooked = replace(stack, vibration=4e-6).see(), replace(stack, depth=30 * stack.spacing, aligned=False).see()
print(f"vibration of 4 um at the sensor: {shaken.area:.0%} of the area; the shares lie between {shaken.worst:.2f} and {shaken.shares.max():.2f}")
print(f"30 spacings, scale not undone: {crooked.area:.0%}; share {crooked.shares[:10].mean():.2f} at the near end, "
      f"{crooked.shares[-10:].mean():.2f} at the far end")
# %% [markdown]
# A share below zero means that dark and bright have changed places: the detail there is false.
#
# ## Mistakes people make
#
# - **Half a gap for a whole one.** `edge_transfer` wants the whole gap. The worst place lies half of it away.
# - **A missed frame counted as one gap.** It joins two of them.
# - **Blaming the merge.** Softness that follows the depth comes from the spacing or from a missed frame. No merge can bring back what no frame holds.
# - **Mending a missed frame by shooting everything again.** One more frame at that place is enough, while the subject has not moved.
# - **Stopping down until the bands are gone.** The bands go, and the finest detail of the whole picture goes with them.
# - **Finer microsteps against microstep error.** The error belongs to the motor. Whole full steps avoid it.
# %% [markdown]
# ## What to remember
#
# 1. A stack is softest halfway between two frames. How soft follows from half the gap, the magnification and the effective f-number.
# 2. A missed frame makes one gap of two spacings. At twice the sharp depth, less than half of the transfer is left.
# 3. Errors count by the widest gap. With a spacing of whole full steps the microstep error does no harm.
#
# A synthetic stack knows neither your subject's hidden corners nor your lens's faults: shoot a short test stack as well.
# %% [markdown]
# ## Next
#
# Softness that is no band often comes from a rig that still shakes: [Vibration and waiting](08-vibration-and-waiting.ipynb). The worksheet [Plan a stack](../design/plan-a-stack.ipynb) finds the spacing for your own rig and shot.
