# %% [markdown]
# # Tilt and distance
#
# Estimated time: 35 minutes reading, 30 minutes exercises.
#
# A long move is sharp at its start and soft at its end. Most often nothing is broken: rail and subject are not parallel. This lesson measures how much that costs, mends it with a shim, and says what a slope does to the load and to the stand.
#
# It is for people who film or photograph along a subject. The sliders need a running kernel: open the page in JupyterLab and run the cells from the top.
# %% [markdown]
# ## What you will be able to do
#
# 1. compute the angle between rail and subject that a sharp depth allows (exercise 1)
# 2. compute the shim that makes a rail parallel, from two focus readings (exercise 2)
# 3. compute the force that a slope puts on the drive (exercise 3)
# 4. compute the slope at which a rig tips over, and name what stops its load from running down (exercise 4)
# %% [markdown]
# ## What you need first
#
# | what | how much | where to get it |
# |---|---|---|
# | depth of field | needed | [How deep is sharp](06-how-deep-is-sharp.ipynb) |
# | tangent, sine and cosine of an angle | needed | any school book |
# | torque of a drive | helps | [Torque and inertia](05-torque-and-inertia.ipynb) |
#
# The traverse along the wing case is the example: an invented shot on an invented rig, with values that are typical of their kind. Measure yours.
# %%
import math

from IPython.display import Math

from macrolib import plan, read_rig, read_shot
from macrolib.formula import working
from macrolib.physics import tilt, transmission
from macrolib.show import figures_motion
from macrolib.show.panels_motion import tilted as panel
from macrolib.show.style import say
from macrolib.teach import blank, exercises

check = exercises("../data/exercises/10-tilt-and-distance.toml")
rig = read_rig("../data/rigs/field-belt.toml")
shot = read_shot("../data/shots/wing-case.toml")
made = plan(shot, rig, mends=False)
travel, depth = abs(shot.traverse.end_mark - shot.traverse.start_mark), made["sharp_depth"]
print(f"travel {say(travel, 'mm')}, sharp depth {say(depth, 'mm')}, rail off by {say(rig.rail.misalignment, 'deg')}")
# %% [markdown]
# ## A rail that is not parallel (about 9 minutes)
#
# Carriage and camera travel along the rail. The subject is a plane beside it. If rail and plane meet at an angle $\varepsilon$, the distance between lens and subject changes along the way, and the focus runs off.
#
# ### Predict: one degree
#
# The wing case is 24 mm long, and <!--= 1e3 * depth:.2g --> mm of depth are sharp. The rail is off by one degree, which nobody sees by eye. Focus is set in the middle. What happens at the ends?
#
# - A: one degree is nothing, all stays sharp
# - B: the ends are close to the edge of the sharp depth
# - C: the ends are far outside
# %%
one_degree = math.radians(1)
figures_motion.rail_beside_subject(travel, one_degree, depth)
# %% [markdown]
# <details><summary>Explain: B</summary>
#
# Over 24 mm one degree makes <!--= 1e3 * tilt.misalignment(travel, one_degree):.2g --> mm. Set in the middle, each end gets half of it, and half of the sharp depth lies on either side. Answer A would hold for a landscape, with metres of depth. Answer C holds for a travel a little longer: over 60 mm it is <!--= 1e3 * tilt.misalignment(60e-3, one_degree):.2g --> mm.
#
# </details>
#
# ### The derivation
#
# Rail, plane and the distance between them make a right-angled triangle. Its long side is the travel $D$, the side across is the **misalignment**, the change of the focus distance. So their quotient is the tangent of the angle:
# %%
Math(tilt.misalignment.latex)
# %% [markdown]
# It may be as large as the whole sharp depth, if the focus is set in the middle of the travel. Set at the start mark, only half of it is left.
#
# ### Worked example: the angle that the wing case allows
#
# The formula, solved for the angle:
# %% tags=["worked"]
allowed_angle = tilt.misalignment.solve_for("tilt_angle")
Math(working(allowed_angle, misalignment=depth, distance=travel))
# %% [markdown]
# That is <!--= math.degrees(allowed_angle(depth, travel)):.2g --> degrees. The rig file says <!--= math.degrees(rig.rail.misalignment):.2g --> degrees, so its plan holds.
# %% [markdown]
# ### Exercise 1: a longer subject (about 8 minutes)
#
# A stem is filmed over 80 mm. The lens gives a sharp depth of 0.3 mm, in all. Focus is set in the middle. Which angle between rail and stem is allowed? Fill the blanks.
# %% tags=["exercise", "faded"]
tangent = blank  # depth over travel
answer_1 = blank  # such as "0.5 deg", or a bare number in radians

