# %% [markdown]
# # Plan a traverse
#
# A worksheet for a filmed move from a start mark to an end mark: sideways along the subject, or axial, towards it. Change the two file names in the first cell, run all cells, and read from top to bottom. First comes what the film shows, then what the rig does, then how long it takes. At the end stand the settings, the checks and the files.
#
# File names count from the folder of this notebook. The environment variables `MACROLIB_SHOT`, `MACROLIB_RIG` and `MACROLIB_OUT` go before the names in the cell. [Start here](../00-start-here.ipynb) explains both files and the cautions.
# %%
import os
from pathlib import Path

import numpy as np
from IPython.display import display

from macrolib import plan, read_rig, read_shot
from macrolib.physics import optics, screen, transmission, vibration
from macrolib.planning import budget, film, stillness
from macrolib.planning.preview import Preview
from macrolib.planning.rehearsal import Rehearsal
from macrolib.show import figures, figures_film, figures_sharpness, live, playback
from macrolib.show.style import say
from macrolib.show.worksheet import Sheet

SHOT = os.environ.get("MACROLIB_SHOT") or "../data/shots/wing-case.toml"
RIG = os.environ.get("MACROLIB_RIG") or "../data/rigs/field-belt.toml"
OUT = os.environ.get("MACROLIB_OUT") or None  # a folder for the files, such as "../../out/my-traverse"; None: no files

shot, rig = read_shot(SHOT), read_rig(RIG).as_used
if shot.kind != "traverse" or shot.traverse.start_mark == shot.traverse.end_mark:
    raise ValueError(f"{SHOT} is a {shot.kind}; this worksheet plans a traverse from one mark to another")
made, wanted, picture = plan(shot, rig), shot.traverse, shot.picture
sheet, move = Sheet(made), made.moves["take"]
text, sideways = sheet.text, shot.direction == "sideways"
print(f"{shot.name or Path(SHOT).stem} on {rig.name or Path(RIG).stem}: {made.verdict}\n"
      f"{shot.direction}, {say(move.distance, 'mm')} in {text['duration']} at {text['speed']}; takes: {text['takes']}, {text['total_time']} in all")
# %% [markdown]
# ## What the film shows
#
# Each line shows a formula, the numbers put in, and the result, all in SI units. A viewer judges a filmed move by its **image speed**, how far the picture moves from one video frame to the next. In an axial move that is the edge of the picture, where it moves most.
# %%
speed, pitch = float(move.peak_speed), rig.camera.pixel_pitch
frames = {"shutter_angle": wanted.shutter_angle, "frame_rate": wanted.frame_rate}
edge = rig.camera.sensor_width / 2 / pitch
limit = made.check("motion of the picture")
steps = [(f"**Exposure of a video frame** at {say(wanted.frame_rate, 'fps')}, the shutter open for {say(wanted.shutter_angle, 'deg')} "
          f"of the turn: {text['exposure_time']}.", screen.exposure_time, frames)]
if sideways:
    crossing = {"speed": speed, "sensor_width": rig.camera.sensor_width, "magnification": picture.magnification}
    steps += [
        (f"**Image speed** at {text['speed']} ({sheet.origin('speed')}): {text['image_speed']}.", screen.image_speed,
         {"speed": speed, "magnification": picture.magnification, "pixel_pitch": pitch, "frame_rate": wanted.frame_rate}),
        (f"**Smear within a frame**: {text['blur']}.", screen.frame_blur,
         {"image_speed": made["image_speed"], "shutter_angle": wanted.shutter_angle}),
        ("**A detail crosses the picture** in", screen.crossing_speed.solve_for("crossing_time"), crossing)]
    if rig.camera.readout_time:
        steps.append((f"**Skew**: the sensor reads its lines one after the other, in {say(rig.camera.readout_time, 'ms')}. Upright edges lean by",
                      screen.skew, {"image_speed": made["image_speed"], "frame_rate": wanted.frame_rate,
                                    "readout_time": rig.camera.readout_time}))
