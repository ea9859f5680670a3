# %% [markdown]
# # Pulses and timers
#
# Estimated time: 40 minutes reading, 20 minutes exercises.
#
# A controller does not know ramps. It sends pulses, and all that it decides is *when*. This lesson turns a ramp into the times of its pulses. Then it follows what a small controller makes of them: short cuts, whole numbers, and a ramp that stops growing long before its speed.
#
# It is for people who program a controller, or want to see why a rail is slower than they set. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute when a pulse of a ramp is due (exercise 1)
# 2. estimate the error of place that rounded intervals make (exercise 2)
# 3. choose a timer that neither overflows nor stalls (exercise 3)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | travel for one pulse | needed | [From turns to travel](01-from-turns-to-travel.ipynb) |
# | trapezoid, ramp, acceleration | needed | [Ramps, derived](03-ramps-derived.ipynb) |
# | programming a controller | helps | not needed here |
#
# The move of the last lesson, on the invented bench rig: 24 mm, at most 6 mm/s and 3 mm/s². Its ramp takes 2 s.
# %%
import numpy as np
import sympy
from IPython.display import Math

from macrolib import read_rig
from macrolib.formula import working
from macrolib.physics import pulses, ramps, transmission
from macrolib.show import figures_ramps, panels_ramps
from macrolib.teach import blank, exercises
from macrolib.units import show

check = exercises("../data/exercises/04-pulses-and-timers.toml")
bench = read_rig("../data/rigs/bench-screw.toml")
move = ramps.trapezoid(distance=24e-3, speed=6e-3, acceleration=3e-3)
travel = transmission.travel_per_pulse(bench.travel_per_turn, bench.pulses_per_turn)
print(f"{bench.name}: {show(travel, 'um')} for one pulse, {move.distance / travel:.0f} pulses for the move")
# %% [markdown]
# ## When is a pulse due? (about 9 minutes)
#
# We want a smooth line; a pulse makes a stair. The stair is best placed when the line passes its middle: half a pulse too early, half a pulse too late. So **pulse $k$ is due when the travel passes $k - 1/2$ pulses**.
#
# ### Predict: the first twelve
#
# The acceleration is constant. How do the intervals between the pulses shrink?
#
# - A: by the same time at each pulse
# - B: much at first, then less and less
# - C: by half at each pulse
# %%
figures_ramps.pulse_train(move, travel, count=12)
# %% [markdown]
# <details><summary>Explain: B</summary>
#
# Travel grows with the square of time, so time grows with the root of travel. A root is steep at its beginning. Answer A would be a constant change of *time*, but it is the speed that changes by the same amount in each second.
#
# </details>
# %% [markdown]
# ### Worked example: pulse 2
#
# Its travel $x$ is 1.5 pulses, <!--= 1.5e6 * travel:.4g --> µm. From $x = a t^2 / 2$ follows $t = \sqrt{2 x / a}$, which is <!--= 1e3 * (2 * 1.5 * travel / 3e-3) ** 0.5:.3g --> ms.
#
# The library does this for every kind of ramp. It inverts the position, by a closed form where there is one. Let us see whether the promise of half a pulse holds over the whole move:
# %% tags=["worked"]
times = pulses.pulse_times(move, travel)
wanted = move.position(times) / travel  # in pulses, at the moment of each pulse
stairs = np.arange(times.size)  # pulses that came before
print(f"pulses 1 to 3 are due at {', '.join(f'{1e3 * t:.2f}' for t in times[:3])} ms")
print(f"off by at most {np.max(np.abs([wanted - stairs, wanted - stairs - 1])):.4f} pulses")
# %% [markdown]
# ### Exercise 1: the fifth pulse (about 6 minutes)
#
# A carriage starts with 10 mm/s². It travels 0.5 µm for one pulse. When is pulse 5 due? Fill the blanks.
# %% tags=["exercise", "faded"]
travel_at_pulse_5 = blank  # m
answer_1 = blank  # such as "12 ms"

