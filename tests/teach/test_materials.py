"""What a teacher gets: plans that add up, notes for each lesson, links that lead somewhere, a first run that says what is missing."""

import ast
import importlib.metadata
import importlib.util
import io
import itertools
import os
import re
from contextlib import redirect_stdout

import nbformat
import pytest

from tests.notebooks import rubric
from tests.notebooks.test_prose import _SOURCES
from tools.build import NOTEBOOKS, read

TEACH = NOTEBOOKS / "teach"
LESSONS = {p.stem: rubric.read_lesson(p) for p in rubric.LESSONS}
PAGES = sorted(p for p in (*NOTEBOOKS.rglob("*.md"), *NOTEBOOKS.parent.glob("*.md")) if not any(x.startswith(".") for x in p.parts))
_LINK = re.compile(r"\]\(([^)#\s]+)[^)]*\)")


def _lesson_links(text):
    return re.findall(r"learn/([\w-]+)\.ipynb", text)


def _rows(text, columns):
    """Cells of the table rows that have so many columns, without heads and rulers."""
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in text.splitlines() if line.startswith("| ")]
    return [row for row in rows if len(row) == columns]


@pytest.mark.parametrize("path", PAGES, ids=lambda p: p.relative_to(NOTEBOOKS.parent).as_posix())
def test_links_of_a_page_lead_somewhere(path):
    targets = [t for t in _LINK.findall(path.read_text("utf-8")) if not re.match("[a-z]+:", t)]
    assert [t for t in targets if not (path.parent / t).exists()] == []


@pytest.mark.parametrize(("name", "after"), [*itertools.pairwise(LESSONS)])
def test_each_lesson_leads_to_the_next(name, after):
    assert f"({after}.ipynb)" in LESSONS[name].section("Next")


@pytest.mark.parametrize("name", LESSONS)
def test_a_lesson_needs_only_lessons_before_it(name):
    assert all(other < name for other in re.findall(r"\]\(([\w-]+)\.ipynb", LESSONS[name].section("What you need first")))


# --- index by question, glossary
QUESTIONS = _rows((NOTEBOOKS / "questions.md").read_text("utf-8"), 3)[1:]


def test_every_lesson_answers_a_question():
    assert {name for row in QUESTIONS for name in _lesson_links(row[1])} == set(LESSONS)
    assert len({row[0] for row in QUESTIONS}) == len(QUESTIONS) >= 2 * len(LESSONS)


@pytest.mark.parametrize("row", QUESTIONS, ids=lambda row: row[0])
def test_a_question_leads_to_a_section_that_is_there(row):
    question, link, section = row
    lesson = LESSONS[_lesson_links(link)[0]]
    assert question.endswith("?")
    assert section in [re.sub(r" \(about \d+ minutes?\)$", "", text) for _, text, _ in lesson.headings]
    assert f"[{lesson.headings[0][1]}]" in link


GLOSSARY = _rows((NOTEBOOKS / "glossary.md").read_text("utf-8"), 3)[1:]


def test_the_glossary_is_in_order_and_has_each_term_once():
    terms = [term.strip() for row in GLOSSARY for term in row[0].split(",")]
    assert len(set(terms)) == len(terms) > 80
    assert [row[0].lower() for row in GLOSSARY] == sorted(row[0].lower() for row in GLOSSARY)


@pytest.mark.parametrize("row", GLOSSARY, ids=lambda row: row[0])
def test_a_term_is_used_where_the_glossary_says(row):
    names = _lesson_links(row[2])
    text = LESSONS[names[0]].prose if names else (NOTEBOOKS / "src" / "00-start-here.py").read_text("utf-8")
    assert any(re.search(rf"\b{re.escape(term.strip())}", re.sub(r"\s+", " ", text), re.I) for term in row[0].split(","))
    assert "](" in row[2] and len(row[1]) > 10


@pytest.mark.parametrize("name", LESSONS)
def test_words_that_a_lesson_introduces_stand_in_the_glossary(name):
    assert rubric.terms(LESSONS[name]) - rubric.glossary() == set()


# --- for the teacher
@pytest.mark.parametrize("name", LESSONS)
def test_each_lesson_has_instructor_notes(name):
    assert rubric.instructor_notes(LESSONS[name])[0] == 2


def _minutes(clock):
    hours, minutes = clock.split(":")
    return 60 * int(hours) + int(minutes)


def _plans():
    """(title, rows) of the tables of plans.md that begin with a time."""
    for part in re.split(r"^#+ ", (TEACH / "plans.md").read_text("utf-8"), flags=re.M):
        rows = [row for row in _rows(part, 4) if re.match(r"\d+:\d\d$", row[0])]
        if rows:
            yield part.splitlines()[0], rows


