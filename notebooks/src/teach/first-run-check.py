# %% [markdown]
# # First run: is everything there?
#
# Run this page before the first lesson, on the machine and in the browser that you will use. Click into a cell and press Shift and Enter. It takes about five minutes, the first time.
#
# ## What is missing, and how to get it
#
# The first cell needs nothing but Python. It says what is missing, and what to type.
# %%
import importlib.metadata as packages
import importlib.util
import os
import sys

HOW = "In the folder of the collection type `make lab`, or `python -m pip install --editable .`; then choose Kernel, Restart Kernel."
FILES = ("../data/rigs/bench-screw.toml", "../data/shots/moss-capsule.toml", "../data/exercises/entry-quiz.toml")


def wanted():
    """What macrolib asks for, whether it is installed or used from its folder; None where it is not found."""
    found = importlib.util.find_spec("macrolib")
    try:
        return found and (packages.requires("macrolib") or [])
    except packages.PackageNotFoundError:
        import tomllib

        with open(os.path.join(os.path.dirname(found.origin), "..", "pyproject.toml"), "rb") as file:
            return tomllib.load(file)["project"]["dependencies"]


def look():
    """What is missing or wrong, one line each, with the way to mend it."""
    if sys.version_info < (3, 11):
        yield f"Python is {sys.version.split()[0]}; 3.11 or newer is needed. Install it, then name it: make PYTHON=python3.12 lab"
    needs = wanted()
    if needs is None:
        yield f"macrolib is not installed for this kernel. {HOW}"
        return
    from packaging.requirements import Requirement

    for need in map(Requirement, needs):
        if need.marker and not need.marker.evaluate({"extra": ""}):
            continue
        try:
            if not need.specifier.contains(packages.version(need.name), prereleases=True):
                yield f"{need.name} is {packages.version(need.name)}, not {need.specifier}: python -m pip install '{need}'"
        except packages.PackageNotFoundError:
            yield f"{need.name} is missing: python -m pip install '{need}'"
    for file in FILES:
        if not os.path.exists(file):
            yield f"{file} is not beside this page. Copy the whole folder of the workshop, not single notebooks."
    if not os.access(".", os.W_OK):
        yield "this folder cannot be written: copy the workshop into a folder of your own, and open it there"


missing = list(look())
print("\n".join(missing) or "Python, packages, data and folder: everything is there.")
# %% [markdown]
# ## A plan
#
# The next cell plans the demo. The stored number is <!--= f"{made['frames']:.0f}" -->. Yours must be the same.
# %%
from macrolib import plan, read_rig, read_shot

made = plan(read_shot("../data/shots/moss-capsule.toml"), read_rig("../data/rigs/bench-screw.toml"), mends=False)
print(f"{made['frames']:.0f} frames")
# %% [markdown]
# ## A slider
#
# Sliders need a running kernel. After you run the next cell, the picture must stand below sliders. Move the first one: the picture follows.
#
# - You see the picture, but no sliders: save, reload the page in the browser, run the cell again.
# - Still none: the kernel and the page come from two installations. Close both, and start with `make lab`.
# - Arrow keys do nothing: click onto the slider first, or go there with the Tab key.
# %%
from macrolib.show.panels import depth_of_field

depth_of_field.show()
# %% [markdown]
# ## Without sliders?
#
# You can still take part: ask for the printed lessons (`make handouts`). They show each panel at three settings.
