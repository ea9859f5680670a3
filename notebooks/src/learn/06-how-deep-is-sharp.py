# %% [markdown]
# # How deep is sharp
#
# Estimated time: 40 minutes reading, 20 minutes exercises.
#
# Close to a subject one frame is sharp over a few hundredths of a millimetre. That depth decides how far the carriage travels between two frames, and how many frames a stack has. This lesson finds it. It also shows why sources differ, and which measure to plan with.
#
# It is for people who set a frame spacing. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute the effective f-number of a lens close up (exercise 1)
# 2. compute the geometric depth of one frame, without the usual slips (exercise 2)
# 3. choose a measure of depth, and derive spacing and number of frames from it (exercise 3)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | magnification: size on the sensor over size of the subject | needed | you have read it |
# | f-number: focal length over width of the hole in the lens | needed | you have read it |
# | frame spacing, and what a rail does with it | helps | [From turns to travel](01-from-turns-to-travel.ipynb) |
# %%
from IPython.display import Math
from sympy import simplify

from macrolib import read_rig, read_shot
from macrolib.formula import working
from macrolib.physics import optics
from macrolib.physics import symbols as s
from macrolib.show import figures_sharpness as figures
from macrolib.show.figures_sharpness import depth_text, depths
from macrolib.show.panels import depth_of_field as panel
from macrolib.show.style import say
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/06-how-deep-is-sharp.toml")
bench, moss = read_rig("../data/rigs/bench-screw.toml"), read_shot("../data/shots/moss-capsule.toml")
lens, pitch = bench.lens, bench.camera.pixel_pitch
print(f"lens: focal length {say(lens.focal_length, 'mm')}, pupil ratio {lens.pupil_ratio}; pixel pitch {say(pitch, 'um')}")
# %% [markdown]
# ## The effective f-number (about 10 minutes)
#
# The **marked** f-number $N$ is the one on the ring or in the display. It is the focal length over the diameter of the **entrance pupil**, the hole as seen from the front. What reaches the sensor is a cone of light, and its slenderness is another number: the distance from the hole to the sensor, over the width of the hole as seen from behind. That is the **effective** f-number $N_e$. Close up the lens stands far from the sensor, and the two differ.
# %% [markdown]
# ### Predict: f/4 at life size
#
# A lens is set to f/4, the magnification is 1. Write down your answer, then run the cell. The effective f-number is
#
# - A: 4
# - B: 5.6
# - C: 8
# %%
print(f"effective f-number at magnification 1: {optics.effective_f_number(f_number=4, magnification=1, pupil_ratio=1):g}")
# %% [markdown]
# <details><summary>Explain: why C</summary>
#
# For a far subject the sensor stands one focal length behind this lens. At life size it stands two. The hole has not changed, the cone is twice as slender. Answer A is the marked number. Answer B takes one stop off, but twice the f-number is two stops.
#
# </details>
#
# ### The derivation
#
# Seen from behind, the hole is the **exit pupil**. The **pupil ratio** $P$ is the exit diameter over the entrance diameter. Hold the lens at arm's length, measure the bright circle from the back, then from the front, and divide. So the exit pupil is $P f / N$ wide.
#
# Lens equations put it this far from the sensor:
# %%
Math(optics.exit_pupil_distance.latex)
# %% [markdown]
# Distance over width is the effective f-number. The cell asks the computer whether that is the formula of the library:
# %%
quotient = optics.exit_pupil_distance.expression / (s.pupil_ratio * s.focal_length / s.f_number)
print("difference:", simplify(quotient - optics.effective_f_number.expression))
# %% [markdown]
# ### Worked example: the bench rig at three times life size
# %% tags=["worked"]
Math(working(optics.effective_f_number, f_number=4.0, magnification=3.0, pupil_ratio=lens.pupil_ratio))
# %% [markdown]
# Marked f/4, effective f/<!--= optics.effective_f_number(4.0, 3.0, lens.pupil_ratio):.3g -->: almost four stops. Some lenses and cameras display the effective number already. Then use it as it is.
# %% [markdown]
# ### Exercise 1: an unsymmetrical lens (about 5 minutes)
#
# A lens looks 20 mm wide from the front and 16 mm from the back. It is set to f/5.6 (marked), the magnification is 2. Fill both blanks. How large is the effective f-number?
# %% tags=["exercise", "faded"]
pupil_ratio = blank  # exit over entrance
answer_1 = blank  # the marked f-number times (1 + magnification / pupil ratio)

