"""Every lesson reaches the points of the rubric, and each row of it can fail."""

import nbformat
import pytest

from tests.notebooks import rubric


@pytest.mark.parametrize("path", rubric.LESSONS, ids=lambda p: p.stem)
def test_a_lesson_reaches_a_point_on_every_row_and_most_points_in_all(path):
    scores = rubric.scores(rubric.read_lesson(path))
    assert {name: missing for name, (points, missing) in scores.items() if not points and name != "trial"} == {}
    assert sum(points for points, _ in scores.values()) >= rubric.LEAST_SHARE * 2 * len(rubric.ROWS)


def _swap(old, new, count=-1):
    def change(lesson):
        cells = [c for c in lesson.cells if old in c.source]
        assert cells, old
        for cell in cells:
            cell.source = cell.source.replace(old, new, count)
    return change


def _tags(old, new):
    def change(lesson):
        for cell in lesson.cells:
            cell.metadata["tags"] = [new if t == old else t for t in cell.metadata.get("tags", [])]
    return change


def _alts(lesson):
    for cell in lesson.cells:
        for output in cell.get("outputs", []):
            if "text/html" in output.get("data", {}):
                output["data"]["text/html"] = "<img alt='a picture of something' src='data:,'>"


BROKEN = {
    "objectives": _swap("1. compute the travel", "1. understand the travel"),
    "objective_exercise_recap": _swap("(exercise 2)", "(panel)"),
    "audience": _swap("for people who", "about rails that"),
    "check_rhythm": lambda lesson: (_swap("Predict", "Look at")(lesson), _swap("Exercise", "Task")(lesson)),
    "new_items": _swap("## One turn of the motor", f"## One turn\n{' '.join(f'**new {c}**' for c in 'abcdefghijklmnop')}\n##"),
    "worked_faded_free": _tags("worked", "done"),
    "misconceptions": _swap("**Pitch taken for lead.**", "**Pitch and lead.**"),
    "predict_first": _swap("<summary>Explain", "<summary>More"),
    "time": _swap("20 minutes exercises", "30 minutes exercises"),
    "language": _swap("its **lead**", "its **leadfulness**"),
    "structure": _swap("## Next", "# Next"),
    "alt_text": _alts,
    "colour": _swap("## What a gear does", "The red line, the blue bar.\n## What a gear does"),
    "widgets": _alts,
    "sources": lambda lesson: [c.update(source="x = 1") for c in lesson.code],
    "instructor_notes": lambda lesson: setattr(lesson, "path", lesson.path.with_name("99-none.ipynb")),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_row_can_fail(name):
    path = rubric.LESSONS[0]
    good, worse = rubric.read_lesson(path), rubric.read_lesson(path)
    BROKEN[name](worse)
    row = getattr(rubric, name)
    assert row(rubric.Lesson(worse.notebook, worse.path, worse.tables))[0] < row(good)[0]


def test_each_row_is_tried():
    assert {*BROKEN, "trial", "reusable"} == {row.__name__ for row in rubric.ROWS}


def test_a_trial_counts_once_it_is_written_down(tmp_path, monkeypatch):
    (tmp_path / "teach").mkdir()
    (tmp_path / "teach" / "trials.md").write_text("| 2030-01-31 | `01-sample` | two | 40, 20 | a word | explained |\n")
    monkeypatch.setattr(rubric, "NOTEBOOKS", tmp_path)
    rubric._trials.cache_clear()
    try:
        assert set(rubric._trials()) == {"01-sample"}
    finally:
        rubric._trials.cache_clear()


def test_the_table_has_a_line_for_each_lesson():
    lines = rubric.table(rubric.LESSONS[:2]).splitlines()
    assert len(lines) == 4 and all("of 36" in line for line in lines[2:])
    assert nbformat.read(rubric.LESSONS[0], 4).cells
