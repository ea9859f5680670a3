# %% [markdown]
# # The pulse ceiling
#
# Estimated time: 35 minutes reading, 20 minutes exercises.
#
# A small controller makes pulses, and between two pulses it must find out when the next one is due. That takes time. When there is too little of it, a rail does not go a bit slower: its motor stops dead. This lesson shows where the time goes, and why the program matters more than the processor.
#
# It is for people who choose or program a controller. All cycle counts here were **recorded** once, with a compiler and in a simulator of an 8-bit controller. The pages show the record, so that they look the same on every machine. Nothing was measured on a real chip. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute the pulse ceiling of a program from its cycles (exercise 1)
# 2. tell a stall at the ceiling from a motor that is too weak (exercise 2)
# 3. choose microsteps for a top speed and a program (exercise 3)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | intervals, timers, ticks | needed | [Pulses and timers](04-pulses-and-timers.ipynb) |
# | travel for one pulse, microsteps | needed | [From turns to travel](01-from-turns-to-travel.ipynb) |
# | programming a controller | helps | not needed here |
#
# The rail is the invented bench rig of the other lessons.
# %%
import numpy as np
from IPython.display import Math, Markdown

from macrolib import read_rig
from macrolib.controller import pieces
from macrolib.controller.header import RECORDED
from macrolib.formula import working
from macrolib.physics import pulses, ramps, transmission
from macrolib.show import figures_controller, panels_controller
from macrolib.show.style import say
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/04b-the-pulse-ceiling.toml")
bench = read_rig("../data/rigs/bench-screw.toml")
programs, tools = RECORDED["programs"], RECORDED["made_with"]
clock = 16e6
print(f"recorded with avr-gcc {tools['compiler']} and {tools['simulator']}")
# %% [markdown]
# ## What one operation costs (about 6 minutes)
#
# The processor takes 16 million steps a second; one step is a **cycle**. It has 8 bits, so it works on one byte at a time. A number of 32 bits has four of them, and each must be fetched, worked on, and put back.
#
# ### Predict: adding and dividing
#
# Adding two whole numbers of 32 bits takes about 30 cycles. How many does dividing them take?
#
# - A: about as many
# - B: about four times as many, one for each byte
# - C: about twenty times as many
# %%
figures_controller.operations()
# %% [markdown]
# <details><summary>Explain: C</summary>
#
# The processor adds in hardware, byte by byte. It has no hardware to divide. It divides as on paper, one binary digit after the other, and it compares and subtracts for each of the 32 digits.
#
# Floats are numbers with an exponent. This processor has no hardware for them either, so even adding them is dear. But their dividing is cheaper than that of whole numbers: only 24 digits.
#
# </details>
# %% [markdown]
# The last bar is a surprise to many. Turning one number into text takes <!--= RECORDED["operations"]["float to text"] --> cycles, <!--= 1e3 * RECORDED["operations"]["float to text"] / clock:.2f --> ms. A display asks for that many times a second.
# %% [markdown]
# ## From cycles to a ceiling (about 5 minutes)
#
# The **pulse ceiling** is the most pulses a second that a program keeps up. When a pulse takes $n$ cycles of a clock $f_c$, at most $f_c / n$ pulses fit into a second. Worked for the program that divides once a pulse:
# %% tags=["worked"]
Math(working(pulses.pulse_ceiling, processor_frequency=clock, cycles_per_pulse=float(programs["division"]["longest"])))
# %% [markdown]
# The *longest* way through the program counts, not the mean. One late pulse is enough to lose a step.
#
# The count begins when the timer asks and ends when the program goes back to sleep. The data sheet of the chip gives 4 cycles to enter an interrupt and 4 to leave it.
#
# There is a second way to find a ceiling: run the whole ramp, look whether each pulse is on time, and halve the distance between a speed that works and one that does not. It gave <!--= programs["division"]["found"] / 1e3:.3g --> kHz here: a little more, for the longest way does not come at each pulse.
# %% [markdown]
# ### Exercise 1: a faster division (about 5 minutes)
#
# Somebody writes a better division. The longest way through the program is now 640 cycles, at 16 MHz. What is its ceiling?
# %% tags=["exercise", "faded"]
cycles = blank  # of the longest way through the program
answer_1 = blank  # the clock over these cycles, such as "12 kHz"

