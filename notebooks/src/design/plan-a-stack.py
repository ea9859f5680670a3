# %% [markdown]
# # Plan a focus stack
#
# A worksheet: change the two file names in the first cell, run all cells, and read from top to bottom. First comes what the picture needs, then what the rig does, then the schedule. At the end stand the settings, the checks and the files.
#
# File names count from the folder of this notebook. The environment variables `MACROLIB_SHOT`, `MACROLIB_RIG` and `MACROLIB_OUT` go before the names in the cell. [Start here](../00-start-here.ipynb) explains both files and the cautions.
# %%
import os
from pathlib import Path

import numpy as np
from IPython.display import Markdown, display

from macrolib import plan, read_rig, read_shot
from macrolib.formula import working
from macrolib.physics import optics, ramps, transmission, vibration
from macrolib.planning import checks, stillness
from macrolib.planning.budget import blur_budget
from macrolib.planning.front import front
from macrolib.planning.output import WRITERS, shown, write_plan
from macrolib.planning.stack import depth_alternatives
from macrolib.show import figures, figures_sharpness
from macrolib.show.style import pretty, say
from macrolib.units import to_unit

SHOT = os.environ.get("MACROLIB_SHOT") or "../data/shots/moss-capsule.toml"
RIG = os.environ.get("MACROLIB_RIG") or "../data/rigs/bench-screw.toml"
OUT = os.environ.get("MACROLIB_OUT") or None  # a folder for the files, such as "../../out/my-stack"; None: no files

shot, rig = read_shot(SHOT), read_rig(RIG).as_used
if shot.kind != "stack":
    raise ValueError(f"{SHOT} is a {shot.kind}; this worksheet plans a stack")
made = plan(shot, rig)
text = {name: pretty(shown(setting)) for name, setting in made.settings.items()}
first, last = (int(made.schedule["frame"][1][end]) for end in (0, -1))
print(f"{shot.name or Path(SHOT).stem} on {rig.name or Path(RIG).stem}: {made.verdict}\n"
      f"frames {first} to {last} of {text['frames']}, {text['spacing']} apart, at f/{text['f_number']}, in {text['total_time']}")
# %% [markdown]
# ## What the picture needs
#
# Each line shows a formula, the numbers put in, and the result, all in SI units. The sharp depth has no closed formula. It is where the exact transfer function, diffraction and defocus together, has dropped to the share that the shot wants to keep.
# %%
def with_working(*steps):
    """Sentences, each with the working of a formula below it where there is one."""
    return Markdown("\n\n".join(words + (f"\n\n$${working(formula, **values)}$$" if formula else "")
                                for words, formula, values in steps))


picture, lens, pitch = shot.picture, rig.lens, rig.camera.pixel_pitch
view = {"f_number": made["f_number"], "magnification": picture.magnification, "pupil_ratio": lens.pupil_ratio}
light = {"wavelength": picture.wavelength, "effective_f_number": made["effective_f_number"]}
aperture = optics.numerical_aperture(picture.magnification, made["effective_f_number"])
frequency = optics.criterion_frequency(pixel_pitch=pitch, **light) if picture.frequency == "auto" else picture.frequency
with_working(
    (f"**Effective f-number.** Marked f/{text['f_number']} ({made.settings['f_number'].origin}), at magnification "
     f"{picture.magnification:g}: {text['effective_f_number']}.", optics.effective_f_number, view),
    (f"**Geometric depth** for a blur of two pixels: {text['geometric_depth']}.", optics.depth_of_field,
     {**view, "blur_diameter": 2 * pitch}),
    (f"**Wave depth** for a quarter wave of defocus: {text['wave_depth']}.", optics.wave_depth,
     {"wavelength": picture.wavelength, "numerical_aperture": aperture, "refractive_index": 1.0}),
    (f"**Sharp depth**: {text['sharp_depth']}. Over it at least {picture.transfer_kept:.0%} of the contrast in focus is kept at "
     f"{say(frequency, '1/mm', 3)} on the sensor, a period of {1 / frequency / pitch:.3g} px.", None, {}),
    (f"**Spacing for an overlap of {shot.stack.overlap:.0%}**: "
     f"{say(optics.frame_spacing(made['sharp_depth'], shot.stack.overlap), 'um')}.", optics.frame_spacing,
     {"depth_of_field": made["sharp_depth"], "overlap": shot.stack.overlap}),
    (f"**Spacing of this plan** ({made.settings['spacing'].origin}): {text['spacing']}, which is {made['spacing_pulses']:.0f} pulses of "
     f"{text['travel_per_pulse']} each. " + ("Rounded down to whole pulses, and evened out, so that the last frame lies at the far end or less than one spacing behind it."
                                        if made.settings["spacing"].origin == "auto" else "Rounded to whole pulses."), None, {}))
# %% [markdown]
# ### Why not another depth?
#
# There are several measures of the depth of one frame. Each would ask for another number of frames, here without overlap. The plan uses the first. The others are for comparison with other sources.
# %%
depth = abs(shot.stack.far_end - shot.stack.near_end)
rows = [f"| {made.settings[name].meaning} | {text[name]} | {frames} |"
        for name, frames in depth_alternatives(made.settings, depth).items()]