check(answer_1, "angle")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# tangent = 0.3 / 80
# answer_1 = math.atan(tangent)  # rad
# ```
#
# That is <!--= math.degrees(allowed_angle(0.3e-3, 80e-3)):.2g --> degrees.
#
# </details>
# %% [markdown]
# ## Find the angle, put in a shim (about 8 minutes)
#
# You need no protractor. The rig measures the angle by itself:
#
# 1. Go to the start mark. Focus on the subject by moving the camera in or out on its fine stage, lens wide open. Read the stage.
# 2. Go to the end mark, focus again the same way, and read again.
# 3. The difference of the readings is the misalignment over this travel.
#
# Then lift one end of the rail, or move it sideways, by a **shim**: a strip of known thickness under a foot.
# %%
Math(tilt.shim_height.latex)
# %% [markdown]
# ### Predict: where the shim is thickest
#
# The focus ran off by 0.2 mm over a travel of 50 mm. The feet of the rail stand 400 mm apart. How thick is the shim?
#
# - A: 0.2 mm
# - B: 0.4 mm
# - C: 1.6 mm
# %%
measured = allowed_angle(0.2e-3, 50e-3)
print(f"angle {say(measured, 'deg', 3)}, shim {say(tilt.shim_height(0.4, measured), 'mm', 3)}")
# %% [markdown]
# <details><summary>Explain: C</summary>
#
# The angle is the same, the triangle is larger: eight times as long, and so eight times as high. Answer A takes the misalignment for the shim. Answer B doubles it for no reason.
#
# </details>
#
# The error of the reading grows in the same way. If a focus reading is good to 0.02 mm, the shim is good to 0.16 mm. Read at marks that lie far apart.
# %% [markdown]
# ### Exercise 2: the shim (about 8 minutes)
#
# Between two marks 60 mm apart the focus ran off by 0.24 mm. The feet stand 500 mm apart. How thick must the shim be?
# %% tags=["exercise", "free"]
answer_2 = blank  # such as "1 mm"

check(answer_2, "shim")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_2 = 0.5 * 0.24 / 60  # m: the distance between the feet, times the tangent
# ```
#
# That is <!--= 1e3 * tilt.shim_height(0.5, allowed_angle(0.24e-3, 60e-3)):.2g --> mm.
#
# </details>
# %% [markdown]
# ## The sensor is a plane as well (about 5 minutes)
#
# A camera that looks at its subject at a slant is sharp along one line only. Across the picture the focus runs off like this, with $W / m$ the width of the subject that is seen:
# %%
width = rig.camera.sensor_width
slanted = {"sensor_width": width, "magnification": 1.2, "sensor_tilt": math.radians(0.5)}
Math(working(tilt.sensor_misalignment, **slanted))
# %% [markdown]
# Half a degree takes <!--= 1e3 * tilt.sensor_misalignment(**slanted):.2g --> mm of the same sharp depth that the rail lives on. Both share it: what one takes the other no longer has.
#
# A small mirror helps. Lay it flat on the subject's place: when the lens sees itself in the middle of the picture, the sensor is parallel.
#
# ### Predict: three moves of a slider
#
# Write down what you expect, then try, one after the other, from the start values:
#
# 1. **travel** to **200 mm**: does all stay sharp?
# 2. Back. **magnification** to **3**: what happens to the depth, and to the width across?
# 3. Back. **distance between the feet** to **800 mm**: does the focus change, does the shim?
# %%
panel.show()
# %% [markdown]
# <details><summary>Explain: what you should have seen</summary>
#
# 1. No. The misalignment grows with the travel and leaves the band.
# 2. Both become smaller, but the depth much more: it falls nearly with the square of the magnification. The rail alone now needs more than there is.
# 3. The focus stays. The shim doubles.
#
# </details>
# %% [markdown]
# ## A subject that slopes (about 7 minutes)
#
# A leaf that rises by 15 degrees needs no level rail. **Tilt rail and camera together by its slope**: then the distance stays the same all along. The travel becomes a little longer than the level length.
# %%
slope = math.radians(15)
Math(working(tilt.slope_travel, level_travel=travel, slope_angle=slope))
# %% [markdown]
# But now the load pulls. Its part along the slope is the weight times the sine of the slope:
# %%
weight = {"momentary_acceleration": 0.0, "direction": 0.0, "friction": 0.0, "drag_force": 0.0, "gravity": transmission.STANDARD_GRAVITY}
load = transmission.drive_force(mass=rig.carriage.mass, slope=slope, **weight)
print(f"{say(rig.carriage.mass, 'kg')} on a slope of 15 degrees pull with {say(load, 'N')}")
# %% [markdown]
# Friction helps to hold, and then it hinders on the way up. Plan without its help.
#
# And there is the stand. A rig that stands freely falls over when the line straight down from its **centre of mass** leaves its feet:
# %%
Math(tilt.tipping_slope.latex)
# %%
figures_motion.slope_load(rig.carriage.mass, 0.12, 0.25, slope)
# %% [markdown]
# The carriage moves the centre of mass as it goes: take the worst place, with the carriage at the lower end. And stay far below the limit, or clamp the rig.
# %% [markdown]
# ### Exercise 3: the load along the slope (about 6 minutes)
#
# A carriage of 2 kg travels on a rail that rises by 20 degrees. Which force must the drive hold, without any help of friction?
# %% tags=["exercise", "free"]
answer_3 = blank  # such as "5 N"

