# %% [markdown]
# # Stepping smoothly
#
# Estimated time: 35 minutes reading, 20 minutes exercises.
#
# A stepping motor moves in steps. A film shows them, unless they are small enough. How small is enough? And why do some speeds shake, however small the steps are?
#
# It is for people who choose microsteps and a speed for a filmed move. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute the natural frequency of a rotor, and the speed that its full steps turn into a shake (exercise 1)
# 2. compute the ripple in px that no microsteps take away (exercise 2)
# 3. choose microsteps that are smooth enough for a shot, and not more than the controller keeps up (exercise 3)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | travel per turn, microsteps, pulse ceiling, µm to px | needed | [From turns to travel](01-from-turns-to-travel.ipynb) |
# | a weight on a spring swings at one frequency | needed | any school book |
# | sine | helps | any school book |
#
# The bench rig again: a screw of 2 mm a turn, a motor of 200 full steps. Its values are typical of their kind.
# %%
from IPython.display import Math, display
from numpy import geomspace

from macrolib import plan, read_rig, read_shot
from macrolib.formula import working
from macrolib.physics import stepper
from macrolib.planning.ripple import motor, motor_ripple, natural_frequency, ripple_map
from macrolib.show import figures_ripple as figures
from macrolib.show.figures_ripple import with_motor
from macrolib.show.panels_ripple import motor_ripple as panel
from macrolib.show.style import say
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/02-stepping-smoothly.toml")
bench = read_rig("../data/rigs/bench-screw.toml")
slow = 0.5e-3  # m/s
per_metre = 3.0 / bench.camera.pixel_pitch  # px at the sensor for a metre of travel, at three times life size
print(f"{bench.note}: a full step is {say(bench.travel_per_turn / 200, 'um')} of travel")
# %% [markdown]
# ## Stairs that ring (about 9 minutes)
#
# The carriage shall move at a steady 0.5 mm/s. **Ripple** is what it does beside that: the distance to the steady path, from its highest to its lowest value, **peak to peak**.
#
# ### Predict: four times as fine
#
# A full step of this rig is 10 µm. With 4 microsteps each pulse is 2.5 µm. How large is the ripple with 4 microsteps?
#
# - A: about 2.5 µm, the height of a stair
# - B: about <!--= f"{1e6 * ripple[1]:.2g}" --> µm
# - C: none that can be seen
# %%
settings = (1, 4, 16, 256)
figures.wobble(bench, slow, settings)
# %% [markdown]
# <details><summary>Explain: B, the rotor rings</summary>
#
# The magnets hold the rotor like a spring. A pulse moves the end of that spring, and the rotor swings about its new place before it rests there. Full steps swing to <!--= 1e6 * ripple[0]:.2g --> µm, far more than one stair. With 4 microsteps pulses come at 200 Hz, close to the pace at which the rotor swings by itself. Each pulse pushes at the right moment. Answer A takes the motor for a pointer that jumps and stands.
#
# </details>
#
# These motions are **simulated**: the rotor's equation of motion, driven through the table of currents. The numbers:
# %%
ripple = [motor_ripple(with_motor(bench, n), slow).motor for n in settings]
print("microsteps  ripple     in the picture at 3:1")
for n, travel in zip(settings, ripple):
    print(f"{n:>10}  {say(travel, 'um', 2):<9}  {travel * per_metre:.2g} px")
