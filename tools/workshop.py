"""Learners' notebooks: the lessons without results and solutions, with all that they need beside them, in out/workshop.

    python -m tools.workshop [FOLDER] [--replace]

The folder is laid out as notebooks/ is, so that links and paths stay as they are. Each learner gets a copy of it and works in
that copy. It needs macrolib installed. `print/` holds pages to print.
"""

import argparse
import ast
import html
import re
import shutil
import sys
from pathlib import Path

import nbformat

from macrolib.files import write_whole
from tools.build import NOTEBOOKS, PROSE
from tools.report import page, show_markdown, to_html

_SOLUTION = re.compile(r"\s*<details>\s*<summary>Solution</summary>.*?</details>", re.S)
_MINE = ("\n\n**This copy is yours.** Change it as you like and save it. Where a line says `blank`, put your answer. Results appear when "
         "you run a cell: commit to your prediction first. Solutions are with the person who teaches.")
_IMPORT = re.compile(r"^from macrolib\.teach import (?P<names>.*\bexercises\b.*)$", re.M)
_SHEETS = {"formula-sheet": "teach/formula-sheet.ipynb"}
_TEXTS = {"questions": "questions.md", "glossary": "glossary.md", "feedback-form": "teach/feedback-form.md"}
_FOR_LEARNERS = ("first-run-check", "entry-quiz", "exit-quiz", "formula-sheet")
_NOTE = "A page to print. It belongs to the workshop on motorised close-up rails."


def for_learners(notebook):
    """A copy for a learner: nothing has run, numbers of the text stay, solutions are gone, blanks are blank."""
    mine = nbformat.from_dict(nbformat.v4.upgrade(notebook.copy()))
    mine.cells = [c for c in map(_cell, notebook.cells) if c.source.strip()]
    if any("exercise" in c.metadata.get("tags", []) for c in mine.cells):
        mine.cells[0].source += _MINE
    return mine


def _cell(cell):
    cell = nbformat.from_dict(cell)
    if cell.cell_type == "markdown":
        cell.source = _SOLUTION.sub("", PROSE.sub("", cell.source))
        return cell
    cell.outputs, cell.execution_count = [], None
    if "exercise" in cell.metadata.get("tags", []):
        cell.source = blanked(cell.source)
    found = _IMPORT.search(cell.source)
    if found and "blank" not in found["names"]:
        cell.source = cell.source.replace(found[0], f"from macrolib.teach import blank, {found['names']}")
    return cell


def blanked(source):
    """An exercise cell with `blank` wherever a name is set to None or to an ellipsis."""
    lines = source.splitlines()
    values = [part for node in ast.parse(source).body if isinstance(node, ast.Assign)
              for part in (node.value.elts if isinstance(node.value, ast.Tuple) else [node.value])]
    for part in reversed(values):
        if isinstance(part, ast.Constant) and (part.value is None or part.value is ...):
            line = lines[part.lineno - 1].encode()
            lines[part.lineno - 1] = (line[:part.col_offset] + b"blank" + line[part.end_col_offset:]).decode()
    return "\n".join(lines)


def _notebooks():
    """(path below the folder, text) of all notebooks that a learner gets."""
    for path in sorted(NOTEBOOKS.rglob("*.ipynb")):
        place = path.relative_to(NOTEBOOKS)
        if place.parts[0].startswith(".") or place.parts[0] == "teach" and path.stem not in _FOR_LEARNERS:
            continue
        notebook = nbformat.read(path, 4)
        mine = for_learners(notebook) if place.parts[0] in ("learn", "teach") else notebook
        yield place, nbformat.writes(mine, version=4) + "\n"


def _pages():
    """(path below the folder, text) of the pages to print."""
    for name, source in _SHEETS.items():
        yield Path("print", f"{name}.html"), to_html(nbformat.read(NOTEBOOKS / source, 4))
    for name, source in _TEXTS.items():
        text = (NOTEBOOKS / source).read_text(encoding="utf-8")
        plain = re.sub(r"\[([^\]]+)\]\([^)]*\)", r"\1", text)  # on paper nothing can be followed
        yield Path("print", f"{name}.html"), page(html.escape(re.search("^# (.+)$", text, re.M)[1]), _NOTE, show_markdown(plain))


def write_workshop(folder, replace=False):
    """Write the learners' folder; returns its paths. FileExistsError, before anything is written, where one is in the way."""
    folder = Path(folder)
    texts = dict([*_notebooks(), *_pages()])
    texts |= {Path(n): (NOTEBOOKS / n).read_text(encoding="utf-8") for n in ("questions.md", "glossary.md", "teach/feedback-form.md")}
    data = [p for p in sorted((NOTEBOOKS / "data").rglob("*")) if p.is_file()]
    places = [*texts, *(p.relative_to(NOTEBOOKS) for p in data)]
    taken = next((folder / p for p in places if (folder / p).exists()), None)
    if taken and not replace:
        raise FileExistsError(f"{taken} exists already; nothing was written. It may hold a learner's answers.")
    for place in places:
        (folder / place).parent.mkdir(parents=True, exist_ok=True)
    for place, text in texts.items():
        write_whole(folder / place, text, replace=replace)
    for path in data:
        shutil.copyfile(path, folder / path.relative_to(NOTEBOOKS))
    return [folder / p for p in places]


def main(arguments=None):
    """Command line: the folder, and whether files in it may be replaced."""
    parser = argparse.ArgumentParser(prog="python -m tools.workshop", description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?", default=Path("out/workshop"))
    parser.add_argument("--replace", action="store_true", help="replace existing files, with the answers in them")
    given = parser.parse_args(arguments)
    try:
        written = write_workshop(given.folder, given.replace)
    except FileExistsError as fault:
        return f"{fault} Name another folder, or add --replace."
    print(f"{len(written)} files in {given.folder}; begin with {given.folder / 'teach/first-run-check.ipynb'}")


if __name__ == "__main__":
    sys.exit(main())
