# %% [markdown]
# # Exit quiz
#
# Seven questions, fifteen minutes, without the lessons beside you. The formula sheet is allowed.
#
# Put your answers where `blank` stands and run the cell. It answers at once.
# %%
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/exit-quiz.toml")
# %% [markdown]
# ## Exercise 1: the drive
#
# A screw travels 4 mm in a turn. The motor makes 200 full steps, the driver 16 microsteps. The pulse ceiling is 20 kHz.
#
# 1. How far does the carriage travel for one pulse?
# 2. How fast can it be at the ceiling?
# %% tags=["exercise"]
answer_1a = blank  # such as "2 um"
answer_1b = blank  # such as "10 mm/s"

print(check(answer_1a, "pulse"))
print(check(answer_1b, "top_speed"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_1a = 4e-3 / (200 * 16)  # m
# answer_1b = answer_1a * 20e3  # m/s
# ```
#
# </details>
# %% [markdown]
# ## Exercise 2: the picture
#
# 1. A lens is set to f/4 at a magnification of 2. Its pupil ratio is 1. What is the effective f-number?
# 2. A subject is 2 mm deep. One frame is sharp over 50 µm, neighbours shall overlap by a fifth, both ends shall be in focus. How many frames?
# %% tags=["exercise"]
answer_2a = blank  # a number
answer_2b = blank  # a whole number

print(check(answer_2a, "effective"))
print(check(answer_2b, "frames"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_2a = 4 * (1 + 2 / 1)
# answer_2b = 2e-3 / (0.8 * 50e-6) + 1
# ```
#
# </details>
# %% [markdown]
# ## Exercise 3: what do you expect now?
#
# 1. 256 microsteps in place of 16. The carriage's place becomes: A, finer to set, not so much more exact. B, sixteen times as exact. C, less exact.
# 2. At 1:1 you wait 1 s after a move. At 2:1 you wait: A, the same. B, twice as long. C, a fixed time longer.
# 3. The power fails. A camera on an upright rail with a steep screw: A, stays, a motor holds. B, comes down unless a brake or a counterweight holds it. C, stays, every screw locks itself.
# %% tags=["exercise"]
answer_3a = blank  # "A", "B" or "C"
answer_3b = blank
answer_3c = blank

print(check(answer_3a, "exact"))
print(check(answer_3b, "wait"))
print(check(answer_3c, "falls"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_3a, answer_3b, answer_3c = "A", "C", "B"
# ```
#
# </details>