check(answer_3, "load")
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_3 = 2 * transmission.STANDARD_GRAVITY * math.sin(math.radians(20))  # N
# ```
#
# That is <!--= transmission.drive_force(mass=2.0, slope=math.radians(20), **weight):.3g --> N.
#
# </details>
# %% [markdown]
# ### Exercise 4: before it tips (about 8 minutes)
#
# A rig stands freely on a slope. Its centre of mass is 200 mm above the feet, and 150 mm from the lower feet along the base.
#
# 1. At which slope does it tip over?
# 2. What keeps the camera from running down when the power fails? A: the motor, as long as its current is set high. B: the friction of the rail. C: a brake or a counterweight.
# %% tags=["exercise", "free"]
answer_4a = blank  # such as "10 deg"
answer_4b = blank  # "A", "B" or "C"

print(check(answer_4a, "tips"))
print(check(answer_4b, "holds"))
# %% [markdown]
# <details><summary>Solution</summary>
#
# ```python
# answer_4a = math.atan(150 / 200)  # rad
# answer_4b = "C"
# ```
#
# That is <!--= math.degrees(tilt.tipping_slope(0.15, 0.2)):.2g --> degrees, the last moment. Stay far below it, or clamp the rig.
#
# </details>
# %% [markdown]
# ## Mistakes people make
#
# - **The misalignment taken for the shim.** The shim belongs to the distance between the feet.
# - **Focus set at the start mark.** Then one end has half of the depth, and the other none to spare.
# - **Only the rail made parallel.** Sensor and rail share one depth.
# - **A level on the rail.** It makes the rail level, not parallel to the subject.
# - **Focus read with the lens stopped down.** With much depth the reading is vague: open the lens.
# - **The height taken for the way to the feet.** A tall rig tips early: the height stands below the line of the fraction.
# - **A slope trusted to the motor.** It holds as long as it has power, and not a moment longer.
# %% [markdown]
# ## What to remember
#
# 1. Misalignment is travel times the tangent of the angle; at most the sharp depth, with focus set in the middle.
# 2. Two focus readings give the angle. The shim is the distance between the feet times its tangent.
# 3. The force of the load along a slope is the weight times its sine.
# 4. A rig that stands freely tips over when its centre of mass passes the lower feet. A brake or a counterweight stops what the motor no longer holds.
# 5. Rail and sensor share the depth. On a slope tilt both together.
#
# On a slope the load can fall when power, driver or cable fails: a belt runs back, a steep screw may. Fit a brake or a counterweight, tether the camera, let nobody stand or reach below. These pages are for learning; makers' instructions and the rules of your place come first.
# %% [markdown]
# ## Next
#
# [Led by hand](11-led-by-hand.ipynb) hands the control to you. The worksheet [Plan a traverse](../design/plan-a-traverse.ipynb) judges the angle of a rig for a shot.