check(answer_1, "ceiling")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# cycles = 640
# answer_1 = 16e6 / cycles  # pulses/s
# ```
#
# That is <!--= pulses.pulse_ceiling(16e6, 640) * 1e-3:.3g --> kHz.
#
# </details>
# %% [markdown]
# ## Six programs (about 7 minutes)
#
# Six programs make the same ramp on the same controller. They differ in how they find the next interval.
#
# | program | how it finds the next interval |
# |---|---|
# | one speed, nothing computed | it does not: the interval is always the same |
# | straight pieces, additions | adds one number to the interval before |
# | a division a pulse | the recurrence of the lesson before, remainder carried |
# | floats in an interrupt | a square root at each pulse, when the timer asks |
# | floats in a loop | the same, but a loop asks the clock over and over |
# | floats in a loop, and a display | the loop also writes two numbers ten times a second |
# %% [markdown]
# ### Predict: how far apart
#
# From the slowest of the five that make a ramp to the fastest: how much faster?
#
# - A: about twice
# - B: about eight times
# - C: about a hundred times
# %%
figures_controller.ceilings()
# %% [markdown]
# <details><summary>Explain: B</summary>
#
# Same processor, same clock, same ramp. The square root and the divisions make the difference. Whoever takes them out of the loop gets <!--= programs["pieces"]["pulses_per_second"] / programs["polled, display"]["pulses_per_second"]:.1f --> times the pulses.
#
# </details>
# %% [markdown]
# It is common practice, with no source, to count on about 8000 pulses a second from a small controller that also serves a display. The two polled programs lie on both sides of that figure. But theirs is a mean rate. With the display each pulse comes within one interval of its time only up to <!--= programs["polled, display"]["found"] / 1e3:.2g --> kHz.
# %% [markdown]
# ### Additions only
#
# How can a ramp be made by additions? Plot the interval against the number of the pulse. It is a smooth curve, so short pieces of it are nearly straight. On a straight piece each interval differs from the one before by the *same* amount. A computer cuts the curve into pieces before the move. The controller adds.
# %%
move = ramps.trapezoid(distance=24e-3, speed=6e-3, acceleration=3e-3)
travel = transmission.travel_per_pulse(bench.travel_per_turn, bench.pulses_per_turn)
made = pieces.fit(move, travel)
late = np.cumsum(pieces.intervals(made)) / pieces.TIMER - pulses.pulse_times(move, travel)
print(f"{made.pulses} pulses in {len(made.pieces)} pieces")
print(f"each pulse within {1e6 * np.abs(late).max():.1f} µs, which is {1e9 * move.peak_speed * np.abs(late).max():.0f} nm at full speed")
# %% [markdown]
# The fraction of a tick is carried on, and each piece ends when its last pulse is due. So no error grows. The kind of ramp does not matter: a jerk-limited ramp has pieces, too.
# %% [markdown]
# ## Above the ceiling (about 5 minutes)
#
# ### Predict: a quarter too fast
#
# The program with divisions keeps up <!--= programs["division"]["pulses_per_second"] / 1e3:.3g --> kHz. We ask it for 20 kHz. What happens?
#
# - A: it makes about 16 kHz and arrives late
# - B: some pulses come a little late
# - C: the pulses stop, again and again
# %%
figures_controller.above_the_ceiling()
# %% [markdown]
# <details><summary>Explain: C</summary>
#
# The timer compares its counter with the tick at which the next pulse is due. If the program sets that tick too late, the counter has passed it already. It must go round once: 65 536 ticks of half a microsecond.
#
# For that time there is no pulse. A motor at full speed cannot stand still between two pulses. It loses its place.
#
# </details>
# %%
record = RECORDED["above_the_ceiling"]
print(f"asked for {record['wanted']} pulses a second, {1e6 / record['wanted']:.0f} µs apart")
print(f"between most pulses {1e6 * np.median(record['gaps']):.1f} µs, then a hole of {1e3 * max(record['gaps']):.1f} ms")
# %% [markdown]
# A hum, a knock, and a carriage in the wrong place: it looks like a motor that is too weak. There is a test. Halve the microsteps and keep the speed. If it runs now, it was the ceiling, for the motor has the same work as before.
# %% [markdown]
# ### Exercise 2: motor or ceiling? (about 7 minutes)
#
# A rail loses its place above 6 mm/s, with 32 microsteps. Suppose that the pulse ceiling is to blame. At which speed would it lose its place with 8 microsteps?
# %% tags=["exercise", "free"]
answer_2 = blank  # such as "9 mm/s"

