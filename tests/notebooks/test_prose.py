"""The text cells against the code: what each says now must be what the source and its code give.

A notebook's code runs once more, inside the test process: quicker than a kernel, and the names that it leaves behind
can be asked. The same run gives its figures, whose axes must name a unit.
"""

import contextlib
import functools
import io
import json
import os
import re
import sys
from types import SimpleNamespace

import matplotlib
import matplotlib.pyplot as plt
import nbformat
import pytest
from matplotlib.figure import Figure

from tools.build import NOTEBOOKS, as_f_string, fill_prose, prose_expressions, read, sources, stored

_UNIT = re.compile(r"\([^()]+\)\s*$")
_SOURCES = {str(s.relative_to(NOTEBOOKS / "src").with_suffix("")): s for s in sources()}


_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_TRUNC
_CACHES = ("__pycache__", "fontlist-", "/dev/null")
_watched = []  # a list while a notebook runs: what it opens for writing, makes, moves or removes


def _watch(event, arguments):
    if _watched and (event in ("os.mkdir", "os.rename", "os.remove", "os.symlink", "os.link", "subprocess.Popen")
                     or event == "open" and arguments[2] and arguments[2] & _WRITING):
        text = str(arguments[1] if event == "os.rename" else arguments[0])
        if not any(cache in text for cache in _CACHES):
            _watched[-1].append(text)


sys.addaudithook(_watch)


def run(notebook, folder, before=lambda cell, names: None):
    """Run the code of an unfilled notebook: the prose values, the figures made, the paths written. before: called for each code cell."""
    made = SimpleNamespace(values=[], figures=[], written=[])
    names, first = {"display": lambda *_, **__: None}, Figure.__init__

    @functools.wraps(first)
    def keep(self, *args, **options):
        first(self, *args, **options)
        made.figures.append(self)

    with contextlib.chdir(folder), contextlib.redirect_stdout(io.StringIO()), pytest.MonkeyPatch.context() as patch:
        patch.setattr(Figure, "__init__", keep)
        matplotlib.use("Agg")
        _watched.append(made.written)
        for cell in notebook.cells:
            if cell.cell_type == "code":
                before(cell, names)
                expected = Exception if "raises-exception" in cell.metadata.get("tags", []) else ()
                with contextlib.suppress(expected):
                    exec(compile(cell.source, "cell", "exec"), names)
        made.values = [eval(as_f_string(expression), names) for expression in prose_expressions(notebook)]
        _watched.pop()
    plt.close("all")
    return made


@functools.cache
def _run_source(name):
    notebook = read(_SOURCES[name].read_text("utf-8"), name)
    return notebook, run(notebook, stored(_SOURCES[name]).parent)


def _differences(source, values, kept):
    """Messages where a stored notebook is not what its source and these prose values give."""
    wanted = nbformat.from_dict(json.loads(json.dumps(source)))
    fill_prose(wanted, values)
    if len(wanted.cells) != len(kept.cells):
        yield f"{len(wanted.cells)} cells in the source, {len(kept.cells)} stored: build it again"
    for number, (new, old) in enumerate(zip(wanted.cells, kept.cells, strict=False), 1):
        if (new.cell_type, new.id, new.metadata) != (old.cell_type, old.id, old.metadata):
            yield f"cell {number} is not the source's cell: build it again"
        for line, was in zip(new.source.splitlines(), old.source.splitlines(), strict=False):
            if line != was:
                yield f"cell {number} says {was!r}, the source and its code give {line!r}"


def _without_unit(figure):
    """The axes labels of a figure that a reader sees numbers on and no unit."""
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            shown = axes.axison and axis.get_visible() and any(t.get_text() for t in axis.get_ticklabels())
            numbers = shown and not any(re.search(r"[A-Za-z]", t.get_text()) for t in axis.get_ticklabels()
                                        if "$" not in t.get_text())
            if numbers and not _UNIT.search(axis.label.get_text()):
                yield f"axis label {axis.label.get_text()!r} of {axes.get_title() or 'a figure'!r} has no '(unit)'"


@pytest.mark.parametrize("name", _SOURCES)
def test_prose_and_cells_are_those_of_the_source(name):
    source, made = _run_source(name)
    messages = list(_differences(source, made.values, nbformat.read(stored(_SOURCES[name]), 4)))
    assert not messages, "\n".join([name, *messages])


@pytest.mark.parametrize("name", _SOURCES)
def test_every_axis_has_a_unit(name):
    messages = [m for figure in _run_source(name)[1].figures for m in _without_unit(figure)]
    assert not messages, "\n".join([name, *messages])


@pytest.mark.parametrize("name", _SOURCES)
def test_running_a_page_writes_no_file(name):
    """Only a button, or a folder that the reader names, makes files; caches do not count."""
    assert _run_source(name)[1].written == []


# What must fail, and what must not.
_SAMPLE = """# %% [markdown]
# # Travel
# A pulse moves <!--= 1e6 * travel:.2f --> um.
# %%
travel = 2e-3 / 400
"""


def test_a_number_that_differs_is_found(tmp_path):
    source = read(_SAMPLE)
    values = run(source, tmp_path).values
    assert values == ["5.00"]
    kept = read(_SAMPLE)
    fill_prose(kept, values)
    assert "A pulse moves 5.00<!--" in kept.cells[0].source
    assert list(_differences(source, values, kept)) == []
    kept.cells[0].source = kept.cells[0].source.replace("5.00", "5.01")
    assert list(_differences(source, values, kept))
    # and when the code changes, but not the stored text
    assert list(_differences(source, ["2.50"], kept))


def test_filling_again_replaces_the_number():
    notebook = read(_SAMPLE)
    fill_prose(notebook, ["5.00"])
    fill_prose(notebook, ["2.50"])
    assert notebook.cells[0].source == "# Travel\nA pulse moves 2.50<!--= 1e6 * travel:.2f => 2.50 --> um."


def test_a_missing_unit_is_found(tmp_path):
    text = """# %%
import matplotlib.pyplot as plt
figure, (left, right) = plt.subplots(1, 2)
_ = left.set(xlabel="time (s)", ylabel="speed (mm/s)"), right.set(xlabel="time", ylabel="speed (mm/s)")
"""
    made = run(read(text), tmp_path)
    assert [m for f in made.figures for m in _without_unit(f)] == ["axis label 'time' of 'a figure' has no '(unit)'"]


def test_an_error_in_a_cell_is_an_error_here(tmp_path):
    with pytest.raises(ZeroDivisionError):
        run(read("# %%\n1 / 0\n"), tmp_path)
    run(read('# %% tags=["raises-exception"]\n1 / 0\n'), tmp_path)


@pytest.mark.parametrize("line", ["open('../x', 'a').close()", "import os; os.mkdir('y')",
                                  "import pathlib; pathlib.Path('z').write_text('')", "import subprocess; subprocess.run(['true'])"])
def test_a_file_that_is_written_is_found(tmp_path, line):
    (tmp_path / "learn").mkdir()
    assert len(run(read(f"# %%\n{line}\n"), tmp_path / "learn").written) >= 1
    assert run(read("# %%\nimport os\nos.listdir()\n"), tmp_path).written == []