def test_the_minutes_of_the_plans_add_up():
    plans = dict(_plans())
    assert len(plans) == 3
    for title, rows in plans.items():
        for (start, minutes, *_), (following, *_) in itertools.pairwise(rows):
            assert _minutes(start) + int(minutes) == _minutes(following), (title, start)
        assert rows[0][0] == "0:00" and rows[-1][1] == "0"
        parts = itertools.groupby(rows, lambda row: row[2] in ("break", "lunch"))
        sittings = [sum(int(row[1]) for row in group) for rests, group in parts if not rests]
        assert max(sittings) <= 120, f"{title}: {max(sittings)} minutes without a break"


def test_lessons_get_the_time_in_the_plans_that_they_say_they_need():
    seen = 0
    for title, rows in _plans():
        for _, minutes, what, link in rows:
            for name in _lesson_links(link):
                whole = sum(LESSONS[name].minutes)
                if what == "the whole lesson":
                    seen += 1
                    assert int(minutes) == whole, (title, name)
                else:
                    assert int(minutes) < whole, (title, name)
    assert seen > 6


def test_every_page_for_teachers_is_in_their_list():
    text = (TEACH / "README.md").read_text("utf-8")
    assert {p.name for p in TEACH.iterdir() if p.suffix in (".md", ".ipynb") and p.name != "README.md"} <= set(_LINK.findall(text))


def test_the_quizzes_ask_about_the_same_beliefs():
    files = [(NOTEBOOKS / "data" / "exercises" / f"{name}-quiz.toml").read_text("utf-8") for name in ("entry", "exit")]
    assert all("[exact]" in text for text in files)
    for name in ("entry-quiz", "exit-quiz"):
        cells = nbformat.read(TEACH / f"{name}.ipynb", 4).cells
        assert sum(cell.source.count("check(answer") for cell in cells) == 7


def test_the_formula_sheet_holds_all_formulas():
    shown = "".join(str(o) for c in nbformat.read(TEACH / "formula-sheet.ipynb", 4).cells for o in c.get("outputs", []))
    from tests.test_house import FORMULAS
    assert f"{len({id(f) for f in FORMULAS.values()})} formulas" in shown


# --- the first run
FIRST = next(c.source for c in read(_SOURCES["teach/first-run-check"].read_text("utf-8")).cells if c.cell_type == "code")


def _first_run(monkeypatch, **changes):
    monkeypatch.chdir(changes.pop("folder", TEACH))
    monkeypatch.setattr(importlib.util, "find_spec", changes.pop("find_spec", importlib.util.find_spec))
    for name, value in changes.items():
        monkeypatch.setattr(importlib.metadata, name, value)
    out = io.StringIO()
    with redirect_stdout(out):
        exec(compile(FIRST, "first run", "exec"), {})
    return out.getvalue()


def _absent(*names):
    real = importlib.metadata.version

    def version(name):
        if name in names:
            raise importlib.metadata.PackageNotFoundError(name)
        return real(name)
    return version


def test_the_first_run_finds_nothing_missing_here(monkeypatch):
    def missing(name):
        raise importlib.metadata.PackageNotFoundError(name)

    for changes in ({}, {"requires": missing}):  # as it is, and used from its folder
        assert _first_run(monkeypatch, **changes) == "Python, packages, data and folder: everything is there.\n"


def test_the_first_run_needs_nothing_but_python():
    tops = {a.name.split(".")[0] for n in ast.parse(FIRST).body if isinstance(n, ast.Import) for a in n.names}
    assert tops <= {"importlib", "os", "sys"}


def test_the_first_run_names_what_is_missing_and_how_to_get_it(monkeypatch, tmp_path):
    said = _first_run(monkeypatch, find_spec=lambda name: None)
    assert "macrolib is not installed" in said and "make lab" in said
    monkeypatch.undo()
    assert re.search(r"pint is missing: python -m pip install 'pint.*'", _first_run(monkeypatch, version=_absent("pint")))
    monkeypatch.undo()
    other = _absent()
    assert "numpy is 1.0, not" in _first_run(monkeypatch, version=lambda name: "1.0" if name == "numpy" else other(name))
    monkeypatch.undo()
    assert "Copy the whole folder" in _first_run(monkeypatch, folder=tmp_path)


def test_the_first_run_finds_an_old_python_and_a_folder_that_cannot_be_written(monkeypatch):
    monkeypatch.setattr("sys.version_info", (3, 10))
    assert "3.11 or newer is needed" in _first_run(monkeypatch)
    monkeypatch.undo()
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    assert "a folder of your own" in _first_run(monkeypatch)
