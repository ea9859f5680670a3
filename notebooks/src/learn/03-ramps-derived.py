# %% [markdown]
# # Ramps, derived
#
# Estimated time: 45 minutes reading, 25 minutes exercises.
#
# A carriage cannot jump to its speed. It needs a **ramp**. This lesson derives the usual ramps step by step and compares them by what the picture shows.
#
# It is for people who set the speed and acceleration of a rail. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute speed and time of a move, whether or not it reaches its speed (exercise 1)
# 2. choose a duration that keeps the acceleration of the picture within a limit (exercise 2)
# 3. choose a ramp time that leaves little ringing, and say what damping leaves (exercise 3)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | speed, acceleration, and that the one is the slope of the other | needed | any school book |
# | from travel to px in the picture | needed | [From turns to travel](01-from-turns-to-travel.ipynb) |
# | integrals of powers and sines | helps | the computer does them here |
#
# The invented bench rig films a beetle's wing case, 24 mm sideways at a magnification of 1.2. Its values are typical of their kind.
# %%
from macrolib import read_rig
from macrolib.physics import ramps, screen, vibration
from macrolib.planning.common import torque_needed
from macrolib.show import figures_ramps, panels_ramps
from macrolib.teach import blank, exercises
from macrolib.units import show

check = exercises("../data/exercises/03-ramps-derived.toml")
bench = read_rig("../data/rigs/bench-screw.toml")
picture = {"magnification": 1.2, "pixel_pitch": bench.camera.pixel_pitch}
rig = {"frequency": bench.carriage.natural_frequency, "damping_ratio": bench.carriage.damping_ratio}
period = 1 / rig["frequency"]
print(f"The camera rings at {rig['frequency']:g} Hz on its carriage: one period lasts {show(period, 'ms', 3)}.")
# %% [markdown]
# ## Without a ramp (about 5 minutes)
#
# ### Predict: from rest to full speed at once
#
# The motor starts at 6 mm/s from one moment to the next. The carriage gives a little, like everything. By how much does the picture swing, peak to peak? Write down your answer, then run the cell.
#
# - A: not at all, the move is slow
# - B: about 1 px
# - C: about 10 px
# %%
speed = 6e-3  # m/s
jump = vibration.ramp_residual(acceleration=speed / 1e-6, ramp_time=1e-6, **rig)  # a microsecond is as good as none


def swing(ring):
    """Swing of the picture in px, peak to peak, for a ring in m, zero to peak."""
    return vibration.image_vibration(amplitude=ring, **picture)


print(f"a ring of {show(jump, 'um', 3)}, {swing(jump):.3g} px in the picture")
# %% [markdown]
# <details><summary>Explain: C, and what the others miss</summary>
#
# The camera stays behind while the carriage goes, then swings about it: the ring is speed over angular frequency. Answer A looks at the carriage alone. Answer B takes the give of the carriage for smaller than a pixel. It is several pixels even before the lens enlarges it.
#
# </details>
# %% [markdown]
# ## The trapezoid, derived (about 12 minutes)
#
# The plainest ramp has a constant acceleration. Drawn against time, the speed of such a move is a **trapezoid**: ramp in, cruise, ramp out.
#
# ### One ramp
#
# Scale everything to 1: the ramp lasts 1 and gains a speed of 1. So $\tau$ is the time over the ramp time, and a hat marks what is scaled.
# %%
trapezoid = ramps.derivation("trapezoid")
figures_ramps.steps(trapezoid[:8])
# %% [markdown]
# At the end, $\tau = 1$, the travel is one half. **A ramp covers half the distance that full speed covers in the same time.** The library computes every move from these integrals: what you read is what runs.
#
# ### Two ramps and a cruise
#
# Now with units: acceleration $a$, highest speed $v_p$, distance $D$, and the times of ramp in, ramp out and cruise, $t_i$, $t_o$, $t_c$.
# %%
figures_ramps.steps(trapezoid[9:13], first=9)
# %% [markdown]
# Step 11 is the heart: both ramps use up $v_p^2 / a$ of the distance. Where the distance is shorter, the speed is not reached. The trapezoid turns into a **triangle**.
#
# ### Predict: a quarter of the way
#
# With at most 6 mm/s and 3 mm/s², a move of 24 mm takes 6 s. How long does a move of 6 mm take?
#
# - A: a quarter, 1.5 s
# - B: 3 s, because it saves 18 mm at 6 mm/s
# - C: a bit less than 3 s
# %%
whole, short = (ramps.trapezoid(distance, speed, acceleration=3e-3) for distance in (24e-3, 6e-3))
figures_ramps.profiles([whole, short], ["trapezoid: 24 mm", "triangle: 6 mm"])
# %% [markdown]
# <details><summary>Explain: C, it is a triangle</summary>
#
# The ramps alone would need 12 mm. So the short move begins to brake in the middle, at <!--= 1e3 * short.peak_speed:.3g --> mm/s, after <!--= short.duration / 2:.3g --> s. Answer A takes time to go with distance. Answer B uses the sum $D / v + v / a$, which holds for trapezoids only.
#
# </details>
#
# ### The closed form
#
# *min* and *max* choose between the two cases. $v$ is the speed that you allow, $v_p$ the one that is reached.
# %%
figures_ramps.steps(trapezoid[13:], first=13)
# %% [markdown] tags=["worked"]
# ### Worked example: the move of 24 mm
#
# The distance would allow $\sqrt{a D}$, <!--= 1e3 * (3e-3 * 24e-3) ** 0.5:.3g --> mm/s. That is more than 6 mm/s, so $v_p$ is 6 mm/s. Each ramp takes $v_p / a$, that is 2 s, and 6 mm. The cruise takes 2 s for the other 12 mm. Sum: 6 s.
# %% [markdown]
# ### Exercise 1: reached or not? (about 7 minutes)
#
# A move of 1 mm may use 8 mm/s and 20 mm/s². Which speed does it reach, and how long does it take? Fill the blanks with texts that name a unit, or bare numbers in SI.
# %% tags=["exercise", "faded"]
way_of_both_ramps = blank  # v**2 / a, to be compared with 1e-3 m
answer_1a = blank  # the highest speed, such as "5 mm/s"
answer_1b = blank  # the duration, such as "0.9 s"

