"""How well each lesson can be taught: a rubric of 18 rows, 0 to 2 points each, as far as a machine can tell.

    python -m tests.notebooks.rubric       prints a table; --why adds what keeps a row from 2 points

A row is a function of a Lesson -> (points, what is missing). 0 is absent, 1 is partly, 2 is met. What a machine cannot see, such as
whether an explanation is good, is not in it. `trial` stays 0 until somebody who did not write the lesson has tried it and
notebooks/teach/trials.md says what was found.
"""

import ast
import functools
import importlib
import itertools
import re
import sys
import tomllib
from pathlib import Path

import nbformat

from macrolib.formula import Formula
from macrolib.show.panel import every_panel
from tests.notebooks import rules
from tools.build import NOTEBOOKS, PROSE
from tools.handouts import stored_panel

LESSONS = sorted((NOTEBOOKS / "learn").glob("*.ipynb"))
LEAST_SHARE = 0.8
_VERBS = set("build choose compare compute convert derive estimate find fit measure name plan predict read set tell".split())
_COMMON = set("about after also been from have into less more most only same than that them then they this what when which with".split())
_BOLD = re.compile(r"\*\*([^*]+?)\*\*")
_BY_COLOUR = re.compile(r"\b(?:red|blue|green|orange|yellow|purple) (?:line|curve|dot|bar|area|point|band|ring)s?\b", re.I)


class Lesson:
    """A stored lesson, taken apart: prose without marks, sections, exercises, its exercise file."""

    def __init__(self, notebook, path, tables):
        self.notebook, self.path, self.tables, self.cells = notebook, path, tables, notebook.cells
        self.code = [c for c in self.cells if c.cell_type == "code"]
        self.prose = "\n".join(PROSE.sub("", c.source) for c in self.cells if c.cell_type == "markdown")
        self.headings = [(level, PROSE.sub("", text), number) for level, text, number in rules._headings(notebook)]
        self.exercises = dict(re.findall(r"^#+ Exercise (\d+)(.*)$", self.prose, re.M))
        self.objectives = _points(self.section("What you will be able to do"))
        self.recap = _points(self.section("What to remember"))
        self.mistakes = [found.rstrip(".") for found in re.findall(r"^- \*\*(.+?)\*\*", self.section("Mistakes people make"), re.M)]

    def section(self, title):
        """The text below a heading, to the next one of its level or above."""
        found = re.search(rf"^(#+) {re.escape(title)}\s*$(.*?)(?=^#{{1,2}} |\Z)", self.prose, re.M | re.S)
        return found[2] if found else ""

    @functools.cached_property
    def minutes(self):
        """(reading, exercises) minutes that the head of the lesson states."""
        found = re.search(r"Estimated time: (\d+) minutes reading, (\d+) minutes exercises", self.prose)
        return tuple(map(int, found.groups())) if found else (0, 0)

    @functools.cached_property
    def pointed(self):
        """Names of mistakes to which wrong answers of the exercise file point."""
        slips = [s for table in self.tables.values() for s in (*table.get("wrong", ()), *table.get("must", ()))]
        letters = " ".join(said for table in self.tables.values() for said in table.get("options", {}).values())
        return {s["mistake"] for s in slips if "mistake" in s} | set(re.findall(r'mistake "([^"]+)"', letters))


def _points(text):
    return re.findall(r"^(?:[-*]|\d+\.) +(.+)$", text, re.M)


def _stems(text):
    """The beginnings of the longer words, so that 'rounded' meets 'rounding'."""
    return {word[:5] for word in re.findall(r"[a-z]{4,}", text.lower()) if word not in _COMMON}


def _score(*missing):
    """2 points when nothing is missing, 1 when one thing is, else 0; and what is missing."""
    missing = [m for m in missing if m]
    return max(0, 2 - len(missing)), missing


def objectives(lesson):
    verbs = [re.match(r"\W*(\w+)", o)[1].lower() for o in lesson.objectives]
    return _score("no 2 to 5 objectives" if not 2 <= len(verbs) <= 5 else "",
                  *(f"'{v}' is no action that can be seen" for v in verbs if v not in _VERBS))