check(answer_1, "effective")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# pupil_ratio = 16 / 20
# answer_1 = 5.6 * (1 + 2 / pupil_ratio)
# ```
#
# That is <!--= optics.effective_f_number(5.6, 2, 0.8):.3g -->.
#
# </details>
# %% [markdown]
# ## The blur disc (about 10 minutes)
#
# A point outside the focused plane becomes a disc, as wide as its cone of light is where that meets the sensor.
#
# ### The derivation
#
# The entrance pupil is $f/N$ wide and lies $d_E$ before the focused plane. A point at the distance $\Delta$ behind that plane sends a cone through the pupil. By similar triangles the cone is $\frac{f}{N} \cdot \frac{\Delta}{d_E + \Delta}$ wide in the focused plane. The lens draws it $m$ times larger on the sensor. With the library's $d_E$ that is
# %%
Math(optics.blur_at.latex)
# %% [markdown]
# Now allow a blur of diameter $c$ **at the sensor**, and solve for the distance: once behind the plane (far depth), once before it (near depth).
# %%
Math(rf"{optics.near_depth.latex} \qquad {optics.far_depth.latex}")
# %% [markdown]
# ### Predict: before and behind
#
# Landscape books say: one third of the depth lies before the focused plane, two thirds behind. Which share lies behind it at life size? Decide, then run the cell.
# %%
blur = 2 * pitch  # two pixels
for magnification in (0.002, 0.02, 0.2, 1, 3):
    view = (magnification, 4.0, lens.pupil_ratio, blur, lens.focal_length)
    near, far = optics.near_depth(*view), optics.far_depth(*view)
    print(f"magnification {magnification:<5g}  near {say(near, 'mm'):>9}  far {say(far, 'mm'):>9}  behind: {far / (near + far):.2%}")
# %% [markdown]
# <details><summary>Explain: the rule fades away</summary>
#
# The two formulas differ by one sign, before $c$. Against it stands $f m / N$, which grows with the magnification. From one tenth of life size on, near and far are alike. Forget the two thirds close up.
#
# </details>
#
# ### The short form
#
# With near and far alike, their sum, the **total** depth, takes a short form. It lacks a share of $(N c / m f)^2$, here <!--= optics.depth_shortfall(3.0, 4.0, blur, lens.focal_length):.0e -->.
# %%
Math(working(optics.depth_of_field, magnification=3.0, f_number=4.0, pupil_ratio=lens.pupil_ratio, blur_diameter=blur))
# %% [markdown]
# That is <!--= depth_text(optics.depth_of_field(3.0, 4.0, lens.pupil_ratio, blur)) --> in all. The focal length is gone: at the same magnification a long lens is no less deep than a short one.
# %% [markdown]
# ### Exercise 2: geometric depth (about 6 minutes)
#
# The lens of exercise 1 (pupil ratio 0.8, marked f/5.6) now works at a magnification of 2.5. The pixel pitch is 4 µm. A blur of 3 px at the sensor is allowed. How deep is one frame, from the near limit to the far one?
# %% tags=["exercise", "free"]
answer_2 = blank  # such as "5 um"

