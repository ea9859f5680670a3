"""Builds the notebooks: notebooks/src/NAME.py -> notebooks/NAME.ipynb, run from top to bottom, stored with outputs.

    python -m tools.build                                 all, two at a time
    python -m tools.build learn/01-from-turns-to-travel   some

How to write a notebook
- Edit the source, never the .ipynb: the next build replaces it, and a test compares the two.
- `# %% [markdown]` starts a text cell; each of its lines starts with "# " (an empty one is "#"). `# %%` starts a code
  cell. Tags follow on the same line: `# %% tags=["exercise"]`. Nothing stands before the first mark.
- Tags: "exercise" on the code cell that holds a learner's answer and its check, with "faded" where a part is done
  already or "free" where nothing is; "worked" on the cell that does the same once; "raises-exception" on a cell that
  shows an error on purpose. Tags that switch nbval off are allowed only where tests/notebooks/rules.py lists them.
- A number in the prose that the code knows is written as an expression, in the form of an f-string field:
  `The carriage moves <!--= 1e6 * travel:.2f --> um a pulse.` The build puts the text in front of the marker, which
  readers do not see. Expressions are evaluated after the last cell, so a name in them keeps one meaning throughout.
  Other numbers with a unit and three or more digits, or a decimal point, must stand in the code or its output (lint).
- The last line of a code cell may be a value. It never ends in ";". Print with a format, at most 6 significant
  digits; no array and no float goes out bare. Nothing is written to stderr; no magics, no shell.
- Pictures and panels come from macrolib.show (text/html with an <img> that has alt text; text/plain in words). No
  `interact`, no Output widget: a stored page cannot show what they hold, and nbval fails on them.
- Every axis and slider names its unit in brackets: "speed (mm/s)", "margin (-)".
- The folder of the notebook is the working directory. A worksheet (design/) reads which shot and which rig from the
  variables MACROLIB_SHOT, MACROLIB_RIG and MACROLIB_OUT in its first code cell, with the demo as default; without
  MACROLIB_OUT it writes no files. It prints the names of files without their folder.
- One "# title" in the first cell; below it no level is skipped. A notebook with sliders says that they need a kernel.
- A lesson (learn/) says below its title "Estimated time: 25 minutes reading, 15 minutes exercises." Its headings:
  "What you will be able to do" (a list of 2-5 points, each starts with a verb that can be seen), "What you need first",
  "Predict ..." at least once, "Exercise 1 ...", 2 to 4 of them, at any place, "Mistakes people make",
  "What to remember", "Next". Below each exercise heading stand one cell tagged "exercise" and the solution, folded in
  <details><summary>Solution</summary>. 40-60 cells, 1200-1600 words, 40-65 lines of code. What makes a lesson teach well
  beyond that is scored in tests/notebooks/rubric.py: objectives that name their exercise, recap lines in the same order,
  minutes for each section and exercise, cells tagged "worked", then an exercise "faded", then "free" ones, and wrong
  answers that point to a named mistake. What a learner replaces is `blank`, of macrolib.teach.
"""

import argparse
import concurrent.futures
import hashlib
import json
import os
import re
import sys
import tempfile
import time
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from macrolib.files import write_whole

NOTEBOOKS = Path(__file__).resolve().parent.parent / "notebooks"
METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"file_extension": ".py", "mimetype": "text/x-python", "name": "python"},
}
WIDGET = "application/vnd.jupyter.widget-view+json"
PROSE = re.compile(r"<!--= (?P<expression>.*?)(?: => (?P<shown>.*?))? -->", re.S)
_MARK = re.compile(r"# %%(?P<text> \[markdown\])?(?: tags=(?P<tags>\[.*\]))?\s*")


def sources():
    """All notebook sources, in the order in which they are read."""
    return sorted((NOTEBOOKS / "src").rglob("*.py"))


def stored(source):
    """Where the notebook of a source is stored."""
    return NOTEBOOKS / source.relative_to(NOTEBOOKS / "src").with_suffix(".ipynb")


def read(text, name="source"):
    """The notebook of a source text, not yet run. ValueError names the line that does not fit the format."""
    cells, lines = [], []
    for number, line in enumerate(text.splitlines(), 1):
        mark = _MARK.fullmatch(line)
        if mark:
            lines = []
            cells.append((bool(mark["text"]), json.loads(mark["tags"] or "[]"), lines))
        elif line.startswith("# %%") or (not cells and line.strip()):
            raise ValueError(f"{name}:{number}: expected '# %%', '# %% [markdown]' or '# %% tags=[...]': {line!r}")
        elif cells and cells[-1][0] and line.strip() and line != "#" and not line.startswith("# "):
            raise ValueError(f"{name}:{number}: a line of a text cell starts with '# ': {line!r}")
        else:
            lines.append(line[2:] if cells and cells[-1][0] else line)
    notebook = new_notebook(metadata=json.loads(json.dumps(METADATA)))
    for is_text, tags, lines in cells:
        make = new_markdown_cell if is_text else new_code_cell
        notebook.cells.append(make("\n".join(lines).strip("\n"), metadata={"tags": tags} if tags else {}))
    _name_cells(notebook)
    return notebook


