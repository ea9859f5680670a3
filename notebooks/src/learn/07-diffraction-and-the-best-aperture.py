# %% [markdown]
# # Diffraction and the best aperture
#
# Estimated time: 40 minutes reading, 20 minutes exercises.
#
# Stop the lens down and each frame of a stack gets deeper. Stop it down further and every frame gets soft. Between the two lies an aperture that needs the fewest frames for the sharpness you want. This lesson finds it, and then the light that it asks for.
#
# It is for people who set aperture, frame spacing and flash. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute how wide diffraction spreads a point, and which pattern no lens transfers (exercise 1)
# 2. choose an aperture that keeps a wanted contrast within a limit of frames (exercise 2)
# 3. convert a metered exposure, or a flash setting, to another magnification (exercise 3)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | effective f-number, pupil ratio, depth of a frame | needed | [How deep is sharp](06-how-deep-is-sharp.ipynb) |
# | frequency of a pattern: line pairs for a millimetre | needed | 50 1/mm are 50 pairs of a dark and a bright line in 1 mm |
# | one stop: half or twice the light | helps | any book on photography |
# %%
from IPython.display import Math
from sympy import Min, latex, simplify

from macrolib import plan, read_rig, read_shot
from macrolib.formula import working
from macrolib.physics import light, optics
from macrolib.physics import symbols as s
from macrolib.planning.budget import blur_budget
from macrolib.planning.front import front
from macrolib.show import figures_sharpness as figures
from macrolib.show.figures_sharpness import GREEN_LIGHT
from macrolib.show.panels import aperture_and_spacing as panel
from macrolib.show.style import say
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/07-diffraction-and-the-best-aperture.toml")
bench, moss = read_rig("../data/rigs/bench-screw.toml"), read_shot("../data/shots/moss-capsule.toml")
ratio, pitch = bench.lens.pupil_ratio, bench.camera.pixel_pitch
print(f"pupil ratio {ratio}, pixel pitch {say(pitch, 'um')}, wavelength {say(GREEN_LIGHT, 'nm')}")
# %% [markdown]
# ## A point becomes a spot (about 8 minutes)
#
# Light is a wave. It spreads behind every hole, and the more the smaller the hole. So a lens in perfect focus draws a point as a bright core within faint rings. The radius of the first dark ring, at the sensor, tells how wide the core is. For f/4 at three times life size on the bench rig:
# %%
effective = optics.effective_f_number(4.0, 3.0, ratio)
Math(working(optics.airy_radius, wavelength=GREEN_LIGHT, effective_f_number=effective))
# %% [markdown]
# ### Predict: stop down to f/16
#
# The same lens at the same magnification, now set to f/16 (marked). How wide is the core, from dark ring to dark ring?
#
# - A: about 5 px
# - B: about 9 px
# - C: about 18 px
# %%
stopped = optics.effective_f_number(16.0, 3.0, ratio)
print(f"effective f/{stopped:.3g}: {2 * optics.airy_radius(GREEN_LIGHT, stopped) / pitch:.2g} px from ring to ring")
# %% [markdown]
# <details><summary>Explain: why C</summary>
#
# The effective f-number counts, and it is almost four times the marked one. Answer A comes from the marked f-number, answer B from the radius.
#
# </details>
#
# ### The finest pattern
#
# Stripes finer than a spot wash out. At the **cutoff frequency** nothing is left at all. Worked for the same lens:
# %% tags=["worked"]
Math(working(optics.cutoff_frequency, wavelength=GREEN_LIGHT, effective_f_number=effective))
# %% [markdown]
# That is <!--= optics.cutoff_frequency(GREEN_LIGHT, effective) / 1e3:.3g --> pairs of lines for a millimetre of sensor. The **transfer** is the share of contrast that arrives. With $q$, the frequency as a share of the cutoff, it falls in focus like this:
# %%
Math("M_d = " + latex(optics.diffraction_mtf.expression.subs(Min(s.q, 1), s.q)))
# %% [markdown]
# ### Exercise 1: spot and cutoff (about 6 minutes)
#
# A symmetrical lens (pupil ratio 1) is set to f/8 at a magnification of 4. The wavelength is 550 nm. Fill the blanks:
#
# 1. the radius of the first dark ring at the sensor
# 2. the cutoff frequency at the sensor
# %% tags=["exercise", "faded"]
effective_1 = blank  # marked f-number times (1 + magnification / pupil ratio)
answer_1a = blank  # 1.22 times wavelength times effective f-number, such as "5 um"
answer_1b = blank  # one over wavelength and effective f-number, such as "5 1/mm"