check(answer_2, "depth")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_2 = 2 * (3 * 4e-6) * 5.6 * (1 + 2.5 / 0.8) / 2.5**2  # m
# ```
#
# That is <!--= depth_text(optics.depth_of_field(2.5, 5.6, 0.8, 12e-6)) -->.
#
# </details>
# %% [markdown]
# ## A depth without an edge (about 10 minutes)
#
# Light is a wave, and even a point in focus spreads into a spot (the next lesson shows it). Nor does sharpness end at an edge: contrast fades. So a depth is a matter of agreement. Four agreements are in use:
#
# | measure | the depth ends where |
# |---|---|
# | geometric depth | the blur disc reaches a chosen diameter, here 2 px |
# | wave depth | the wavefront at the pupil's edge is a quarter of a wavelength off |
# | sum | both are added, a custom of microscopy |
# | sharp depth | the exact transfer, waves and defocus together, is down at 80 % of its value in focus |
#
# **Transfer** is the share of a fine pattern's contrast that arrives. Plans use the sharp depth, for a pattern of 4 px, or a coarser one where the lens resolves no finer.
#
# ### Predict: four times the f-number
#
# You stop down from f/4 to f/16. The geometric depth becomes four times as large. The wave depth: four times, eight times or sixteen times?
# %%
figures.depth_measures(3.0, lens.pupil_ratio, pitch, 4.0)
# %% [markdown]
# <details><summary>Explain: sixteen, and who wins</summary>
#
# In the wave depth the f-number is squared, so its line is twice as steep. The sharp depth stays near the larger of the two. The sum is too generous, most of all where both are alike.
#
# </details>
#
# ### Worked case: 1:1, 3:1 and 10:1
#
# Marked f/4 each time, a pupil ratio of 1, and a subject 1 mm deep, its ends in focus, no overlap.
# %%
print("   m  effective     sharp  geometric      wave       sum  frames")
for m in (1, 3, 10):
    found = depths(m, 4.0, 1.0, pitch)
    sharp, geometric, wave, summed = map(depth_text, found.values())
    frames = optics.frame_count(1e-3, found["sharp"], 0.0, ends_in_focus=True)
    print(f"{m:>2}:1  {optics.effective_f_number(4.0, m, 1.0):>9g}  {sharp:>8}  {geometric:>9}  {wave:>8}  {summed:>8}  {frames:>6}")
# %% [markdown]
# At 10:1 the largest measure is the smallest times <!--= depths(10, 4.0, 1.0, pitch)["summed"] / depths(10, 4.0, 1.0, pitch)["geometric"]:.2g -->. Who plans by geometry there takes far too many frames. And at effective f/44 none of them would be crisp.
#
# Between the three lies a curve:
# %%
figures.depth_by_magnification((2.8, 5.6, 11), 1.0, pitch)
# %% [markdown]
# From a fifth of life size up to life size, depth falls about ten times. Beyond, the effective f-number grows along, and the lines flatten.
# %% [markdown]
# ### A warning: a table that contradicts itself
#
# Many pages on microscopy copy one table of depths from each other; its first source is unknown to us. They call its numbers the sum of wave depth and geometric depth. Then none can be smaller than the wave depth alone. Look at a wavelength of 0.55 µm:
# %%
copied = {0.10: 55.5, 0.25: 8.5, 0.40: 5.8, 0.65: 1.0, 0.85: 0.4}  # numerical aperture: depth in um
for aperture, depth in copied.items():
    wave = 1e6 * optics.wave_depth(550e-9, aperture, 1.0)
    print(f"aperture {aperture:.2f}: copied {depth:>4} µm, wave depth alone {wave:>5.2f} µm, rest {depth - wave:+.2f} µm")