Markdown("\n".join(["| measure | depth | frames |", "|---|---|---|", *rows,
                    f"| **this plan, with its overlap** | {text['spacing']} apart | {text['frames']} |"]))
# %% [markdown]
# ### The frames through the subject
#
# Each bar is the sharp depth of one frame. The subject is shaded. The worst place lies halfway between two frames; the curve below shows how much of the contrast in focus is left there. The last picture shows it before shooting: the first frames of this plan on an invented relief. Depths that would stay soft are hatched.
# %%
from macrolib.planning.synthetic import SyntheticStack
from macrolib.show.figures_synthetic import see_stack

display(figures.stack_frames(made.schedule["position"][1], made["sharp_depth"], shot.stack.near_end, shot.stack.far_end))
reach = 0.6 * max(made["sharp_depth"], made["spacing"])
offsets = np.append(np.linspace(-reach, -reach / 100, 100), np.linspace(reach / 100, reach, 100))
left = optics.edge_transfer(2 * np.abs(offsets), picture.magnification, made["f_number"], lens.pupil_ratio, pitch,
                            picture.wavelength, frequency)
display(figures.depth_transfer(offsets, left, made["spacing"], picture.transfer_kept))
see_stack(SyntheticStack.of_plan(made, frames=8).see())
# %% [markdown]
# ## What the rig does
#
# Pulses first, then the wait. After each move the camera rings. The wait lasts until the ringing that is left moves the picture less than the tolerance of the shot.
# %%
move = ramps.trapezoid(made["spacing"], made["speed"], made["acceleration"])
ringing, amplitude_of = stillness.Ringing.after_move(rig, move), vibration.image_vibration.solve_for("amplitude")
tolerance = {"image_vibration": shot.waits.tolerance, "magnification": picture.magnification, "pixel_pitch": pitch}
allowed = amplitude_of(**tolerance)
steps = [
    (f"**Travel for one pulse**: {text['travel_per_pulse']}.", transmission.travel_per_pulse,
     {"travel_per_turn": rig.travel_per_turn, "pulses_per_turn": rig.pulses_per_turn}),
    (f"**Pulse rate** at {text['speed']}: {text['speed_pulses']}. The lower ceiling of controller and driver is "
     f"{say(rig.pulse_ceiling, 'kHz')}.", transmission.pulse_rate,
     {"speed": made["speed"], "travel_per_turn": rig.travel_per_turn, "pulses_per_turn": rig.pulses_per_turn}),
    (f"**Tolerance** of {shot.waits.tolerance:g} px, peak to peak, as an amplitude in the subject: {say(allowed, 'um', 3)}.",
     amplitude_of, tolerance)]
for amplitude, frequency_of_mode, damping in ringing.parts:
    words = f"**Ringing at {frequency_of_mode:.3g} Hz** begins at {say(amplitude, 'um', 3)}"
    values = {"start_amplitude": amplitude, "tolerance": allowed, "frequency": frequency_of_mode, "damping_ratio": damping}
    if damping == 0 and amplitude > allowed:
        steps.append((f"{words} and, without damping, never dies away.", None, {}))
    elif amplitude <= allowed:
        steps.append((f"{words}, which is within the tolerance from the start.", None, {}))
    else:
        steps.append((f"{words} and alone is down at the tolerance after", vibration.ring_down_time, values))
origin, left_over = made.settings["settling_wait"].origin, made.check("settling after a move")
why = {"auto": "so long because all rings add up and a margin of 1.25 is kept", "given": "fixed in the shot file",
       "preset": f"a preset, because {ringing.missing or 'nothing damps the ringing'}"}[origin]
with_working(*steps, (f"**Settling wait**: {text['settling_wait']}, {why}. Motion left in the picture after it: {pretty(left_over.in_words())}.",
                      None, {}))
# %% [markdown]
# ## How sharp
#
# The blur budget lists what each cause leaves of the contrast of a fine pattern, and how wide it is on the sensor. What is not computed lacks data: it is not zero.
# %%
budget = blur_budget(made)
rows = [f"| {c.name} | not computed | | {c.what} |" if c.transfer is None else
        f"| {c.name} | {c.transfer:.1%} | {'under 0.01' if c.pixels < 0.01 else format(c.pixels, '.2g')} | {c.what} |" for c in budget.causes]
display(figures_sharpness.blur_budget(budget))
Markdown("\n".join(["| cause | contrast left | width (px) | what that is |", "|---|---|---|---|", *rows]))
# %% [markdown]
# ### Frames against sharpness
#
# For each contrast wanted at the edge of a frame's depth, one aperture of this lens needs the fewest frames. The line joins these choices, with the overlap of the shot. A plan below the line gives away sharpness or frames. A plan on it can trade one for the other.
# %%
choice = front(shot, rig)
fine = 1 / (4 * pitch) if picture.frequency == "auto" else picture.frequency
at_edge = optics.diffraction_mtf(fine / optics.cutoff_frequency(**light)) * optics.edge_transfer(
    made["spacing"] / (1 - shot.stack.overlap), picture.magnification, made["f_number"], lens.pupil_ratio, pitch, picture.wavelength, fine)
