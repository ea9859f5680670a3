"""The exercises of the lessons, as learners get them: own solutions are right, blanks are friendly, wrong ways get their hint."""

import ast
import re
import tomllib

import pytest

from macrolib import teach
from tests.notebooks.test_prose import run
from tools.build import NOTEBOOKS, read, sources, stored
from tools.workshop import for_learners

LESSONS = {s.stem: s for s in sources() if "teach import" in s.read_text("utf-8")}
FILES = NOTEBOOKS / "data" / "exercises"
_REAL = teach.exercises
_ANY = [digit * 10.0**power for power in range(-9, 10) for digit in (1, 2, 5)]  # SI values of all sizes


class _Solved:
    """A learner's notebook run once; each exercise in it as it comes, with the folded solution, and with one blank left of it."""

    def __init__(self, source):
        lesson = read(source.read_text("utf-8"))
        self._solutions = [_solution(lesson.cells[n:]) for n, cell in enumerate(lesson.cells) if _is_exercise(cell)]
        self.blanks, self.solved, self.partly, self.mine = [], [], [], for_learners(lesson)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(teach, "exercises", self._listening)
            run(self.mine, stored(source).parent, before=self._try)
        assert not self._solutions

    def _try(self, cell, names):
        if not _is_exercise(cell):
            return
        solution, tree = self._solutions.pop(0), ast.parse(cell.source)
        asks = "\n".join(ast.unparse(node) for node in tree.body if isinstance(node, ast.Expr))
        self.blanks += self._asked(cell.source, names)
        self.solved += self._asked(f"{solution}\n{asks}", names)
        for node in ast.walk(tree):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
                self.partly += self._asked(f"{_one_left(solution, node.id)}\n{asks}", names)

    def _asked(self, code, names):
        self._heard = []
        try:
            exec(compile(code, "exercise", "exec"), names)
        except teach.Unfinished as fault:
            self._heard.append(("", teach.Feedback(None, str(fault))))
        return self._heard

    def _listening(self, path):
        check_one = _REAL(path)

        def listen(answer, name):
            found = check_one(answer, name)
            self._heard.append((name, found))
            return found
        return listen


def _is_exercise(cell):
    return "exercise" in cell.metadata.get("tags", [])


def _solution(cells):
    text = next(c.source for c in cells if "<summary>Solution" in c.source)
    return "\n".join(re.findall(r"^```python\n(.*?)^```", text, re.M | re.S))


def _one_left(solution, name):
    """The solution with this name still blank."""
    tree = ast.parse(f"{name} = blank\n{solution}")
    for node in tree.body:
        if isinstance(node, ast.Assign) and name in {n.id for n in ast.walk(node.targets[0]) if isinstance(n, ast.Name)}:
            blank = ast.Name("blank", ast.Load())
            node.value = ast.Tuple([blank] * len(node.value.elts), ast.Load()) if isinstance(node.value, ast.Tuple) else blank
    return ast.unparse(ast.fix_missing_locations(tree))


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
    assert {name: found.text for name, found in solved.solved if not found.right} == {}
    assert [name for name, _ in solved.solved] == list(tables)


def test_a_blank_that_is_left_is_never_called_wrong(lesson):
    tables, solved, _ = lesson
    assert len(solved.partly) >= len(tables)
    assert [(name, found.text) for name, found in solved.partly if found.right is False] == []
    assert any(found.right is None for _, found in solved.partly)


def test_learners_get_no_solution_and_no_result(lesson):
    _, solved, _ = lesson
    text = "\n".join(c.source for c in solved.mine.cells)
    assert "blank" in text and "<summary>Solution" not in text and "<!--=" not in text
    assert not re.search(r"^answer\w* = (?!blank)", text, re.M)
    assert all(not c.outputs and c.execution_count is None for c in solved.mine.cells if c.cell_type == "code")


def test_wrong_ways_get_their_hint(lesson):
    tables, _, check = lesson
    for name, table in tables.items():
        for slip in table.get("wrong", ()):
            found = check(teach._value(teach._changed(table, slip["change"])), name)
            assert found.right is False and slip["hint"] in found.text, (name, slip, found)
            assert slip.get("mistake", "") in found.text


def test_millimetres_for_metres_and_the_wrong_sign_get_a_hint(lesson):
    tables, _, check = lesson
    for name, table in tables.items():
        if "must" not in table and "options" not in table:
            right = teach._value(table)
            for slip in (1e3, 1e-3, -1):
                found = check(slip * right, name)
                assert found.right is False and not re.search("Too (large|small)", found.text), (name, slip, found)


def test_each_letter_says_something_and_one_is_right(lesson):
    tables, _, check = lesson
    for name, table in tables.items():
        if "options" in table:
            assert len(table["options"]) >= 3 and all(table["options"].values())
            assert sorted(check(letter, name).right for letter in table["options"]) == [False] * (len(table["options"]) - 1) + [True]


def test_each_condition_can_fail(lesson):
    tables, _, check = lesson
    for name, table in tables.items():
        if "must" in table:
            hints = {check(value, name).text for value in table.get("choices", _ANY)}
            assert all(any(rule["hint"] in hint for hint in hints) for rule in table["must"]), name


def test_the_files_hold_no_answers(lesson):
    tables, _, _ = lesson
    for name, table in tables.items():
        known = {"unit", "formula", "product", "solve_for", "field", "given", "usual", "wrong", "must", "choices", "tolerance",
                 "options", "right"}
        assert not set(table) - known, name