# %% [markdown]
# ### The rotor's own frequency, derived
#
# The torque on the rotor depends on the angle that it lags behind. With $p_r$ teeth it is a sine that repeats $p_r$ times in a turn:
#
# $$T = T_h \sin(p_r \varphi)$$
#
# For a small lag that is $T_h \, p_r \varphi$: a spring of stiffness $p_r T_h$. A spring of this stiffness and an inertia $J$ swing at $\sqrt{p_r T_h / J}$, an angular frequency. Divided by $2\pi$, and worked for the bench rig:
# %% tags=["worked"]
values = motor(bench)  # at the current that is set
Math(working(stepper.natural_frequency, **{name: values[name] for name in ("rotor_teeth", "holding_torque", "inertia")}))
# %% [markdown]
# The inertia is that of all that moves, seen from the motor. A lower current makes the spring softer.
#
# Whenever something pushes at this pace, the swings grow until damping takes as much as each push gives. With a damping ratio of 0.05, usual for a motor on its driver, they grow to <!--= 1 / (2 * values["damping_ratio"]):.0f --> times what a slow push would do. That is **resonance**.
# %% [markdown]
# ### Exercise 1: where full steps shake (about 7 minutes)
#
# A motor of 200 full steps has 50 teeth and a torque of 0.3 N m at the current that is set. All that moves has an inertia of 90 g cm², that is 90e-7 kg m². The screw travels 4 mm in a turn.
#
# 1. At which frequency does the rotor swing?
# 2. At which speed of the carriage do full steps come at this frequency?
# %% tags=["exercise", "faded"]
stiffness = blank  # teeth times torque, in N m
answer_1a = blank  # such as "100 Hz": the square root of stiffness over inertia, over 2 pi
answer_1b = blank  # such as "5 mm/s"

