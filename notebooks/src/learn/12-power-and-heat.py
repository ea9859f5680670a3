# %% [markdown]
# # Power and heat
#
# Estimated time: 45 minutes reading, 25 minutes exercises.
#
# A rig outdoors lives on a battery. How long does it last, in the cold, after two years? Which part empties it? And why is a motor hot that has not moved for an hour? Follow the energy from the label to the heat.
#
# It is for people who build a rig. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute what a motor turns into heat, in motion and at standstill (exercise 1)
# 2. compute how long a battery lasts, also cold and old (exercise 2)
# 3. choose a current at standstill that holds the load and keeps the motor cool (exercise 3)
# 4. name the part that empties a battery, and what helps (exercise 4)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | volt, ampere, watt; energy is power times time | needed | any school book |
# | the peak current of a driver, and the torque it makes | needed | [Torque and inertia](05-torque-and-inertia.ipynb) |
# | takes, return run, waits | helps | [Plan a traverse](../design/plan-a-traverse.ipynb) |
#
# The example is the invented field rig: a belt, a battery, a small lamp. Its values are typical of their kind; your data sheets come first.
# %%
from IPython.display import Math

from macrolib import read_rig, read_shot
from macrolib.formula import working
from macrolib.physics import power, stepper
from macrolib.planning import common, plan
from macrolib.show import figures_drive
from macrolib.show.panels_power import TIME_CONSTANT, power_and_heat as panel
from macrolib.show.style import say
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/12-power-and-heat.toml")
rig = read_rig("../data/rigs/field-belt.toml")
motor, supply, winding = rig.motor, rig.supply, {"peak_current": rig.driver.peak_current, "resistance": rig.motor.resistance}
print(f"motor: {say(winding['peak_current'], 'A')} peak through {say(winding['resistance'], 'ohm')}; battery: {say(supply.voltage, 'V')}, "
      f"{say(supply.energy, 'Wh')}")
# %% [markdown]
# ## A motor that rests (about 10 minutes)
#
# ### Predict: volts times amperes
#
# The motor stands still. The driver sends a peak of 1.2 A through it, from a battery of 14.4 V. How much power does the motor take? The cell below works it out.
#
# - A: nothing, it does not move
# - B: about 4 W
# - C: 17 W, volts times amperes
# %% tags=["worked"]
running = power.copper_loss(**winding)
Math(working(power.copper_loss, **winding))
# %% [markdown]
# <details><summary>Explain: B</summary>
#
# Standing still takes no work, but current heats wire. Answer C takes the volts of the battery and the amperes of the winding. Between them stands the **driver**. It switches the battery on and off so quickly that the winding gets its few volts, and the battery gives far fewer amperes.
#
# </details>
# %% [markdown]
# ### The derivation
#
# One phase carries $\hat I \cos \varphi$, the other $\hat I \sin \varphi$, where $\varphi$ says which microstep it is. A resistance turns current squared into heat:
#
# $$R\, \hat I^2 \cos^2 \varphi + R\, \hat I^2 \sin^2 \varphi = R\, \hat I^2$$
#
# The angle drops out. **In every position, and in slow motion, the heat is the same.** Near top speed losses in the iron come on top.
# %% [markdown]
# ### The current at standstill
#
# A resting motor seldom needs its full torque. Most drivers can lower the current then. The **hold share** says to how much.
#
# ### Predict: half the current
#
# What does half the current leave of the torque, and what of the heat?
# %%
print("hold share   torque that holds    heat")
for share in (1.0, 0.6, 0.5, 0.25):
    torque = stepper.peak_torque(motor.holding_torque, share * rig.driver.peak_current, motor.rated_current)
    print(f"{share:10.2f} {say(torque, 'mN m'):>20} {say(power.copper_loss(share * rig.driver.peak_current, motor.resistance), 'W'):>9}")
# %% [markdown]
# <details><summary>Explain: half the torque, a quarter of the heat</summary>
#
# Torque goes with the current, heat with its square. But a load that pulls must still be held, with room to spare.
#
# </details>
# %% [markdown]
# ### Exercise 1: in motion and at rest (about 7 minutes)
#
# A driver is set to a peak of 1.5 A and a hold share of 0.4. A phase has 1.8 Ω. How much heat in motion, how much at standstill?
# %% tags=["exercise", "faded"]
current_at_rest = blank  # A, the share of the peak
answer_1a = blank  # in motion, such as "2 W"
answer_1b = blank  # at standstill