print(check(answer_1a, "triangle_speed"))
print(check(answer_1b, "triangle_time"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# Both ramps to 8 mm/s would need <!--= 1e3 * 8e-3**2 / 20e-3:.2g --> mm. That is more than 1 mm: a triangle.
#
# ```python
# answer_1a = (20e-3 * 1e-3) ** 0.5  # m/s
# answer_1b = 2 * answer_1a / 20e-3  # s
# ```
#
# That is <!--= 1e3 * ramps.trapezoid(1e-3, 8e-3, 20e-3).peak_speed:.3g --> mm/s and <!--= ramps.trapezoid(1e-3, 8e-3, 20e-3).duration:.3g --> s.
#
# </details>
# %% [markdown]
# ## Softer ramps (about 10 minutes)
#
# The acceleration of a trapezoid jumps four times. Softer ramps let it rise and fall. How fast it does so is the **jerk**. Ramps are named by the shape of their acceleration:
#
# - **rectangle**: that of the trapezoid
# - **triangle**: straight up, straight down; with a flat top between, the move is **jerk-limited**
# - **half-sine**: one arch; **versed-sine**: a whole wave, lifted until it starts from zero
#
# Two kinds of move have no cruise: **cycloidal** (one sine wave) and **minimum-jerk**.
#
# ### The least jerk, derived
#
# Which move has the least mean square jerk? Its acceleration is a cubic. Four constants want four conditions.
# %%
figures_ramps.steps(ramps.derivation("minimum-jerk")[:11])
# %% [markdown]
# The other kinds go the same way; try `ramps.derivation("half-sine")`. The jerk-limited move has three pieces in each ramp: acceleration up in the time $t_j$, constant for $t_a$, down in $t_j$.
# %%
figures_ramps.steps(ramps.derivation("jerk-limited")[16:22])
# %% [markdown]
# ### Predict: same way, same time
#
# Six moves of 24 mm in 6 s; where there are ramps, each takes 2 s. Which kind gets by with the lowest peak acceleration? And where could you tell the six apart: by position, speed or acceleration?
# %%
moves = {
    "trapezoid": whole,
    "jerk-limited": ramps.s_curve(24e-3, speed, acceleration=4.5e-3, jerk=6.75e-3),
    "half-sine": ramps.ramps_by_time(24e-3, 2.0, duration=6.0, shape="half-sine"),
    "versed-sine": ramps.ramps_by_time(24e-3, 2.0, duration=6.0, shape="versed-sine"),
    "cycloidal": ramps.cycloidal(24e-3, 6.0),
    "minimum-jerk": ramps.minimum_jerk(24e-3, 6.0),
}
figures_ramps.profiles(list(moves.values()), list(moves))
# %% [markdown]
# <details><summary>Explain: the trapezoid, and the lowest row</summary>
#
# The positions look alike. The accelerations do not: every kind goes beyond the dotted lines, which are the trapezoid's. Softness costs peak acceleration, because the corners are missing. The last two also pay with a higher speed.
#
# </details>
#
# The same peaks as numbers. *In the picture* is what a viewer feels: the change of the picture's speed from one video frame to the next. The last column is the torque asked of the motor.
# %%
print("move           speed  acceleration    jerk  in the picture  torque")
print("                mm/s        mm/s^2  mm/s^3      px/frame^2    mN m")
for name, move in moves.items():
    felt = screen.image_acceleration(move.peak_acceleration, **picture, frame_rate=24)
    torque = torque_needed(bench, move.peak_speed, move.peak_acceleration)
    print(f"{name:<13} {move.peak_speed * 1e3:6.2f} {move.peak_acceleration * 1e3:13.2f} {move.peak_jerk * 1e3:7.2f}"
          f" {felt:15.2f} {torque * 1e3:7.2f}")
# %% [markdown]
# The jerk of the trapezoid is infinite (inf): its acceleration jumps. The torque hardly depends on such gentle ramps: friction takes <!--= 1e3 * torque_needed(bench, speed, 0.0):.3g --> mN m of it. A ramp of <!--= 1e3 * period:.3g --> ms would ask for <!--= 1e3 * torque_needed(bench, speed, speed / period):.3g --> mN m.
#
# ### Exercise 2: a calm start (about 8 minutes)
#
# A minimum-jerk move goes over 24 mm, with the same picture at 24 frames per second. Choose a duration for which the picture's speed changes by 0.9 to 1 px/frame². Hint: the table has this move in 6 s. What happens to the acceleration when it takes twice as long?
# %% tags=["exercise", "free"]
answer_2 = blank  # such as "12 s"

check(answer_2, "calm_duration")
# %% [markdown]
# <details><summary>Solution</summary>
#
# Twice the time: half the speed, and twice the time for it. That is a quarter of the acceleration. So the time grows by the root of <!--= screen.image_acceleration(moves["minimum-jerk"].peak_acceleration, **picture, frame_rate=24):.3g -->.
#
# ```python
# answer_2 = 6.0 * 1.83 ** 0.5  # s
# ```
#
# That is <!--= 6 * screen.image_acceleration(moves["minimum-jerk"].peak_acceleration, **picture, frame_rate=24) ** 0.5:.2f --> s, or a little more.
#
# </details>
# %% [markdown]
# ## What a ramp leaves ringing (about 13 minutes)
#
# A ramp of 2 s leaves hardly any ring. But a stack has hundreds of moves: there, ramps are as short as the camera allows.
#
# ### Two knocks
#
# The beginning of a constant acceleration is a knock, its end the opposite knock. Each starts a ring. Here is what the two make together:
# %%
figures_ramps.two_knocks(speed, **rig)
# %% [markdown]
# A ramp of half a period: the two rings add. Of a whole period: they are opposite, and nearly cancel. **A ramp that lasts whole periods of the rig leaves little.**
#
# ### Predict: longer is calmer?
#
# What does a ramp of 1.5 periods leave: less than that of one period, the same, or more?
# %%
for count in (0.5, 1, 1.5, 2, 2.5):
    ring = vibration.ramp_residual(acceleration=speed / (count * period), ramp_time=count * period, **rig)
    print(f"{count:3g} periods, {count * period * 1e3:4.1f} ms: {ring * 1e6:5.2f} um, {swing(ring):4.2f} px in the picture")
# %% [markdown]
# <details><summary>Explain: much more</summary>
#
# At 1.5 periods the two rings are in step again. Longer is calmer on the whole, with dips on the way.
#
# </details>
#
# ### What damping leaves
#
# Why *nearly*? When the second knock comes, the first ring has decayed a little, so the second finds less than it would cancel. These are the best ramps of constant acceleration:
# %%
times, left = vibration.whole_period_ramps(speed, **rig)
for count, (time, ring) in enumerate(zip(times, left), start=1):
    print(f"{count} period{'s' * (count > 1)}, {time * 1e3:5.2f} ms: {ring * 1e6:.2f} um left, {ring / jump:.1%} of the ring of a jump")
# %% [markdown]
# So a whole-period ramp leaves <!--= left[0] / jump:.1% --> of the jump's ring on this rig, never none. More periods hardly help: damping sets the floor. And this is one mode: the bench's stand rings at <!--= bench.stand.natural_frequency:g --> Hz as well.
#
# ### Softer shapes
#
# The other shapes have dips at other places (without damping: printed in Harris' Shock and Vibration Handbook, chapter 8):
# %%
figures_ramps.ring_left(speed, **rig)
# %% [markdown]
# The triangle's dip at two periods is deep and wide: it is two cancellations in one. A wide dip forgives a natural frequency that you measured badly. The price is the longer ramp.
#
# ### Predict: four moves of a slider
#
# Write down what you expect, then try, one after the other:
#
# 1. **ramp time in periods** to **2**: what does the lower picture show after the shaded ramp?
# 2. *Shape* to 2, the triangle: more or less?
# 3. **damping ratio** to **0**: does the dip grow deeper or flatter? And with 0.1?
# 4. Back to the start values, then **natural frequency** to **24 Hz**: twice or four times the ring?
# %%
panels_ramps.ringing.show(speed=speed, **rig)
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. The ring shrinks from <!--= 1e6 * vibration.ramp_residual(speed / (1.5 * period), 1.5 * period, **rig):.3g --> µm to <!--= 1e6 * vibration.ramp_residual(speed / (2 * period), 2 * period, **rig):.2g --> µm.
# 2. Far less: <!--= 1e6 * figures_ramps.ramp_ring("triangle", 2 * period, speed, **rig):.2g --> µm.
# 3. Without damping the dip goes down to nothing, but any ring never dies. With 0.1 the dip is flat, and every ring is short.
# 4. Twice: at the same number of periods the ring goes with one over the frequency.
#
# </details>
# %% [markdown]
# ### Exercise 3: a short ramp (about 10 minutes)
#
# Another rig rings at 40 Hz with a damping ratio of 0.02. It goes to 5 mm/s by constant acceleration. The magnification is 2, the pixel pitch 4 µm. Choose a ramp time of at most 90 ms after which the picture swings by at most 0.5 px, peak to peak. Several are right.
# %% tags=["exercise", "free"]
answer_3 = blank  # such as "60 ms"

check(answer_3, "ramp_time")
# %% [markdown]
# <details><summary>Solution</summary>
#
# A period lasts 1/40 s, 25 ms. Whole periods below 90 ms:
#
# ```python
# answer_3 = "50 ms"  # 25 ms and 75 ms do it as well
# ```
#
# With 50 ms, <!--= vibration.image_vibration(vibration.ramp_residual(0.1, 0.05, 40, 0.02), 2, 4e-6):.2g --> px are left. A ramp of 60 ms is longer and leaves <!--= vibration.image_vibration(vibration.ramp_residual(5e-3 / 0.06, 0.06, 40, 0.02), 2, 4e-6):.2g --> px.
#
# </details>
# %% [markdown]
# ## Mistakes people make
#
# - **The sum for trapezoids used for every move.** $D / v + v / a$ holds where the speed is reached. Compare $D$ with $v^2 / a$ first; stacks are mostly triangles.
# - **Soft taken for weak.** In the same time a soft ramp has a *higher* peak acceleration.
# - **Longer taken for calmer.** A ramp of 1.5 periods rings more than one of a single period.
# - **Ramps judged by the position.** It looks alike for all. Ringing comes from the acceleration.
# - **"Whole periods leave no ring."** Damping leaves some, and a natural frequency is never known exactly.
# - **The distance of the ramps forgotten.** Inside the marks it is lost to the cruise. Outside it needs more rail.
# %% [markdown]
# ## What to remember
#
# 1. A ramp covers half the way of full speed in its time. Both ramps use up $v^2 / a$; a shorter move is a triangle and reaches $\sqrt{a D}$.
# 2. Peak acceleration goes with distance over time squared. Judge it in px/frame².
# 3. A ramp is a knock and its opposite. At whole periods they nearly cancel; what is left is set by the damping. The triangle at two periods leaves far less.
#
# Try a new ramp first without camera and subject, with fingers, hair and cords away from the carriage.
# %% [markdown]
# ## Next
#
# A controller does not know ramps, only the times of pulses. The next lesson makes them: [Pulses and timers](04-pulses-and-timers.ipynb).
