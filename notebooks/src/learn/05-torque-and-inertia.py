# %% [markdown]
# # Torque and inertia
#
# Estimated time: 45 minutes reading, 25 minutes exercises.
#
# A motor turns a screw, the screw lifts a camera. Will the motor be strong enough, also at speed, also in the ramp? And what happens when somebody pulls the plug? This lesson derives what a drive **needs** and what a motor **gives**.
#
# It is for people who choose screw, motor and supply. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute the torque that raises a load, and the torque with which the load turns back (exercise 1)
# 2. compute the inertia that a motor sees, through screw, belt and gear (exercise 2)
# 3. convert a holding torque of a data sheet to the current that is set (exercise 2)
# 4. choose a supply voltage that leaves twice the torque needed at a given speed (exercise 3)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | work is force times way; sine and cosine | needed | any school book |
# | travel per turn, lead and pitch | needed | [From turns to travel](01-from-turns-to-travel.ipynb) |
# | what a ramp is | needed | [Ramps, derived](03-ramps-derived.ipynb) |
#
# The example: a camera on an upright rail, 2.5 kg in all, with screw and motor of the parts catalogue. All is invented; the values are typical of their kind.
# %%
import math

import numpy as np
import sympy
from IPython.display import Math

from macrolib.formula import working
from macrolib.parts import catalogue
from macrolib.physics import power, stepper, symbols, transmission
from macrolib.show import figures_drive
from macrolib.show.panels_drive import torque as panel
from macrolib.show.style import say
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/05-torque-and-inertia.toml")
screw, motor = catalogue("screws")["Tr8x2"], catalogue("motors")["M17-40"]
mass, weight = 2.5, 2.5 * transmission.STANDARD_GRAVITY
print(f"weight {say(weight, 'N')}; motor M17-40: {say(motor.holding_torque, 'N m')} at {say(motor.rated_current, 'A')}")
# %% [markdown]
# ## What a screw needs (about 13 minutes)
#
# ### Predict: how much torque lifts the camera?
#
# In one turn of the screw the camera rises by 2 mm. The motor does the work $2 \pi T$, the camera gets force times way. If nothing rubbed, both would be equal. Which torque does a real screw need?
#
# - A: about 8 mN m, as without friction
# - B: about 20 mN m
# - C: about 100 mN m
# %%
thread = {"mean_diameter": transmission.trapezoidal_thread(screw.diameter, screw.pitch).mean_diameter, "lead": screw.lead,
          "friction": screw.friction, "flank_angle": screw.flank_angle}
ideal = weight * screw.lead / (2 * math.pi)
real = transmission.raising_torque(axial_load=weight, **thread)
print(f"without friction {say(ideal, 'mN m')}, with friction {say(real, 'mN m')}")
# %% [markdown]
# <details><summary>Explain: B, because a fine thread is a long way</summary>
#
# In one turn the nut climbs 2 mm, but it slides and rubs <!--= 1e3 * math.pi * thread["mean_diameter"]:.3g --> mm around the screw.
#
# </details>
# %% [markdown]
# ### The derivation
#
# Unroll one turn of the thread. It is a slope: $\pi d_m$ along, the lead $l$ up, with the mean diameter $d_m$. The nut is a sledge on it. The flank pushes it with a force $N$ across the slope. Friction acts along the slope; because the flank slants by $\alpha$, it is $\mu N / \cos \alpha$. Two balances, one up and one along:
# %%
N, T, along, up = *sympy.symbols("N T"), sympy.pi * symbols.mean_diameter, symbols.lead
grip = symbols.friction / sympy.cos(symbols.flank_angle)  # N over the length of the slope: its sides then stand for cosine and sine
solved = sympy.solve([N * (along - grip * up) - symbols.axial_load, N * (up + grip * along) - T / (symbols.mean_diameter / 2)], [N, T])
print("the library's formula:", sympy.simplify(solved[T] - transmission.raising_torque.expression) == 0)
# %% [markdown]
# So the two balances give, after some tidying:
# %%
Math(transmission.raising_torque.latex)
# %% [markdown]
# The **efficiency** is the ideal torque over the real one. For our screw it is <!--= f"{transmission.screw_efficiency(**thread):.0%}" -->.
#
# ### When the load turns the screw
#
# On the way down friction turns its direction, nothing else changes. What is left at the shaft, over the ideal torque, is the **back efficiency**. Zero or less: the screw **locks itself**.
#
# ### Predict: which of these screws holds the camera with the power off?
#
# Four screws of 8 mm, with leads of 1.5, 2, 4 and 8 mm. Without current the motor resists with its **detent torque**, here <!--= 1e3 * motor.detent_torque:.3g --> mN m. Which ones hold? The table is the worked example: two torques for each screw.
# %% tags=["worked"]
print("screw       efficiency  back efficiency   raising  turns back with")
for name in ("Tr8x1.5", "Tr8x2", "Tr8x4 (P2)", "Tr8x8 (P2)"):
    part = catalogue("screws")[name]
    geometry = {**thread, "mean_diameter": part.diameter - part.pitch / 2, "lead": part.lead}
    back = transmission.back_efficiency(**geometry)
    down = transmission.back_torque(force=weight, travel_per_turn=part.lead, back_efficiency=back)
    print(f"{name:<11} {transmission.screw_efficiency(**geometry):10.0%} {back:16.2f} "
          f"{say(transmission.raising_torque(weight, **geometry), 'mN m'):>9}  {say(down, 'mN m') if down > 0 else 'nothing: it locks'}")