print(check(answer_1a, "spot"))
print(check(answer_1b, "cutoff"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# effective_1 = 8 * (1 + 4 / 1)
# answer_1a = 1.22 * 550e-9 * effective_1  # m
# answer_1b = 1 / (550e-9 * effective_1)  # 1/m
# ```
#
# That is <!--= 1e6 * optics.airy_radius(550e-9, 40.0):.3g --> µm and <!--= optics.cutoff_frequency(550e-9, 40.0) / 1e3:.3g --> 1/mm.
#
# </details>
# %% [markdown]
# ## Out of focus (about 8 minutes)
#
# Focus a lens too near by a small amount. The wave that leaves the exit pupil is then curved a little too much. How far it departs at the pupil's edge, in wavelengths, is the defocus $W$.
#
# ### The derivation
#
# A point at the distance $\Delta$ from the focused plane has its image $m^2 \Delta$ from the sensor. The edge of the pupil is seen at a slope of $1/(2 N_e)$. Two spheres whose centres lie $\delta$ apart differ there by $\delta/2$ times the slope squared. Put together, and divided by the wavelength:
# %%
Math(optics.defocus_waves.latex)
# %% [markdown]
# ### Predict: stripes out of focus
#
# Stripes grow finer from left to right. What does defocus do to them: only fade them, or something else? Decide, then run the cell.
# %%
figures.defocused()
# %% [markdown]
# <details><summary>Explain: they come back, exchanged</summary>
#
# A quarter of a wave takes little. Half a wave takes most of the middle. With a whole wave the transfer falls **below zero**: behind a grey zone the stripes reappear with dark for bright. Detail that you see there is false.
#
# </details>
#
# ### Two blurs that do not multiply
#
# Independent blurs multiply their transfers. So some people multiply the transfer of diffraction by that of the blur disc of geometry. Compare with the exact one:
# %%
figures.geometry_and_waves(0.4)
# %% [markdown]
# At a quarter wave the exact transfer is <!--= optics.defocused_otf(0.4, 0.25):.3f -->, the product is <!--= optics.disc_otf(0.4, 2.0) * optics.diffraction_mtf(0.4):.3f -->, about half. Both blurs come from the same wave through the same pupil: they are not independent. The library computes them as one.
# %% [markdown]
# ## The best aperture for a spacing (about 12 minutes)
#
# Given a frame spacing $\Delta z$, the worst place lies half a spacing from the next focused plane. Allow a quarter of a wave there, since that takes little.
#
# ### The derivation
#
# In the formula of $W$, put in $\Delta = \Delta z / 2$ and $W = 1/4$, solve for $N_e$, and divide by $1 + m/P$ for the marked one:
# %%
Math(optics.stack_f_number.latex)
# %% [markdown]
# The proof goes backwards: the computer puts this aperture into the formula of the defocus.
# %%
marked = optics.stack_f_number.expression
wide = optics.effective_f_number.expression.subs(s.f_number, marked)
print("defocus in waves:", simplify(optics.defocus_waves.expression.subs({s.offset: s.spacing / 2, s.effective_f_number: wide})))
# %% [markdown]
# ### Predict: five times life size
#
# The magnification is 5, the spacing 20 µm, the pupil ratio 1. Which marked f-number is best: f/16, f/8 or f/2.5?
# %%
print(f"best: f/{optics.stack_f_number(magnification=5, spacing=20e-6, wavelength=GREEN_LIGHT, pupil_ratio=1):.2g}")
# %% [markdown]
# <details><summary>Explain: far wider than habit</summary>
#
# The effective f-number is 15. Divided by $1 + 5$ it leaves f/2.5. People who stop down to f/8 here blur every frame to gain a depth that their spacing does not use.
#
# </details>
#
# ### Worked case: 1:1, 3:1 and 10:1
#
# Is the rule any good? The table gives the transfer of a pattern of 4 px, halfway between two frames: at the rule's aperture, one stop wider and one stop narrower.
# %%
def between(f_number, spacing, magnification):
    """Exact transfer of a pattern of 4 px, half a spacing from the focused plane; pupil ratio 1."""
    effective = optics.effective_f_number(f_number, magnification, 1.0)
    waves = optics.defocus_waves(spacing / 2, magnification, effective, GREEN_LIGHT)
    return optics.defocused_otf(1 / (4 * pitch) / optics.cutoff_frequency(GREEN_LIGHT, effective), waves)


print("   m  spacing  marked  effective  stop wider  rule  stop narrower")
for m, spacing in ((1, 250e-6), (3, 40e-6), (10, 6e-6)):
    best = optics.stack_f_number(m, spacing, GREEN_LIGHT, 1.0)
    wider, rule, narrower = (between(best * 2 ** (stops / 2), spacing, m) for stops in (-1, 0, 1))
    print(f"{m:>2}:1  {say(spacing, 'um'):>7}  f/{best:<4.2g}  {best * (1 + m):>9.3g}  {wider:>10.0%}  {rule:>4.0%}  {narrower:>13.0%}")
# %% [markdown]
# On both sides of the rule contrast is lost. At 10:1 the best marked number is wider than most camera lenses have: microscope objectives take over there.
#
# ### Frames against sharpness
#
# Now leave the spacing free. For each contrast wanted at the edge of a frame's depth, one aperture needs the fewest frames. All such choices together are a **front**. Here is that of the moss capsule on the bench rig:
# %%
figures.front(front(moss, bench), limit=moss.limits.frames)
# %% [markdown]
# The frame axis is logarithmic. Up to the widest aperture each doubling of the frames buys 10 to 15 points of contrast. There the line levels off: beyond it each doubling buys less and less.
#
# ### Predict: three moves of a slider
#
# The panel draws the same front for a subject of your own. Write down what you expect, then move one slider at a time, from the start values:
#
# 1. *<!--= label["wanted"] -->* from 0.3 to 0.5: how many times as many frames?
# 2. *<!--= label["most_frames"] -->* from 100 to 30: how much contrast can be had?
# 3. *<!--= label["magnification"] -->* from 3 to 5: does the best f-number rise or fall?
# %%
label = {slider.name: slider.label for slider in panel.sliders}
start = {"depth": 3.6e-3, "magnification": 3.0, "wanted": 0.3, "most_frames": 100.0, "widest": 2.0, "pixel_pitch": pitch}
first, sharper, fewer, closer = (panel.result(panel.start(**start | move)) for move in (
    {}, {"wanted": 0.5}, {"most_frames": 30.0}, {"magnification": 5.0}))  # for the explanation below
panel.show(**start)
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. <!--= first.chosen --> frames become <!--= sharper.chosen -->: sharpness gets dearer as it grows.
# 2. <!--= fewer.best:.0% --> at most. Without a limit of frames the question of the best aperture has no answer.
# 3. It falls, from f/<!--= first.f_number:.2g --> to f/<!--= closer.f_number:.2g -->.
#
# </details>
# %% [markdown]
# ### Exercise 2: choose the aperture (about 9 minutes)
#
# A subject is 2 mm deep. Magnification 3, pupil ratio 1, pixel pitch 4 µm, wavelength 550 nm. In focus, diffraction must leave at least 0.3 of a pattern of 4 px, which is 62.5 1/mm. With one sharp depth (0.8 kept) for each frame and both ends in focus, at most 60 frames are allowed.
#
# Choose the marked f-number from 2, 2.4, 2.8, 3.3, 4, 4.8, 5.6, 8. More than one is right. `optics.diffraction_mtf`, `optics.sharp_depth` and `optics.frame_count` help; so does the panel of the last lesson.
# %% tags=["exercise", "free"]
answer_2 = blank  # a marked f-number

check(answer_2, "aperture")
# %% [markdown]
# <details><summary>Solution</summary>
#
# f/2.8 needs <!--= optics.frame_count(2e-3, optics.sharp_depth(3, 2.8, 1, 4e-6, 550e-9, 0.8), 0.0, ends_in_focus=True) --> frames. At f/4.8 diffraction leaves <!--= optics.diffraction_mtf(62.5e3 / optics.cutoff_frequency(550e-9, optics.effective_f_number(4.8, 3, 1))):.2f -->. Between them lie f/3.3 and f/4.
#
# ```python
# answer_2 = 3.3
# ```
#
# </details>
# %% [markdown]
# ## The light that it takes (about 7 minutes)
#
# The light on a pixel goes with $1/N_e^2$. A meter in the hand knows the marked number only. The **exposure factor** is what it leaves out:
# %%
Math(working(light.exposure_factor, magnification=3.0, pupil_ratio=ratio))
# %% [markdown]
# Give the meter's exposure time, or the flash energy, that many times over. A meter behind the lens has counted it already.
#
# From one setting to another the same lamp at the same place scales like this, with sensitivity $S$:
# %%
Math(light.light_ratio.latex)
# %% [markdown]
# ### Ambient light or flash
#
# The bench rings at about 31 Hz. Suppose 1 px of amplitude is left. A tenth of a second of lamp light sees three swings, a flash of 0.4 ms almost none. When both light the frame, their transfers add by their share of the light:
# %%
lamp, flash = (optics.vibration_mtf(1 / (4 * pitch), 1.0 * pitch, 31.0 * seconds) for seconds in (0.1, 0.4e-3))
for share in (0.0, 0.1, 0.5, 1.0):
    print(f"lamp light {share:.0%}: transfer of a pattern of 4 px {light.mixed_transfer(share, lamp, flash):.2f}")
# %% [markdown]
# A short flash freezes what a wait would have to calm. A tenth of lamp light does little harm.
# %% [markdown]
# ### Exercise 3: the flash (about 5 minutes)
#
# At a magnification of 1 and f/5.6 a flash is set right, at sensitivity 100. The pupil ratio is 1.1. Now the magnification is 3, still at f/5.6, flash and subject stay in place, and the sensitivity is 200. By which factor does the flash energy change?
# %% tags=["exercise", "free"]
answer_3 = blank  # a bare number

check(answer_3, "flash")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_3 = ((1 + 3 / 1.1) / (1 + 1 / 1.1)) ** 2 * 100 / 200
# ```
#
# That is <!--= light.light_ratio(optics.effective_f_number(5.6, 3, 1.1), optics.effective_f_number(5.6, 1, 1.1), 200.0, 100.0):.3g -->.
#
# </details>
# %% [markdown]
# ## Everything together (about 3 minutes)
#
# Diffraction and defocus are two causes of several. A **blur budget** lists what each leaves of the contrast, here for the plan of the moss capsule:
# %%
figures.blur_budget(blur_budget(plan(moss, bench)))
# %% [markdown]
# Mend the largest first. What is shown hatched in such a picture was not computed, for want of data: it is not zero.
# %% [markdown]
# ## Mistakes people make
#
# - **Marked for effective.** Spot, cutoff and exposure all count with $N_e$.
# - **Diffraction times blur disc.** It takes the same loss twice. Use the exact transfer.
# - **f/8 out of habit.** The best marked number falls as the magnification grows.
# - **Radius for diameter.** 1.22 belongs to the radius of the first dark ring, 2.44 to its diameter.
# - **False detail taken for real.** Beyond the first zero the contrast is reversed.
# - **The factor counted twice.** A meter behind the lens, or a display of the effective f-number, has it in already.
# %% [markdown]
# ## What to remember
#
# 1. The spot has a radius of $1.22 \lambda N_e$; no pattern beyond $1/(\lambda N_e)$ is transferred.
# 2. For a spacing, the best aperture is near $N_e = \frac{m}{2} \sqrt{\Delta z / \lambda}$. Without a given spacing, choose on the front between frames and sharpness.
# 3. Light at the sensor goes with $1/N_e^2$: from one setting to another, scale time or flash energy by the square of the effective f-numbers.
#
# Do not look into flashes and strong lamps. Warn people before flashes in quick series: flicker can harm people with photosensitive epilepsy.
# %% [markdown]
# ## Next
#
# What does a spacing too wide look like? [See the soft bands](07b-see-the-soft-bands.ipynb). The worksheet [Plan a stack](../design/plan-a-stack.ipynb) shows budget and front for your own rig and shot.
