# %% [markdown]
# # Formula sheet and table of symbols
#
# First what the lessons use, in short: two or three pages to print for a class. Then every formula of the library with the range in which it holds and its source. Last every symbol with its unit. This page is made from the formulas that compute, so it cannot differ from them. All values are in SI units; a turn, a pulse, a px and a frame count as units of their own.
#
# To print it, run `make workshop` and print `print/formula-sheet.html`.
# %%
import importlib
import json
import pkgutil
import re
from pathlib import Path

from IPython.display import Markdown

from macrolib import physics
from macrolib.formula import Formula, formula_sheet, in_table, symbol_table

subjects, seen = {}, set()
for module in pkgutil.iter_modules(physics.__path__):
    found = vars(importlib.import_module(f"macrolib.physics.{module.name}")).items()
    subjects[module.name] = {name: f for name, f in found if isinstance(f, Formula) and id(f) not in seen}
    seen.update(map(id, subjects[module.name].values()))
cells = [cell for path in Path("../learn").glob("*.ipynb") for cell in json.loads(path.read_text("utf-8"))["cells"]]
used = set(re.findall(r"\w+", " ".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")))
everything = [f for found in subjects.values() for f in found.values()]
in_lessons = [f for found in subjects.values() for name, f in found.items() if name in used]
print(f"{len(everything)} formulas, {len(in_lessons)} of them in lessons")
# %% [markdown]
# ## What the lessons use
# %%
Markdown("\n".join(["| what | formula |", "|---|---|", *(f"| {f.result.meaning} | ${in_table(f.latex)}$ |" for f in in_lessons)]))
# %% [markdown]
# ## All formulas, with limits and sources
# %%
Markdown("\n\n".join(f"### {name}\n\n{formula_sheet(found.values())}" for name, found in subjects.items() if found))
# %% [markdown]
# ## Symbols
# %%
Markdown(symbol_table(everything))