check(answer_1, "due")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# travel_at_pulse_5 = 4.5 * 0.5e-6  # m
# answer_1 = (2 * travel_at_pulse_5 / 10e-3) ** 0.5  # s
# ```
#
# That is <!--= 1e3 * (2 * 4.5 * 0.5e-6 / 10e-3) ** 0.5:.3g --> ms.
#
# </details>
# %% [markdown]
# ## From one interval to the next (about 10 minutes)
#
# A small controller has no time for a root at every pulse. It has a **timer**, which counts ticks, and needs the next **interval** in ticks. The literature solves this for constant acceleration from rest, with pulse $n$ at a travel of $n$ pulses: then $t_n = \sqrt{2 n / a_n}$, where $a_n$ is the acceleration in pulses per second squared.
#
# An interval over the one before it depends on $n$ alone. Compare its series in $x = 1/n$ with that of a fraction without roots:
# %%
x = sympy.Symbol("x", positive=True)  # one over the number of the pulse
exact = (sympy.sqrt(1 + x) - 1) / (1 - sympy.sqrt(1 - x))
textbook = 1 - 2 / (4 / x + 1)
print("exact:   ", sympy.series(exact, x, 0, 4))
print("textbook:", sympy.series(textbook, x, 0, 4))
# %% [markdown]
# The two agree up to $x^2$, and differ first by $3 / (32 n^3)$. So one division makes each interval $c_n$ from the last:
#
# $$c_n = c_{n-1} - \frac{2 c_{n-1}}{4 n + 1}$$
#
# This **recurrence** is that of an application note on stepper motors (AVR446) and of Austin, *Embedded Systems Programming*, 2005. It holds for constant acceleration from rest.
#
# ### Predict: does the error die out?
#
# We start with the exact first interval. At $n = 1$ the fraction is <!--= 1 - 2 / 5:.2g -->, the exact ratio <!--= 2 ** 0.5 - 1:.2g -->. Later ratios are almost right. What becomes of the intervals: soon right again, or wrong forever?
# %%
pulse_acceleration, timer = 3e-3 / travel, 2e6  # pulses/s^2, ticks per second
ramp = (9700, pulse_acceleration, timer)  # a hundred pulses more than the 9600 of the ramp
right, plain, corrected = (pulses.exact_intervals(*ramp), pulses.recurrence_intervals(*ramp, corrected=False),
                           pulses.recurrence_intervals(*ramp))
print("interval     exact   recurrence           corrected")
for n in (0, 1, 2, 9, 99, 9599):
    print(f"{n + 1:8d} {right[n]:9.1f} {plain[n]:9.1f} {plain[n] / right[n] - 1:+7.2%}"
          f" {corrected[n]:9.1f} {corrected[n] / right[n] - 1:+9.4%}")
