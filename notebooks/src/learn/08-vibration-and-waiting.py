# %% [markdown]
# # Vibration and waiting
#
# Estimated time: 45 minutes reading, 30 minutes exercises.
#
# A close-up enlarges every tremble. This lesson finds out what shakes, by how much, how long it lasts, and what shortens the wait: a better floor, a stiffer stand, a softer push, or one base for camera and subject.
#
# It is for people who photograph or film with a rail. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute how long a ring takes until the picture is still enough (exercise 1)
# 2. name the change that shortens a wait most: floor, stand, base or distance (exercise 2)
# 3. choose an acceleration that suits the magnification (exercise 3)
# 4. find stiffness and natural frequency of a stand with a small weight (exercise 4)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | magnification, px and pixel pitch | needed | [From turns to travel](01-from-turns-to-travel.ipynb) |
# | exponential decay, natural logarithm | needed | any school book |
# | what a ramp leaves ringing | helps | [Ramps, derived](03-ramps-derived.ipynb) |
#
# The invented bench rig and three kinds of floor serve as examples. Their values are typical of their kind, many from memory; measure yours.
# %%
from IPython.display import Math, Markdown

from macrolib import read_rig
from macrolib.formula import working
from macrolib.parts import catalogue
from macrolib.physics import vibration
from macrolib.show import figures_vibration
from macrolib.show.panels_vibration import waiting as panel
from macrolib.show.style import say
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/08-vibration-and-waiting.toml")
bench, floors = read_rig("../data/rigs/bench-screw.toml"), catalogue("floors")
pitch, stand = bench.camera.pixel_pitch, {"frequency": bench.stand.natural_frequency, "damping_ratio": bench.stand.damping_ratio}
print(f"bench rig: the stand rings at {say(stand['frequency'], 'Hz')}, damping ratio {stand['damping_ratio']}; pixel pitch {say(pitch, 'um')}")
# %% [markdown]
# ## One ring dies away (about 8 minutes)
#
# Somebody knocks against a tripod. It rings at its **natural frequency**, here 12 Hz, and at first by 20 µm to either side. How much smaller each swing is than the one before is said by the **damping ratio**, here 0.03.
#
# The picture may move by 1 px, peak to peak: that is the **tolerance**.
#
# ### Predict: twice the magnification
#
# At 1:1 the picture is still enough after about one second. How long does it take at 2:1? Write down your answer, then run the cell.
#
# - A: the same
# - B: a third of a second longer
# - C: twice as long
# %%
knock = {"frequency": 12.0, "damping_ratio": 0.03}
figures_vibration.decay(20e-6, **knock, magnifications=(1, 2, 5), tolerance=1.0, pixel_pitch=pitch)
# %% [markdown]
# <details><summary>Explain: B, and why not C</summary>
#
# In the same time the ring always shrinks by the same **factor**. At 2:1 it has to shrink by a factor of 2 more. That takes <!--= vibration.settling_time(2, 1, **knock):.2g --> s, however large the ring was. Answer C takes a fixed amount each second for a fixed factor. Answer A forgets that a close-up enlarges.
#
# </details>
#
# ### The derivation
#
# The ring stays between $\pm A_0\, e^{-\zeta \omega t}$, with $\omega = 2 \pi f$: that is the dotted envelope. It is down at an amplitude $A_t$ when $A_0\, e^{-\zeta \omega t} = A_t$. Take the natural logarithm and solve for the time:
# %%
Math(vibration.ring_down_time.latex)
# %% [markdown]
# The *max* says that a ring below the tolerance needs no wait. The tolerance is given in px, peak to peak. As an amplitude in the subject, and then as a wait, worked for 2:1, it is
# %%
amplitude_of = vibration.image_vibration.solve_for("amplitude")
allowed = amplitude_of(image_vibration=1.0, magnification=2.0, pixel_pitch=pitch)
Math(working(amplitude_of, image_vibration=1.0, magnification=2.0, pixel_pitch=pitch))
# %% tags=["worked"]
Math(working(vibration.ring_down_time, start_amplitude=20e-6, tolerance=allowed, **knock))
# %% [markdown]
# Twice the frequency, or twice the damping, halves the wait. Twice the knock, or half the tolerance, adds a fixed time. **Stiffness and damping pay more than care.**
#
# ### Exercise 1: how long? (about 9 minutes)
#
# The same tripod, knocked by the same 20 µm. The magnification is 3, the pixel pitch 4 µm, the tolerance 0.5 px, peak to peak. Which amplitude is allowed, and after how long is it reached?
# %% tags=["exercise", "faded"]
moved_in_the_subject = blank  # 0.5 px times the pixel pitch, over the magnification: peak to peak
answer_1a = blank  # the amplitude, such as "2 um"
answer_1b = blank  # the wait, such as "2 s"

