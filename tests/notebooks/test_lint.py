"""The lint over every stored notebook, and for each rule a notebook that it must refuse."""

import base64
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_output

from tests.notebooks import rules
from tools.build import NOTEBOOKS, WIDGET, read, sources, stored

STORED = sorted(p for p in NOTEBOOKS.rglob("*.ipynb") if not any(part.startswith(".") for part in p.parts))
_CASES = [(path, name) for path in STORED for name in rules.rules_for(path)]


@pytest.mark.parametrize(("path", "name"), _CASES,
                         ids=[f"{name}-{path.relative_to(NOTEBOOKS).with_suffix('')}" for path, name in _CASES])
def test_rule(path, name):
    messages = list(rules.rules_for(path)[name](nbformat.read(path, 4), path))
    assert not messages, "\n".join([f"{path.relative_to(NOTEBOOKS)}, {name}:", *messages])


def test_every_notebook_has_a_source():
    assert STORED and sorted(map(stored, sources())) == STORED


# A lesson that keeps all rules, and for each rule what breaks it and nothing of it.
_HEAD = """# %% [markdown]
# # Turns and travel
# Estimated time: 20 minutes reading, 10 minutes exercises. Sliders need a running kernel.
# ## What you will be able to do
# - compute the travel of a pulse
# - choose a screw
# ## What you need first
# Nothing. The [overview](README.md) helps.
# ## Predict
# A screw has a lead of 2.54 mm. One pulse is 12.70<!--= 1e6 * travel:.2f => 12.70 --> um.
# %%
travel = 2.54e-3 / 200
print(f"{1e6 * travel:.2f} um")
"""
_EXERCISE = """# %% [markdown]
# ## Exercise {n}
# How far does it move?
# %% tags=["exercise"]
answer{n} = None
# %% [markdown]
# <details><summary>Solution</summary>
#
# It moves that far.
#
# </details>
"""
_FILL = "# %% [markdown]\n# " + "The carriage moves along the rail with every turn. " * 8 + "\n# %%\nx = 1\ny = 2\n"
_TAIL = "# %% [markdown]\n# ## Mistakes people make\n# ## What to remember\n# ## Next\n"
GOOD = _HEAD + _EXERCISE.format(n=1) + _EXERCISE.format(n=2) + _FILL * 18 + _TAIL


def _lesson():
    notebook = read(GOOD)
    for number, cell in enumerate((c for c in notebook.cells if c.cell_type == "code"), 1):
        cell.execution_count = number
    notebook.cells[1].outputs = [new_output("stream", name="stdout", text="12.70 um\n")]
    return notebook


def _swap(old, new):
    def change(notebook):
        cell = next(c for c in notebook.cells if old in c.source)
        cell.source = cell.source.replace(old, new)
    return change


def _output(**data):
    data = {kind.replace("_", "/"): text for kind, text in data.items()}
    return lambda notebook: notebook.cells[1].outputs.append(new_output("display_data", data=data))