def objective_exercise_recap(lesson):
    named = [set(re.findall(r"\d+", " ".join(re.findall(r"\(exercises? ([\d, and]+)\)", o)))) for o in lesson.objectives]
    told = [_stems(a) & _stems(b) for a, b in zip(lesson.objectives, lesson.recap)]
    return _score("an objective without an exercise" if not all(n and n <= set(lesson.exercises) for n in named) else "",
                  "an exercise without an objective" if set(lesson.exercises) - set().union(*named) else "",
                  "a recap line does not speak of its objective" if len(told) < len(lesson.objectives) or not all(told) else "")


def audience(lesson):
    table = lesson.section("What you need first")
    return _score("who it is for" if "for people who" not in lesson.prose else "",
                  "a table of what is needed" if table.count("\n|") < 4 else "",
                  "a link to get what is needed" if "](" not in table and "school book" not in table else "")


def check_rhythm(lesson):
    """The longest stretch of reading between two predictions or exercises, by words."""
    stretches = re.split(r"^#+ (?:Predict|Exercise).*$", lesson.prose.split("## Mistakes people make")[0], flags=re.M)
    minutes = max(len(rules._words(s)) for s in stretches) / max(1, len(rules._words(lesson.prose))) * lesson.minutes[0]
    silent = [c for c in lesson.code if "exercise" in c.metadata.get("tags", []) and "check(" not in c.source]
    return (0 if minutes > 20 or silent else 1 if minutes > 15 else 2), [f"{minutes:.0f} minutes between two checks"]


def new_items(lesson):
    """Most new terms and new names of the library in one section of the lesson; at most 9, after the set-up."""
    counts, known, now = [], set(), set()
    for cell in lesson.cells:
        if cell.cell_type == "markdown":
            if re.search(r"^## ", cell.source, re.M):
                counts.append(len(now))
                now = set()
            found = set() if "## Mistakes" in cell.source else {b.lower() for b in _BOLD.findall(cell.source) if len(b.split()) < 4}
        else:
            found = {node.func.attr for node in ast.walk(ast.parse(cell.source))
                     if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and not hasattr("", node.func.attr)}
        now |= found - known
        known |= found
    most = max([*counts[3:], len(now)])
    drawn = any("matplotlib" in c.source for c in lesson.code)
    return (0 if most > 14 or drawn else 1 if most > 9 else 2), [f"{most} new items in a section" + " and code for drawing" * drawn]


def worked_faded_free(lesson):
    place = {tag: [n for n, c in enumerate(lesson.cells) if tag in c.metadata.get("tags", [])] for tag in ("worked", "faded", "free")}
    missing = [f"no cell tagged {tag}" for tag, found in place.items() if not found]
    return _score(*missing) if missing else _score(
        "" if min(place["worked"]) < min(place["faded"]) < max(place["free"]) else "worked, faded, free are not in this order",
        *("the faded exercise has one blank only" for n in place["faded"][:1] if lesson.cells[n].source.count("blank") < 2))


def misconceptions(lesson):
    unknown = lesson.pointed - set(lesson.mistakes)
    plain = [name for name, table in lesson.tables.items() if not {"wrong", "must", "options"} & set(table)]
    return _score("fewer than three named mistakes" if len(lesson.mistakes) < 3 else "",
                  "fewer than two of them are pointed to by wrong answers" if len(lesson.pointed) < 2 else "",
                  *(f"no mistake is called '{u}'" for u in unknown), *(f"exercise '{p}' knows no wrong answer" for p in plain))


def predict_first(lesson):
    """Each prediction is followed by a result, and that by an explanation, before the next heading of the lesson."""
    good = bad = 0
    for _, text, number in lesson.headings:
        if text.startswith("Predict"):
            after = lesson.cells[number:]
            code = next((i for i, c in enumerate(after) if c.cell_type == "code"), None)
            explained = code is not None and any("<summary>Explain" in c.source for c in after[code + 1:code + 4])
            good, bad = good + explained, bad + (not explained)
    return (0 if not good else 1 if bad or good < 2 else 2), [f"{bad} predictions without result and explanation, {good} with"]