print(check(answer_1a, "allowed"))
print(check(answer_1b, "still_after"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# from math import log, pi
#
# moved_in_the_subject = 0.5 * 4e-6 / 3  # m, peak to peak
# answer_1a = moved_in_the_subject / 2  # m, from the middle
# answer_1b = log(20e-6 / answer_1a) / (0.03 * 2 * pi * 12)  # s
# ```
#
# That is <!--= 1e6 * amplitude_of(0.5, 3, 4e-6):.3f --> µm and <!--= vibration.settling_time(20e-6, amplitude_of(0.5, 3, 4e-6), **knock):.2f --> s.
#
# </details>
# %% [markdown]
# ## One base or two (about 7 minutes)
#
# Mostly nobody knocks. A step shakes the floor, and the floor shakes the stand. Three floors, with what a step 1 m away does to them:
# %%
print("floor                         frequency  damping ratio  after a step")
for name, floor in floors.items():
    print(f"{name:<28} {say(floor.natural_frequency, 'Hz'):>10}  {floor.damping_ratio:>13}  {say(floor.footfall_amplitude, 'um'):>12}")
# %% [markdown]
# Put camera **and** subject on one stiff stand. What blurs is only how they move **against each other**.
#
# ### Predict: a slow floor
#
# A timber floor swings at 10 Hz by 30 µm. The stand on it would ring at 31 Hz by itself. By how much do camera and subject move against each other?
#
# - A: by 30 µm, the floor takes them along
# - B: by a few µm
# - C: by more than 30 µm, the stand rings
# %%
figures_vibration.bases(stand["frequency"], stand["damping_ratio"], {name: floor.natural_frequency for name, floor in floors.items()})
# %% [markdown]
# <details><summary>Explain: B</summary>
#
# The stand is stiff for such a slow floor: camera and subject ride along together. Answer A is what the rig itself does. With two tripods side by side even twice that is possible, because nobody knows which moves which way. Answer C needs a floor near the stand's own frequency.
#
# </details>
#
# Far below the stand's frequency the share that the picture sees goes with the square of the frequency ratio: a stand with three times the frequency shows nine times less. The slab's frequency is close to the stand's; there a tiny motion is enlarged.
# %% [markdown]
# ## How long to wait (about 8 minutes)
#
# Now all together. The floor rings down, the stand follows and rings too. The library adds up both at the worst moment. A plan keeps a margin of 1.25 on top.
#
# ### Predict: who waits longest?
#
# Rank the three floors. Then guess how the waits change when camera and subject stand on two bases.
# %%
def wait(floor, magnification, two_bases):
    """Seconds from a step 1 m away until the picture moves by less than 1 px, peak to peak."""
    floor_and_stand = floor.natural_frequency, floor.damping_ratio, *stand.values()
    return vibration.footfall_wait(floor.footfall_amplitude, amplitude_of(1.0, magnification, pitch), *floor_and_stand, two_bases)


waits = {(name, two): [wait(floor, m, two) for m in (1, 2, 5)] for two in (False, True) for name, floor in floors.items()}
rows = [f"| {name} | {'two' if two else 'one'} | {' | '.join(say(t, 's', 2) for t in found)} |" for (name, two), found in waits.items()]
Markdown("\n".join(["| floor | bases | 1:1 | 2:1 | 5:1 |", "|---|---|---|---|---|", *rows]))
# %% [markdown]
# <details><summary>Explain: what the table says</summary>
#
# Timber joists need most, because they move most and are lightly damped. On one base the concrete floors hardly need a wait. Two bases cost most: on timber at 5:1 <!--= waits["timber joists", True][2] - waits["timber joists", False][2]:.1f --> s more.
#
# </details>
#
# ### Predict: moves of a slider
#
# The panel begins with timber joists and a magnification of 2. Write down what you expect, then try one after the other, each from the start values:
#
# 1. **magnification** to **5**: does the line fall less steeply, or lie higher?
# 2. **distance of the last step** to **10 m**: how much is gained? And then on the slab, with the floor set to 3?
# 3. Two bases: what changes at the time 0, what later?
# 4. **natural frequency of the stand** to **10 Hz**: the stand is now in step with the floor.
# 5. The same to **60 Hz**. What else that can be built helps as much on timber?
# %%
panel.show(magnification=2, pixel_pitch=pitch)
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. The line keeps its slope and lies higher, by a factor of 2.5.
# 2. On timber nothing: joists move as a whole, so the ring in the left picture slides along a level line. On the ground a wave spreads and weakens. On timber, stand still rather than far away.
# 3. The swing begins far higher. Later the line falls as before, as slowly as the floor rings down: what is lost is the head start.
# 4. Nothing is left of the gain of one base: floor and stand build each other up, and the wait grows to <!--= vibration.footfall_wait(30e-6, amplitude_of(1, 2, pitch), 10, 0.02, 10, 0.04):.1f --> s.
# 5. <!--= vibration.footfall_wait(30e-6, amplitude_of(1, 2, pitch), 10, 0.02, 60, 0.04):.2g --> s: a stiff stand does nearly as much as a concrete floor.
#
# </details>
# %% [markdown]
# ### Exercise 2: what helps most? (about 5 minutes)
#
# Timber joists, 5:1. Camera and subject stand on two bases, the last step was 1 m away. Which one change shortens the wait most? A: put camera and subject on one base. B: step 10 m away. C: walk so softly that the floor moves half as much.
# %% tags=["exercise", "free"]
answer_2 = blank  # "A", "B" or "C"

check(answer_2, "shorter")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_2 = "A"
# ```
#
# One base saves <!--= waits["timber joists", True][2] - waits["timber joists", False][2]:.1f --> s. Half the floor's motion saves <!--= vibration.settling_time(2, 1, floors["timber joists"].natural_frequency, floors["timber joists"].damping_ratio):.2g --> s. Distance saves nothing on joists.
#
# </details>
# %% [markdown]
# ## The push of the move (about 8 minutes)
#
# The rail shakes the camera as well. While the carriage speeds up by $a$, the camera hangs back by $a / \omega^2$, as if it leaned. When the push ends, it swings back, and at the worst ramp time it swings by twice as much. The picture sees this times the magnification.
#
# ### Predict: five times the magnification
#
# The bench rig may push with <!--= 1e3 * largest[1]:.2g --> mm/s² at 1:1. And at 5:1: the same, or less? How much less?
# %%
half = 0.5 / stand["frequency"]  # s, the worst ramp time
one = vibration.image_vibration(vibration.ramp_residual(acceleration=1.0, ramp_time=half, **stand), magnification=1.0, pixel_pitch=pitch)
largest = {m: 1.0 / (one * m) for m in (1, 2, 5)}  # m/s^2 that leave 1 px, because the swing goes with both
figures_vibration.pushes(stand["frequency"], stand["damping_ratio"], 4e-3, (1, 2, 5), 1.0, pitch)
# %% [markdown]
# <details><summary>Explain: a fifth</summary>
#
# <!--= 1e3 * largest[5]:.2g --> mm/s² at 5:1. **The acceleration must suit the magnification: five times as large a picture wants a fifth of the push.** A stack at 5:1 with the acceleration of 1:1 shakes itself soft. The wavy line shows real ramps: most leave less, those of whole periods leave least.
#
# </details>
#
# ### Whole periods, and what damping leaves
#
# The end of a ramp swings the camera the other way than its beginning. A whole period later the two nearly cancel. They would cancel fully without damping. With it, the first ring has shrunk before the second comes:
# %%
times, left = vibration.whole_period_ramps(4e-3, **stand)
for count, (time, ring) in enumerate(zip(times, left), start=1):
    swings = ", ".join(f"{m}:1 {vibration.image_vibration(ring, m, pitch):.2f} px" for m in (1, 2, 5))
    print(f"ramp of {count} period{'s' * (count > 1)}, {say(time, 'ms')}: left in the picture {swings}")
# %% [markdown]
# What is left falls with the length of the ramp, but never to nothing. [Ramps, derived](03-ramps-derived.ipynb) shows softer shapes that leave less.
#
# ### Exercise 3: a push for 4:1 (about 6 minutes)
#
# The bench rig works at 4:1. Choose an acceleration that leaves at most 1 px even at the worst ramp time, but at least 0.8 px, so that no time is given away. The value for 1:1 stands above.
# %% tags=["exercise", "free"]
answer_3 = blank  # such as "20 mm/s^2"

check(answer_3, "push")
# %% [markdown]
# <details><summary>Solution</summary>
#
# A quarter of what is allowed at 1:1, rounded down:
#
# ```python
# answer_3 = "11 mm/s^2"  # 9 or 10 do it as well
# ```
#
# It moves the picture by <!--= one * 4 * 11e-3:.2f --> px at most.
#
# </details>
# %% [markdown]
# ## Press and look (about 5 minutes)
#
# All this needs the natural frequency. A small weight finds it. Hang the weight on, look at the picture enlarged on the screen, count by how many px it shifts. Weight over give is the **stiffness**:
# %%
give = 6 * pitch / 2  # m: 6 px at 2:1
stiffness = vibration.press_stiffness(force=0.1 * 9.81, deflection=give)  # N/m: a weight of 100 g
Math(working(vibration.press_stiffness, force=0.1 * 9.81, deflection=give))
# %% [markdown]
# A mass on a spring rings at
# %%
Math(working(vibration.spring_frequency, stiffness=stiffness, mass=bench.carriage.mass))
# %% [markdown]
# The formula holds where the support weighs far less than what it carries. Press where the lens is heavy, and press the way the picture blurs.
#
# ### Exercise 4: a lens that nods (about 10 minutes)
#
# A weight of 200 g at the front of a lens shifts the picture by 14 px. The magnification is 2, the pixel pitch 4 µm. Camera and lens weigh 1.2 kg. How stiff is the support, and at which frequency does it ring?
# %% tags=["exercise", "free"]
answer_4a = blank  # such as "0.2 N/um"
answer_4b = blank  # such as "20 Hz"

print(check(answer_4a, "stiffness"))
print(check(answer_4b, "press_frequency"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_4a = 0.2 * 9.81 / (14 * 4e-6 / 2)  # N/m
# answer_4b = (answer_4a / 1.2) ** 0.5 / (2 * 3.1416)  # Hz
# ```
#
# That is <!--= 1e-6 * 0.2 * 9.81 / 28e-6:.3f --> N/µm and <!--= vibration.spring_frequency(0.2 * 9.81 / 28e-6, 1.2):.1f --> Hz. A second support under the lens doubles the stiffness and raises the frequency by the root of 2.
#
# </details>
# %% [markdown]
# ## The shutter shakes too (about 4 minutes)
#
# A mechanical shutter stops hard. Its momentum starts a ring when the exposure begins: no wait helps against it. The bench camera moves its picture by <!--= 1e6 * bench.camera.shutter_shock:.2g --> µm at the sensor.
#
# ### Predict: which exposure is worst?
#
# Which is blurred most by the shock: 1/1000 s, 1/20 s, or 4 s?
# %%
figures_vibration.exposures(bench.camera.shutter_shock, **stand, tolerance=0.5, pixel_pitch=pitch)
# %% [markdown]
# <details><summary>Explain: the middle one</summary>
#
# 1/1000 s is over before the camera has moved. 4 s are mostly exposed after the ring has died away. In between, the full swing is recorded all the time. The shock is a shift at the sensor: this blur is the same at every magnification.
#
# </details>
#
# An electronic shutter has no shock. A flash in the dark freezes what is left.
# %% [markdown]
# ## Mistakes people make
#
# - **Peak to peak taken for amplitude.** A tolerance of 1 px allows half a pixel to either side.
# - **Going far away on timber.** Distance hardly helps there. Standing still does.
# - **Camera on the stand, subject on the table.** Two bases see the whole floor.
# - **One acceleration for all magnifications.** At 5:1 it shakes five times as many px.
# - **A heavier stand without more stiffness.** Mass alone lowers the frequency, and the ring lasts longer.
# - **"Whole periods leave no ring."** Damping leaves some.
# %% [markdown]
# ## What to remember
#
# 1. The time until a ring is still enough is a logarithm: doubling the magnification adds a fixed time. Twice the frequency or the damping halves it.
# 2. One stiff base for camera and subject saves more waiting than distance or care.
# 3. The largest acceleration goes with one over the magnification.
# 4. Weight over give is stiffness; root of stiffness over mass is the angular frequency.
#
# Secure what you hang on, and keep fingers and glass out from under it.
# %% [markdown]
# ## Next
#
# When the picture is still, it may move on purpose: [Motion on screen](09-motion-on-screen.ipynb). [Plan a stack](../design/plan-a-stack.ipynb) and [Plan a traverse](../design/plan-a-traverse.ipynb) compute these waits for your own rig and floor.