chosen = int(made["frames"]), max(0.0, at_edge), f"this plan: {text['frames']} frames, f/{text['f_number']}"
if (choice.frames > 0).any():
    display(figures_sharpness.front(choice, chosen, shot.limits.frames))
else:
    print(f"No aperture of this lens transfers a pattern of {1 / fine / pitch:.3g} px at this magnification.")
# %% [markdown]
# ## Schedule
#
# The way to the first frame, then the first frames and the last. Times count from the start of homing. The whole schedule goes into the file `schedule.csv`.
# %%
way = [f"- {what}: to pulse {end}, {seconds:.3f} s" for what, _, end, seconds in made.approach]
heads = [name.replace("_", " ") if unit == "1" else f"{name.replace('_', ' ')} ({unit})" for name, (unit, _) in made.schedule.items()]
count = len(made.schedule["frame"][1])
rows = [[f"{to_unit(values[row], unit):.6g}" for unit, values in made.schedule.values()] for row in sorted({*range(count)[:5], count - 1})]
Markdown("\n".join([*way, "", *(f"| {' | '.join(cells)} |" for cells in (heads, ["---"] * len(heads), *rows))]))
# %% [markdown]
# ### Where the time goes
#
# The first picture adds up the whole shot, one kind of action after the other. Homing is counted from the far end of the rail. The second shows one frame as it happens.
# %%
def end_to_end(durations):
    """A timeline of durations in s, each beginning where the one before it ends."""
    ends = np.cumsum(list(durations.values()))
    return figures.timeline([(what, end - seconds, end) for (what, seconds), end in zip(durations.items(), ends) if seconds > 0])


arrive, trigger, expose, ready = (made.schedule[name][1] for name in ("arrive", "trigger", "expose", "ready"))
after = expose + picture.exposure_time
parts = {"settling wait": trigger - arrive, "trigger and exposure": after - trigger, "store, recycle, pause": ready - after}
approach = sum(seconds for *_, seconds in made.approach)
homing = made.approach[0][3]
whole = {"homing, at most": homing, "way to the first frame": approach - homing, "moves between frames": (count - 1) * made["move_time"], **{what: seconds.sum() for what, seconds in parts.items()}}
display(end_to_end({**whole, "quiet after a footfall": ready[-1] - sum(whole.values()) if arrive[0] > approach * 1.000001 else 0.0}))
end_to_end({"move": made["move_time"], **{what: seconds[-1] for what, seconds in parts.items()}})
# %% [markdown]
# ## Settings
#
# "given" was fixed in a file and is judged below, "auto" was derived, "preset" stands in for data that the rig file does not have.
# %%
rows = [f"| {setting.meaning} | {text[name]} | {setting.origin} |" for name, setting in made.settings.items()]
notes = [f"- {note}" for note in made.notes]
if made.typical:
    notes.append(f"- Typical values, not yours, stand in: {', '.join(made.typical)}.")
Markdown("\n".join(["| setting | value | from |", "|---|---|---|", *rows, "", *notes]))
# %% [markdown]
# ## Checks
#
# The margin is above 1 where a limit is kept. A mend is one number that makes its check hold; it has been tried. Plan again after a mend, because it may press on another check. Below the table stands what each mend does to the whole plan, and what no mend reaches.
# %%
rows = [f"| {check.name} | {pretty(check.in_words())} | {check.state} | {pretty(check.mend.text) if check.mend else ''} | {check.why} |"
        for check in made.checks]
display(figures.margins(made.checks))
display(Markdown("\n".join(["| check | figure and limit | state | mend | what it rests on |", "|---|---|---|---|---|", *rows])))
for check in made.checks:
    if check.mend:
        again = plan(*checks.apply(shot, rig, check.mend.key, check.mend.value), mends=False)
        others = [c.name for c in again.checks if c.state == "fails"]
        print(f"{pretty(check.mend.text)}: {check.name} {again.check(check.name).state}; {again['frames']:.0f} frames in "
              f"{say(again['total_time'], 'min')}" + (f"; then fails: {', '.join(others)}" if others else ""))
    elif check.state != "holds":
        print(f"{check.name}: {check.state}" + ("; no single number mends it" if check.state == "fails" else "") + f"; {check.why}")
print(f"The plan as it stands: {made.verdict}.")
# %% [markdown]
# ## Files
#
# `plan.json` holds settings and checks, `schedule.csv` a row for each frame, `settings.html` is one page to print and take to the rig, with the cautions. Existing files are never replaced from here.
# %%
if OUT is None:
    print("No files were written. Set OUT in the first cell to a folder, and run all cells again.")
else:
    try:
        print("Written: " + ", ".join(path.name for path in write_plan(made, OUT)))
    except FileExistsError:
        for name, write in WRITERS.items():
            file = Path(OUT, name)
            same = file.exists() and file.read_text("utf-8") == write(made)
            print(f"{name}: " + ("is there and is that of this plan" if same else "was not written; the folder holds another plan's files"))