# %% [markdown]
# <details><summary>Explain: wrong forever</summary>
#
# Each interval is a share of the last one. What the first ratio spoils, all later intervals inherit: they stay 48 % too long. After the same way the carriage has two thirds of its speed.
#
# </details>
# %% [markdown]
# ### The first interval, corrected
#
# The mend: make the first interval shorter, so that all *later* ones are right. By how much? The recurrence multiplies ratios, and their product has a closed form:
#
# $$\prod_{k=1}^{n} \frac{4k-1}{4k+1} = \frac{\Gamma(n + \tfrac34)\, \Gamma(\tfrac54)}{\Gamma(n + \tfrac54)\, \Gamma(\tfrac34)} \;\to\; \frac{\Gamma(\tfrac54)}{\Gamma(\tfrac34)} \frac{1}{\sqrt n}$$
#
# Exact intervals approach $1 / (2 \sqrt n)$ of the first. So the factor is the quotient of both, $\Gamma(\tfrac34) / (2\, \Gamma(\tfrac54))$. The literature rounds it to 0.676.
# %%
k = np.arange(1, 1000001)
product = np.prod((4 * k - 1) / (4 * k + 1))
print(f"closed form {pulses.FIRST_INTERVAL:.5f}, from a million ratios {1 / (2 * np.sqrt(k.size) * product):.5f}")
# %% [markdown]
# It has a price: the ramp runs early, by a constant half of the factor times the first exact interval. Here that is <!--= 1e3 * pulses.FIRST_INTERVAL / 2 * right[0] / timer:.2g --> ms. A viewer does not see it.
# %% [markdown]
# ## Whole ticks (about 7 minutes)
#
# A timer counts whole ticks. Full speed is 9600 pulses per second. With 2 MHz that makes <!--= timer / 9600:.2f --> ticks, and the timer can do 208.
#
# ### Predict: a small rounding
#
# That is wrong by <!--= 1 - 208 * 9600 / timer:.2% -->. How far off is the carriage after the cruise of 2 s?
#
# - A: nowhere, the errors cancel
# - B: about 20 µm
# - C: about 1 mm
# %%
figures_ramps.rounding(move, travel, timer)
# %% [markdown]
# <details><summary>Explain: B, and the mend</summary>
#
# Equal intervals have equal errors, and those add up: a share of the 12 mm of the cruise. On the ramps every interval differs, and errors do cancel. At the end the carriage stands in the right place, because the pulses are counted. It arrives too early.
#
# The mend costs one addition: carry the fraction that was rounded away to the next interval. Then each pulse stays within half a tick of its time.
#
# </details>
#
# One tick more or less is the finest change of speed. The library calls it the **speed grain**: pulse rate over timer frequency.
# %%
Math(working(pulses.speed_grain, pulse_rate=9600, timer_frequency=timer))
# %% [markdown]
# ### Exercise 2: rounded without carry (about 5 minutes)
#
# At about 9 kHz of pulses and a timer of 2 MHz, each interval is rounded by itself. How far off can the carriage be at most after a cruise of 24 mm?
# %% tags=["exercise", "free"]
answer_2 = blank  # such as "5 um"

check(answer_2, "drift")
# %% [markdown]
# <details><summary>Solution</summary>
#
# Rounding is wrong by half a tick at most, so the speed is wrong by half a grain.
#
# ```python
# answer_2 = 9e3 / 2e6 / 2 * 24e-3  # m
# ```
#
# That is <!--= 1e6 * pulses.speed_grain(9e3, 2e6) / 2 * 24e-3:.2g --> µm.
#
# </details>
# %% [markdown]
# ## Where cutting off stalls (about 9 minutes)
#
# In whole numbers the recurrence subtracts the quotient $2 c / (4 n + 1)$, cut off. Far up the ramp $c$ is small and $n$ is large. Once $2 c < 4 n + 1$, the quotient is 0, and the interval never shrinks again. The ramp **stalls**. Setting both sides equal, with the exact interval, gives the pulse rate ($b$ counts binary places below one tick, none here):
# %%
Math(working(pulses.stall_rate, timer_frequency=timer, pulse_acceleration=pulse_acceleration, fraction_bits=0))
# %% [markdown]
# The stall itself comes about a tenth below. It is a bitter formula: a gentle ramp stalls at a *lower* speed. The cube root means that a timer eight times as fast only doubles it.
#
# ### Predict: five ways, one ramp
#
# The ramp should be at 6 mm/s after 2 s. Five ways of making its intervals: order them by what they do to the place of the carriage, then run the cell.
# %%
ways = {
    "recurrence, first interval exact": plain,
    "recurrence, first interval corrected": corrected,
    "whole ticks, cut off": pulses.integer_intervals(*ramp),
    "the same with 8 binary places": pulses.integer_intervals(*ramp, fraction_bits=8),
    "whole ticks, remainder carried": pulses.integer_intervals(*ramp, carry=True),
}
print(f"{'after 2 s':<38}   speed   off in place")
for name, intervals in ways.items():
    done = np.searchsorted(np.cumsum(intervals) / timer, 2.0)
    print(f"{name:<38} {travel * timer / intervals[done - 1] * 1e3:4.2f} mm/s {1e6 * (done * travel - 6e-3):9.0f} um")