_ELSEWHERE = "/".join(["", "home", "somebody", "plan.json"])
_ANIMATED = base64.b64encode(b"\x89PNG\r\n\x1a\n....acTL....").decode()
_LONG_ALT = "a line that rises from 1 mm to 2 mm"
BROKEN = [
    ("executed_in_order", lambda n: n.cells[1].update(execution_count=None)),
    ("executed_in_order", lambda n: n.cells[1].update(execution_count=7)),
    ("has_compared_output", lambda n: n.cells[1].update(outputs=[])),
    ("no_trailing_semicolon", _swap('um")', 'um");')),
    ("no_hidden_results", _swap("travel = ", "interact(print)\ntravel = ")),
    ("no_hidden_results", _swap("travel = ", "o = widgets.Output()\ntravel = ")),
    ("no_hidden_results", _swap("travel = ", "s = ipywidgets.FloatSlider()\ntravel = ")),
    ("no_magics", _swap("travel = ", "%matplotlib inline\ntravel = ")),
    ("no_bare_floats", _output(text_plain="0.30000000000000004")),
    ("no_bare_floats", _output(text_plain="<object object at 0x7f12ab>")),
    ("no_stderr_or_error", lambda n: n.cells[1].outputs.append(new_output("stream", name="stderr", text="w"))),
    ("no_stderr_or_error", lambda n: n.cells[1].outputs.append(new_output("error", ename="ValueError"))),
    ("fixed_metadata", lambda n: n.metadata.update(widgets={})),
    ("fixed_metadata", lambda n: n.cells[1].metadata.update(execution={})),
    ("fixed_metadata", lambda n: n.cells[1].outputs.append(new_output("display_data", data={WIDGET: {}}))),
    ("one_title", _swap("# Turns and travel\n", "Turns and travel\n")),
    ("one_title", _swap("## Next", "# Next")),
    ("heading_levels", _swap("## What to remember", "## What to remember\n#### Deeper")),
    ("pictures_have_alt", _output(text_html="<img src='data:image/png;base64,AAAA'>", text_plain="picture")),
    ("pictures_have_alt", _output(text_html="<img alt='too short' src='data:image/png;base64,AAAA'>")),
    ("pictures_have_alt", _output(image_png="AAAA", text_plain="<Figure>")),
    ("pictures_have_alt", _swap("Nothing.", "![](data/x.png)")),
    ("plain_words", _swap("Nothing.", "Simply nothing.")),
    ("plain_words", _swap("Nothing.", "You just turn it.")),
    ("no_outside_paths", _output(text_plain="written to " + _ELSEWHERE)),
    ("no_outside_paths", _swap("travel = ", f"open('{_ELSEWHERE}')\ntravel = ")),
    ("no_requests", _swap("travel = ", "import urllib.request\ntravel = ")),
    ("no_requests", _output(text_html=f"<img alt='{_LONG_ALT}' src='https://example.org/x.png'>")),
    ("no_requests", _output(text_html="<script>1</script>")),
    ("no_requests", _swap("Nothing.", f"![{_LONG_ALT}](https://example.org/x.png)")),
    ("nothing_plays", _output(text_html="<audio autoplay src='data:audio/wav;base64,AAAA'></audio>")),
    ("nothing_plays", _output(text_html=f"<img alt='{_LONG_ALT}' src='data:image/png;base64,{_ANIMATED}'>")),
    ("nothing_plays", _output(image_gif="AAAA", text_plain="a picture")),
    ("nothing_plays", _swap("travel = ", "Audio([0], autoplay=True)\ntravel = ")),
    ("nbval_stays_on", lambda n: n.cells[1].metadata.update(tags=["nbval-ignore-output"])),
    ("nbval_stays_on", _swap("travel = ", "# NBVAL_SKIP\ntravel = ")),
    ("links_resolve", _swap("README.md", "no-such-page.ipynb")),
    ("links_resolve", _swap("[overview]", "[here]")),
    ("prose_numbers_are_bound", _swap("2.54 mm", "2.55 mm")),
    ("prose_numbers_are_bound", _swap("Nothing.", "A frame takes 1.25 s.")),
    ("panels_say_kernel", lambda n: (_swap("running kernel", "computer")(n), _swap("x = 1", "panel()")(n))),
    ("lesson_sections", _swap("## What to remember", "## Remember")),
    ("lesson_sections", _swap("## Predict", "## Guess")),
    ("lesson_sections", _swap("20 minutes reading", "a while reading")),
    ("lesson_objectives", _swap("- choose a screw\n", "")),
    ("lesson_objectives", _swap("- choose a screw", "- understand a screw")),
    ("lesson_exercises", _swap("## Exercise 2", "## More")),
    ("lesson_exercises", _swap("<summary>Solution", "<summary>Hint")),
    ("lesson_exercises", lambda n: n.cells[3].metadata.update(tags=[])),
    ("lesson_size", lambda n: n.cells.extend(read(_FILL * 20).cells)),
    ("lesson_size", lambda n: n.cells.__delitem__(slice(20, 30))),
    ("worksheet_size", lambda n: None),
    ("worksheet_asks_first", lambda n: None),
]


@pytest.fixture
def lesson_path(tmp_path):
    (tmp_path / "learn").mkdir()
    (tmp_path / "learn" / "README.md").write_text("# Overview\n")
    return tmp_path / "learn" / "01-sample.ipynb"


def test_a_good_lesson_passes(lesson_path):
    nbformat.validate(_lesson())
    assert [m for rule in rules.rules_for(lesson_path).values() for m in rule(_lesson(), lesson_path)] == []


@pytest.mark.parametrize(("name", "change"), BROKEN, ids=[f"{n}-{i}" for i, (n, _) in enumerate(BROKEN)])
def test_each_rule_can_fail(name, change, lesson_path):
    notebook = _lesson()
    change(notebook)
    path = Path("design/plan-sample.ipynb") if name.startswith("worksheet") else lesson_path
    assert list(rules.rules_for(path)[name](notebook, path))


def test_each_rule_is_tried():
    assert {name for name, _ in BROKEN} == {*rules.RULES, *rules.LESSON_RULES, *rules.WORKSHEET_RULES}


def test_a_few_code_cells_pass_as_worksheet():
    text = "# %% [markdown]\n# # Plan\n# %%\nprint('MACROLIB_SHOT MACROLIB_RIG MACROLIB_OUT')\n"
    path = Path("design/plan-sample.ipynb")
    assert [m for rule in rules.WORKSHEET_RULES.values() for m in rule(read(text), path)] == []