print(check(answer_1a, "moving_heat"))
print(check(answer_1b, "resting_heat"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# current_at_rest = 0.4 * 1.5  # A
# answer_1a = 1.8 * 1.5**2  # W
# answer_1b = 1.8 * current_at_rest**2  # W
# ```
#
# That is <!--= power.copper_loss(1.5, 1.8):.3g --> W and <!--= power.copper_loss(0.6, 1.8):.3g --> W.
#
# </details>
# %% [markdown]
# ## All parts together (about 5 minutes)
#
# ### Predict: who empties the battery?
#
# Rank them: motor, driver and controller, camera, lamp.
# %%
def draw(moving, lamp):
    """{part: W from the battery} with the motor moving for this share of the time."""
    parts = {"motor": power.motor_loss(**winding, moving_share=moving, hold_share=rig.driver.hold_current_share),
             "driver and controller": rig.driver.idle_power + rig.controller.idle_power, "camera": rig.camera.power, "lamp": lamp}
    return parts | {"converter": power.supply_power(sum(parts.values()), supply.converter_efficiency) - sum(parts.values())}


draws = {"moving": draw(1, rig.light.power), "at standstill": draw(0, rig.light.power), "lamp off": draw(0, 0.0)}
figures_drive.shares(draws, "power from the battery", "W")
# %% [markdown]
# <details><summary>Explain: lamp, camera, motor</summary>
#
# The moving itself hardly counts: at 1 mm/s this belt asks for <!--= say(power.mechanical_power(common.torque_needed(rig, 1e-3, 0.0), 1e-3 / rig.travel_per_turn), "mW", 2) --> of work. A rig is a lamp and a camera with a motor beside them.
#
# </details>
#
# The **converter** makes the volts that each part needs. A tenth or so of all that passes is lost in it. With the efficiency $\eta_c$:
# %%
Math(working(power.supply_power, load_power=sum(draws["moving"].values()) * supply.converter_efficiency,
             converter_efficiency=supply.converter_efficiency))
# %% [markdown]
# ## What a battery holds (about 10 minutes)
#
# A label gives a voltage and a charge in ampere hours. Their product is the energy. Four cells of <!--= "3.6" --> V and <!--= "6.8" --> Ah in series hold <!--= say(power.label_energy(4, 3.6, 6.8 * 3600), "Wh") -->.
#
# Air travel counts this number. Up to 100 Wh may go into the cabin, never into the hold as a spare; above that the carrier must agree. Rules change: ask first.
#
# ### Predict: a winter morning
#
# The label says 98 Wh. The rig draws 16 W. It is −10 °C, and the battery has 300 full discharges behind it, of 500 until 80 % are left. How long does it last?
#
# - A: 6 h
# - B: about 5 h
# - C: about 3 h
# %%
def use(temperature, discharges):
    """{what becomes of the label's energy: Ws} at a temperature in K after so many discharges."""
    kept = [1.0, supply.usable_share, power.aged_share(discharges, 500), power.cold_share(temperature)]
    left = [supply.energy * kept[1] * kept[2] * kept[3], supply.energy * kept[1] * kept[2], supply.energy * kept[1], supply.energy]
    return {"usable": left[0], "lost to cold": left[1] - left[0], "lost to age": left[2] - left[1], "kept back": left[3] - left[2]}


uses = {"new, 20 °C": use(293.15, 0), "new, -10 °C": use(263.15, 0), "old, -10 °C": use(263.15, 300)}
figures_drive.shares(uses, "energy on the label", "Wh")
# %% [markdown]
# <details><summary>Explain: C</summary>
#
# Each loss takes a share of what the others left, so the shares are multiplied: <!--= uses["old, -10 °C"]["usable"] / 3600:.0f --> Wh are left, <!--= uses["old, -10 °C"]["usable"] / 16 / 3600:.1f --> h. Answer A believes the label. Answer B thinks only of what is kept back.
#
# </details>
# %% [markdown]
# - **Usable share.** A battery is not emptied to the last. 0.8 to 0.9 is common practice, no source.
# - **Age.** Data sheets count full discharges until 80 % are left; between, a straight line.
# - **Cold.** Lithium cells give about 0.85 of their energy at 0 °C and 0.75 at −10 °C. These values are from memory: your cells may differ. Carry a spare warm, and never charge lithium cells below 0 °C.
# - **Lead cells** lose more the faster they are emptied: a battery of 7 Ah, for 20 h by its label, lasts <!--= power.peukert_time(72000.0, 25200.0, 1.4, 1.2) / 3600:.1f --> h at four times that current, not 5 h (exponent 1.2).
# %%
Math(power.usable_energy.latex)
# %% [markdown]
# ### Energy for a take
#
# A plan knows how long everything takes. From one take to the next come the take, the run back and a wait:
# %%
made = plan(read_shot("../data/shots/wing-case.toml"), rig, mends=False)
times = [made["duration"] + made["return_time"], made["settling_wait"]]  # s, in motion and at standstill
mean = power.mean_power([sum(draws["moving"].values()), sum(draws["at standstill"].values())], times)
energy = power.run_time.solve_for("energy")(run_time=sum(times), supply_power=mean)
print(f"a take: {say(sum(times), 's')}, {say(mean, 'W')} on average, {say(energy, 'Wh')}; "
      f"on the cold old battery {uses['old, -10 °C']['usable'] / energy:.0f} takes")
# %% [markdown]
# In the field the lamp burns and the camera waits most of the time: count hours, not takes.
# %% [markdown]
# ### Exercise 2: three cells (about 7 minutes)
#
# A battery has three cells of 3.6 V and 5 Ah in series. 0.8 of its energy may be used, age has left 0.9. The rig draws 12 W at 0 °C. What does the label say, and how long does it last?
# %% tags=["exercise", "free"]
answer_2a = blank  # such as "20 Wh"
answer_2b = blank  # such as "2 h"

print(check(answer_2a, "label"))
print(check(answer_2b, "lasts"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_2a = 3 * 3.6 * 5 * 3600  # W s
# answer_2b = answer_2a * 0.8 * 0.9 * 0.85 / 12  # s
# ```
#
# That is <!--= power.label_energy(3, 3.6, 18000.0) / 3600:.0f --> Wh and <!--= power.label_energy(3, 3.6, 18000.0) * 0.8 * 0.9 * power.cold_share(273.15) / 12 / 3600:.2f --> h.
#
# </details>
# %% [markdown]
# ## How warm the motor gets (about 8 minutes)
#
# Heat flows from the case into the air, the more the warmer the case is. In the long run the case is warmer than the room by its **thermal resistance** times the heat. Here that is <!--= motor.thermal_resistance:g --> K for each watt:
# %%
Math(working(power.part_temperature, temperature=298.15, loss=running, thermal_resistance=motor.thermal_resistance))
# %% [markdown]
# ### Predict: twice the current
#
# This motor, always on, is warmer than a room of 25 °C by <!--= motor.thermal_resistance * running:.0f --> K. How much with twice the current?
#
# - A: by twice as much
# - B: by four times as much
# %%
print(f"with {say(2 * winding['peak_current'], 'A')}: {say(power.part_temperature(298.15, 4 * running, motor.thermal_resistance), 'degC')}")
# %% [markdown]
# <details><summary>Explain: B</summary>
#
# Twice the current, four times the heat. The case is above the limit of this motor, 80 °C, and burns skin within seconds.
#
# </details>
#
# It takes its time. With a time constant of about 20 minutes, a value from memory, 63 % of the warming is there after <!--= TIME_CONSTANT / 60:.0f --> minutes, 95 % after an hour. A touch after five minutes says nothing.
#
# ### A thermometer inside
#
# Copper's resistance grows by <!--= 100 * power.COPPER_COEFFICIENT:.2f --> % for each kelvin. So the winding is its own thermometer. Switch off, wait until the driver is without power, unplug the motor, and measure a phase. Here 2.6 Ω at 20 °C have become 3.1 Ω:
# %%
copper = {"cold_resistance": 2.6, "temperature_coefficient": power.COPPER_COEFFICIENT, "reference_temperature": 293.15}
print(f"the winding is at {say(power.winding_resistance.solve_for('temperature')(resistance=3.1, **copper), 'degC')}")
# %% [markdown]
# ### Exercise 3: a share that holds and stays cool (about 7 minutes)
#
# A motor of 0.4 N m (both phases on at 1.68 A) has 1.65 Ω a phase and 7.5 K/W. It is driven with a peak of 1.8 A and holds its load for hours, in a room of 25 °C. The load pulls with 60 mN m; hold twice that. The case may reach 50 °C. Choose the hold share. More than one is right.
# %% tags=["exercise", "free"]
holding, rated, peak, resistance, warming = 0.4, 1.68, 1.8, 1.65, 7.5  # N m, A, A, ohm, K/W
answer_3 = blank  # one of 0.1, 0.2, ... 1.0

check(answer_3, "hold")
# %% [markdown]
# <details><summary>Solution</summary>
#
# The torque asks for at least <!--= 0.12 / stepper.peak_torque(0.4, 1.8, 1.68):.2f -->, the heat for at most <!--= (25 / 7.5 / power.copper_loss(1.8, 1.65)) ** 0.5:.2f -->.
#
# ```python
# answer_3 = 0.5  # 0.4, 0.6 and 0.7 do it as well
# ```
#
# </details>
# %% [markdown]
# ## Try it (about 5 minutes)
#
# ### Predict: moves of a slider
#
# The panel is the field rig. Write down what you expect, then try, each from the start values:
#
# 1. **power of the lamp** to **0 W**: twice the time, or less?
# 2. **current at standstill, share of it** to **1**: what happens in each of the three pictures?
# 3. **temperature outdoors** to **-20 °C**: which of the three pictures stays?
# 4. **current, peak of the sine** to **2.4 A**: would you touch the motor?
# %%
panel.show()
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. More than twice: <!--= say(panel.result(panel.start(light_power=0.0)).lasts, "h") --> instead of <!--= say(panel.result(panel.start()).lasts, "h") -->.
# 2. The motor's part grows to <!--= say(panel.result(panel.start(hold_share=1.0)).loss, "W") -->, the battery lasts a little less, the case comes to <!--= say(panel.result(panel.start(hold_share=1.0)).case, "degC") -->.
# 3. The power. The cold battery lasts <!--= say(panel.result(panel.start(temperature="-20 degC")).lasts, "h") -->.
# 4. No: <!--= say(panel.result(panel.start(peak_current=2.4)).case, "degC") -->, even on a cold day.
#
# </details>
# %% [markdown]
# ### Exercise 4: what helps most? (about 4 minutes)
#
# The field rig shall last longer. Which one change helps most? A: a lower current at standstill, a share of 0.25 instead of <!--= f"{rig.driver.hold_current_share:g}" -->. B: the lamp off while nothing is filmed. C: half the speed.
# %% tags=["exercise", "free"]
answer_4 = blank  # "A", "B" or "C"

check(answer_4, "longer")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_4 = "B"
# ```
#
# The lamp draws <!--= f"{rig.light.power:g}" --> W, the resting motor <!--= draws["at standstill"]["motor"]:.2g --> W, the moving itself a few mW.
#
# </details>
# %% [markdown]
# ## Wires and a fuse (about 3 minutes)
#
# ### Predict: plus touches minus
#
# Cells and leads have 0.1 Ω together. What flows when the two wires of the battery touch: 7 A, or 140 A?
# %%
steady = power.supply_current(sum(draws["moving"].values()), supply.voltage)
short = power.battery_voltage.solve_for("current")(voltage=1e-6, cells=4, cell_voltage=3.6, internal_resistance=0.1)
drop = power.wire_drop(power.COPPER_RESISTIVITY, 1.5, steady, 0.75e-6)
print(f"short circuit: {say(short, 'A')}, {say(short * supply.voltage, 'W')} of heat\n"
      f"the rig: {say(steady, 'A')}; a fuse of at least {say(power.least_fuse(steady), 'A')}; 1.5 m of 0.75 mm² wire lose {say(drop, 'V')}")
# %% [markdown]
# <details><summary>Explain: 140 A, as hot as an electric kettle</summary>
#
# Nothing but 0.1 Ω limits the current. The wire glows, the insulation burns.
#
# </details>
#
# A **fuse** close to the plus pole ends that. It must lie **above** what the rig draws and **below** what the thinnest wire bears. The number is a caution, not a design: the makers of wire and fuse and the electrical rules of your place come first.
# %% [markdown]
# ## Mistakes people make
#
# - **Volts times amperes of two different places.** The battery's volts belong to the battery's amperes.
# - **A resting motor taken for one without current.** It takes as much as a moving one, unless the driver lowers it.
# - **The label believed.** Cold, age and a reserve leave half to two thirds.
# - **The moving blamed for an empty battery.** Lamp and camera draw far more.
# - **The torque margin used for heat.** A motor with four times the torque it needs may run at half the current, with a quarter of the heat.
# - **A larger fuse in place of one that blew.** It protects nothing. Find out why.
# %% [markdown]
# ## What to remember
#
# 1. Heat of the motor: $R \hat I^2$, at rest as in motion. Half the current at standstill is a quarter of the heat.
# 2. Time is usable energy over draw: label times usable share times age times cold.
# 3. Warming is thermal resistance times heat, after an hour. Torque asks for current, heat forbids it.
# 4. Lamp and camera empty a battery, not the moving.
#
# Cautions: a case above 60 °C burns skin within seconds. Use the charger made for the battery, attended, on a surface that does not burn; no swollen or damaged packs. Never unplug a motor from a driver that is switched on. With less current at standstill a load on a slope may run down: test it with the camera off. Makers' instructions and local electrical codes come first; have mains wiring done or checked by a qualified and, where required, licensed person.
# %% [markdown]
# ## Next
#
# The worksheet [Compare rigs](../design/compare-rigs.ipynb) puts time and energy of several rigs side by side. The overview is in [Start here](../00-start-here.ipynb).