else:
    pupil = {"focal_length": rig.lens.focal_length, "magnification": picture.magnification, "pupil_ratio": rig.lens.pupil_ratio}
    steps += [
        (f"**Shift of focus in a frame** at {text['speed']} ({sheet.origin('speed')}), against a sharp depth of {text['sharp_depth']}:",
         screen.axial_shift, {"speed": speed, "frame_rate": wanted.frame_rate}),
        ("**Subject to entrance pupil**, from where perspective counts:", optics.entrance_pupil_distance, pupil),
        (f"**Smear within a frame** at the edge, {edge:.0f} px from the centre: {text['blur']}, of {text['image_speed']} in all.",
         screen.radial_blur, {"image_radius": edge, "speed": speed, "exposure_time": made["exposure_time"],
                              "pupil_distance": optics.entrance_pupil_distance(**pupil)})]
if rig.light.flicker_frequency:
    steps.append(("**The lamp's flicker**, seen in the film as a beat:", screen.flicker_beat,
                  {"lamp_frequency": rig.light.flicker_frequency, "frame_rate": wanted.frame_rate}))
sheet.working(*steps, (f"**Limit** for the image speed: {say(limit.limit, 'px/frame')}, {limit.why}.",),
              (f"**Sharp depth** at f/{text['f_number']}, effective f/{text['effective_f_number']}: {text['sharp_depth']}.",
               optics.effective_f_number, {"f_number": made["f_number"], "magnification": picture.magnification,
                                           "pupil_ratio": rig.lens.pupil_ratio}))
# %% [markdown]
# ## What the rig does
#
# Pulses first, then the ramp, then what the ramp leaves ringing. A ramp is gentle when the image speed changes little from frame to frame, and when the camera, which gives a little, hardly feels it.
# %%
marks, whole = (wanted.start_mark, wanted.end_mark), move.cruise == 0
tolerance = {"image_vibration": shot.waits.tolerance, "magnification": picture.magnification, "pixel_pitch": pitch}
amplitude_of = vibration.image_vibration.solve_for("amplitude")
changes = film.pixels_moved(shot, rig, float(move.peak_acceleration)) / wanted.frame_rate**2
ramp = (f"**Ramp** ({sheet.origin('acceleration')}): {text['ramp_time']}, {made['ramp_frames']:.1f} video frames, over "
        f"{say(abs(move.position(move.ramp_in)), 'mm')}. ")
steps = [
    (f"**Travel for one pulse**: {text['travel_per_pulse']}, {film.pixels_moved(shot, rig, made['travel_per_pulse']):.3g} px in the picture.",
     transmission.travel_per_pulse, {"travel_per_turn": rig.travel_per_turn, "pulses_per_turn": rig.pulses_per_turn}),
    (f"**Pulse rate** at full speed: {text['speed_pulses']}. The lower ceiling of controller and driver is {say(rig.pulse_ceiling, 'kHz')}.",
     transmission.pulse_rate, {"speed": speed, "travel_per_turn": rig.travel_per_turn, "pulses_per_turn": rig.pulses_per_turn}),
    (ramp + ("The move has no cruise: its halves count as ramps." if whole else "With constant acceleration that asks for"),
     *(() if whole else (screen.ramp_acceleration, {"speed": speed, "frame_rate": wanted.frame_rate, "ramp_frames": made["ramp_frames"]}))),
    (f"**Peak acceleration**: {say(move.peak_acceleration, 'mm/s^2')}, {move.peak_acceleration * move.ramp_in / speed:.2f} times the mean. The image speed changes by at most {changes:.3g} px/frame from one frame "
     "to the next.",),
    (f"**Tolerance** of {shot.waits.tolerance:g} px, peak to peak, as an amplitude in the subject: {say(amplitude_of(**tolerance), 'um')}.",
     amplitude_of, tolerance)]
for name, frequency, damping in stillness.modes(rig):
    left = vibration.image_vibration(vibration.residual_vibration(move, frequency, damping), picture.magnification, pitch)
    steps.append((f"**The {name}** rings at {say(frequency, 'Hz')}, damping ratio {damping:g}. After the take the picture swings by "
                  f"{f'{left:.2g}' if left > 0.01 else 'less than 0.01'} px, peak to peak.",))