check(answer_2, "blame")
# %% [markdown]
# <details><summary>Solution</summary>
#
# The ceiling stays. A quarter of the microsteps makes each pulse four times as long.
#
# ```python
# answer_2 = 6e-3 * 32 / 8  # m/s
# ```
#
# If it still fails at 6 mm/s, the motor is too weak for what it drives, or this speed shakes it.
#
# </details>
# %% [markdown]
# ## Pulses and a display (about 3 minutes)
#
# A display is slow. Whoever writes to it waits. Two programs make 4000 pulses a second and write to a display meanwhile. In one the loop makes the pulses, in the other an interrupt does.
#
# ### Predict: who is late
#
# Do both send late pulses?
# %%
shown = RECORDED["with_display"]
print(f"a pulse is due every {1e3 / shown['rate']:.2f} ms")
print(f"pulses from the loop:      longest gap {1e3 * shown['polled_longest_gap']:.2f} ms")
print(f"pulses from the interrupt: gaps differ by {1e6 * shown['interrupt_jitter']:.2f} µs")
# %% [markdown]
# <details><summary>Explain: only the loop</summary>
#
# The interrupt breaks into whatever the loop is doing, even into waiting for the display. The loop is busy for most of a millisecond and misses several pulses.
#
# So the question is not whether a controller has a display. It is who makes the pulses.
#
# </details>
# %% [markdown]
# ## Microsteps against top speed (about 4 minutes)
#
# Speed is travel for one pulse times pulses a second. Twice the microsteps halve the travel for one pulse, and with it the top speed. Plans use a share of the ceiling, 80 % unless the shot says otherwise, and keep the rest as reserve.
# %%
rows = ["| microsteps | one pulse | additions | divisions | floats, display |", "|---|---|---|---|---|"]
for microsteps in (4, 16, 64):
    one = transmission.travel_per_pulse(bench.travel_per_turn, 200 * microsteps)
    tops = [say(0.8 * programs[n]["pulses_per_second"] * one, "mm/s") for n in ("pieces", "division", "polled, display")]
    rows.append(f"| {microsteps} | {say(one, 'um')} | {' | '.join(tops)} |")
Markdown("\n".join(rows))
# %% [markdown]
# ### Predict: two moves of a slider
#
# Write down what you expect, then try:
#
# 1. **microsteps** from 16 to **64**: how many programs still make 10 mm/s?
# 2. Back to 16, then **travel for one turn** to **8 mm**: how many now?
# %%
panels_controller.top_speed.show(travel_per_turn=bench.travel_per_turn)
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. Only the one that computes nothing, and so makes no ramp.
# 2. All of them. But a pulse is four times as long as before. For a stack at high magnification that may be too coarse.
#
# </details>
# %% [markdown]
# ### Exercise 3: choose the microsteps (about 8 minutes)
#
# A screw has 2 mm travel for one turn, its motor 200 full steps. The return run shall go at 15 mm/s. The program keeps up 16 kHz, and you use 80 % of it. One pulse may move at most 2 µm. Which microsteps do you set?
# %% tags=["exercise", "free"]
answer_3 = blank  # a number of microsteps, such as 32

check(answer_3, "microsteps")
# %% [markdown]
# <details><summary>Solution</summary>
#
# 80 % of 16 kHz are <!--= 0.8 * 16:.1f --> kHz. With 8 microsteps a pulse is <!--= 1e6 * transmission.travel_per_pulse(2e-3, 1600):.3g --> µm and the rate <!--= transmission.pulse_rate(15e-3, 2e-3, 1600) * 1e-3:.3g --> kHz. With 16 it is too fast, with 4 too coarse.
#
# ```python
# answer_3 = 8
# ```
#
# </details>
# %% [markdown]
# ## Would a larger processor help? (about 2 minutes)
#
# A processor of 32 bits divides in hardware. The same programs, compiled for two of them, were run once in another emulator. It counts instructions, not cycles, so the numbers compare with each other only.
#
# | program | processor of 32 bits | instructions for one interval, about |
# |---|---|---|
# | straight pieces | without hardware for floats | 15 |
# | table of the ramp | without hardware for floats | 15 |
# | a division a pulse | without hardware for floats | 17 |
# | floats, root and division | with hardware for floats | 18 |
#
# There it hardly matters how the interval is computed. On 8 bits it decides.
# %% [markdown]
# ## Mistakes people make
#
# - **More microsteps taken for more precision at no price.** Each doubling halves the top speed.
# - **A stall at the ceiling blamed on the motor.** A stronger motor stalls at the same speed.
# - **The timer's clock taken for the processor's.** A timer may count every eighth step of the processor.
# - **The mean taken for the ceiling.** One pulse that comes too late is enough.
# - **Numbers shown while the loop makes the pulses.** Show them before and after the move, or let an interrupt make the pulses.
# - **The ceiling used to the last pulse.** Switches, a second axis and a clock need time, too.
# %% [markdown]
# ## What to remember
#
# 1. The ceiling is the clock over the cycles of the longest way through the program.
# 2. Above the ceiling pulses do not come late. They stop for a whole turn of the counter. Halve the microsteps: a stall at the ceiling goes, a motor that is too weak stays.
# 3. Top speed is the ceiling times the travel for one pulse: microsteps are paid for with speed.
# 4. Divisions, roots and floats are dear on 8 bits; additions are cheap.
#
# Try a new top speed with nothing in front of the lens and the switch of the drive power within reach: a motor that loses its place moves the carriage to where nobody expects it.
# %% [markdown]
# ## Next
#
# The worksheet [Send it to a controller](../design/send-it-to-a-controller.ipynb) writes a plan as a header for the program of additions. The next lesson asks what the motor must give: [Torque and inertia](05-torque-and-inertia.ipynb).
