"""The learners' folder: complete, without results and solutions, links that lead somewhere, nothing replaced unasked."""

import json
import os
import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

from tests.benchmarks.bench_memory import LIMIT, memory
from tests.notebooks import rules
from tests.notebooks.test_build import Loads
from tools import workshop
from tools.build import NOTEBOOKS, read

LESSONS = sorted(p.stem for p in (NOTEBOOKS / "learn").glob("*.ipynb"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("a class") / "workshop"
    workshop.write_workshop(out)
    return out


def test_it_holds_all_lessons_worksheets_data_and_pages(folder):
    assert sorted(p.stem for p in (folder / "learn").glob("*.ipynb")) == LESSONS
    for kind in ("design", "data/rigs", "data/shots", "data/parts", "data/exercises"):
        assert {p.name for p in (folder / kind).iterdir()} == {p.name for p in (NOTEBOOKS / kind).iterdir() if p.is_file()}
    assert {p.stem for p in (folder / "print").iterdir()} == {"formula-sheet", "questions", "glossary", "feedback-form"}
    assert {p.stem for p in (folder / "teach").glob("*.ipynb")} == {"first-run-check", "entry-quiz", "exit-quiz", "formula-sheet"}
    assert not list(folder.rglob("instructor-notes*"))


@pytest.mark.parametrize("kind", ["learn", "teach"])
def test_nothing_is_solved_or_run(folder, kind):
    for path in (folder / kind).glob("*.ipynb"):
        notebook = nbformat.read(path, 4)
        nbformat.validate(notebook)
        text = "\n".join(c.source for c in notebook.cells)
        assert "<summary>Solution" not in text and "<!--=" not in text
        assert all(not c.outputs and c.execution_count is None for c in notebook.cells if c.cell_type == "code")
        asks = any("exercise" in c.metadata.get("tags", []) for c in notebook.cells)
        assert ("This copy is yours" in text) == ("= blank" in text) == asks


def test_explanations_of_predictions_and_numbers_stay(folder):
    text = (folder / "learn" / "01-from-turns-to-travel.ipynb").read_text("utf-8")
    assert "<summary>Explain" in text and "**Pitch taken for lead.**" in text


def test_links_lead_somewhere(folder):
    for path in folder.rglob("*.ipynb"):
        assert list(rules.links_resolve(nbformat.read(path, 4), path)) == [], path
    pages = folder.parent / "workshop"
    for path in pages.rglob("*.md"):
        targets = [t for t in re.findall(r"\]\(([^)#\s]+)", path.read_text("utf-8")) if not re.match("[a-z]+:", t)]
        assert [t for t in targets if not (path.parent / t).exists()] == [], path


def test_pages_to_print_need_nothing_from_elsewhere(folder):
    for path in (folder / "print").iterdir():
        page = path.read_text("utf-8")
        assert Loads(page).found == [] and "<h1" in page and 'class="tex"' not in page, path
    assert (folder / "print" / "formula-sheet.html").read_text("utf-8").count("<math") > 200


def test_nothing_is_replaced_unasked(folder):
    mine = folder / "learn" / f"{LESSONS[0]}.ipynb"
    before = mine.read_bytes()
    mine.write_text("my answers")
    assert "--replace" in workshop.main([str(folder)]) and mine.read_text() == "my answers"
    workshop.write_workshop(folder, replace=True)
    assert mine.read_bytes() == before


def test_blanks_are_set_whatever_the_lesson_writes():
    source = "answer_1 = None  # such as '5 mm'\na, µ, b = ..., None, 3\nmost = min(2, 3, default=None)\ncheck(answer_1, 'x')"
    assert workshop.blanked(source) == ("answer_1 = blank  # such as '5 mm'\na, µ, b = blank, blank, 3\nmost = min(2, 3, default=None)\n"
                                        "check(answer_1, 'x')")
    notebook = read("# %% [markdown]\n# # T\n# %%\nfrom macrolib.teach import exercises\n# %% tags=[\"exercise\"]\na = None\n")
    mine = workshop.for_learners(notebook)
    assert [c.source for c in mine.cells[1:]] == ["from macrolib.teach import blank, exercises", "a = blank"]
    assert notebook.cells[2].source == "a = None"


def _tree(folder, but=()):
    return {p.relative_to(folder).as_posix() for p in Path(folder).rglob("*") if p.is_file() and not any(b in p.parts for b in but)}


@pytest.mark.slow
def test_a_learner_writes_nothing_outside_her_own_folder(folder, tmp_path, monkeypatch):
    """All lessons in kernels of their own: no new file in the collection or the workshop, in the home only what Jupyter keeps."""
    for name in [n for n in os.environ if n.startswith(("JUPYTER", "IPYTHON", "MPL", "XDG"))]:
        monkeypatch.delenv(name)
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.setenv("HOME", str(home))
    before = [_tree(place, ("__pycache__",)) for place in (folder, NOTEBOOKS, NOTEBOOKS.parent / "macrolib")]
    for path in sorted((folder / "learn").glob("*.ipynb")):
        notebook = nbformat.read(path, 4)
        NotebookClient(notebook, timeout=180, kernel_name="python3", resources={"metadata": {"path": str(path.parent)}}).execute()
        assert "No answer yet" in json.dumps(notebook)
    assert [_tree(place, ("__pycache__",)) for place in (folder, NOTEBOOKS, NOTEBOOKS.parent / "macrolib")] == before
    assert {name.split("/")[0] for name in _tree(home)} <= {".cache", ".config", ".ipython", ".jupyter", ".local"}


@pytest.mark.slow
def test_a_kernel_stays_small(folder):
    text = (NOTEBOOKS / "teach" / "class-of-thirty.md").read_text("utf-8")
    stated = {name: int(resident) for name, resident in re.findall(r"^\| ([\w-]+) \| (\d+) \|", text, re.M)}
    assert set(stated) == set(LESSONS)
    largest = max(stated, key=stated.get)
    assert memory(NOTEBOOKS / "learn" / f"{largest}.ipynb")[0] <= LIMIT