def time(lesson):
    """Minutes for sections and exercises that add up; 1 point at most as long as they are estimates."""
    inner = lesson.headings[3:]
    sections = [text for level, text, _ in inner if level == 2 and text not in ("Mistakes people make", "What to remember", "Next")]
    read = [int(m[1]) if (m := re.search(r"\(about (\d+) minutes?\)", t)) else None for t in sections]
    tried = [int(m[1]) if (m := re.search(r"\(about (\d+) minutes?\)", t)) else None for t in lesson.exercises.values()]
    if None in (*read, *tried) or not tried:
        return 0, ["a section or an exercise without minutes"]
    if not 1 <= lesson.minutes[0] - sum(read) <= 9 or sum(tried) != lesson.minutes[1]:
        return 0, [f"sections {sum(read)} and exercises {sum(tried)} do not add up to {lesson.minutes}"]
    return (2 if _trials().get(lesson.path.stem) else 1), ["estimated, not measured with other people"]


def language(lesson):
    words = list(rules.plain_words(lesson.notebook, lesson.path))
    return _score(*words, *(f"'{term}' is not in the glossary" for term in sorted(terms(lesson) - glossary())))


def structure(lesson):
    faults = [m for rule in (rules.one_title, rules.heading_levels, rules.links_resolve) for m in rule(lesson.notebook, lesson.path)]
    lonely = sum(a.cell_type == b.cell_type == "code" for a, b in itertools.pairwise(lesson.cells))
    return (0, faults) if faults else (1 if lonely > 4 else 2, [f"{lonely} code cells that no text announces"])


def alt_text(lesson):
    faults = list(rules.pictures_have_alt(lesson.notebook, lesson.path))
    alts = [alt for cell in lesson.code for output in cell.outputs
            for alt in rules._Pictures(output.get("data", {}).get("text/html", "")).alts]
    short = [alt for alt in alts if len(alt) < 60 or not re.search(r"\d", alt)]
    return (0, faults) if faults else (1 if short or not alts else 2, [f"short or without a number: {alt!r}" for alt in short])


def colour(lesson):
    found = _BY_COLOUR.findall(lesson.prose) + [c.source for c in lesson.code if re.search(r"\bcolou?rs?=|\bcmap=", c.source)]
    return _score(*(f"by colour alone: {f!r}" for f in found))


def widgets(lesson):
    shown = [p for cell in lesson.code for output in cell.outputs if (p := stored_panel(output))]
    return _score("no panel that a page without kernel shows" if not shown else "",
                  "no line that says sliders need a kernel" if list(rules.panels_say_kernel(lesson.notebook, lesson.path)) else "",
                  *(f"slider {s.name} without a unit" for panel, _ in shown for s in panel.sliders if not s.unit))


def sources(lesson):
    used = formulas(lesson)
    return (0 if not used else 1 if len(used) < 2 else 2 if all(f.source for f in used) else 0), [f"{len(used)} formulas"]


def instructor_notes(lesson):
    text = _section_of(NOTEBOOKS / "teach" / "instructor-notes.md", lesson.path.stem)
    parts = ("Why so", "Where learners stumble", "What to skip")
    return (0, ["none"]) if not text else _score(*(f"nothing under '{part}'" for part in parts
                                                   if not re.search(rf"\*\*{part}\.?\*\* +\S.{{20}}", text)))


def trial(lesson):
    return (2 if _trials().get(lesson.path.stem) else 0), ["nobody who did not write it has tried it yet"]


def reusable(lesson):
    root = NOTEBOOKS.parent
    citation = (root / "CITATION.cff").read_text(encoding="utf-8") if (root / "CITATION.cff").exists() else ""
    readme = (root / "README.md").read_text(encoding="utf-8")
    return _score("" if (root / "LICENSE").exists() else "no licence", "" if "version:" in citation else "no version to cite",
                  "" if re.search(r"^## .*help", readme, re.M | re.I) and "Add a lesson" in (root / "DEVELOPERS.md").read_text("utf-8")
                  else "no way to get help or to contribute")