# %% [markdown]
# <details><summary>Explain: who loses millimetres</summary>
#
# The uncorrected start and the stall are off by millimetres. Binary places below one tick lift the stall. Carrying the remainder of each division to the next removes it at the price of one addition. What is left over is ahead, not behind: the early start of the correction, less what whole ticks lose.
#
# </details>
# %% [markdown]
# ### Predict: three moves of a slider
#
# The panel shows the same ramp; the constant early start is taken out. Write down what you expect, then try, one after the other:
#
# 1. **timer frequency** to **16000 kHz**, eight times as fast: how much higher is the stall?
# 2. Back to the start values, then **acceleration** to **24 mm/s^2**: higher or lower?
# 3. Back, then **binary places below one tick** to **8**: is the carriage in its place at the end of the ramp?
# %%
panels_ramps.timer.show(travel_per_pulse=travel)
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. Twice as high, and still short of 6 mm/s.
# 2. Twice as high as well: the cube root of eight.
# 3. It reaches the speed late and is more than 0.1 mm behind. Cut-off quotients err always to the same side.
#
# </details>
# %% [markdown]
# ### Exercise 3: choose the timer (about 9 minutes)
#
# A ramp of 32 000 pulses/s² is to reach 3000 pulses per second. Its divisions are cut off, without binary places. The timer has 16 bits: it counts to 65 535. It runs at 62.5, 250, 2000 or 16 000 kHz. Which one holds the first, longest interval **and** does not stall too early? Mind the tenth.
# %% tags=["exercise", "free"]
answer_3 = blank  # such as "250 kHz"

check(answer_3, "timer")
# %% [markdown]
# <details><summary>Solution</summary>
#
# The first interval takes $\sqrt{2 / a_n}$, <!--= 1e3 * (2 / 32000) ** 0.5:.3g --> ms. At 16 000 kHz that is <!--= pulses.exact_intervals(1, 32000, 16e6)[0]:.0f --> ticks, too many. At 250 kHz the ramp stalls at <!--= 0.9 * pulses.stall_rate(250e3, 32000, 0):.0f --> pulses per second. Between them:
#
# ```python
# answer_3 = "2000 kHz"
# ```
#
# It needs <!--= pulses.exact_intervals(1, 32000, 2e6)[0]:.0f --> ticks and stalls at <!--= 0.9 * pulses.stall_rate(2e6, 32000, 0):.0f --> pulses per second.
#
# </details>
# %% [markdown]
# ## Mistakes people make
#
# - **A pulse at whole pulses of travel.** Then the carriage is behind by up to a whole pulse, and not the same both ways.
# - **The first interval left exact.** All others come out too long.
# - **Rounding taken for harmless.** Equal intervals have equal errors.
# - **A slow ramp blamed on the motor.** If a gentler ramp is slower still, look for a stall in the numbers.
# - **The recurrence used for soft ramps.** It knows constant acceleration only; other ramps need their own times.
# %% [markdown]
# ## What to remember
#
# 1. Pulse $k$ is due at $k - 1/2$ pulses of travel; invert the position to get its time.
# 2. Half a speed grain times the distance is what rounding can do in a cruise. Carry the fraction.
# 3. The slowest interval must fit into the counter, and cut-off divisions stall near the cube root of timer frequency times acceleration. Carry the remainder.
#
# Try a new program with the subject away from the lens and the supply's switch in reach: a wrong interval can send a carriage anywhere.
# %% [markdown]
# ## Next
#
# How many pulses a second can a small controller make? That is [The pulse ceiling](04b-the-pulse-ceiling.ipynb). The worksheet [Plan a stack](../design/plan-a-stack.ipynb) uses pulses and ramps on a whole shot.
