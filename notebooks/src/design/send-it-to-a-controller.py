# %% [markdown]
# # Send it to a controller
#
# A worksheet: a plan becomes `move.h`, a header for the pulse program in `macrolib/controller/mcu`, and you see when each pulse comes. Change the two file names in the first cell and run all cells. File names count from the folder of this notebook; the environment variables `MACROLIB_SHOT`, `MACROLIB_RIG` and `MACROLIB_OUT` go before the names in the cell.
#
# It is for stacks and for filmed moves from mark to mark. A hand-led shot is refused: the header is a table of moves that are computed beforehand, and a set-point that a hand turns is not. Why programs differ so much in speed is told in [The pulse ceiling](../learn/04b-the-pulse-ceiling.ipynb).
# %%
import os
from pathlib import Path

import numpy as np

from macrolib import plan, read_rig, read_shot
from macrolib.controller import header, pieces
from macrolib.physics import pulses
from macrolib.planning.output import shown
from macrolib.show import figures_controller
from macrolib.show.style import say

SHOT = os.environ.get("MACROLIB_SHOT") or "../data/shots/wing-case.toml"
RIG = os.environ.get("MACROLIB_RIG") or "../data/rigs/field-belt.toml"
OUT = os.environ.get("MACROLIB_OUT") or None  # a folder for move.h, such as "../../out/my-move"; None: no file

shot, rig = read_shot(SHOT), read_rig(RIG).as_used
made = plan(shot, rig)
per_pulse = made["travel_per_pulse"]
print(f"{shot.name or Path(SHOT).stem} on {rig.name or Path(RIG).stem}: {made.verdict}")
print(f"{shot.kind}, travel for one pulse {say(per_pulse, 'um')}, speed {shown(made.settings['speed_pulses'])}")
# %% [markdown]
# ## Does the controller keep up?
#
# The plan's check compares the pulse rate with a share of the ceiling that the rig file names. The pulse program here has its own ceiling, measured in a simulator; a plan above the same share of it is refused.
# %%
rate = made.check("pulse rate under the ceiling")
own = header.RECORDED["programs"]["pieces"]["pulses_per_second"]
print(f"{rate.state}: {rate.in_words()} ({rate.why})")
print(f"ceiling of this pulse program: {say(own, 'kHz')}, used to {shot.limits.ceiling_share:.0%}; recorded with avr-gcc {header.RECORDED['made_with']['compiler']}, not on a real chip")
# %% [markdown]
# ## The header
#
# The way from the home switch to the start comes first, then the move that counts. Each move is a list of straight pieces of interval against pulse number. The sizes are those of the program with its pieces.
# %%
text, sizes = header.header(made)
parts = header.segments(made)
for number, part in enumerate(parts):
    print(f"move {number}: {part.pulses} pulses {'away from' if part.way > 0 else 'towards'} home in {len(part.pieces)} pieces")
print(f"flash {sizes.flash} of {header.FLASH} bytes, RAM {sizes.ram} of {header.RAM} bytes")
print("\n".join(line[:110] for line in text.splitlines()[:24]))
# %% [markdown]
# ## The edges on the planned ramp
#
# A model in whole numbers computes what the program computes, bit for bit. The tests compare both, and they compare the edges in a simulator of the chip to the cycle. So the edges below are those of the program.
# %%
move = made.moves["take" if shot.kind == "traverse" else "between frames"]
figures_controller.edges(move, parts[-1], per_pulse)
# %% [markdown]
# What that means at the rail:
# %%
late = np.cumsum(pieces.intervals(parts[-1])) / pieces.TIMER - pulses.pulse_times(move, per_pulse)
print(f"edges within {say(np.abs(late).max(), 'us')} of their time, "
      f"{say(np.abs(late).max() * move.peak_speed, 'nm')} at full speed; one pulse is {say(per_pulse, 'nm')}")
# %% [markdown]
# ## What happens when it is stopped
#
# An open stop switch, or an end switch in the way of the carriage, does not stop it dead: that would lose steps. In the ramp in, the pieces run backwards. In the cruise, the ramp out begins. The switch is seen at the next pulse, and two that are computed already still come. Place each end switch further before its stop than the way of the moves that go there:
# %%
for number, part in enumerate(parts):
    way = 3 + max(sum(p.count for p in ramp) for ramp in (part.pieces[:part.cruise], part.pieces[part.out:]))
    print(f"move {number}: at most {way} pulses, {say(way * per_pulse, 'mm')}, {'away from' if part.way > 0 else 'towards'} home")
# %% [markdown]
# ## The wiring
#
# Four lines leave the controller. **Step** (D2) makes one edge a pulse; it is high for at least 2 µs. **Direction** (D3) is set before the first pulse. **Enable** (D4) is low while the motor has current. **Shutter** (D5) goes through an optical isolator: inside it a light crosses a gap, so that no wire joins the camera to the motor's supply. The camera sees a closed contact.
#
# Four switches go from C0 to C3 to ground: home, end, go and stop. Each is *closed* while all is well, so that a broken wire stops the rail. Open the go switch and close it again to start: nothing starts by itself when power comes back. Opened later, it pauses a stack before its next frame. After a stop, switch the controller off and on.
# %%
figures_controller.wiring()
# %% [markdown]
# ### Cautions
#
# - **Fuse** close to the supply's positive end, sized for the wire: above the peak current, below what the wire carries.
# - **Stop switch in the drive power**, within reach. The stop input of the program is for convenience: a program can hang. Neither it nor the end switches protect a person.
# - **Fingers, hair, cords** stay away from carriage and screw. A slow screw pushes with great force.
# - **Upright or sloping axis**: without power the load can fall. Fit a brake or a counterweight and tether the camera. The program keeps the motor on at the end for such a rail; a brake must do it when the power fails.
# - **Never unplug the motor** from a driver that has power. Motor and driver can be too hot to touch.
# - **First run without camera and subject**, with the lens away from glass. Homing creeps and ends at the home switch; see that it turns the right way.
# - Batteries are charged attended, with their own charger. Use closed supplies with protective earth for metal rails. Makers' instructions, local codes and licensed practice come first.
# %% [markdown]
# ## The file
#
# Put `move.h` beside the files of `macrolib/controller/mcu` and compile `pulse_avr.c` for an ATmega328P at 16 MHz, with the compiler's option `-O2`. An existing file is never replaced from here. After a stop, `first_frame` of `header.write_header` lets a stack go on at a later frame. It homes again and passes the frames before. A film header holds one take: start it once for each. `flash` and `ram` are the bytes of a smaller controller of the same family; a program that does not fit is refused.
# %%
if OUT:
    header.write_header(made, Path(OUT) / "move.h")
print("written: move.h" if OUT else "no file written: OUT is None")