# %% [markdown]
# Three rests are below zero: no formula of that kind can give these rows. Do not check your own computation against a table whose formula you cannot repeat.
# %% [markdown]
# ### Predict: three moves of a slider
#
# The panel starts with the bench rig. Write down what you expect, then move one slider at a time, from the start values:
#
# 1. *<!--= label["f_number"] -->* from 4 to 16: by which factor do the sharp and the geometric depth grow?
# 2. *<!--= label["pixel_pitch"] -->* from 4.4 µm to 2 µm: what do the two do?
# 3. *<!--= label["pupil_ratio"] -->* from 1.1 to 0.55: do frames become deeper?
# %%
label = {slider.name: slider.label for slider in panel.sliders}
panel.show(magnification=3.0, f_number=4.0, pupil_ratio=lens.pupil_ratio, pixel_pitch=pitch)
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. The geometric depth grows by 4, the sharp depth by <!--= depths(3, 16.0, 1.1, pitch)["sharp"] / depths(3, 4.0, 1.1, pitch)["sharp"]:.3g -->. Look at the lower chart as well: no contrast of 4 px is left.
# 2. The geometric depth becomes less than half. The sharp depth stays at <!--= depth_text(depths(3, 4.0, 1.1, 2e-6)["sharp"]) -->: this lens at effective f/15 has no finer detail for smaller pixels.
# 3. Yes. A smaller pupil ratio makes a larger effective f-number.
#
# </details>
# %% [markdown]
# ## From depth to frames (about 5 minutes)
#
# Neighbouring frames should share some of their depth, the **overlap**, as a reserve for positions that are a little off. The frame spacing is the rest:
# %%
Math(optics.frame_spacing.latex)
# %% [markdown]
# The moss capsule is <!--= say(moss.stack.far_end - moss.stack.near_end, "mm") --> deep. When the first and the last focused plane lie on its two ends:
# %%
one = depths(3.0, 4.0, lens.pupil_ratio, pitch)["sharp"]
count = optics.frame_count(moss.stack.far_end - moss.stack.near_end, one, 0.2, ends_in_focus=True)
print(f"{count} frames at f/4, {say(optics.frame_spacing(one, 0.2), 'um')} apart, for an overlap of 20%")
# %% [markdown]
# ### Exercise 3: a seed (about 9 minutes)
#
# A seed is 3 mm deep. Lens and camera are those of exercise 2. Use the **sharp depth**, for a wavelength of 550 nm and 0.8 of the transfer kept: `optics.sharp_depth(magnification, f_number, pupil_ratio, pixel_pitch, wavelength, kept)`. The overlap is 0.2, both ends shall be focused planes. How many frames?
# %% tags=["exercise", "free"]
answer_3 = blank  # a whole number

check(answer_3, "frames")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# one = optics.sharp_depth(2.5, 5.6, 0.8, 4e-6, 550e-9, 0.8)
# answer_3 = optics.frame_count(3e-3, one, 0.2, ends_in_focus=True)
# ```
#
# One frame is sharp over <!--= depth_text(optics.sharp_depth(2.5, 5.6, 0.8, 4e-6, 550e-9, 0.8)) -->, so <!--= optics.frame_count(3e-3, optics.sharp_depth(2.5, 5.6, 0.8, 4e-6, 550e-9, 0.8), 0.2, ends_in_focus=True) --> frames do it.
#
# </details>
# %% [markdown]
# ## Mistakes people make
#
# - **Marked for effective.** At 3:1 the depth comes out almost four times too small.
# - **The pupil ratio upside down.** Some sources divide front by back. Here it is exit over entrance, back over front.
# - **A reversed lens taken as before.** Its pupil ratio turns into $1/P$, and its f-number changes too, from $N$ to $N/P$.
# - **Half for total.** "Plus or minus 10 µm" is a total of 20 µm. Ask of each number which one it is.
# - **The blur at the wrong place, or its radius.** $c$ is a diameter, at the sensor. At the subject it is $m$ times smaller.
# - **Two thirds behind.** A rule for far subjects. So is the hyperfocal distance.
# - **Depth of focus for depth of field.** What the sensor may move is $m^2$ times what the subject may.
# - **Focusing at 1:1 by moving the lens against the camera.** That hardly shifts the focused plane there. Move the whole camera.
# %% [markdown]
# ## What to remember
#
# 1. Effective f-number: $N_e = N (1 + m/P)$. It rules depth, diffraction and exposure.
# 2. Geometric depth: $2 c N_e / m^2$ in all, near and far alike. It is one of four measures; the sharp depth stays near the larger of geometric and wave depth.
# 3. Spacing is depth less the overlap. Frames are subject depth over spacing, rounded up, and one more when both ends are focused planes.
#
# When you try a spacing on the rig: keep fingers away from the screw, and set the end limit before the lens can touch the subject.
# %% [markdown]
# ## Next
#
# Stopping down makes frames deeper, and at some point all of them soft. [Diffraction and the best aperture](07-diffraction-and-the-best-aperture.ipynb) finds that point. The worksheet [Plan a stack](../design/plan-a-stack.ipynb) does the sums for your own rig.