sheet.working(*steps, ("Frequencies that the steady speed shakes the rig with: "
                       + ", ".join(f"{cause} {say(f, 'Hz')}" for cause, f in film.excited(rig, speed).items()) + ".",))
# %% [markdown]
# ### From mark to mark
#
# The ramps are shaded. With ramps inside the marks the film begins and ends at rest. With ramps outside the speed is constant between the marks, and the rail must be longer.
# %%
sense = 1 if wanted.end_mark > wanted.start_mark else -1
figures_film.take(move, made["start_position"], sense, marks)
# %% [markdown]
# ### From frame to frame
#
# The line is the image speed that is wanted, the squares are what whole pulses make of it. They scatter by up to one pulse; where a pulse is small against 1 px, nobody sees it.
# %%
times, places = made.schedule["time"][1], made.schedule["position"][1]
moved = film.pixels_moved(shot, rig, np.diff(move.position(times)))
sent = film.pixels_moved(shot, rig, sense * np.diff(places))
figures_film.from_frame_to_frame(moved, sent, limit.limit, made["ramp_frames"])
# %% [markdown]
# ### See it before it is filmed
#
# An invented texture in the place of the subject, moved by the pulses of this plan, exposed frame by frame: the beginning of a take, four px of the sensor to one px here. It needs a running kernel, and plays once when its button is pressed; flashes were counted before. Set `skewed=True` for lines that are read one after the other, and `ripple=1e-6` for a motor that shakes the carriage by 1 µm to either side. `playback.save(preview, "a folder")` keeps it as an animated picture with some stills.
# %%
if sideways and made["duration"] * wanted.frame_rate >= 2:
    preview = Preview(made, seconds=min(3.0, 200 / wanted.frame_rate), shrink=4.0, skewed=False, ripple=0.0)
    display(playback.Player(preview))
else:
    print("There is no preview of an axial move, or of less than two frames.")
# %% [markdown]
# ## Where the time goes
#
# From homing to the end of the last take. Between two takes the carriage runs back, goes past the start and comes up to it again, so that the backlash is taken up the same way each time. In JupyterLab this is a **rehearsal**: the plan runs in time, without a rig, and can be stopped and resumed. Set `faster` to 1 for real time.
# %%
waited, settle, way = made.ringing["ringing after a move"][1], made["settling_wait"], sum(step[3] for step in made.approach)
display(live.RehearsalView(Rehearsal(made, faster=10)))
display(sheet.schedule())
sheet.working((f"**Wait after the last footfall**: {text['wait_before_move']} ({sheet.origin('wait_before_move')}). Homing and the way to "
               f"the start take {say(way, 's')} and count. What is still missing is waited at the start: {say(waited, 's')}.",),
              (f"**Wait before each further take**: {text['settling_wait']} ({sheet.origin('settling_wait')}).",))
# %% [markdown]
# ## What takes sharpness
#
# Each bar is the share of the contrast of fine detail that one cause leaves. In film the smear of the motion is often the largest. Some of it is wanted: without it a quick move stutters. An open shutter of 180 degrees is common practice, with no source; a smaller angle gives crisper frames that jump.
# %%
figures_sharpness.blur_budget(budget.blur_budget(made))
# %% [markdown]
# ## Settings
#
# "given" was fixed in a file and is judged below, "auto" was derived, "preset" stands in for data that the rig file does not have.
# %%
sheet.settings()
# %% [markdown]
# ## Checks
#
# The margin is above 1 where a limit is kept. A mend is one number that makes its check hold; it has been tried. Plan again after a mend, because it may press on another check.
# %%
display(figures.margins(made.checks))
sheet.checks()
# %% [markdown]
# What each mend does to the whole plan, and what no mend reaches:
# %%
print(sheet.mends())
# %% [markdown]
# ## Files
#
# `plan.json` holds settings and checks, `schedule.csv` a row for each video frame, `settings.html` is one page to print and take to the rig, with the cautions. Existing files are never replaced from here.
# %%
print(sheet.write(OUT))
