# %% [markdown]
# # Entry quiz
#
# Seven questions, ten minutes. Nobody is graded. The quiz shows you and the person who teaches what to spend time on. You know half of it? Then you are in the right place.
#
# Put your answers where `blank` stands and run the cell. It answers at once.
# %%
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/entry-quiz.toml")
# %% [markdown]
# ## Exercise 1: numbers and units
#
# 1. A carriage travels 12 mm in 8 s. What is its speed?
# 2. A screw turns 5 times in a second. How often in a minute?
# 3. A seed 2 mm long is photographed at three times life size. How long is its image on the sensor?
# %% tags=["exercise"]
answer_1a = blank  # such as "3 mm/s"
answer_1b = blank  # such as "50 1/min"
answer_1c = blank  # such as "3 mm"

print(check(answer_1a, "speed"))
print(check(answer_1b, "turning"))
print(check(answer_1c, "image"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_1a = 12e-3 / 8  # m/s
# answer_1b = "300 1/min"
# answer_1c = 3 * 2e-3  # m
# ```
#
# </details>
# %% [markdown]
# ## Exercise 2: half, and half again
#
# A swing has half its size after one second. Which share of its first size is left after three seconds?
# %% tags=["exercise"]
answer_2 = blank  # a number, such as 0.7

check(answer_2, "decay")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_2 = 0.5**3
# ```
#
# </details>
# %% [markdown]
# ## Exercise 3: what do you expect?
#
# 1. A motor makes 256 small pulses of a step in place of 16. The carriage's place becomes: A, sixteen times as exact. B, less exact. C, finer to set, not so much more exact.
# 2. You close the aperture of a lens further and further. The whole picture becomes: A, deeper, and at some point softer everywhere. B, sharper and sharper. C, deeper, and nothing else.
# 3. A carriage creeps at 1 mm/s. A finger between carriage and end stop is: A, safe, it is slow. B, in danger, a screw pushes with great force. C, safe, the motor is small.
# %% tags=["exercise"]
answer_3a = blank  # "A", "B" or "C"
answer_3b = blank
answer_3c = blank

print(check(answer_3a, "exact"))
print(check(answer_3b, "aperture"))
print(check(answer_3c, "finger"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_3a, answer_3b, answer_3c = "C", "A", "B"
# ```
#
# </details>
# %% [markdown]
# ## For the person who teaches
#
# Ask for a show of hands for each question. Many wrong in exercise 1: spend ten more minutes on units in the first lesson. Many wrong in exercise 2: do the derivation of the wait on the board. Exercise 3 holds three beliefs that lessons 02, 07 and the safety talk answer. Ask them again at the end.