# %% [markdown]
# <details><summary>Explain: the flat ones hold, the steep one falls</summary>
#
# The first two lock. The third barely turns, and the detent holds it. The last one turns back with more than that: **the camera comes down when the power fails.** A plan asks for twice the detent: friction is never known well, and vibration lowers it.
#
# </details>
# %% [markdown]
# An efficient drive falls; one that holds by itself wastes most of its work. Whoever wants both fits a **brake** or a counterweight. Always tether the camera, and let nobody reach below.
#
# ### Exercise 1: a steep screw (about 10 minutes)
#
# A screw Tr12x6 (P3) has a mean diameter of 10.5 mm, half a thread angle of 15 deg and a friction of 0.12. It lifts 2 kg.
#
# 1. Which torque raises the load?
# 2. With which torque does the load turn the screw back, when the power is off?
#
# An answer is a text with its unit, such as `"5 mN m"`, or a bare number in N m.
# %% tags=["exercise", "faded"]
load = blank  # the force, from mass and gravity
answer_1a = blank  # transmission.raising_torque(load, ...)
answer_1b = blank  # transmission.back_torque(load, ...), with transmission.back_efficiency(...)

print(check(answer_1a, "raising"))
print(check(answer_1b, "turning_back"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# load = 2 * 9.81
# answer_1a = transmission.raising_torque(load, 10.5e-3, 6e-3, 0.12, math.radians(15))
# answer_1b = transmission.back_torque(load, 6e-3, transmission.back_efficiency(10.5e-3, 6e-3, 0.12, math.radians(15)))
# ```
#
# That is <!--= 1e3 * transmission.raising_torque(2 * 9.80665, 10.5e-3, 6e-3, 0.12, math.radians(15)):.3g --> mN m and <!--= -1e3 * transmission.lowering_torque(2 * 9.80665, 10.5e-3, 6e-3, 0.12, math.radians(15)):.3g --> mN m: the lowering torque with the other sign.
#
# </details>
# %% [markdown]
# ## What a ramp needs: inertia (about 8 minutes)
#
# What turns has an **inertia** $J$, and the moved mass counts as one. Which? Put the energy of motion equal: $m v^2 / 2 = J \omega^2 / 2$. In one turn, $2 \pi$ radians, the mass moves by $s_1$. So $v = \omega s_1 / 2 \pi$, and
# %%
Math(working(transmission.reflected_inertia, mass=mass, travel_per_turn=screw.lead))
# %% [markdown]
# ### Predict: which of the three is the largest?
#
# The motor turns its own rotor, the screw with its coupling, and the camera of 2.5 kg. Put them in the order of their inertia, seen from the motor.
# %%
seen = {"rotor": motor.rotor_inertia, "screw and coupling": screw.inertia, "camera": transmission.reflected_inertia(mass, screw.lead)}
print("; ".join(f"{what}: {say(inertia, 'g cm^2')}" for what, inertia in seen.items()))
# %% [markdown]
# <details><summary>Explain: the rotor, by far</summary>
#
# The rotor turns fast, the camera moves 2 mm for each turn. With 20 mm for each turn it would count 100 times as much, <!--= 1e7 * transmission.reflected_inertia(mass, 20e-3):.3g --> g cm². The travel counts **squared**.
#
# </details>
# %% [markdown]
# ### Where the torque goes
#
# A gentle ramp and a hard one, level and upright:
# %%
turning = {"inertia": seen["rotor"] + seen["screw and coupling"], "travel_per_turn": screw.lead, "drag_torque": screw.drag_torque}
ways = {"efficiency": transmission.screw_efficiency(**thread), "back_efficiency": transmission.back_efficiency(**thread)}


def shares(slope, ramp_time, speed=20e-3):
    """Torque in N m by its causes, in a ramp from rest to `speed`; slope in rad."""
    whole, steady = (transmission.required_torque(speed, acceleration, mass=mass, slope=slope, friction=0.01, **turning, **ways)
                     for acceleration in (speed / ramp_time, 0.0))
    rotor = 2 * math.pi * turning["inertia"] * speed / ramp_time / screw.lead  # inertia times angular acceleration
    weight = ideal * math.sin(slope)
    return {"weight": weight, "friction and drag": steady - weight, "rotor and screw": rotor, "camera": whole - steady - rotor}


rows = {f"{name}, ramp {say(ramp_time, 's')}": shares(slope, ramp_time)
        for ramp_time in (0.5, 0.02) for name, slope in (("level", 0.0), ("upright", math.pi / 2))}
figures_drive.shares(rows, "torque needed at the motor", "mN m")
# %% [markdown]
# Gentle ramps cost weight and friction. A hard ramp adds <!--= 1e3 * rows["level, ramp 0.02 s"]["rotor and screw"]:.3g --> mN m for rotor and screw: a larger motor has a larger self to turn. Load over rotor is the **inertia ratio**, here <!--= stepper.inertia_ratio(seen["screw and coupling"] + seen["camera"], seen["rotor"]):.2g -->. Up to 10 is common practice.
# %% [markdown]
# ## What a motor gives (about 12 minutes)
#
# ### Two phases, one holding torque
#
# A stepping motor has two windings, its **phases**. Each pulls the rotor towards its own places, with a torque that goes like a sine. A data sheet states the **holding torque** with *both* at rated current:
# %%
figures_drive.two_phases(motor.holding_torque, motor.rotor_teeth)
# %% [markdown]
# Two equal sines, a quarter of a cycle apart, add up to $\sqrt 2$ times one of them. A driver with microsteps sends a sine to one phase and a cosine to the other: where one is at its peak, the other is zero. So a **peak** of the rated current makes the torque of *one* phase, in every position.
#
# ### Predict: the driver set to the rated current
#
# The motor is rated 0.4 N m at 1.68 A. The driver sends sines with a peak of 1.68 A. How large is the torque?
#
# - A: 0.4 N m
# - B: less
# - C: more, because of the microsteps
# %%
heat = power.copper_loss(peak_current=motor.rated_current, resistance=motor.resistance)
Math(working(stepper.peak_torque, holding_torque=0.4, peak_current=1.68, rated_current=1.68))
# %% [markdown]
# <details><summary>Explain: B, one over the root of two</summary>
#
# For the full 0.4 N m the peak has to be $\sqrt 2$ times the rated current. Torque goes with the current, heat with its square.
#
# </details>
#
# Heat limits the current. At a peak of 1.68 A the windings turn <!--= heat:.2g --> W into heat. In free air that warms the case by <!--= motor.thermal_resistance * heat:.2g --> K above the room: too hot to hold.
# %% [markdown]
# ### Speed: the volts run out
#
# The current has to be driven against three things, here at the speed $\omega$ in rad/s:
#
# - the resistance: $R \hat I$
# - the turning magnet, which makes a voltage of its own: $K \omega$, with $K = T_h / (\sqrt 2 I_r)$
# - the inductance, because the current changes all the time: $p_r \omega L_p \hat I$, a quarter of a cycle ahead
#
# The first two add, the third stands at a right angle. At the **corner** speed they use up the supply: $U^2 = (R \hat I + K \omega)^2 + (p_r \omega L_p \hat I)^2$. Above it the current cannot be kept up, and the torque falls.
#
# ### Predict: twice the voltage
#
# The supply goes from 12 V to 24 V. What doubles: the torque at rest, the corner speed, or neither?
# %%
speeds = np.linspace(0, 40, 401)  # turns/s
winding = (motor.rated_current, motor.resistance, motor.inductance, motor.holding_torque, motor.rated_current, motor.rotor_teeth)
corners = {f"{volts} V": stepper.corner_speed(volts, *winding) for volts in (12, 24, 36)}
curves = {f"{volts} V": stepper.torque_at_speed(speeds, volts, *winding) for volts in (12, 24, 36)}
for name, corner in corners.items():
    print(f"{name}: corner at {corner:.2f} turns/s, {60 * corner:.0f} turns/min, {say(corner * screw.lead, 'mm/s')} on this screw")
figures_drive.torque_curves(curves, speeds, corners)
# %% [markdown]
# <details><summary>Explain: the corner, and a little more than twice</summary>
#
# At rest the driver limits the current, whatever the supply. The resistance takes its <!--= motor.resistance * motor.rated_current:.2g --> V first: twice the supply leaves more than twice as much for speed.
#
# </details>
# %% [markdown]
# The real curve lies lower: iron losses are not in it, and at some speeds a motor shakes. So ask for **twice** the torque that is needed: common practice, no source.
# %% [markdown]
# ### Exercise 2: a motor and a belt (about 7 minutes)
#
# 1. A carriage of 3 kg hangs on a belt: pulley with 20 teeth of 2.5 mm, gear of 5 to 1. Which inertia does the motor see of it?
# 2. The data sheet says 0.5 N m at 3 A, both phases on. The driver is set to a peak of 1.5 A. Which torque is that, at low speed?
# %% tags=["exercise", "free"]
answer_2a = blank  # such as "50 g cm^2"
answer_2b = blank  # such as "0.3 N m"

print(check(answer_2a, "inertia"))
print(check(answer_2b, "set_torque"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_2a = 3 * (20 * 2.5e-3 / 5 / (2 * math.pi)) ** 2  # kg m^2
# answer_2b = 0.5 * 1.5 / (3 * math.sqrt(2))  # N m
# ```
#
# That is <!--= 1e7 * transmission.reflected_inertia(3.0, 10e-3):.3g --> g cm² and <!--= stepper.peak_torque(0.5, 1.5, 3.0):.3g --> N m.
#
# </details>
# %% [markdown]
# ## Both together (about 7 minutes)
#
# Both axes of the panel are logarithmic: equal gaps are equal ratios. The line between the two rings is the margin at your speed.
#
# ### Predict: five moves of a slider
#
# Write down what you expect, then move one slider at a time from its start value:
#
# 1. **supply voltage** to **48 V**: does the margin at 10 mm/s change?
# 2. **speed** to **100 mm/s**: which of the two curves is to blame for the smaller margin?
# 3. **lead of the screw** to **8 mm**: four times the torque, or less? And with the power off?
# 4. **moved mass** to **10 kg**: does the corner move?
# 5. **tilt of the rail** to **0 deg**, level: what is left to pay for?
# %%
panel.show()
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. No: there the current is the limit. The corner moves.
# 2. Both. Beyond the corner, what is given falls to <!--= say(panel.result(panel.start(speed="100 mm/s")).given, "mN m") -->.
# 3. Less: <!--= say(panel.result(panel.start()).needed, "mN m") --> to <!--= say(panel.result(panel.start(lead="8 mm")).needed, "mN m") -->: a steep thread rubs less for its way. And it runs down.
# 4. No. The corner is the motor's and the supply's.
# 5. Drag and the ramp: <!--= say(panel.result(panel.start(tilt="0 deg")).needed, "mN m") -->.
#
# </details>
# %% [markdown]
# ### Exercise 3: choose the supply (about 8 minutes)
#
# A drive needs 80 mN m at 15 turns/s. Motor: M17-40. The driver is set to a peak of 1.5 A and bears 29 V. Keep 1.2 times the supply below that: a motor that brakes feeds power back. Choose a voltage with which the motor gives **twice** what is needed. More than one is right.
#
# `stepper.torque_at_speed(speed, voltage, peak_current, resistance, inductance, holding_torque, rated_current, rotor_teeth)` counts speeds in turns/s.
# %% tags=["exercise", "free"]
answer_3 = blank  # one of 9, 12, 15, 19, 24, 36, 48, in V

check(answer_3, "supply")
# %% [markdown]
# <details><summary>Solution</summary>
#
# With 12 V the motor gives <!--= 1e3 * stepper.torque_at_speed(15.0, 12, 1.5, *winding[1:]):.3g --> mN m, with 15 V <!--= 1e3 * stepper.torque_at_speed(15.0, 15, 1.5, *winding[1:]):.3g --> mN m, with 24 V <!--= 1e3 * stepper.torque_at_speed(15.0, 24, 1.5, *winding[1:]):.3g --> mN m. 36 V is too much for the driver.
#
# ```python
# answer_3 = 19  # 15 and 24 do it as well
# ```
#
# </details>
# %% [markdown]
# ## Mistakes people make
#
# - **The holding torque taken for any current.** It is that of both phases on. A peak of the rated current makes <!--= f"{1 / math.sqrt(2):.0%}" --> of it. Some drivers are set by the root mean square: the same factor again.
# - **The mass feared, the rotor forgotten.** Behind a small lead the rotor is most of the inertia.
# - **Turns per minute, turns per second, radians per second.** 10 turns/s are 600 turns/min, or <!--= 20 * math.pi:.3g --> rad/s.
# - **More volts for more force.** Volts buy speed. Amperes buy torque, and heat.
# - **The holding torque expected at speed.** Beyond the corner it is not there.
# - **A steep screw upright, without a brake.** It works until the power fails.
# - **The 0.8 counted twice.** A long screw whirls. Catalogues allow 0.8 of that speed, and often their factors contain the 0.8 already. A Tr8x2 screw of 1 m with a bearing at each end whirls at <!--= transmission.whirling_speed(5.5e-3, 1.0, "supported-supported"):.3g --> turns/s. Allowed are <!--= 0.8 * transmission.whirling_speed(5.5e-3, 1.0, "supported-supported"):.3g -->, not <!--= 0.64 * transmission.whirling_speed(5.5e-3, 1.0, "supported-supported"):.3g -->.
# %% [markdown]
# ## What to remember
#
# 1. A screw needs a torque of force times lead over $2 \pi$, over its efficiency. Flat threads waste and hold; steep ones save and fall.
# 2. A mass counts as an inertia of $m (s_1 / 2 \pi)^2$. Squared: halve the travel per turn and a quarter is left.
# 3. Torque with a sine of peak $\hat I$: holding torque times $\hat I / (\sqrt 2 I_r)$.
# 4. Full torque up to the corner. A higher supply voltage moves the corner. Ask for twice the torque that you need.
#
# Cautions: never unplug a motor from a driver that is switched on. A motor case may burn skin. This small motor on its screw pushes with up to <!--= say(motor.holding_torque / real * weight, "N", 2) -->: keep fingers away from carriage and coupling. Local codes and makers' instructions come first.
# %% [markdown]
# ## Next
#
# From the drive to the picture: [How deep is sharp](06-how-deep-is-sharp.ipynb). The worksheet [Choose motor and drive](../design/choose-motor-and-drive.ipynb) does all this for the parts of the catalogue, with your load.
