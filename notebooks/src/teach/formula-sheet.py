# %% [markdown]
# # Formula sheet and table of symbols
#
# Every formula of the library, by subject, with the range in which it holds and its source, and then every symbol with its unit. This page is made from the formulas that compute: it cannot differ from them. All values are in SI units; a turn, a pulse, a px and a frame count as units of their own.
#
# To print it, run `make workshop` and print `print/formula-sheet.html`.
# %%
import importlib
import pkgutil

from IPython.display import Markdown

from macrolib import physics
from macrolib.formula import Formula, formula_sheet, symbol_table

subjects, seen = {}, set()
for module in pkgutil.iter_modules(physics.__path__):
    found = [f for f in vars(importlib.import_module(f"macrolib.physics.{module.name}")).values() if isinstance(f, Formula)]
    subjects[module.name] = [f for f in found if id(f) not in seen]
    seen.update(map(id, found))
subjects = {name: found for name, found in subjects.items() if found}
print(f"{sum(map(len, subjects.values()))} formulas in {len(subjects)} subjects: {', '.join(subjects)}")
# %% [markdown]
# ## Formulas
# %%
Markdown("\n\n".join(f"### {name}\n\n{formula_sheet(found)}" for name, found in subjects.items()))
# %% [markdown]
# ## Symbols
# %%
Markdown(symbol_table([f for found in subjects.values() for f in found]))