print(check(answer_1a, "natural"))
print(check(answer_1b, "meets"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# Full steps a second are speed over travel per turn, times 200. Set that equal to the frequency.
#
# ```python
# answer_1a = (50 * 0.3 / 90e-7) ** 0.5 / (2 * 3.14159)  # Hz
# answer_1b = answer_1a * 4e-3 / 200  # m/s
# ```
#
# That is <!--= stepper.natural_frequency(50, 0.3, 90e-7):.4g --> Hz and <!--= stepper.natural_frequency(50, 0.3, 90e-7) * 4 / 200:.3g --> mm/s.
#
# </details>
# %% [markdown]
# ## Where more microsteps stop helping (about 9 minutes)
#
# ### Predict: from 16 to 256
#
# Sixteen times as many pulses. By how much does the ripple fall at 0.5 mm/s?
#
# - A: to a sixteenth
# - B: to less than a sixteenth: the rotor cannot follow pulses that are so quick
# - C: by a few percent
# %%
figures.settings_curve(bench, slow)
# %% [markdown]
# <details><summary>Explain: C for a real motor, B for an ideal one</summary>
#
# The dashed line is a motor without **detent**: B is right for it, and it falls without end. The solid line is the same motor with its detent. It reaches a floor. Answer A forgets that the rotor's inertia smooths quick pulses.
#
# </details>
# %% [markdown]
# ### Detent
#
# Turn the shaft of a motor without current: you feel it click. The teeth pull towards certain places also when no current flows. This **detent** repeats once in each full step. It pulls the rotor ahead, then back, whatever the driver does.
#
# Many data sheets give it. Divided by the torque at the current that is set, it is the **share** of detent. At rest, the rotor is off by this share over the teeth, zero to peak.
# %%
share = values["detent_torque"] / values["holding_torque"]
others = {"gain_mismatch": 0.0, "phase_offset": 0.0, "friction_torque": 0.0}
angle = stepper.position_error(**others, **{n: values[n] for n in ("detent_torque", "holding_torque", "rotor_teeth")})
floor = 2 * stepper.shaft_travel(shaft_angle=angle, travel_per_turn=bench.travel_per_turn)
print(f"share of detent {share:.3f}; at rest off by {say(floor, 'um')} peak to peak, {floor * per_metre:.2g} px at 3:1")
# %% [markdown]
# That is the floor of the picture above, but for a few percent.
#
# ### Why the ideal model misleads
#
# Common practice says: at high magnification 400 pulses a turn shake the picture, 25 600 are smooth. How much smoother? Ask both models.
# %%
coarse_and_fine = (2, 128)  # 400 and 25 600 pulses a turn
for name, detent in (("without detent", 0.0), ("with detent", 1.0)):
    coarse, fine = (motor_ripple(with_motor(bench, n, detent), 1e-3).motor for n in coarse_and_fine)
    print(f"{name:<15} at 1 mm/s: {say(coarse, 'um', 2)} against {say(fine, 'um', 2)}, {coarse / fine:.1e} times as much")
# %% [markdown]
# The ideal motor promises a factor of a million, the real one keeps about fifteen. **Never quote the ideal ratio alone.**
# %% [markdown]
# ### Exercise 2: the floor in px (about 6 minutes)
#
# The motor of exercise 1 has a detent of 12 mN m. The move is sideways, at a magnification of 3 and a pixel pitch of 4 µm. The speed is far below that of exercise 1. By how many px does the picture shake, peak to peak, with as many microsteps as you like?
# %% tags=["exercise", "free"]
answer_2 = blank  # such as "5 px"

check(answer_2, "floor")
# %% [markdown]
# <details><summary>Solution</summary>
#
# The share is 12 over 300. Over 50 teeth that is an angle in radians. A turn is $2\pi$ radians and 4 mm. Peak to peak is twice zero to peak.
#
# ```python
# off = 12e-3 / 0.3 / 50 / (2 * 3.14159) * 4e-3  # m, zero to peak
# answer_2 = 2 * off * 3 / 4e-6  # px
# ```
#
# That is <!--= 2 * stepper.shaft_travel(0.04 / 50, 4e-3) * 3 / 4e-6:.3g --> px.
#
# </details>
# %% [markdown]
# ## Speeds that shake at any setting (about 9 minutes)
#
# The bench rig at other speeds and settings, simulated: it takes a few seconds.
#
# ### Predict: the best setting at the worst speed
#
# At <!--= 1e3 * meets:.3g --> mm/s full steps come at <!--= natural_frequency(bench):.0f --> Hz, the rotor's own frequency. Which setting is smooth at this speed: 16, 256, or none?
# %%
chart = ripple_map(bench, geomspace(0.2e-3, 10e-3, 20), (1, 2, 4, 8, 16, 32, 64, 256))
figures.map_chart(chart, bench)
# %% [markdown]
# <details><summary>Explain: none</summary>
#
# Detent comes with each full step, whatever the setting. At <!--= 1e3 * meets:.3g --> mm/s it meets the rotor's own frequency: a bright column from top to bottom. At 256 microsteps it shakes by <!--= 1e6 * loud:.2g --> µm, <!--= loud * per_metre:.2g --> px at 3:1. Pulses have their resonance too, along the dashed line. Finer settings leave that line behind, the column they do not.
#
# </details>
# %%
meets = natural_frequency(bench) * bench.travel_per_turn / bench.motor.full_steps_per_turn
finest = with_motor(bench, 256)
for speed in (slow, meets, 8e-3):
    found = motor_ripple(finest, speed)
    print(f"{say(speed, 'mm/s'):>10}: {say(found.motor, 'um', 2):>8} with 256 microsteps, by the {found.method}")
loud, quick = (motor_ripple(finest, speed).motor for speed in (meets, 8e-3))
# %% [markdown]
# At 8 mm/s the ripple is small again: inertia smooths what comes quicker than the rotor can swing. So three ways lead off a resonance: **slower, quicker, or another travel per turn.**
#
# Two more speeds to know:
#
# - Where detent is stronger than the damping ratio, swings grow by themselves at **twice** the speed of the column.
# - The camera on its carriage has a frequency of its own, here <!--= bench.carriage.natural_frequency:g --> Hz. Full steps meet it at <!--= bench.carriage.natural_frequency * 2 / 200:.2g --> mm/s. Above that it takes ripple away. At this speed it adds: <!--= 1e6 * soft.motor:.2g --> µm at the motor become <!--= 1e6 * soft.picture:.2g --> µm in the picture.
# %%
soft = motor_ripple(finest, bench.carriage.natural_frequency * bench.travel_per_turn / bench.motor.full_steps_per_turn)
print(f"motor {say(soft.motor, 'um', 2)}, picture {say(soft.picture, 'um', 2)}, by the {soft.method}")
# %% [markdown]
# ## See it and hear it (about 4 minutes)
#
# A point of light crosses the sensor at 0.5 mm/s, three times life size, 24 frames a second, each exposed for half its time. The camera is held stiffly. A smooth move draws the same even bar in each frame.
# %%
figures.point_of_light(bench, slow, (1, 4, 128), magnification=3.0)
# %% [markdown]
# On the left each frame has another bar, long and uneven: a nervous film. On the right only the smear of the move is left.
#
# The ripple can be heard, too. The next cell plays the rotor's speed, one second for each setting. It is off until you set `listen` to `True`. **Turn the volume down first**, above all with headphones.
# %%
listen = False
if listen:
    display(figures.tone(bench, slow, (1, 4, 128)))
else:
    print("The sound is off. It would be full steps, 4 microsteps, 128 microsteps, one second each, all at one loudness.")
# %% [markdown]
# ### Predict: three moves of a slider
#
# Left, ripple against speed; right, against microsteps. The line is a closed form. Where that does not hold, dots come from a stored map of simulations. Write down what you expect, then move one slider at a time, from the start values:
#
# 1. *<!--= label["microsteps"] -->* from 16 to 256: how far does the ring sink?
# 2. *<!--= label["detent_share"] -->* from 0.05 to 0: what happens to the bump of the resonance?
# 3. *<!--= label["damping_ratio"] -->* from 0.05 to 0.25: does the floor sink, or the bump?
# %%
label = {slider.name: slider.label for slider in panel.sliders}
panel.show(microsteps=16, speed=slow, magnification=3.0, pixel_pitch=bench.camera.pixel_pitch)
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. Hardly at all: it stands on the floor already.
# 2. It is gone. What is left with 16 microsteps is the resonance of the pulses, far to the left.
# 3. The bump. Damping takes swings away, and there are none on the floor.
#
# </details>
# %% [markdown]
# ### In a plan
#
# Plans check both. The traverse along the beetle's wing case, on the field rig:
# %%
made = plan(read_shot("../data/shots/wing-case.toml"), read_rig("../data/rigs/field-belt.toml"))
for name in ("ripple of the motor", "speed off the motor's resonances"):
    found = made.check(name)
    print(f"{name}: {found.in_words()}: {found.state}\n  {found.why}")
# %% [markdown]
# The field rig travels 10 mm in a turn, five times as far as the bench rig, and ripple goes with that. For this reason its motor has little detent.
# %% [markdown]
# ### Exercise 3: choose the microsteps (about 7 minutes)
#
# A screw travels 2 mm in a turn of 200 full steps. The torque at the current that is set is 0.3 N m, the detent 15 mN m, the inertia 68 g cm², the damping ratio 0.05. A move at 1 mm/s is filmed at a magnification of 3, pixel pitch 4.4 µm. The picture may shake by 0.8 px, peak to peak. The pulse ceiling is 12 kHz, of which 0.8 may be used.
#
# Choose the microsteps. More than one answer is right.
# %% tags=["exercise", "free"]
answer_3 = blank  # one of 1, 2, 4, 8, 16, 32, 64, 128, 256

check(answer_3, "setting")
# %% [markdown]
# <details><summary>Solution</summary>
#
# 1 mm/s are 100 full steps a second: room for 96 microsteps. The floor is about half a px. At 4 microsteps pulses still add so much that it is more than 0.8 px.
#
# ```python
# answer_3 = 16  # 8, 32 and 64 do it as well
# ```
#
# Near the floor, finer pulses buy nothing. Take the coarsest setting that stands on it: it leaves the controller time.
#
# </details>
# %% [markdown]
# ## Mistakes people make
#
# - **The ideal ratio believed.** A calculation without detent promises thousands. Ask for the floor.
# - **More microsteps against a resonance.** Change the speed first.
# - **Microsteps taken for accuracy.** A fine pulse moves the command. Detent and load decide where the rotor is.
# - **Less current for less noise.** The spring gets softer, the share of detent grows, and the resonance comes lower.
# - **One speed tested.** A ramp passes every speed below its own. A hand-led move may stay at a bad one.
# %% [markdown]
# ## What to remember
#
# 1. A rotor is a weight on a magnetic spring. It swings at $\sqrt{p_r T_h / J} / 2\pi$. Full steps at this pace shake it at any setting.
# 2. Microsteps help until detent sets the floor: share of detent over teeth. Here that is at about 16.
# 3. Choose the coarsest microsteps that stand on the floor, and a speed off the resonances.
#
# What is left out here: friction, which tames large swings, and slack between nut and screw. Measure your own rig before you trust the last digit. Keep fingers, hair and cords away from a moving carriage.
# %% [markdown]
# ## Next
#
# A move has to begin and to end: [Ramps, derived](03-ramps-derived.ipynb). The overview is in [Start here](../00-start-here.ipynb).