def _name_cells(notebook):
    # An id that follows from the content changes only with it, so an inserted cell leaves the others alone.
    seen = {}
    for cell in notebook.cells:
        name = hashlib.sha256(f"{cell.cell_type}\n{cell.source}".encode()).hexdigest()[:8]
        seen[name] = seen.get(name, 0) + 1
        cell.id = name if seen[name] == 1 else f"{name}-{seen[name]}"


def prose_parts(source):
    """A text cell in (text, expression) pairs; the last has no expression. Numbers filled in before are left out."""
    end = 0
    for found in PROSE.finditer(source):
        yield source[end:found.start()].removesuffix(found["shown"] or ""), found["expression"]
        end = found.end()
    yield source[end:], None


def prose_expressions(notebook):
    """The expressions behind the numbers in the text cells, in order."""
    return [expression for cell in notebook.cells if cell.cell_type == "markdown"
            for _, expression in prose_parts(cell.source) if expression]


def as_f_string(expression):
    """Python text that evaluates a prose expression, such as f"{1e6 * travel:.2f}"."""
    return f'f"""{{{expression}}}"""'


def fill_prose(notebook, values):
    """Put the texts, one for each prose expression, in front of their markers, in place of earlier ones."""
    values = iter(values)
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            cell.source = "".join(
                f"{text}{(value := next(values))}<!--= {expression} => {value} -->" if expression else text
                for text, expression in prose_parts(cell.source))


def execute(notebook, folder, variables=None, timeout=120):
    """Run a notebook in place, in `folder`, with these environment variables; an error in a cell raises."""
    expressions = prose_expressions(notebook)
    last = f"import json; print(json.dumps([{', '.join(map(as_f_string, expressions))}]))"
    notebook.cells.append(new_code_cell(last))
    with tempfile.TemporaryDirectory() as profile:
        kept = {k: v for k, v in os.environ.items() if not k.startswith("MACROLIB_")}
        # An own profile: what a user's start-up files do stays out of the stored outputs.
        environment = {**kept, "IPYTHONDIR": profile, "PYDEVD_DISABLE_FILE_VALIDATION": "1", **(variables or {})}
        client = NotebookClient(notebook, timeout=timeout, kernel_name="python3", store_widget_state=False,
                                record_timing=False, coalesce_streams=True,
                                extra_arguments=["--log-level=ERROR"],  # a line about its sockets on each start
                                resources={"metadata": {"path": str(folder)}})
        client.execute(env=environment)
    fill_prose(notebook, json.loads(notebook.cells.pop().outputs[0]["text"]))
    _normalise(notebook)
    return notebook


def _normalise(notebook):
    notebook.metadata = nbformat.from_dict(METADATA)
    for cell in notebook.cells:
        tags = cell.metadata.get("tags")
        cell.metadata = nbformat.from_dict({"tags": tags} if tags else {})
        for output in cell.get("outputs", []):
            # Without the widget key a page without a kernel shows the picture that stands for it.
            if len(output.get("data", {})) > 1:
                output["data"].pop(WIDGET, None)
                output.get("metadata", {}).pop(WIDGET, None)


def build(source, target=None):
    """Build one notebook; returns the seconds that it took."""
    start, target = time.perf_counter(), target or stored(source)
    target.parent.mkdir(parents=True, exist_ok=True)
    notebook = execute(read(source.read_text("utf-8"), source.name), target.parent)
    write_whole(target, nbformat.writes(notebook, version=4) + "\n", replace=True)
    return time.perf_counter() - start


def _chosen(names):
    known = {str(stored(s).relative_to(NOTEBOOKS).with_suffix("")): s for s in sources()}
    unknown = [n for n in names if n not in known]
    if unknown:
        sys.exit(f"no source for {', '.join(unknown)}; there are: {', '.join(known)}")
    return {n: known[n] for n in names or known}


def main(arguments=None):
    """Command line: build the named notebooks, or all; 1 if one failed."""
    parser = argparse.ArgumentParser(prog="python -m tools.build", description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", help="as 'learn/01-from-turns-to-travel'; none: all")
    chosen, failed = _chosen(parser.parse_args(arguments).names), 0
    with concurrent.futures.ProcessPoolExecutor(2) as pool:
        jobs = {pool.submit(build, source): name for name, source in chosen.items()}
        for job in concurrent.futures.as_completed(jobs):
            error = job.exception()
            failed += error is not None
            print(f"{jobs[job]}: " + (f"{job.result():.1f} s" if error is None else f"FAILED\n{error}"), flush=True)
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main())
