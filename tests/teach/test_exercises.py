"""The exercises of the lessons: each one's own solution is right, blanks are friendly, wrong ways get their hint."""

import ast
import re
import tomllib

import pytest

from macrolib import teach
from tests.notebooks.test_prose import run
from tools.build import NOTEBOOKS, read, sources, stored

LESSONS = {s.stem: s for s in sources() if s.parent.name == "learn" and "teach import exercises" in s.read_text("utf-8")}
FILES = NOTEBOOKS / "data" / "exercises"
_REAL = teach.exercises
_ANY = [digit * 10.0**power for power in range(-9, 10) for digit in (1, 2, 5)]  # SI values of all sizes


class _Solved:
    """A lesson run once as it stands, then each exercise again with its folded solution in the place of the blanks."""

    def __init__(self, source):
        self.asked, notebook = [], read(source.read_text("utf-8"))
        folder = stored(source).parent
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(teach, "exercises", self._listening)
            run(notebook, folder)
            self.blanks, self.asked = self.asked, []
            for number, cell in enumerate(notebook.cells):
                if "exercise" in cell.metadata.get("tags", []):
                    cell.source = "\n".join([_solution(notebook.cells[number:]), *_questions(cell.source)])
            run(notebook, folder)

    def _listening(self, path):
        check_one = _REAL(path)

        def listen(answer, name):
            found = check_one(answer, name)
            self.asked.append((name, found))
            return found
        return listen


def _solution(cells):
    text = next(c.source for c in cells if "<summary>Solution" in c.source)
    return "\n".join(re.findall(r"^```python\n(.*?)^```", text, re.M | re.S))


def _questions(source):
    """The statements of an exercise cell that ask, without those that set the blanks."""
    return [ast.unparse(node) for node in ast.parse(source).body if isinstance(node, ast.Expr)]


@pytest.fixture(scope="module", params=LESSONS)
def lesson(request):
    tables = tomllib.loads((FILES / f"{request.param}.toml").read_text("utf-8"))
    return tables, _Solved(LESSONS[request.param]), _REAL(FILES / f"{request.param}.toml")


def test_there_are_lessons():
    assert LESSONS


def test_every_exercise_is_asked_and_starts_blank(lesson):
    tables, solved, _ = lesson
    assert [name for name, _ in solved.blanks] == list(tables)
    assert [found.right for _, found in solved.blanks] == [None] * len(tables)


def test_own_solutions_are_right(lesson):
    tables, solved, _ = lesson
    assert {name: found.text for name, found in solved.asked if not found.right} == {}
    assert [name for name, _ in solved.asked] == list(tables)


def test_wrong_ways_get_their_hint(lesson):
    tables, _, check = lesson
    for name, table in tables.items():
        for slip in table.get("wrong", ()):
            found = check(teach._value(teach._changed(table, slip["change"])), name)
            assert found.right is False and slip["hint"] in found.text, (name, slip, found)


def test_each_condition_can_fail(lesson):
    tables, _, check = lesson
    for name, table in tables.items():
        if "must" in table:
            hints = {check(value, name).text for value in table.get("choices", _ANY)}
            assert all(any(rule["hint"] in hint for hint in hints) for rule in table["must"]), name


def test_the_files_hold_no_answers(lesson):
    tables, _, _ = lesson
    for name, table in tables.items():
        known = {"unit", "formula", "product", "solve_for", "field", "given", "usual", "wrong", "must", "choices", "tolerance"}
        assert not set(table) - known, name