ROWS = (objectives, objective_exercise_recap, audience, check_rhythm, new_items, worked_faded_free, misconceptions, predict_first, time,
        language, structure, alt_text, colour, widgets, sources, instructor_notes, trial, reusable)


@functools.cache
def glossary():
    """The terms of the glossary, in lower case."""
    path = NOTEBOOKS / "glossary.md"
    rows = re.findall(r"^\| ([^|]+?) \|", path.read_text(encoding="utf-8"), re.M) if path.exists() else []
    return {term.strip().lower() for row in rows for term in row.split(",")}


def terms(lesson):
    """Words that a lesson introduces: short ones in bold, without named mistakes, labels of sliders and what is bold to stress it."""
    text = lesson.prose.replace(lesson.section("Mistakes people make"), "")
    moves = [s.label for p in every_panel().values() for s in p.sliders] + [s.title for p in every_panel().values() for s in p.sliders]
    found = {b.strip(".:").lower() for b in _BOLD.findall(text) if len(b.split()) < 4}
    found = {b for b in found if re.fullmatch(r"[a-z][a-z -]+[a-z]", b)}
    return found - {m.lower() for m in moves} - STRESSED


STRESSED = {"above", "against", "against each other", "and", "at the sensor", "below", "below zero", "both", "depth", "each", "factor",
            "follows the depth", "gives", "motor", "needs", "peak", "recorded", "share", "simulated", "square", "squared", "starting value",
            "total", "twice", "two starts"}


def formulas(lesson):
    """The Formulas whose names the lesson's code reads."""
    names = {getattr(n, "attr", getattr(n, "id", None)) for c in lesson.code for n in ast.walk(ast.parse(c.source))}
    found = [vars(importlib.import_module(f"macrolib.physics.{p.stem}")) for p in
             (Path(NOTEBOOKS).parent / "macrolib" / "physics").glob("[a-z]*.py")]
    return list({id(f): f for module in found for name, f in module.items() if name in names and isinstance(f, Formula)}.values())


def _section_of(path, name):
    """The part of a text below the heading that links to a lesson."""
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    found = re.search(rf"^## [^\n]*{re.escape(name)}\.ipynb[^\n]*$(.*?)(?=^## |\Z)", text, re.M | re.S)
    return found[1] if found else ""


@functools.cache
def _trials():
    """{lesson: rows} of notebooks/teach/trials.md that name a date and a lesson."""
    path, found = NOTEBOOKS / "teach" / "trials.md", {}
    for line in path.read_text(encoding="utf-8").splitlines() if path.exists() else ():
        if re.match(r"\| \d{4}-\d\d-\d\d \|", line):
            for name in re.findall(r"`([\w-]+)`", line):
                found.setdefault(name, []).append(line)
    return found


def read_lesson(path):
    """The Lesson stored at a path."""
    file = NOTEBOOKS / "data" / "exercises" / f"{path.stem}.toml"
    return Lesson(nbformat.read(path, 4), path, tomllib.loads(file.read_text(encoding="utf-8")) if file.exists() else {})


def scores(lesson):
    """{row: (points, what is missing)}."""
    return {row.__name__: row(lesson) for row in ROWS}


def table(paths=LESSONS):
    """The rubric of all lessons as text: a line each, a column a row of the rubric, the share of the points last."""
    lines = ["; ".join(f"{n} {row.__name__.replace('_', ' ')}" for n, row in enumerate(ROWS, 1)),
             f"{'lesson':<38}" + "".join(f"{n:>3}" for n in range(1, len(ROWS) + 1)) + "  points"]
    for path in paths:
        points = [p for p, _ in scores(read_lesson(path)).values()]
        share = sum(points) / len(ROWS) / 2
        lines.append(f"{path.stem:<38}" + "".join(f"{p:>3}" for p in points) + f"  {sum(points)} of {2 * len(ROWS)}, {share:.0%}")
    return "\n".join(lines)


if __name__ == "__main__":
    print(table())
    if "--why" in sys.argv:
        for path in LESSONS:
            for name, (points, missing) in scores(read_lesson(path)).items():
                if points < 2:
                    print(f"{path.stem}, {name}, {points}: {'; '.join(missing)}")
